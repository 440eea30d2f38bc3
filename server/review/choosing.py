"""What a field of a form at the desk offers to choose from, in words. Not here: what is typed (forms)."""

from __future__ import annotations

from typing import NamedTuple

from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.knowledge import Knowledge
from server.review import words
from server.review.docket_form import DocketForm


class Option(NamedTuple):
    """A choice: its key, and it in words."""

    key: str
    words: str


class Choosing:
    """The choices for the bone in a form; without a form, those of words alone."""

    def __init__(self, knowledge: Knowledge, form: DocketForm | None = None) -> None:
        self._knowledge, self._form = knowledge, form

    def options(self, of: str) -> list[Option]:
        """The words of a list in their order. Scores and stages are chosen by their number."""
        own = getattr(self, f"_{of}", None)
        if own is not None:
            return list(own())
        keys = self._knowledge.words.get(of, ())
        return [Option(_number(key), words.word(of, key)) for key in keys]

    def groups(self, of: str) -> list[tuple[str, list[Option]]]:
        """Elements by region, animals by how finely they are named: each group by its name."""
        know = self._knowledge
        found: dict[str, list[Option]] = {}
        rows = (
            [(one.key, words.say(f"edit.region.{one.region}")) for one in know.elements.values()]
            if of == "element"
            else [(one.key, words.say(f"edit.taxon.{one.kind}")) for one in know.taxa.values()]
        )
        for key, group in rows:
            found.setdefault(group, []).append(Option(key, words.word(of, key)))
        for options in found.values():
            options.sort(key=lambda one: alphabetical(one.words))
        return list(found.items())

    def _portion(self) -> list[Option]:
        if self._form is None:
            return []
        element = self._form.text("element")
        return [Option(key, words.part(f"portions/{key}", element)) for key in self._form.portions()]

    def _position(self) -> list[Option]:
        if self._form is None:
            return []
        known = self._knowledge.positions_of(self._form.text("element"), self._form.text("taxon") or None)
        return [Option(one, one) for one in known]

    def _tooth(self) -> list[Option]:
        return [Option(key, words.word("tooth", key)) for key in self._knowledge.teeth.teeth]

    def _wear_scheme(self) -> list[Option]:
        return [
            Option(key, words.word("wear_scheme", key))
            for key, one in self._knowledge.teeth.schemes.items()
            if one.kind == "tooth"
        ]

    def measure(self, code: str) -> str:
        """What a code of a measurement stands for on the bone in the form; "" if it has none of that code."""
        if self._form is None:
            return ""
        row = self._knowledge.measures.one(
            self._form.text("element") or None,
            code,
            self._form.text("taxon") or None,
            self._form.text("position") or None,
        )
        return words.word("measure", row.text) if row is not None else ""


def _number(key: str) -> str:
    return key.rpartition("_")[2] if key.startswith(("stage_", "score_")) else key
