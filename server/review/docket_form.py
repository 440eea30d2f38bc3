"""The form over a docket: its reading, one whole value, beside the fields and items that every form has (forms).

The table of parts belongs to one bone. Where another element was chosen, its parts have to be shown before anything is
written (`asks_for_parts`), and what was said of the other bone's parts goes. Not here: HTML, and writing (editing).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fieldapp.domain.knowledge import Centre, Knowledge, Portion
from fieldapp.records import answers as readings
from server.review import forms
from server.review.forms import YES, Item

SLOTS = ("element", "taxon", "side", *readings.FURTHER)
"""Fields that are slots of the answers under the same name."""
ALL = ("most", "absent")
"""What every portion that is not examined can be said to be at once."""
STATES = ("most", "part", "absent", readings.NOT_EXAMINED)


class DocketForm(forms.Form):
    """See forms.Form. `knowledge`: the site's. Fields of the reading beside SLOTS: `cf`, `stage`, `compared`,
    `portion.<key>`, `fusion.<key>`; `rest`: what all portions not examined are; `parts_of`: the bone whose parts the
    form showed."""

    def __init__(self, *args: Any, knowledge: Knowledge) -> None:
        super().__init__("docket", *args)
        self.knowledge = knowledge
        self.base = self.values.get("reading")
        self.opening |= self._opened()
        sent = self.given or {}
        self.typed = {**self.opening, **sent}
        self.asks_for_parts = False
        if self.given is not None and "parts_of" in sent:
            self._follow(sent["parts_of"])
        if self.text("rest") in ALL:
            for key in self.portions():
                if self.state(key) == readings.NOT_EXAMINED:
                    self.typed[f"portion.{key}"] = self.text("rest")
            self.typed["rest"] = ""

    def _opened(self) -> dict[str, str]:
        answers = readings.answers_of(self.base, self.knowledge)
        written = self.base if isinstance(self.base, Mapping) else {}
        found = {slot: forms.shown(written.get(slot)) for slot in SLOTS}
        found |= {slot: text for slot, text in answers.items() if slot.startswith(("portion.", "fusion."))}
        found["cf"] = YES if answers.get("certainty") == "cf" else ""
        found["compared"] = forms.shown(written.get("compared"))
        found["stage"] = ""
        return found

    def _follow(self, parts_of: str) -> None:
        """Another bone than the one whose parts were shown: what was said of those goes, and its own are asked for."""
        if self.parts_of == parts_of:
            return
        old, _, taxon = parts_of.partition("|")
        before = (self._parts(old, taxon), self._centres(old, taxon))
        if self.text("element") != old:
            for name in [one for one in self.typed if one.startswith(("portion.", "fusion."))]:
                self.typed[name] = ""
            self.typed["position"] = ""
            self._side()
        now = (list(self.portions()), [one.key for one in self.centres()])
        self.asks_for_parts = now != before and any(now)

    def _side(self) -> None:
        """A bone without sides has none of the other bone's."""
        known = self.knowledge.elements.get(self.text("element"))
        if known is not None and not known.sided:
            self.typed["side"] = "midline" if known.midline else ""
        elif self.text("side") == "midline" and not (known and known.midline):
            self.typed["side"] = ""

    # -- what is shown

    @property
    def parts_of(self) -> str:
        """The bone whose parts the form shows."""
        return f"{self.text('element')}|{self.text('taxon')}"

    def portions(self) -> Mapping[str, Portion]:
        """The portions of the bone in the form, along the bone."""
        return self.knowledge.portion_map(self.text("element"), self.text("taxon") or None)

    def state(self, key: str) -> str:
        """The state of a portion as typed."""
        return self.text(f"portion.{key}") or readings.NOT_EXAMINED

    def centres(self) -> tuple[Centre, ...]:
        """The fusion centres of the bone in the form."""
        return self.knowledge.centres_of(self.text("element"), self.text("taxon") or None)

    def cannot_be_seen(self, centre: Centre) -> bool:
        """Whether both sides of the growth line are absent."""
        return readings.cannot_be_seen(centre, self._answers(self.typed), self.knowledge)

    def _parts(self, element: str, taxon: str) -> list[str]:
        return list(self.knowledge.portion_map(element, taxon or None))

    def _centres(self, element: str, taxon: str) -> list[str]:
        return [one.key for one in self.knowledge.centres_of(element, taxon or None)]

    def codes(self) -> dict[str, str]:
        """{code of a measurement: "" where all that it needs is there, else "unseen" where nobody has looked at some of
        it, or "lacking"} of the bone in the form, those first."""
        answers = self._answers(self.typed)
        most = [key for key in self.portions() if self.state(key) == "most"]
        found = self.knowledge.measures.possible(
            self.text("element") or None,
            self.text("taxon") or None,
            most,
            readings.fusion_states(answers, self.knowledge),
            self.text("position") or None,
        )
        return {
            one.measurement.code: self._wants(one.lacking) for one in sorted(found, key=lambda one: bool(one.lacking))
        }

    def _wants(self, lacking: Sequence[Iterable[str]]) -> str:
        """Of each group one portion would have to be there, over half of it."""
        if not lacking:
            return ""
        unseen = all(any(self.state(key) == readings.NOT_EXAMINED for key in group) for group in lacking)
        return "unseen" if unseen else "lacking"

    def empty(self, sort: str) -> list[Item]:
        """Of measurements, a row for each that the bone has and that is not written yet."""
        if sort != "measure":
            return super().empty(sort)
        written = {one.code for one in self._written() if one.sort == "measure"}
        typed = {one.split("/")[2].partition(".")[0] for one in self.typed if one.startswith("new/measure/")}
        codes = [*self.codes(), *sorted(typed - {""})]
        return [Item(f"new/measure/{one}", sort, True, one) for one in dict.fromkeys(codes) if one not in written]

    # -- what was altered

    def altered(self) -> dict[str, Any]:
        """As for every form; and `reading` where anything of it was altered."""
        found = super().altered()
        if self.given is not None and (new := self.reading()) != self.base:
            found["reading"] = new
        return found

    def reading(self) -> Any:
        """The reading as the form has it: what it was shown with, where nothing of it was altered."""
        now, before = self._answers(self.typed), self._answers(self.opening)
        compared, stage = self.text("compared"), self.text("stage")
        if _said(now) == _said(before) and forms.same(compared, self.opening["compared"]):
            return {**self.base, "stage": stage} if isinstance(self.base, Mapping) and stage else self.base
        new = readings.reading_of(now, self.knowledge, stage or "analysis", self._base())
        if isinstance(new, Mapping):
            return {**new, "compared": compared}
        if compared:
            return {**readings.reading_of({}, self.knowledge, stage or "analysis", {}), "compared": compared}
        return new

    def _base(self) -> Any:
        # Of another bone nothing stays that a form cannot show: it was said of the one before.
        if isinstance(self.base, Mapping) and self.base.get("element") == (self.text("element") or None):
            return self.base
        return {} if isinstance(self.base, Mapping) else None

    def _answers(self, texts: Mapping[str, str]) -> dict[str, Any]:
        """The answers that fields of the reading give."""
        found: dict[str, Any] = {slot: text for slot in SLOTS if (text := texts.get(slot, ""))}
        if texts.get("cf"):
            found["certainty"] = "cf"
        element, taxon = texts.get("element", ""), texts.get("taxon", "")
        for group, own in (("portion", self._parts(element, taxon)), ("fusion", self._centres(element, taxon))):
            for key in own:
                if (state := texts.get(f"{group}.{key}", "")) not in ("", readings.NOT_EXAMINED):
                    found[f"{group}.{key}"] = state
        return found


def _said(answers: Mapping[str, Any]) -> dict[str, str]:
    """The answers without the white space that a browser may alter."""
    return {slot: " ".join(text.split()) for slot, text in answers.items()}
