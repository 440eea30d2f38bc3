"""The stop and the hold: the steps of an in-situ stop, and the log that is only ever added to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.fold import Record
from fieldapp.records.place import conditions_of, is_licensed, place_of
from fieldapp.records.sealing import seal
from fieldapp.records.shapes import CUSTODY
from fieldapp.records.standing import is_released
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.texts import say, word

STOP_STEPS = ("dig", "people", "leave", "cover", "tell", "note", "pictures", "word", "law")
QUERY_STEPS = ("aside", "keep", "tell_osteologist", "no_lab", "query_law")
WHAT = (
    "told",
    "covered",
    "zone_set",
    "authority_told",
    "handed_over",
    "note",
    "moved",
    "guarded",
    "secured",
    "word",
    "lifted",
)
HANDED_OVER = "handed_over"
LIFTED = "lifted"
"""A lift in an emergency (night, flood, looters): it wants whose leave and the reason, and clears nothing."""
WHOM = ("supervisor", "director", "osteologist", "authority")
HOW = ("in_person", "telephone", "radio", "in_writing")


def place_rules(desk: Desk) -> list[str]:
    """The site's own words for its place, a rule a line, and where they come from; [] where none are set.

    Nothing is added to them: no deadline, no distance, no law that they do not name.
    """
    place = place_of(desk.site_record())
    if place is None:
        return []
    source, checked = place.source or say("blank"), place.checked or say("blank")
    return [*place.rules, say("stop.place_source", source=source, checked=checked)]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a hold's log."""

    at: str
    what: str
    detail: str
    by: str

    def words(self) -> str:
        """The line as it is read."""
        what = say("hold.what", what=self.what, detail=self.detail) if self.detail else self.what
        return say("hold.line", at=self.at, what=what, by=self.by)


class Hold:
    """The hold of one docket.

    what, whom, how, ref, note   the step that is being written
    custody, writing             what a hand-over says beside, and the part of it that is typed, "" for the note
    place, place_error           the exact place as typed, and why it could not be kept
    """

    def __init__(self, desk: Desk, docket: str) -> None:
        self.desk = desk
        self.docket = docket
        self.id = hold_id(docket)
        self.place = ""
        self.place_error = ""
        self.clear()

    def clear(self) -> None:
        """Begins the next step."""
        self.what, self.whom, self.how, self.note = "", "", "", ""
        self.custody: dict[str, str] = {}
        self.writing = ""

    @property
    def record(self) -> Record | None:
        """The hold's record."""
        return self.desk.record(self.id)

    @property
    def in_place(self) -> bool:
        """Whether the bone is still in the ground: an in-situ stop, not a query of the lab, nor lifted in emergency."""
        record, docket = self.record, self.desk.record(self.docket)
        if record is None or record.value("in_place") is False:
            return False
        # Of everything that is said of it the more cautious, as on the pages and the sheet.
        answers = [human.answer_of(one) for one in docket.added("human").values()] if docket is not None else []
        return "stop" in [*record.heads.get("tier", {}).values(), *answers]

    @property
    def unsaid(self) -> bool:
        """Whether nobody has said that the bone is lifted, and nobody that it lies in the ground."""
        record = self.record
        return not self.in_place and record is not None and record.value("in_place") is not False

    def title(self) -> str:
        """What the hold is of: bone in the ground, lifted, or nobody has said."""
        key = "hold.title" if self.in_place else "hold.unsaid_title" if self.unsaid else "hold.query_title"
        return say(key, label=self.label())

    def stop(self) -> None:
        """It is still in the ground: an in-situ stop, whatever it was raised as."""
        value = {"answer": "stop", "why": "", "in_place": True, "by_rule": None, "stage": self.desk.stage}
        docket, record = self.desk.record(self.docket), self.record
        context = (self.desk.context_of(docket) if docket is not None else None) or self.desk.context or ""
        heads = record.head_ids() if record is not None else {}
        values = {"docket": self.docket, "context": context, "tier": "stop", "in_place": True}
        if record is None or not record.value("zone"):
            values["zone"] = self.desk.site_value("zone_text") or ""
        over = {path: heads[path] for path in values if path in heads}
        writes = [
            Write(self.docket, "docket", {f"human/{self.desk.new_id()}": value}),
            Write(self.id, "hold", values, over),
        ]
        self.desk.save(writes, last=None)

    def label(self) -> str:
        """The docket's label."""
        record = self.desk.record(self.docket)
        return str(record.value("label") or "") if record is not None else ""

    def state(self) -> str:
        """Where the question stands, in words."""
        docket, record = self.desk.record(self.docket), self.record
        if docket is None or record is None:
            return ""
        if is_released(record, docket, self.desk.authority()):
            return say("hold.released")
        return word("standing", self.desk.standing(docket))

    def zone(self) -> str:
        """What is closed: the site's zone, or the whole trench or context where none is set."""
        record = self.record
        return str((record.value("zone") if record is not None else "") or say("zone_unset"))

    def reminders(self) -> list[str]:
        """What binds while the hold stands."""
        if self.in_place and is_licensed(self.desk.site_record()):
            conditions = conditions_of(self.desk.site_record()) or (say("stop.no_conditions"),)
            return [*conditions[:3], say("stop.licence_only"), say("stop.law")]
        keys = ("leave", "pictures", "word", "law") if self.in_place else QUERY_STEPS
        return [say(f"stop.{key}") for key in (("in_ground", *keys[:-2], keys[-1]) if self.unsaid else keys)]

    def log(self) -> list[Line]:
        """The steps, newest first."""
        found = []
        for change in self.desk.notebook.history(self.id):
            for path, value in change.set.items():
                if path.startswith("step/") and isinstance(value, Mapping):
                    custody = [
                        say("said", name=word("sheets.custody", one), value=value[one])
                        for one in CUSTODY
                        if value.get(one) and self._may_read(change.by)
                    ]
                    detail = [
                        *custody,
                        word("whom", value.get("whom")),
                        word("how", value.get("how")),
                        self._words(value, change.by),
                    ]
                    found.append(
                        Line(
                            at=when(value.get("at") or change.at),
                            what=word("step", value.get("what")),
                            detail=", ".join(part for part in detail if part),
                            by=str(change.by.get("name") or ""),
                        )
                    )
        return found[::-1]

    def _words(self, step: Mapping[str, Any], by: Mapping[str, Any]) -> str:
        """The free words of a step, which may name the place: for who may see what is closed, and who wrote them."""
        note = str(step.get("note") or "")
        return note if not note or self._may_read(by) else say("hold.words_closed")

    def _may_read(self, by: Mapping[str, Any]) -> bool:
        mine = bool(by.get("name")) and by.get("name") == self.desk.by["name"]
        return mine or self.desk.may("see_closed")

    def parts(self) -> list[Choice]:
        """What a hand-over says beside whom and how: a pad each, with what was typed."""
        return [
            Choice(
                f"step.part.{one}",
                word("sheets.custody", one),
                note=self.custody.get(one, ""),
                chosen=self.writing == one,
            )
            for one in CUSTODY
        ]

    def typed(self) -> str:
        """What the box holds: the note, or the part of a hand-over that is written."""
        return self.custody.get(self.writing, "") if self.writing else self.note

    def type(self, text: str) -> None:
        """Puts what the box holds where it belongs."""
        if self.writing:
            self.custody[self.writing] = text
        else:
            self.note = text

    def choices(self, group: str) -> list[Choice]:
        """The buttons of one part of the step that is being written."""
        keys = {"what": WHAT, "whom": WHOM, "how": HOW}[group]
        if group == "what" and not (self.in_place and self.desk.may("lift_in_emergency")):
            keys = tuple(key for key in keys if key != LIFTED)
        now = getattr(self, group)
        return [
            Choice(f"step.{group}.{key}", word({"what": "step"}.get(group, group), key), chosen=now == key)
            for key in keys
        ]

    def choose(self, group: str, key: str) -> None:
        """Sets, or unsets, a part of the step."""
        if group == "part":
            self.writing = "" if self.writing == key else key
            return
        setattr(self, group, "" if getattr(self, group) == key else key)
        if self.what != HANDED_OVER:
            self.custody, self.writing = {}, ""
        elif group == "what":
            self.writing = CUSTODY[0]

    def wanted(self) -> str:
        """What the step still wants, as a key; "" when it can be written."""
        if not self.what:
            return "need_what"
        if self.what in ("told", "authority_told") and not self.whom and not self.note:
            return "need_whom"
        if self.what == HANDED_OVER and not self.custody.get(CUSTODY[0], "").strip():
            return "need_receiver"
        if self.what == LIFTED and not (self.whom and self.note):
            return "need_leave"
        if self.what == "word" and not (self.whom and self.note):
            return "need_word"
        return "need_note" if self.what == "note" and not self.note else ""

    def add(self) -> bool:
        """Writes the step. Nothing in the log is ever replaced."""
        if self.wanted():
            return False
        step = {
            "what": self.what,
            "whom": self.whom,
            "how": self.how,
            "ref": "",
            "note": self.note,
            "at": self.desk.now(),
            **{one: text.strip() for one, text in self.custody.items() if text.strip()},
        }
        values: dict[str, Any] = {f"step/{self.desk.new_id()}": step}
        over: dict[str, list[str]] = {}
        if self.what == LIFTED and self.record is not None:
            # The hold stays what it was: only where the bone lies has changed.
            values["in_place"], over["in_place"] = False, self.record.head_ids().get("in_place", [])
        self.desk.save([Write(self.id, "hold", values, over)], last=self.desk.last)
        self.clear()
        return True

    # -- the exact place --

    def can_seal(self) -> bool:
        """Whether the cabin's public key is known, without which no place is kept."""
        return bool(self._key())

    def _key(self) -> str:
        return self.desk.seal_key()

    def keep_place(self) -> bool:
        """Seals the typed place to the cabin and keeps only that. Without a key nothing is kept, and it says so."""
        self.place_error = ""
        if not self.place.strip():
            self.place_error = say("place.empty")
            return False
        if not self.can_seal():
            self.place_error = say("place.no_key")
            return False
        try:
            sealed = seal(self.place.strip(), self._key(), self.id)
        except ValueError:
            self.place_error = say("place.bad_key")
            return False
        record = self.record
        heads = record.head_ids().get("place_sealed", []) if record is not None else []
        self.desk.save([Write(self.id, "hold", {"place_sealed": sealed}, {"place_sealed": heads})], last=self.desk.last)
        self.place = ""
        return True

    def place_kept(self) -> bool:
        """Whether a sealed place is stored."""
        record = self.record
        return record is not None and bool(record.value("place_sealed"))


def when(at: Any) -> str:
    """A stored time as day and minute."""
    text = str(at or "")
    return f"{text[:10]} {text[11:16]}" if len(text) >= 16 else text
