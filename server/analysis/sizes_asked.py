"""What tables of sizes leave open, and which values a question is about.

For: the options that these tables share, and the values of a unit with what was left out of them. Not for: any figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cached_property

from fieldapp.domain.assemblage import sizes
from fieldapp.domain.assemblage.results import Cell, LeftOut, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.sizes import Key, Value, Values
from fieldapp.domain.assemblage.specimens import Specimen
from server.analysis.asking import Asked, Option, left_out

ROW = "analysis.row"
GROWTH = Option("growth", lambda asked: sizes.GROWTH, ROW)
BURNT = Option("burnt", lambda asked: ("out", "in"), ROW)
ESTIMATED = Option("estimated", lambda asked: ("out", "in"), ROW)
WHICH = (GROWTH, BURNT, ESTIMATED)
"""Which measurements count."""


def picked(asked: Asked, option: Option) -> str:
    """What was chosen of an option's choices; the usual one where nothing, or something else, was. "" if none."""
    choices = option.choices(asked)
    said = asked.options.get(option.key, "")
    return said if said in choices else next(iter(choices), "")


def values_of(asked: Asked, specimens: Iterable[Specimen]) -> Values:
    """The values of some specimens, as the options have it."""
    growth, burnt, estimated = _which(asked)
    return sizes.values(
        specimens, asked.knowledge, growth, burnt == "in", estimated == "in", asked.selection.refits == "one"
    )


def all_values(asked: Asked) -> Values:
    """The values of all that is asked for: its choices ask for them again and again."""
    key = ("values of sizes", asked.selection, asked.hidden, _which(asked))
    return asked.gathered.once(key, lambda: values_of(asked, asked.animals))


def _which(asked: Asked) -> tuple[str, str, str]:
    growth, burnt, estimated = (picked(asked, option) for option in WHICH)
    return growth, burnt, estimated


def left(asked: Asked, unit: Unit | None, values: Values) -> tuple[LeftOut, ...]:
    """What counts nowhere, and what of the measured gives no value here."""
    own = (left_out(why, those) for why, those in values.out.items())
    return (*asked.left_out(unit), *(one for one in own if one is not None))


def code_word(key: Key) -> str:
    """A measurement as an option's word and on an axis: GL, or 3:GL where it is of the third bone of the foot."""
    return f"{key.position}:{key.code}" if key.position else key.code


class Chosen:
    """The animal, the bone and the measurements of a question, each as it was chosen or, else, the most frequent."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked

    @cached_property
    def values(self) -> list[Value]:
        """All values of what is asked for."""
        return all_values(self.asked).found

    @cached_property
    def taxa(self) -> Sequence[str]:
        """The animals that most is measured of, then the wider names under which several of them stand."""
        known = self.asked.knowledge
        own = _by_number(one.key.taxon for one in self.values)
        wider = dict.fromkeys(name for taxon in own for name in known.taxa[taxon].broader if known.taxa[name].named)
        several = (name for name in wider if sum(known.is_a(taxon, name) for taxon in own) > 1)
        return tuple(dict.fromkeys((*own, *several)))

    @cached_property
    def elements(self) -> Sequence[str]:
        """The bones of the animal."""
        return _by_number(one.key.element for one in self.values if self._of_taxon(one))

    @cached_property
    def codes(self) -> Sequence[str]:
        """The measurements of the bone."""
        return _by_number(code_word(one.key) for one in self.of(self.values))

    @cached_property
    def xs(self) -> Sequence[str]:
        """Measurements that stand beside another on some bone, the most frequent first, of those a length."""
        bones: dict[str, set[str]] = {}
        for one in self.of(self.values):
            if one.pieces == 1:
                bones.setdefault(one.bone or one.id, set()).add(code_word(one.key))
        counts = Counter(code for codes in bones.values() if len(codes) > 1 for code in codes)
        way = self.asked.knowledge.measures.way

        def place(code: str) -> tuple[int, bool, str]:
            return -counts[code], way(self.element, code_place(code)[1]) != "length", code

        return sorted(counts, key=place)

    @cached_property
    def ys(self) -> Sequence[str]:
        """The others of them."""
        return [code for code in self.xs if code != self.x]

    @cached_property
    def taxon(self) -> str:
        return self._picked("taxon", self.taxa)

    @cached_property
    def element(self) -> str:
        return self._picked("element", self.elements)

    @cached_property
    def code(self) -> str:
        return self._picked("code", self.codes)

    @cached_property
    def x(self) -> str:
        return self._picked("x", self.xs)

    @cached_property
    def y(self) -> str:
        return self._picked("y", self.ys)

    def of(self, values: Iterable[Value]) -> list[Value]:
        """Those values that are of the animal and the bone."""
        return [one for one in values if one.key.element == self.element and self._of_taxon(one)]

    def _of_taxon(self, one: Value) -> bool:
        return self.asked.knowledge.is_a(one.key.taxon, self.taxon)

    def _picked(self, key: str, choices: Sequence[str]) -> str:
        said = self.asked.options.get(key, "")
        return said if said in choices else next(iter(choices), "")


def _by_number(words: Iterable[str]) -> list[str]:
    counts = Counter(words)
    return sorted(counts, key=lambda word: (-counts[word], word))


def code_place(code: str) -> tuple[str, str]:
    """(ray, measurement) of a word of `code_word`."""
    position, _, own = code.rpartition(":")
    return position, own


TAXON = Option("taxon", lambda asked: Chosen(asked).taxa, "taxon")
ELEMENT = Option("element", lambda asked: Chosen(asked).elements, "element")
CODE = Option("code", lambda asked: Chosen(asked).codes)
X = Option("x", lambda asked: Chosen(asked).xs)
Y = Option("y", lambda asked: Chosen(asked).ys)


def word_or_none(of: str, key: str) -> Cell:
    """A word; None for none."""
    return Word(of, key) if key else None
