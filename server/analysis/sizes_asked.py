"""What tables of sizes leave open, and which values a question is about.

For: the options that these tables share, and the values of a unit with what was left out of them. Not for: any figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from fieldapp.domain.assemblage import sizes
from fieldapp.domain.assemblage.results import Cell, Column, LeftOut, Word
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
    growth, burnt, estimated = (picked(asked, option) for option in WHICH)
    return sizes.values(specimens, asked.knowledge, growth, burnt == "in", estimated == "in")


def left(asked: Asked, unit: Unit | None, values: Values) -> tuple[LeftOut, ...]:
    """What counts nowhere, and what of the measured gives no value here."""
    own = (left_out(why, those) for why, those in values.out.items())
    return (*asked.left_out(unit), *(one for one in own if one is not None))


def code_word(key: Key) -> str:
    """A measurement as an option's word and on an axis: GL, or 3:GL where it is of the third bone of the foot."""
    return f"{key.position}:{key.code}" if key.position else key.code


def _taxa(asked: Asked) -> Sequence[str]:
    """The animals that most is measured of, then the wider names under which several of them stand."""
    counts = Counter(value.key.taxon for value in values_of(asked, asked.animals).found)
    own = sorted(counts, key=lambda taxon: (-counts[taxon], taxon))
    wider = dict.fromkeys(
        name for taxon in own for name in asked.knowledge.taxa[taxon].broader if asked.knowledge.taxa[name].named
    )
    several = (name for name in wider if sum(asked.knowledge.is_a(taxon, name) for taxon in own) > 1)
    return tuple(dict.fromkeys((*own, *several)))


TAXON = Option("taxon", _taxa, "taxon")


def _of_taxon(asked: Asked) -> list[Value]:
    taxon = picked(asked, TAXON)
    return [one for one in values_of(asked, asked.animals).found if asked.knowledge.is_a(one.key.taxon, taxon)]


def _elements(asked: Asked) -> Sequence[str]:
    counts = Counter(one.key.element for one in _of_taxon(asked))
    return sorted(counts, key=lambda element: (-counts[element], element))


ELEMENT = Option("element", _elements, "element")


def _codes(asked: Asked) -> Sequence[str]:
    element = picked(asked, ELEMENT)
    counts = Counter(code_word(one.key) for one in _of_taxon(asked) if one.key.element == element)
    return sorted(counts, key=lambda code: (-counts[code], code))


CODE = Option("code", _codes)


def chosen_values(asked: Asked, specimens: Iterable[Specimen]) -> tuple[Values, list[Value]]:
    """All values of some specimens, and those of the animal and the bone that were asked for."""
    taxon, element = picked(asked, TAXON), picked(asked, ELEMENT)
    all_values = values_of(asked, specimens)
    own = (one for one in all_values.found if one.key.element == element)
    return all_values, [one for one in own if asked.knowledge.is_a(one.key.taxon, taxon)]


def word_or_none(of: str, key: str) -> Cell:
    """A word; None for none."""
    return Word(of, key) if key else None


def cited(source: str, seen: str) -> str:
    """A source as results name it, with whether it was seen."""
    return source if seen == "-" else f"{source} ({seen})"


UNIT = (Column("where"), Column("recovery"), Column("mesh_mm", "number"))
"""Which unit a row is of, where units stand beside each other."""


def unit_cells(asked: Asked, unit: Unit) -> tuple[Cell, Cell, Cell]:
    """The cells of UNIT."""
    place = asked.gathered.numbers.get(unit.place, unit.place) if unit.by == "context" else unit.place
    way, _, mesh = unit.way.partition(":")
    return place or None, Word("analysis.way", way), float(mesh) if mesh else None
