"""Which plates are drawn, of what, and which of them stand for a bone that has none of its own.

For: the tables `plates` and `plate_forms`. Not for: the drawings (domain.plates) and their files (fieldapp.assets).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fieldapp.domain.cells import Tables, cells_of
from fieldapp.domain.entries import Element, Taxon

NAMES = ("plates", "plate_forms")
ANY = "any"
"""The row of `plate_forms` for a bone of which not even the form is known."""


@dataclass(frozen=True)
class PlateRow:
    """One plate: a view of an element in a form.

    place  1 is shown first;  after  the taxon it is drawn after;  shows  what in it tells the bone and the form
    """

    form: str
    element: str
    view: str
    place: int
    after: str
    shows: str
    source: str
    seen: str

    @property
    def key(self) -> str:
        """Its text key, and its file's name: form.element.view."""
        return f"{self.form}.{self.element}.{self.view}"


@dataclass(frozen=True)
class Gallery:
    """`plates`: {(form, element): its views, the first first}. `nearest`: {form: the forms that stand in for it}."""

    plates: Mapping[tuple[str, str], tuple[PlateRow, ...]]
    nearest: Mapping[str, tuple[str, ...]]

    def rows(self) -> Iterable[PlateRow]:
        """Every plate, views of one bone together."""
        return (row for views in self.plates.values() for row in views)

    def candidates(self, form: str, element: str) -> list[tuple[PlateRow, ...]]:
        """The views of the element in the form itself, then in those that stand in for it, nearest first."""
        forms = (form, *self.nearest.get(form, ()), *self.nearest[ANY])
        return [self.plates[one, element] for one in dict.fromkeys(forms) if (one, element) in self.plates]


def read(tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element], views: frozenset[str]) -> Gallery:
    """The gallery of the tables. Raises TableFault."""
    forms = {taxon.form for taxon in taxa.values()}
    found: dict[tuple[str, str], list[PlateRow]] = defaultdict(list)
    for cells in cells_of("plates", tables):
        row = PlateRow(
            form=cells.known("form", forms),
            element=cells.known("element", elements),
            view=cells.known("view", views),
            place=cells.whole("place"),
            after=cells.known("after", taxa),
            shows=cells.text("shows"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        others = found[row.form, row.element]
        if taxa[row.after].form != row.form:
            raise cells.fault(f"`after` names {row.after!r}, which is not of the form {row.form!r}")
        if not row.shows:
            raise cells.fault("`shows` is empty: say what tells the bone")
        if row.view in {one.view for one in others} or row.place in {one.place for one in others}:
            raise cells.fault(f"the view {row.view!r} or the place {row.place} of this bone is given twice")
        others.append(row)
    nearest: dict[str, tuple[str, ...]] = {}
    for cells in cells_of("plate_forms", tables):
        form = cells.known("form", forms | {ANY})
        for one in cells.several("nearest"):
            if one not in forms:
                raise cells.fault(f"`nearest` names {one!r}, which is no form")
        nearest[form] = cells.several("nearest")
    if ANY not in nearest:
        raise cells_of("plate_forms", tables)[-1].fault(f"the row {ANY!r} is missing")
    plates = {bone: tuple(sorted(rows, key=lambda row: row.place)) for bone, rows in sorted(found.items())}
    for cells in cells_of("plates", tables):
        own = plates[cells.text("form"), cells.text("element")]
        if [row.place for row in own] != list(range(1, len(own) + 1)):
            raise cells.fault("the places of this bone's views do not count from 1")
    return Gallery(plates, nearest)
