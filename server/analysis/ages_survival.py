"""Survival: how many outlived each age, by fusion, by teeth, and by both, with the units side by side.

For: the table `survival`. Where an animal's limits come from is fieldapp.domain.assemblage.deaths', the curve is
survival's there; numpy works it out (ages_curves). Not for: a test of whether two curves differ. None is made: bones of
one animal are counted as if each were another's, which no test of two samples allows for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from fieldapp.domain.assemblage.deaths import (
    EVERY_AGE,
    Deaths,
    by_eruption,
    by_fusion,
    by_stages,
    deaths,
    without_pairs,
)
from fieldapp.domain.assemblage.results import Cell, Chart, Column, LeftOut, Note, Result, Row, Series, Span, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.assemblage.survival import NOTHING, OPEN, Band, Curve, Interval, bounds
from fieldapp.domain.assemblage.wear import CONTRADICTORY, Stages, has_ages, is_jaw
from server.analysis import ages_asked as ask
from server.analysis.ages_curves import DRAWINGS, SEED, Fitted, fitted
from server.analysis.ages_wear import teller
from server.analysis.asking import Asked, Option, Table
from server.analysis.cells import UNIT_COLUMNS, cited, legend, unit_cells
from server.analysis.count_common import human_notes

FUSION, TEETH, ERUPTION, JOINT = "fusion", "teeth", "eruption", "joint"
EVIDENCE = (FUSION, TEETH, ERUPTION, JOINT)
LEAST = 5
"""A curve of fewer than so many is not drawn (common practice, no source)."""
WIDE = 0.25
"""Where more than this share may have died before an age or after it, that is said (project decision)."""
MOST_UNITS = 8
"""So many units stand beside each other, those with most animals."""
_COLUMNS = (
    *UNIT_COLUMNS,
    Column("age_months", "number", 0),
    Column("survivors", "interval"),
    Column("survivors_band", "interval"),
    Column("survivors_bounds", "interval"),
    Column("age_told"),
    Column("age_animals", "count"),
)
_SOURCES = (
    "Turnbull 1976, The empirical distribution function with arbitrarily grouped, censored and truncated data, "
    "J. R. Stat. Soc. B 38: 290-295 (memory)",
    "Efron 1979, bands from drawing again (memory)",
)

Told = list[tuple[Specimen, Interval | None]]


@dataclass(frozen=True)
class _Pile:
    """The specimens of the animal in a unit. `told`: {evidence: what a teller says of them}."""

    unit: Unit
    own: list[Specimen]
    told: dict[str, tuple[Told, list[Specimen]]] = field(default_factory=dict)


@dataclass(frozen=True)
class _Unit:
    """What a result says of a pile. `fit`: its curve, None where it has none."""

    unit: Unit
    own: list[Specimen]
    deaths: Deaths
    pairs: list[Specimen]
    fit: Fitted | None = None

    @property
    def n(self) -> int:
        """How many animals say something of age."""
        return sum(self.deaths.found.values())

    @property
    def curve(self) -> Curve:
        """Its curve. Only of units that have one."""
        assert self.fit is not None
        return self.fit.curve


def survival(asked: Asked) -> Iterator[Result]:
    """The curves by one sort of evidence. By both: first each by itself, then together."""
    chosen, evidence = ask.chosen(asked), asked.option("evidence", FUSION)
    evidence = evidence if evidence in EVIDENCE else FUSION
    piles = [_Pile(unit, chosen.own(specimens)) for unit, specimens in asked.units.items()]
    for kind in (FUSION, TEETH) if evidence == JOINT else (evidence,):
        tell = _TELLERS[kind](chosen)
        for pile in piles:
            pile.told[kind] = tell([one for one in pile.own if one.sure and one.kind != TALLY])
        yield _result(asked, chosen, kind, piles, (kind,))
    if evidence == JOINT:
        yield _result(asked, chosen, JOINT, piles, (FUSION, TEETH))


Teller = Callable[[list[Specimen]], tuple[Told, list[Specimen]]]
"""(each specimen with the ages that it allows, loose epiphyses that do not count) of the specimens of a unit."""


def _by_fusion(chosen: ask.Chosen) -> Teller:
    taxon, know = chosen.taxon, chosen.knowledge

    def tell(own: list[Specimen]) -> tuple[Told, list[Specimen]]:
        kept, pairs = without_pairs([one for one in own if one.fusion], taxon)
        known: dict[tuple[str | None, int], Interval | None] = {}
        told: Told = []
        for one in kept:
            # Bones with the same states share one mapping (extracting.Shared), which lives as long as they do.
            key = (one.element, id(one.fusion))
            if key not in known:
                known[key] = by_fusion(one, taxon, know)
            told.append((one, known[key]))
        return told, pairs

    return tell


def _by_stages(chosen: ask.Chosen) -> Teller:
    know, scheme = chosen.knowledge, chosen.scheme
    if scheme is None or not has_ages(scheme):
        return lambda own: ([], [])
    stages = teller(scheme, know)

    def interval(found: Stages | str) -> Interval | None:
        if isinstance(found, Stages):
            return by_stages(found, scheme)
        return None if found == CONTRADICTORY else EVERY_AGE

    return lambda own: ([(one, interval(stages(one))) for one in own if is_jaw(one, know)], [])


def _by_eruption(chosen: ask.Chosen) -> Teller:
    know, taxon = chosen.knowledge, chosen.taxon
    return lambda own: ([(one, by_eruption(one, taxon, know)) for one in own if is_jaw(one, know)], [])


_TELLERS: Mapping[str, Callable[[ask.Chosen], Teller]] = {
    FUSION: _by_fusion,
    TEETH: _by_stages,
    ERUPTION: _by_eruption,
}


def _result(asked: Asked, chosen: ask.Chosen, evidence: str, piles: list[_Pile], kinds: tuple[str, ...]) -> Result:
    every = [_unit(pile, kinds) for pile in piles]
    # Only those that are shown are worked out: there may be hundreds of contexts.
    largest = sorted((one for one in every if one.n >= LEAST), key=lambda one: -one.n)[:MOST_UNITS]
    drawn = [replace(one, fit=fitted(one.deaths.found, DRAWINGS, SEED)) for one in every if one in largest]
    ages = sorted({0.0} | {limit for one in drawn for limit in _limits(one.curve)})
    rows = [row for one in drawn for row in _rows(asked, one, ages)]
    return Result(
        f"survival_{evidence}",
        asked.selection,
        None,
        _COLUMNS,
        tuple(rows),
        _left_out(asked, chosen, every),
        (
            *human_notes(asked.left_out(), [one for unit in every for one in unit.own]),
            *_notes(chosen, every, drawn, evidence),
        ),
        (*_used(chosen, evidence), *_SOURCES),
        _charts(asked, [one for one in drawn if _falls(one.curve)], ages),
    )


def _unit(pile: _Pile, kinds: tuple[str, ...]) -> _Unit:
    found = deaths(one for kind in kinds for one in pile.told[kind][0])
    return _Unit(pile.unit, pile.own, found, [one for kind in kinds for one in pile.told[kind][1]])


def _limits(curve: Curve) -> list[float]:
    held = [place for place, share in zip(curve.places, curve.shares, strict=True) if share > NOTHING]
    return [limit for place in held for limit in (place.low, place.high) if limit != OPEN]


def _falls(curve: Curve) -> bool:
    """Whether the estimate says more than that all died between the same two ages, which is no curve."""
    return len(curve.regions()) != 1 or len(_limits(curve)) > 2


def _bands(one: _Unit, ages: list[float]) -> list[Band]:
    return one.fit.bands(ages) if one.fit else []


def _rows(asked: Asked, one: _Unit, ages: list[float]) -> Iterator[Row]:
    for age, band in zip(ages, _bands(one, ages), strict=True):
        least, most = one.curve.surviving(age)
        told, (surely, may) = one.curve.told(age), bounds(one.deaths.found, age)
        cells: tuple[Cell, ...] = (
            *unit_cells(one.unit),
            age,
            Span(100 * least, 100 * most),
            Span(100 * band.low, 100 * band.high),
            Span(100 * surely, 100 * may),
            Word("analysis.row", "ages_told" if told else "ages_between"),
            int(one.curve.n),
        )
        yield Row(cells, one.deaths.records)


def _charts(asked: Asked, drawn: list[_Unit], ages: list[float]) -> tuple[Chart, ...]:
    if not drawn:
        return ()
    end = max(ages) * 1.1 or 12.0
    limits: Mapping[str, object] = {"limits": (0, end, 0, 100)}
    return (
        Chart(
            "steps",
            "age_months",
            "survivors",
            tuple(_steps(asked, one, end) for one in drawn),
            more=limits,
            name=Word("analysis.row", "ages_estimate"),
        ),
        Chart(
            "lines",
            "age_months",
            "survivors",
            tuple(_line(asked, one, ages) for one in drawn),
            more=limits,
            name=Word("analysis.row", "ages_band"),
        ),
    )


def _steps(asked: Asked, one: _Unit, end: float) -> Series:
    """The curve: a line where it is told, and a box where only its fall from one height to another is."""
    curve = one.curve
    points: list[tuple[float, float | None, float, float]] = [(0.0, 1.0, 1.0, 1.0)]
    held = [place for place, share in zip(curve.places, curve.shares, strict=True) if share > NOTHING]
    for region in held:
        before = curve.surviving(region.low)[1]
        after = 0.0 if region.high == OPEN else curve.surviving(region.high)[0]
        if region.low < region.high:
            points.append((region.low, None, after, before))
        points.append((min(region.high, end), None if region.high == OPEN else after, after, after))
    x, y, low, high = zip(*points, strict=True)
    return Series(
        legend(one.unit, asked.units),
        x,
        tuple(None if height is None else 100 * height for height in y),
        tuple(100 * height for height in low),
        tuple(100 * height for height in high),
        n=(one.n,),
    )


def _line(asked: Asked, one: _Unit, ages: list[float]) -> Series:
    """The curve where it is told, with the band of the drawings."""
    at = [age for age in ages if one.curve.told(age)]
    bands = _bands(one, at)
    return Series(
        legend(one.unit, asked.units),
        tuple(at),
        tuple(100 * one.curve.surviving(age)[0] for age in at),
        tuple(100 * band.low for band in bands),
        tuple(100 * band.high for band in bands),
        n=(one.n,),
    )


def _notes(chosen: ask.Chosen, every: list[_Unit], drawn: list[_Unit], evidence: str) -> Iterator[Note]:
    scheme = chosen.scheme
    if evidence in (FUSION, JOINT):
        yield from chosen.source_notes()
    if evidence in (TEETH, JOINT):
        if scheme is None or not has_ages(scheme):
            yield Note("ages_no_scheme", {"taxon": chosen.word})
        else:
            yield Note("ages_scheme", {"scheme": Word("wear_scheme", scheme.key)})
    if evidence == JOINT:
        yield Note("ages_joint")
    if not drawn:
        yield Note("ages_no_curve", {"least": LEAST})
        return
    yield Note("ages_drawings", {"drawings": DRAWINGS, "seed": SEED})
    rounds, gap = max(one.curve.rounds for one in drawn), max(one.curve.gap for one in drawn)
    reached = all(one.curve.reached for one in drawn)
    fields = {"rounds": rounds, "gap": f"{max(gap, 0.0):.1e}", "open": sum(one.fit.open for one in drawn if one.fit)}
    yield Note("ages_reached" if reached else "ages_not_reached", fields)
    ages = {limit for one in drawn for limit in _limits(one.curve)}
    spreads = [bounds(one.deaths.found, age) for one in drawn for age in ages]
    if any(may - surely > WIDE for surely, may in spreads):
        yield Note("ages_wide", {"n": round(100 * WIDE)})
    if flat := sum(not _falls(one.curve) for one in drawn):
        yield Note("ages_one_step", {"n": flat})
    if len(drawn) > 1:
        yield Note("ages_no_test")
    few = [one for one in every if 0 < one.n < LEAST]
    beyond = sum(one.n >= LEAST for one in every) - len(drawn)
    if few:
        yield Note("ages_few_units", {"n": len(few), "least": LEAST})
    if beyond > 0:
        yield Note("ages_most_units", {"n": beyond, "most": MOST_UNITS})


def _left_out(asked: Asked, chosen: ask.Chosen, every: list[_Unit]) -> tuple[LeftOut, ...]:
    own = [one for unit in every for one in unit.own if one.kind != TALLY]
    disputed = [one for one in own if not one.sure and (one.fusion or one.teeth)]
    tallies = chosen.own(ask.tallies(asked.animals))
    few = {id for unit in every if unit.n < LEAST for id in unit.deaths.records}
    return (
        *asked.left_out(),
        *ask.outs(
            ("ages_tally", tallies),
            ("ages_disputed", disputed),
            ("ages_contradictory", [one for unit in every for one in unit.deaths.contradictory]),
            ("ages_silent", [one for unit in every for one in unit.deaths.silent]),
            ("ages_pairs", [one for unit in every for one in unit.pairs]),
            ("ages_small_unit", [one for one in own if one.sure and one.id in few]),
        ),
    )


def _used(chosen: ask.Chosen, evidence: str) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    if evidence in (FUSION, JOINT):
        found += chosen.fusion_sources()
    if evidence in (TEETH, JOINT) and chosen.scheme is not None:
        found += cited([(chosen.scheme.source, chosen.scheme.seen)])
    if evidence == ERUPTION:
        found += cited(chosen.eruption_sources())
    return found


SURVIVAL = Table(
    "survival",
    survival,
    (ask.TAXON, Option("evidence", lambda _: EVIDENCE, "analysis.option.evidence"), ask.SOURCE, ask.SCHEME),
)
