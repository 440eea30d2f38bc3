"""The sheet's summary: dockets, fragments and weights by taxon, with the range over disputed readings.

For: what a page's head can say at a glance. Not for: minimum numbers or reports (domain counting has those).

Adopted here: readings that differ in precision count at the coarser one; disputed ones count apart, so that each
figure is a range; what is on hold as possibly human, or impossible until mended, is listed apart and never among the
animals. A docket without a usable count is taken as one fragment.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.changes import canonical
from fieldapp.sheets.entries import Difference, Docket, Figures, Problem, Span, TaxonRow

Heading = tuple[str, Any]

NOT_ANIMAL_BONE = ("shell", "not_bone")


def figures(
    dockets: Sequence[Docket],
    knowledge: Knowledge,
    *,
    loose_holds: int,
    differences: Iterable[Difference],
    problems: Iterable[Problem],
) -> Figures:
    """The summary of `dockets`; `differences` and `problems` of everything else on the sheet are added in."""
    tallies: dict[Heading, _Tally] = {}
    total = _Tally(("total", None))
    live = [one for one in dockets if one.life != "deleted"]
    for docket in live:
        headings = _headings(docket)
        sure = docket.life == "live"
        for heading in headings:
            tallies.setdefault(heading, _Tally(heading)).add(docket, sure and len(headings) == 1)
        total.add(docket, sure)
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
        rows=tuple(tallies[one].row() for one in sorted(tallies, key=lambda one: _order(one, knowledge))),
        total=total.row(),
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


class _Tally:
    """Ranges being added up."""

    def __init__(self, heading: Heading) -> None:
        self.heading = heading
        self.sums = [[0.0, 0.0] for _ in range(3)]
        self.weighed = False

    def add(self, docket: Docket, sure: bool) -> None:
        counts, weights = _counts(docket) or [1], _weights(docket)
        self.weighed = self.weighed or bool(weights)
        weights = weights or [0.0]
        for sums, low, high in zip(
            self.sums, (1, min(counts), min(weights)), (1, max(counts), max(weights)), strict=True
        ):
            sums[0] += low if sure else 0
            sums[1] += high

    def row(self) -> TaxonRow:
        dockets, fragments, weight = (Span(low, high) for low, high in self.sums)
        return TaxonRow(self.heading, dockets, fragments, weight if self.weighed else None)


def _differences(docket: Docket) -> tuple[Difference, ...]:
    return docket.differences + (docket.hold.differences if docket.hold else ())


def _headings(docket: Docket) -> set[Heading]:
    """Every heading under which somebody's reading would count the docket."""
    if docket.answer in human.RAISED:
        return {("apart", "possible_human")}
    if any(problem.impossible for problem in docket.problems):
        return {("apart", "impossible")}
    found: set[Heading] = set()
    for material in _values(docket, "material", docket.material):
        if material in NOT_ANIMAL_BONE:
            found.add(("material", material))
        else:
            found |= {("taxon", taxon) for taxon in _taxa(docket)}
    return found


def _taxa(docket: Docket) -> set[str | None]:
    reading = next((one for one in docket.differences if one.path == "reading"), None)
    if reading is not None and "conflict" in (reading.fields.get("taxon"), reading.fields.get("")):
        values = [one.value.get("taxon") for one in reading.versions if isinstance(one.value, Mapping)]
    else:
        values = [docket.reading.taxon if docket.reading else None]
    return {one if one is None or isinstance(one, str) else canonical(one) for one in values} or {None}


def _values(docket: Docket, path: str, settled: Any) -> list[Any]:
    """Every value that counts at `path`: all that are in dispute, the coarser where they differ in precision."""
    difference = next((one for one in docket.differences if one.path == path), None)
    if difference is None:
        return [settled]
    return [difference.used] if difference.precision else [one.value for one in difference.versions]


def _counts(docket: Docket) -> list[int]:
    return [one for one in _values(docket, "count", docket.count) if type(one) is int and one > 0]


def _weights(docket: Docket) -> list[float]:
    return [one for one in _values(docket, "weight_g", docket.weight_g) if type(one) in (int, float) and one >= 0]


def _order(heading: Heading, knowledge: Knowledge) -> tuple[int, int, str]:
    kind, value = heading
    if kind == "taxon" and value in knowledge.taxa:
        return 0, list(knowledge.taxa).index(value), ""
    places = {"taxon": 1 if value is not None else 2, "material": 3, "apart": 4}
    return places[kind], 0, str(value)
