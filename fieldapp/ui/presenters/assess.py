"""Assessing on the tablet: a specialist's verdict over every answer that was seen, signed with the person's own key.

What is signed names the answers that stood on this screen when it was opened; one that comes later stands. Not here:
what counts (domain.human), fetching the key (presenters.key), who may ask (the role table).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.naming import NOTHING, named
from fieldapp.records.shapes import BONE_SEEN, SIDES, VERDICTS
from fieldapp.records.signing import sign
from fieldapp.sync.errors import PasswordRefused
from fieldapp.sync.personal_key import PersonalKey
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.fields import Room, paged
from fieldapp.ui.presenters.form_fields import reading_words
from fieldapp.ui.presenters.hold import when
from fieldapp.ui.texts import say, word

PARTS = ("seen", "verdict", "names", "signs", "words", "sign")
"""The parts of the screen, in the order of the work."""
NAMES = ("taxon", "element", "side")
WORDS = ("reasons", "portion", "ruled_out", "comparison")


class Assess:
    """An assessment that is being made.

    seen      ids of the answers and assessments it covers, as they stood when it was begun
    values    what was said so far; criteria: {key: "yes", "no" or "not_preserved"}
    naming    the name that is being chosen; search: what was typed to find it
    wording   the words that are being written
    """

    def __init__(self, desk: Desk, docket: str) -> None:
        self.desk = desk
        self.docket = docket
        record = desk.record(docket)
        assert record is not None
        self.record = record
        self.seen = sorted({*record.added("human"), *record.added("assessment")})
        self._changes = {one.id: one for one in desk.notebook.history(docket)}
        self.values: dict[str, Any] = {}
        self.criteria: dict[str, str] = {}
        self.naming, self.search, self.page = "taxon", "", 0
        self.wording = "reasons"

    @property
    def proposes(self) -> bool:
        """Whether it can only be a proposal, because the site's policy does not name this person."""
        by, policy = self.desk.by, self.desk.authority().policy
        return by["role"] != "human_osteologist" and by["person"] not in policy.zooarchaeologists

    # -- what is covered --

    def readings(self) -> list[str]:
        """Each answer and each assessment that this one covers, with who gave it."""
        lines = []
        for one in self.seen:
            path, _, change = one.rpartition("@")
            kind = path.partition("/")[0]
            value = self.record.added(kind)[one]
            value = value if isinstance(value, Mapping) else {}
            if kind == "human":
                what = word("human_answer", value.get("answer"))
                rule = value.get("by_rule")
                why = say("by_rule") if rule else str(value.get("why") or "")
            else:
                what = say("assess.earlier", verdict=word("verdict", value.get("verdict")), name=name_of(value))
                why = str(value.get("reasons") or "")
            said = self._changes.get(change)
            who = say("assess.by", name=said.by.get("name") or say("nobody"), at=when(said.at)) if said else ""
            lines.append(" · ".join(part for part in (what, why, who) if part))
        return lines

    def recorded(self) -> str:
        """What the bone was recorded as: no more than a beginning."""
        return reading_words(self.record.value("reading"))

    def own(self) -> bool:
        """Whether the one who assesses also gave one of the open answers: finding and clearing want two people."""
        mine = {key for key, one in self._changes.items() if one.by.get("name") == self.desk.by["name"]}
        return any(one.rpartition("@")[2] in mine for one in self.record.added("human"))

    # -- what is said --

    def choices(self, name: str) -> list[Choice]:
        """The verdicts, or what was seen."""
        keys = VERDICTS if name == "verdict" else BONE_SEEN
        now = self.values.get(name)
        return [Choice(f"assess.{name}.{key}", word(name, key), chosen=now == key) for key in keys]

    def names(self, room: Room) -> list[list[Choice]]:
        """What can be chosen for the name in hand, by what was typed."""
        know, now = self.desk.knowledge, self.values.get(self.naming)
        keys: list[str] = list(SIDES)
        if self.naming == "taxon":
            keys = [one for one in know.taxa if one in know.names.animals or one in know.names.groups]
        elif self.naming == "element":
            keys = [one for one in know.elements if one in know.names.parts]
        typed = self.search.strip().casefold()
        said = [(key, word(self.naming, key)) for key in keys]
        fitting = [one for one in said if typed in one[1].casefold()]
        fitting.sort(key=lambda one: not one[1].casefold().startswith(typed))
        found = [Choice(f"assess.{self.naming}.{key}", text, chosen=now == key) for key, text in fitting]
        return paged("assess.names", found, [], room, self.page)

    def slots(self) -> list[Choice]:
        """The names, and which is being chosen."""
        return [
            Choice(
                f"assess.slot.{one}",
                word(one, self.values.get(one)) or say("blank"),
                note=say(f"field.{one}"),
                chosen=self.naming == one,
            )
            for one in NAMES
        ]

    def as_recorded(self) -> None:
        """Takes the names from the reading, where they are names at all. It is still the one who signs that says so."""
        reading = self.record.value("reading")
        know = self.desk.knowledge.names
        for one, known in (("taxon", know.animals | know.groups), ("element", know.parts), ("side", frozenset(SIDES))):
            value = reading.get(one) if isinstance(reading, Mapping) else None
            if value in known:
                self.values[one] = value

    def put(self, name: str, key: str) -> None:
        """Says something; the same again takes it back."""
        if self.values.get(name) == key:
            self.values.pop(name)
        else:
            self.values[name] = key

    def asked(self) -> list[str]:
        """The criteria of the element that was named, a laboratory's left out."""
        element = str(self.values.get("element") or "")
        rows = self.desk.knowledge.criteria.values()
        return [one.key for one in rows if one.judge != "laboratory" and (not one.elements or element in one.elements)]

    def answer(self, key: str, said: str) -> None:
        """Says whether a criterion's sign was seen; the same again takes it back."""
        if self.criteria.get(key) == said:
            self.criteria.pop(key)
        else:
            self.criteria[key] = said

    # -- signing --

    def wanted(self) -> str:
        """What it still wants, as a key; "" when it can be signed."""
        values = self.values
        if "verdict" not in values:
            return "need_verdict"
        if "bone_seen" not in values:
            return "need_bone_seen"
        if values["verdict"] == human.NON_HUMAN and named(self.value(), self.desk.knowledge.names) == NOTHING:
            return "need_name"
        return "" if str(values.get("reasons") or "").strip() else "need_reasons"

    def value(self) -> dict[str, Any]:
        """What is signed."""
        words = {one: str(self.values.get(one) or "").strip() for one in WORDS}
        named_so = {one: self.values.get(one) for one in NAMES}
        portion = words.pop("portion") or None
        found = {"verdict": self.values.get("verdict"), "bone_seen": self.values.get("bone_seen"), "portion": portion}
        return {**found, **named_so, **words, "criteria": dict(self.criteria), "seen": list(self.seen)}

    def would(self) -> str:
        """What it comes to, before it is signed: a sentence."""
        if self.wanted():
            return say(f"assess.{self.wanted()}")
        by, policy = self.desk.by, self.desk.authority().policy
        void = human.why_void(human.Assessment(self.value(), by["person"], by["role"]), policy)
        if void:
            return say("assess.void", why=word("sheets.void", void))
        if self.values["verdict"] == "cannot_tell":
            return say("assess.stays")
        return say("assess.counts", n=len(self.seen))

    def sign(self, password: str, key: PersonalKey | None) -> str:
        """Signs and saves it; "" when done, else why not, as a sentence. Raises what the notebook raises."""
        if self.wanted() or key is None:
            return say(f"assess.{self.wanted()}") if self.wanted() else say("assess.no_key")
        try:
            private = key.unlock(password)
        except PasswordRefused:
            return say("assess.refused")
        path = f"assessment/{self.desk.new_id()}"
        site = self.record.site or self.desk.site
        value = sign(
            self.value(), private=private, person=key.person, key=key.key, site=site, record=self.docket, path=path
        )
        self.desk.save([Write(self.docket, "docket", {path: value})], last=self.desk.last)
        return ""


def name_of(value: Mapping[str, Any]) -> str:
    """The animal and the part that an assessment names, in words."""
    parts = [word(one, value.get(one)) for one in ("taxon", "element")]
    return ", ".join(part for part in parts if part)
