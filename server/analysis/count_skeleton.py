"""The tables of skeletal parts (MAU) and of likely numbers of individuals.

For: MAU and %MAU with the source of each number of a skeleton, on drawn skeletons too; estimates from the pairs that a
specialist has matched. Not for: minimum numbers (fieldapp.domain.assemblage.numbers), or finding pairs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from fieldapp.assets import skeleton_elements, skeleton_form
from fieldapp.domain.assemblage import likely, mau, numbers
from fieldapp.domain.assemblage.results import Cell, Chart, Column, LeftOut, Note, Result, Row, Span, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.entries import SkeletonCount
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked, Table, left_out

FEW = 20
"""%MAU of an animal with fewer elements than this is told of in a note (project decision)."""
SKELETONS = 4
"""How many animals of a unit are drawn, those with most elements."""

MAU = (
    Column("taxon"),
    Column("element"),
    Column("mne", "span"),
    Column("in_skeleton", "count"),
    Column("source_no", "count"),
    Column("mau", "span", 2),
    Column("mau_percent", "span"),
)
INDIVIDUALS = (
    Column("taxon"),
    Column("element"),
    Column("left", "count"),
    Column("right", "count"),
    Column("pairs", "count"),
    Column("lincoln_petersen", "number"),
    Column("chapman", "number"),
    Column("deviation", "number"),
    Column("likely_number", "count"),
    Column("interval_animals", "interval", 0),
)

Numbers = Mapping[tuple[str, str], numbers.Counted]


def parts(asked: Asked) -> Iterator[Result]:
    """MAU of each animal of each unit."""
    for unit, here in asked.units.items():
        yield _parts(asked, unit, here)
    if not asked.units:
        yield Result("mau", asked.selection, None, MAU, (), asked.left_out(), (Note("no_elements"),))


def _parts(asked: Asked, unit: Unit, here: Sequence[Specimen]) -> Result:
    known, found = asked.knowledge, _numbers(asked, here)
    sources: dict[str, int] = {}
    rows, charts, silent, unnamed = [], [], set(), set()
    small = 0
    by_taxon: dict[str, Numbers] = {}
    for (taxon, element), one in found.items():
        if not known.taxa[taxon].named:
            unnamed |= {*one.records}
        elif known.count(taxon, element) is None:
            silent |= {*one.records}
        else:
            by_taxon[taxon] = {**by_taxon.get(taxon, {}), (taxon, element): one}
    drawn: list[tuple[int, Chart]] = []
    for taxon, own in by_taxon.items():
        counts = {element: known.count(taxon, element) for _, element in own}
        ends = [mau.mau({e: getattr(one, end) for (_, e), one in own.items()}, counts) for end in ("low", "high")]
        percents = [mau.percent(one) for one in ends]
        for (_, element), one in own.items():
            after = _source(mau.counted_after(taxon, element, known), sources)
            units = Span(ends[0][element], ends[1][element])
            of_most = _between(percents, element)
            cells: tuple[Cell, ...] = (
                Word("taxon", taxon), Word("element", element), Span(one.low, one.high), counts[element], after,
                units, of_most,
            )  # fmt: skip
            rows.append(Row(cells, one.records))
        whole = sum(one.low for one in own.values())
        small += whole < FEW
        if whole:
            drawn.append((whole, _skeleton(taxon, percents[0], known)))
    charts = [chart for _, chart in sorted(drawn, key=lambda pair: -pair[0])[:SKELETONS]]
    notes = [Note("few_elements", {"animals": small, "few": FEW})] if small else []
    left = (*asked.left_out(unit), *_left_out(here, {"no_skeleton_count": silent, "no_named_animal": unnamed}))
    return Result(
        "mau", asked.selection, unit, MAU, tuple(rows), left, tuple(notes or () if rows else [Note("no_elements")]),
        (*(f"{number}: {source}" for source, number in sources.items()), "Binford 1984 (memory)"), tuple(charts),
    )  # fmt: skip


def _numbers(asked: Asked, here: Iterable[Specimen]) -> Numbers:
    return numbers.mne(here, asked.knowledge, refits=asked.selection.refits == "one")


def _between(percents: Sequence[Mapping[str, float]], element: str) -> Span | None:
    """%MAU by what is sure and by all readings: each against its own largest, so that either may be the lower."""
    both = [one[element] for one in percents if element in one]
    return Span(min(both), max(both)) if both else None


def _source(rows: Sequence[SkeletonCount], sources: dict[str, int]) -> int | None:
    told = "; ".join(dict.fromkeys(f"{row.source} ({row.seen})" if row.seen != "-" else row.source for row in rows))
    return sources.setdefault(told, len(sources) + 1) if told else None


def _skeleton(taxon: str, percents: Mapping[str, float], known: Knowledge) -> Chart:
    form = skeleton_form(known.taxa[taxon].form)
    shares = mau.on_skeleton(percents, skeleton_elements()[form], known)
    return Chart("skeleton", form=form, shares=shares, name=Word("taxon", taxon))


def _left_out(here: Sequence[Specimen], reasons: Mapping[str, set[str]]) -> list[LeftOut]:
    told = [left_out("tallied_only", [one for one in here if one.kind == TALLY])]
    told += [left_out(why, [one for one in here if one.id in ids]) for why, ids in reasons.items()]
    return [one for one in told if one]


def estimates(asked: Asked) -> Iterator[Result]:
    """Estimates from lefts, rights and matched pairs, for each unit."""
    for unit, here in asked.units.items():
        yield _likely(asked, unit, here)
    if not asked.units:
        yield Result("individuals", asked.selection, None, INDIVIDUALS, (), asked.left_out(), (Note("no_sides"),))


def _likely(asked: Asked, unit: Unit, here: Sequence[Specimen]) -> Result:
    known = asked.knowledge
    matched = likely.matched(here, asked.gathered.relations)
    rows, unmatched, too_many = [], 0, 0
    for (taxon, element), one in _numbers(asked, here).items():
        left, right = one.left.n, one.right.n
        # Of a bone that a side has several of, a left and a right need not be a pair.
        if not known.taxa[taxon].named or known.count(taxon, element) != 2 or not left or not right:
            continue
        pairs = [
            pair for (named, of), own in matched.items() for pair in own if of == element and known.is_a(named, taxon)
        ]
        figures: tuple[Cell, ...] = (None,) * 5
        if len(pairs) > min(left, right):
            too_many += 1
        elif pairs:
            ends = likely.interval(left, right, len(pairs))
            figures = (
                likely.lincoln_petersen(left, right, len(pairs)),
                likely.chapman(left, right, len(pairs)),
                likely.deviation(left, right, len(pairs)),
                likely.mlni(left, right, len(pairs)),
                Span(*ends) if ends else None,
            )
        else:
            unmatched += 1
        cells = Word("taxon", taxon), Word("element", element), left, right, len(pairs) or None, *figures
        rows.append(Row(cells, tuple(dict.fromkeys((*one.records, *(id_ for pair in pairs for id_ in pair))))))
    notes = [Note("matching_assumed")] if rows else [Note("no_sides")]
    notes += [Note("pairs_not_recorded", {"rows": unmatched})] if unmatched else []
    notes += [Note("pairs_too_many", {"rows": too_many})] if too_many else []
    sources = (
        "Adams & Konigsberg 2004, American Journal of Physical Anthropology 125: 138 (abstract seen; rounding memory)",
        "Chapman 1951 (memory)",
        "Seber 1970 (memory)",
    )
    left_here = (*asked.left_out(unit), *_left_out(here, {}))
    return Result(
        "individuals", asked.selection, unit, INDIVIDUALS, tuple(rows), left_here, tuple(notes), sources
    )  # fmt: skip


TABLES = (Table("mau", parts), Table("individuals", estimates))
