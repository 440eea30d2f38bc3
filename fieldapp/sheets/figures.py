"""A context's summary: dockets, pieces, specimens and weights by taxon, with the range over disputed readings.

For: what a page's head can say at a glance. What is counted and how is domain.counting's; here is decided which
reading counts. Not for: minimum numbers or reports.

Adopted here: readings that differ in precision count at the coarser one; disputed ones count apart, so that each
figure is a range; what is on hold as possibly human, or impossible until mended, is listed apart and never among the
animals. A docket without a usable count is taken as one piece.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import counting, human
from fieldapp.domain.counting import Lot
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.samples import amount
from fieldapp.records.changes import canonical
from fieldapp.sheets.entries import Difference, Docket, Figures, Problem, RecoveryRow, Span, Tally, TaxonRow

Heading = tuple[str, Any]
Way = tuple[str | None, float | None]
"""How it was got: recovery and mesh; (None, None) where that is not recorded or in dispute."""
Is = tuple[Any, Any, Any]
"""Material, element and taxon, as somebody reads them."""


def figures(
    dockets: Sequence[Docket],
    knowledge: Knowledge,
    *,
    loose_holds: int,
    differences: Iterable[Difference],
    problems: Iterable[Problem],
    tallies: Sequence[Tally] = (),
) -> Figures:
    """The summary of `dockets` and `tallies`; `differences` and `problems` of everything else are added in."""
    sums: dict[Heading, _Sum] = {}
    ways: dict[Way, _Sum] = {}
    total = _Sum()
    live = [one for one in dockets if one.life != "deleted"]
    for docket in live:
        _add(docket, sums, ways, total, knowledge)
    for tally in (one for one in tallies if not one.deleted):
        _add_tally(tally, sums, ways, total, knowledge)
    every = [*differences, *(one for docket in dockets for one in _differences(docket))]
    levels: dict[str, int] = {}
    for problem in (*problems, *(one for docket in live for one in docket.problems)):
        levels[problem.level] = levels.get(problem.level, 0) + 1
    answers: dict[str, int] = {}
    for docket in dockets:
        if docket.life != "deleted" or docket.answer in human.RAISED:
            answers[docket.answer] = answers.get(docket.answer, 0) + 1
    holds = [docket.hold.state for docket in dockets if docket.hold] + ["open"] * loose_holds
    disputed_lives = sum(docket.life == "disputed" for docket in dockets)
    return Figures(
        rows=tuple(sums[one].row(one) for one in sorted(sums, key=lambda one: _order(one, knowledge))),
        total=total.row(("total", None)),
        nsp=total.nsp(),
        by_recovery=tuple(ways[way].recovery(way) for way in sorted(ways, key=_way_order)) if len(ways) > 1 else (),
        uncounted=sum(not _counts(docket) for docket in live),
        unweighed=sum(not _weights(docket) for docket in live),
        deleted=len(dockets) - len(live),
        answers=answers,
        disagreements=sum(not one.precision for one in every) + disputed_lives,
        precision=sum(one.precision for one in every),
        problems=levels,
        holds_open=holds.count("open"),
        holds_released=holds.count("released"),
    )


@dataclass
class _Lots:
    """Lots, and those of them that are specimens, and identified ones."""

    all: list[Lot] = field(default_factory=list)
    specimens: list[Lot] = field(default_factory=list)
    identified: list[Lot] = field(default_factory=list)


class _Sum:
    """What is counted under one heading: surely, and at most."""

    def __init__(self) -> None:
        self.dockets = [0, 0]
        self.low, self.high = _Lots(), _Lots()

    def add(
        self, low: Lot | None, high: Lot, among: bool, specimen: Iterable[bool], identified: Iterable[bool]
    ) -> None:
        """`low`: as it surely counts, None if it may not count here at all. `specimen`, `identified`: whether it is one
        reading by reading; surely only if all say so, and never where it stands apart (not `among`)."""
        specimen, identified = list(specimen), list(identified)
        for lots, lot, says in ((self.low, low, all), (self.high, high, any)):
            if lot is None:
                continue
            lots.all.append(lot)
            if among and specimen and says(specimen):
                lots.specimens.append(lot)
            if among and identified and says(identified):
                lots.identified.append(lot)

    def row(self, heading: Heading) -> TaxonRow:
        return TaxonRow(heading, Span(*self.dockets), self.pieces(), self.weight(), self.nisp())

    def recovery(self, way: Way) -> RecoveryRow:
        return RecoveryRow(*way, self.pieces(), self.nsp(), self.nisp(), self.weight())

    def pieces(self) -> Span:
        return Span(counting.pieces(self.low.all), counting.pieces(self.high.all))

    def nsp(self) -> Span:
        return Span(counting.specimens(self.low.specimens), counting.specimens(self.high.specimens))

    def nisp(self) -> Span:
        return Span(counting.specimens(self.low.identified), counting.specimens(self.high.identified))

    def weight(self) -> Span | None:
        most = counting.weight(self.high.all)
        return None if most is None else Span(counting.weight(self.low.all) or 0.0, most)


def _add(docket: Docket, sums: dict[Heading, _Sum], ways: dict[Way, _Sum], total: _Sum, knowledge: Knowledge) -> None:
    readings = _readings(docket)
    apart = _apart(docket)
    under: dict[Heading, list[Is]] = {apart: readings} if apart else {}
    for one in () if apart else readings:
        under.setdefault(_heading(one), []).append(one)
    counts, weights = _counts(docket) or [1], _weights(docket)
    sure = docket.life == "live"

    def lot(choose: Any) -> Lot:
        return Lot(choose(counts), choose(weights) if weights else None, bone=docket.bone, fitted=docket.fitted)

    low, high = lot(min), lot(max)

    def told(these: Sequence[Is]) -> tuple[list[bool], list[bool]]:
        lots = [
            Lot(material=_word(material), element=_word(element), taxon=_word(taxon))
            for material, element, taxon in these
        ]
        return [counting.is_specimen(one) for one in lots], [counting.is_identified(one, knowledge) for one in lots]

    counted = [(sums.setdefault(heading, _Sum()), these, sure and len(under) == 1) for heading, these in under.items()]
    counted += [(one, readings, sure) for one in (total, ways.setdefault((docket.recovery, docket.mesh_mm), _Sum()))]
    for kept, these, surely in counted:
        kept.add(low if surely else None, high, not apart, *told(these))
        kept.dockets[0] += surely
        kept.dockets[1] += 1


def _add_tally(
    tally: Tally, sums: dict[Heading, _Sum], ways: dict[Way, _Sum], total: _Sum, knowledge: Knowledge
) -> None:
    """A tally counts by what stands in it first where its versions differ: it is a rough figure anyway."""
    taxon = _word(tally.taxon)
    lot = Lot(
        tally.count if counting.usable(tally.count) else 0, amount(tally.weight_g), "bone", _word(tally.element), taxon
    )
    identified = [counting.is_identified(lot, knowledge)]
    for one in (
        sums.setdefault(("taxon", taxon), _Sum()),
        total,
        ways.setdefault((tally.recovery, tally.mesh_mm), _Sum()),
    ):
        one.add(lot, lot, True, [True], identified)


def _differences(docket: Docket) -> tuple[Difference, ...]:
    return docket.differences + (docket.hold.differences if docket.hold else ())


def _apart(docket: Docket) -> Heading | None:
    """Why the docket is not among the animals, if it is not."""
    if docket.answer in human.RAISED:
        return "apart", "possible_human"
    return ("apart", "impossible") if any(problem.impossible for problem in docket.problems) else None


def _readings(docket: Docket) -> list[Is]:
    """Everything that somebody reads the docket as."""
    disputed = next((one for one in docket.differences if one.path == "reading"), None)
    if disputed is not None and "conflict" in disputed.fields.values():
        read = [one.value for one in disputed.versions if isinstance(one.value, Mapping)]
        bones = [(one.get("element"), one.get("taxon")) for one in read]
    else:
        bones = [(docket.reading.element, docket.reading.taxon) if docket.reading else (None, None)]
    if disputed is not None and bones and "conflict" not in (disputed.fields.get("taxon"), disputed.fields.get("")):
        # Of names that differ in precision only, the coarser counts, whatever else is in dispute.
        coarser = docket.reading.taxon if docket.reading else None
        bones = [(element, coarser) for element, _ in bones]
    materials = _values(docket, "material", docket.material)
    return [(material, *bone) for material in materials for bone in bones or [(None, None)]]


def _heading(one: Is) -> Heading:
    material, _, taxon = one
    if _word(material) in counting.NOT_BONE:
        return "material", material
    return "taxon", taxon if taxon is None or isinstance(taxon, str) else canonical(taxon)


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _values(docket: Docket, path: str, settled: Any) -> list[Any]:
    """Every value that counts at `path`: all that are in dispute, the coarser where they differ in precision."""
    difference = next((one for one in docket.differences if one.path == path), None)
    if difference is None:
        return [settled]
    return [difference.used] if difference.precision else [one.value for one in difference.versions]


def _counts(docket: Docket) -> list[int]:
    return [one for one in _values(docket, "count", docket.count) if counting.usable(one)]


def _weights(docket: Docket) -> list[float]:
    found = (amount(one) for one in _values(docket, "weight_g", docket.weight_g))
    return [one for one in found if one is not None]


def _order(heading: Heading, knowledge: Knowledge) -> tuple[int, int, str]:
    kind, value = heading
    if kind == "taxon" and value in knowledge.taxa:
        return 0, list(knowledge.taxa).index(value), ""
    places = {"taxon": 1 if value is not None else 2, "material": 3, "apart": 4}
    return places[kind], 0, str(value)


def _way_order(way: Way) -> tuple[bool, bool, str, float]:
    recovery, mesh = way
    return recovery is None, recovery != "hand", recovery or "", -(mesh or 0.0)
