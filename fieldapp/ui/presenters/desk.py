"""All that the screens ask of the notebook, the tables and the rules, in the screens' own terms.

One place, so that presenters know neither journal nor change. Not for wording beyond what a problem says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import human, ids, rules
from fieldapp.domain.ids import hold_id
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records import raising, second
from fieldapp.records.checking import Among
from fieldapp.records.fold import ADD_ONLY, DELETED, Record
from fieldapp.records.standing import Authority, authority, joined_answer, joined_to
from fieldapp.store.errors import StoreError
from fieldapp.store.notebook import Edit, Notebook
from fieldapp.store.photos import Photos
from fieldapp.ui.presenters.problems import Found, worst_first

PLACE, CABIN, LOCAL_NAMES, SPARE_LABEL = "place", "cabin", "people", "spare_label"
"""Settings: where the recorder is (person, context, bag, screen), the cabin met at enrolment, names typed here, and a
label that was handed out and not used."""


@dataclass(frozen=True)
class Write:
    """One record's part of a save."""

    record: str
    kind: str
    set: Mapping[str, Any]
    over: Mapping[str, Sequence[str]] = field(default_factory=dict)


class Desk:
    """The notebook as the screens see it.

    stage   the stage of work every new reading carries
    last    (id, label) of the new docket saved last, while it can be taken back
    changes how often something was saved or came in, for those who keep what they worked out
    """

    add_only = ADD_ONLY

    def __init__(self, notebook: Notebook, knowledge: Knowledge, stage: str = "trench") -> None:
        self.notebook = notebook
        self.knowledge = knowledge
        self.stage = stage
        self.last: tuple[str, str] | None = None
        self.place: dict[str, Any] = dict(notebook.setting(PLACE, {}))
        self._among: dict[str, Among] = {}
        self._contexts: dict[str, list[str]] | None = None
        self._same: dict[str, list[str]] = {}
        self._authority: Authority | None = None
        self._standings: dict[str, tuple[Record, str]] = {}
        self.changes = 0
        self._hiding: tuple[tuple[int, str, str], dict[str, Record]] | None = None
        self.photos = Photos(notebook.folder)

    # -- who and where --

    @property
    def site(self) -> str:
        """The site's id, "" before setup."""
        return self.notebook.site

    @property
    def code(self) -> str:
        """The site's code."""
        return self.notebook.code

    @property
    def letter(self) -> str:
        """The tablet's letter."""
        return self.notebook.letter

    @property
    def person(self) -> dict[str, str] | None:
        """{person, name, role} of the one who records, None while nobody is chosen."""
        return self.place.get("person")

    @property
    def context(self) -> str | None:
        """The context that is open."""
        return self.place.get("context")

    @property
    def bag(self) -> str | None:
        """The bag that is chosen in it."""
        return self.place.get("bag")

    def go(self, **places: Any) -> None:
        """Notes where the recorder is now, so that the tablet opens there again."""
        new = {**self.place, **places}
        if new != self.place:
            self.notebook.set_setting(PLACE, new)
            self.place = new

    @property
    def by(self) -> dict[str, str]:
        """Who the next change is by."""
        return dict(self.person or {"person": "", "name": "", "role": "recorder"})

    def site_record(self) -> Record | None:
        """What is known of the site; None until the cabin has told it."""
        return self.notebook.record("site", self.site) if self.site else None

    def site_value(self, path: str, default: Any = None) -> Any:
        """A value of the site's record."""
        record = self.site_record()
        return default if record is None else record.value(path, default)

    @property
    def cabin(self) -> dict[str, Any]:
        """What enrolment noted of the cabin, {} without one."""
        return dict(self.notebook.setting(CABIN) or {})

    def unsent(self) -> int:
        """How many own changes no cabin has answered for."""
        return self.notebook.unsent_count(str(self.cabin.get("fingerprint", "")))

    # -- asking --

    def record(self, record_id: str) -> Record | None:
        """The record with an id, None if there is none. Not to be altered."""
        return self.notebook.load().get(record_id)

    def persons(self) -> list[Record]:
        """The people the cabin has told of."""
        return [one for one in self.notebook.records("person") if one.value("active", True) is not False]

    def local_names(self) -> list[str]:
        """Names typed on this tablet, newest first."""
        return [one for one in self.notebook.setting(LOCAL_NAMES, []) if isinstance(one, str)]

    def contexts(self) -> list[Record]:
        """The site's contexts, by number."""
        return sorted(self.notebook.records("context"), key=lambda one: _by_number(one.value("number")))

    def context_called(self, number: str) -> str:
        """The id of the context with a number; of one to be made, where none has it.

        A number that was given to another context meanwhile, when its own was numbered anew, makes a new id: what is
        recorded from now on is not to be put to the old one.
        """
        wanted = ids.context_number(number)
        held = sorted(one.id for one in self.contexts() if ids.context_number(str(one.value("number") or "")) == wanted)
        own = ids.context_ids(self.site, wanted)
        return held[0] if held else next(one for one in own if self.record(one) is None)

    def bags(self, context: str) -> list[Record]:
        """A context's bags, first come first."""
        return [one for one in self.notebook.records("bag") if one.value("context") == context]

    def context_of(self, docket: Record) -> str | None:
        """A docket's context: its bag's, or its own where there is no bag."""
        bag = self.record(docket.value("bag") or "")
        context = (bag.value("context") if bag is not None else None) or docket.value("context")
        return context if isinstance(context, str) else None

    def dockets(self, context: str) -> list[Record]:
        """A context's dockets, first come first; of deleted ones those that stand raised, which nothing takes away."""
        index = self._index()
        found = (self.record(one) for one in index.get(context, ()))
        return [
            one for one in found if one is not None and (one.life() != "deleted" or self.standing(one) in human.RAISED)
        ]

    def _index(self) -> dict[str, list[str]]:
        """{context: its dockets}; and who says to be the same bone as whom, which is written at one end only."""
        if self._contexts is None:
            self._contexts, self._same = {}, {}
            for one in self.notebook.records("docket", deleted=True):
                self._contexts.setdefault(self.context_of(one) or "", []).append(one.id)
                for other in one.linked("same_as"):
                    self._same.setdefault(other, []).append(one.id)
        return self._contexts

    def authority(self) -> Authority:
        """Who may decide on the human question here."""
        if self._authority is None:
            self._authority = authority(self.site_record(), self.notebook.records("person"), self.knowledge.names)
        return self._authority

    def standing(self, docket: Record) -> str:
        """Where a docket stands on the human question, with those said to be the same bone."""
        self._index()
        if docket.id in self._same or docket.linked("same_as"):
            bone = joined_to(docket, self.record, lambda one: self._same.get(one, ()))
            return joined_answer(bone, self.authority())
        # A record in hand never changes; a change makes another. So what was worked out for this one holds.
        known = self._standings.get(docket.id)
        if known is None or known[0] is not docket:
            known = self._standings[docket.id] = docket, joined_answer([docket], self.authority())
        return known[1]

    def is_raised(self, docket: Record) -> bool:
        """Whether a docket stands raised. Quick for the many of which nobody ever said that it may be human."""
        self._index()
        joined = docket.id in self._same or any(path.startswith("same_as/") for path in docket.heads)
        doubted = joined or any(
            path.startswith("assessment/") or (path.startswith("human/") and human.answer_of(value) in human.RAISED)
            for path, heads in docket.heads.items()
            for value in heads.values()
        )
        return doubted and self.standing(docket) in human.RAISED

    def among(self, context: str) -> Among:
        """A context with all that lies in it, for the rules."""
        found = self._among.get(context)
        if found is None:
            bags = self.bags(context)
            around = [self.record(context), self.site_record(), *(self.record(_sample(bag)) for bag in bags)]
            records = [*bags, *self.dockets(context), *(one for one in around if one is not None)]
            found = self._among[context] = Among(records, self.knowledge)
        return found

    def hiding(self) -> Mapping[str, Record]:
        """{docket: its second reading} of those that who records is to read again, blind: the first is not shown."""
        now = (self.changes, self.by["person"], self.by["role"])
        if self._hiding is None or self._hiding[0] != now:
            asked = self.notebook.records(second.KIND) if self.may("second_reading") else []
            self._hiding = now, second.hiding(asked, self.by["person"])
        return self._hiding[1]

    def problems(self, docket: Record) -> list[Found]:
        """What the rules find in a stored docket, worst first; a disputed reading is looked at in every version."""
        among = self.among(self.context_of(docket) or "")
        return worst_first([one.problem for one in among.check(docket)], self.knowledge)

    def check(self, docket: str, values: Mapping[str, Any], context: str, new: bool = False) -> list[Found]:
        """What the rules find in a docket's values, stored or not, worst first."""
        bag, place, among = self.record(values.get("bag") or ""), self.record(context), self.among(context)
        site, sample = self.site_record(), self.record(_sample(bag)) if bag is not None else None
        around = rules.Around(
            record=docket,
            new=new,
            context=place.values() if place is not None else None,
            context_id=context,
            bag=bag.values() if bag is not None else None,
            site=site.values() if site is not None else None,
            sample=sample.values() if sample is not None else None,
            siblings=[
                among.values(one)
                for one in self.dockets(context)
                if one.id != docket and bag is not None and one.value("bag") == bag.id
            ],
        )
        return worst_first(rules.check_docket(values, around, among.knowledge), self.knowledge)

    def may(self, act: str) -> bool:
        """Whether the one who records may do an act."""
        return self.knowledge.allowed(act, self.by["role"]) == "yes"

    # -- drafts --

    def draft(self, key: str) -> Any:
        """A half-made form, None if there is none."""
        return self.notebook.drafts().get(key)

    def keep_draft(self, key: str, value: Mapping[str, Any]) -> None:
        """Keeps a half-made form; on disk on return."""
        self.notebook.draft(key, value)

    def drop_draft(self, key: str) -> None:
        """Forgets a half-made form."""
        self.notebook.drop_draft(key)

    # -- saving --

    def new_id(self) -> str:
        """A new random id."""
        return self.notebook.new_id()

    def new_label(self) -> str:
        """A new label, or the one of a form that was left before anything was entered; no bone ever had it."""
        spare = self.notebook.setting(SPARE_LABEL)
        if spare:
            self.notebook.set_setting(SPARE_LABEL, None)
            if str(spare).startswith(f"{self.code} {self.letter}"):
                return str(spare)
        return str(self.notebook.next_label())

    def give_back(self, label: str) -> None:
        """A label that nothing was entered under: the next form takes it."""
        self.notebook.set_setting(SPARE_LABEL, label)

    def now(self) -> str:
        """The present time, ISO 8601 with zone."""
        return self.notebook.clock().isoformat(timespec="milliseconds")

    def save(self, writes: Sequence[Write], drop: str | None = None, last: tuple[str, str] | None = None) -> None:
        """Saves all of `writes` as one, and forgets the draft `drop` with it. Raises what the notebook raises."""
        if writes:
            edits = [Edit(one.kind, one.record, one.set, one.over) for one in writes]
            self.notebook.save_many(edits, self.by, finishes=drop)
        elif drop:
            self.drop_draft(drop)
        self.last = last
        self._saved(writes)

    def _saved(self, writes: Sequence[Write]) -> None:
        """Follows an own save where that is little; anything that moves records about is worked out anew."""
        if any(_moves(one) for one in writes):
            self.refresh()
            return
        self.changes += 1
        self._among.clear()
        for one in writes:
            if one.kind == "docket" and "label" in one.set and self._contexts is not None:
                record = self.record(one.record)
                if record is not None:
                    self._contexts.setdefault(self.context_of(record) or "", []).append(one.record)

    def refresh(self) -> None:
        """Something has come in: forget what was worked out."""
        self.changes += 1
        self._contexts = None
        self._authority = None
        self._standings.clear()
        self._among.clear()

    def make_context(self, number: str, kind: str, grave_like: str) -> str:
        """Makes a context, or adds what is said of it to the one with that number; its id."""
        context = self.context_called(number)
        known = self.record(context)
        values: dict[str, Any] = {"number": ids.context_number(number), "type": kind, "grave_like": grave_like}
        over: dict[str, list[str]] = {}
        if known is None:
            values["state"] = "open"
        else:
            values = {path: value for path, value in values.items() if known.value(path) != value}
            heads = known.head_ids()
            over = {path: heads[path] for path in values if path in heads}
        if values:
            self.save([Write(context, "context", values, over)])
        return context

    def make_bag(self, context: str, recovery: str, mesh_mm: float | None = None) -> str:
        """Makes a bag in a context; its id."""
        bag = self.new_id()
        values: dict[str, Any] = {"label": self.new_label(), "context": context, "recovery": recovery, "state": "open"}
        if mesh_mm is not None:
            values["mesh_mm"] = mesh_mm
        self.save([Write(bag, "bag", values)])
        return bag

    def make_person(self, name: str) -> dict[str, str]:
        """Somebody whom the cabin does not know (yet): recorded by name, with the least of rights."""
        return {"person": "", "name": " ".join(name.split()), "role": "recorder"}

    def take_back_last(self) -> str:
        """Deletes the new docket saved last, naming every head. Its label, never used again; "" if there is none."""
        if self.last is None:
            return ""
        docket, label = self.last
        record = self.record(docket)
        if record is None:
            return ""
        self.save([Write(docket, "docket", {"deleted": True}, record.head_ids())])
        return label

    def delete(self, record_id: str) -> str:
        """Deletes a record, naming every head that is seen; its label, "" if there is none."""
        record = self.record(record_id)
        if record is None:
            return ""
        self.save([Write(record_id, record.kind, {"deleted": True}, record.head_ids())])
        self.refresh()
        return str(record.value("label") or "")

    def bring_back(self, record_id: str) -> str:
        """Takes a deletion back, whoever made it; the record's label."""
        record = self.record(record_id)
        if record is None:
            return ""
        heads = record.head_ids().get(DELETED, [])
        self.save([Write(record_id, record.kind, {DELETED: False}, {DELETED: heads})])
        self.refresh()
        return str(record.value("label") or "")

    def seal_key(self) -> str:
        """The cabin's public key: from the site's record, or as enrolment noted it; "" where it is not known."""
        return str(self.site_value("cabin_key") or self.cabin.get("seal_key") or "")

    def close_off(self, pictures: Sequence[str]) -> None:
        """After a raise is on the medium: seals the files of closed pictures to the cabin (without its key they stay,
        on this tablet alone), and writes the journal without the half-made forms of before, which had it in the clear.

        The raise stands whatever becomes of this: a medium that is full is tidied at the next quiet moment.
        """
        with suppress(StoreError, OSError):
            if key := self.seal_key():
                for sha256 in pictures:
                    self.photos.seal(sha256, key)
            self.notebook.compact()

    def hold_writes(self, docket: str, context: str, tier: str, lifted: bool = False) -> list[Write]:
        """What opens the hold of a docket, or raises the one there is; nothing if it stands already. `lifted`: somebody
        has said so; what nobody has said of a query is left open."""
        hold = hold_id(docket)
        zone = self.site_value("zone_text") or ""
        found = raising.hold_write(self.record(hold), docket, context, tier, zone, lifted)
        return [Write(hold, "hold", found.set, found.over)] if found is not None else []


def _sample(bag: Record) -> str:
    """The id of the sample a bag came out of, "" if none."""
    found = bag.value("sample")
    return found if isinstance(found, str) else ""


def _moves(write: Write) -> bool:
    """Whether a save may change where dockets lie, what they are joined to, or who may decide."""
    if write.kind == "docket":
        # A docket gets its label with its first change, and its bag or context with it.
        new = "label" in write.set and not write.over
        return any(path.startswith("same_as/") for path in write.set) or (
            not new and any(path in write.set for path in ("label", "bag", "context"))
        )
    if write.kind == "bag":
        return bool(write.over)
    return write.kind not in ("context", "hold")


def _by_number(number: Any) -> tuple[int, str]:
    """Contexts in the order of their numbers; letters behind."""
    text = str(number or "")
    digits = "".join(one for one in text if one.isdigit())
    return (int(digits) if digits else 10**9, text)
