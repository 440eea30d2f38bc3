"""Reference values about size: factors of withers height, size classes of horses, standards of the log size index.

For: the tables withers_factors, horse_size_classes and size_standards as plain values, and the standards that a site
has loaded for itself. Not for: what is worked out with them (sizes, withers), or ranges (domain.measures).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.cells import Cells, Tables, cells_of
from fieldapp.domain.entries import Element, Taxon
from fieldapp.domain.samples import amount

NAMES = ("withers_factors", "horse_size_classes", "size_standards")
SEXES = ("female", "male", "castrate")
KINDS = ("factor", "regression", "derived", "one_animal", "bound")
TRUST = ("high", "medium", "low")
OWN = "site"
"""What `seen` says of a standard that the site has loaded: it answers for the figures itself."""


@dataclass(frozen=True, slots=True)
class Factor:
    """Withers height in millimetres = factor x measurement + intercept.

    sex       of the animals it holds for; "" for any
    position  the bone of the foot it is meant for, or ""
    kind      "factor"; "regression" (with an intercept); "derived" (worked out here from a published pair);
              "one_animal" (a check value of one skeleton); "bound" (a lower limit, no estimate)
    trust     how far the figure itself is trusted to be what its source prints
    """

    taxon: str
    sex: str
    element: str
    position: str
    code: str
    factor: float
    intercept_mm: float
    kind: str
    trust: str
    name: str
    note: str
    source: str
    seen: str

    def height_mm(self, mm: float) -> float:
        """The height for a measurement."""
        return self.factor * mm + self.intercept_mm


@dataclass(frozen=True, slots=True)
class SizeClass:
    """A class of withers heights: from `from_cm` on (None: open), below `below_cm`."""

    key: str
    taxon: str
    from_cm: float | None
    below_cm: float | None
    note: str
    source: str
    seen: str

    def holds(self, cm: float) -> bool:
        """Whether a height lies in it; one at the border lies in the class above."""
        return (self.from_cm is None or cm >= self.from_cm) and (self.below_cm is None or cm < self.below_cm)


@dataclass(frozen=True, slots=True)
class Standard:
    """One measurement of the animal, or the mean of the animals, that others are compared with under `name`."""

    name: str
    taxon: str
    element: str
    position: str
    code: str
    mm: float
    note: str
    source: str
    seen: str


@dataclass(frozen=True)
class Sizes:
    """The three tables, in their order."""

    factors: tuple[Factor, ...]
    classes: tuple[SizeClass, ...]
    standards: tuple[Standard, ...]


def read(tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Sizes:
    """Sizes from the tables named in NAMES. Raises TableFault."""
    return Sizes(
        tuple(_factor(cells, taxa, elements) for cells in cells_of("withers_factors", tables)),
        tuple(_class(cells, taxa) for cells in cells_of("horse_size_classes", tables)),
        tuple(_standard(cells, taxa, elements) for cells in cells_of("size_standards", tables)),
    )


def _above_nought(cells: Cells, column: str) -> float:
    found = cells.number(column)
    if found is None or not found > 0:
        raise cells.fault(f"`{column}` is no figure above 0")
    return found


def _factor(cells: Cells, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Factor:
    kind, intercept = cells.one_of("kind", *KINDS), cells.number("intercept_mm") or 0.0
    if (kind == "regression") != (intercept != 0):
        raise cells.fault("a regression, and it alone, has an intercept")
    return Factor(
        taxon=cells.known("taxon", taxa),
        sex=cells.one_of("sex", "", *SEXES),
        element=cells.known("element", elements),
        position=cells.text("position"),
        code=cells.text("code"),
        factor=_above_nought(cells, "factor"),
        intercept_mm=intercept,
        kind=kind,
        trust=cells.one_of("trust", *TRUST),
        name=cells.text("name"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _class(cells: Cells, taxa: Mapping[str, Taxon]) -> SizeClass:
    low, high = cells.number("from_cm"), cells.number("below_cm")
    if low is not None and high is not None and not low < high:
        raise cells.fault("a class ends above where it begins")
    taxon = cells.known("taxon", taxa)
    return SizeClass(cells.key(), taxon, low, high, cells.text("note"), cells.text("source"), cells.text("seen"))


def _standard(cells: Cells, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Standard:
    return Standard(
        name=cells.text("name"),
        taxon=cells.known("taxon", taxa),
        element=cells.known("element", elements),
        position=cells.text("position"),
        code=cells.text("code"),
        mm=_above_nought(cells, "mm"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def own_standards(site: Mapping[str, Any]) -> tuple[Standard, ...]:
    """The standards of a site's record in their order, given its values {path: value}; none of an odd shape."""
    found = []
    for path, value in site.items():
        if not path.startswith("standard/") or not isinstance(value, Mapping):
            continue
        words = {key: value.get(key) for key in ("name", "taxon", "element", "code", "source")}
        mm, position, order = amount(value.get("mm")), value.get("position"), amount(value.get("order")) or 0
        if mm and all(isinstance(word, str) and word for word in words.values()):
            given = {key: str(word) for key, word in words.items()}
            position = position if isinstance(position, str) else ""
            found.append((order, Standard(**given, position=position, mm=mm, note="", seen=OWN)))
    found.sort(key=lambda one: (one[1].name, one[0], one[1].taxon, one[1].element, one[1].position, one[1].code))
    return tuple(one for _, one in found)
