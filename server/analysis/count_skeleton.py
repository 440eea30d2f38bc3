"""The table of skeletal parts: MAU and %MAU with the source of each number of a skeleton, and drawn skeletons.

Not for: what MAU is (fieldapp.domain.assemblage.mau), MNE (count_elements), or drawing (pictures).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldapp.assets import skeleton_elements, skeleton_form
from fieldapp.domain.assemblage import mau
from fieldapp.domain.assemblage.numbers import pools
from fieldapp.domain.assemblage.results import Chart, Column, Note, Result, Row, Span, Word
from fieldapp.domain.knowledge import Knowledge
from server.analysis.asking import Asked, Table, left_out
from server.analysis.count_common import BY_PROTOCOL, Here, not_elements
from server.analysis.count_elements import Elements, Mne, elements

FEW = 20
"""%MAU of an animal with fewer elements than this is told of in a note, and not drawn (project decision)."""
SKELETONS = 3
"""How many animals of a unit are drawn at most, those with most elements."""

COLUMNS = (
    Column("taxon"),
    Column("element"),
    Column("mne", "span"),
    Column("in_skeleton", "count"),
    Column("source_no", "count"),
    Column("mau", "interval", 2),
    Column("mau_percent", "interval"),
    Column("count_pooled"),
)
SOURCE = "Binford 1984 (memory)"


def make(asked: Asked) -> Iterator[Result]:
    """MAU of each animal of each unit."""
    known = asked.knowledge
    after: dict[tuple[str, str], str] = {}
    for here, found in elements(asked):
        for taxon, element in found.keys() - after.keys():
            after[taxon, element] = _after(taxon, element, known)
        yield _of(asked, here, found, after)
    if not asked.units:
        yield Result("mau", asked.selection, None, COLUMNS, (), asked.left_out(), (Note("no_elements"),))


def _after(taxon: str, element: str, known: Knowledge) -> str:
    """Who says how many a skeleton has, and whether that was seen."""
    rows = mau.counted_after(taxon, element, known)
    return "; ".join(dict.fromkeys(row.source if row.seen == "-" else f"{row.source} ({row.seen})" for row in rows))


def _of(asked: Asked, here: Here, found: Elements, after: Mapping[tuple[str, str], str]) -> Result:
    known, left = asked.knowledge, [*here.left_out, *not_elements(here, asked)]
    unnamed = {id_ for (taxon, _), one in found.items() if not known.taxa[taxon].named for id_ in one.records}
    counted: dict[str, dict[str, Mne]] = {}
    silent: set[str] = set()
    for (taxon, element), one in found.items():
        if known.taxa[taxon].named and known.count(taxon, element):
            counted.setdefault(taxon, {})[element] = one
        elif known.taxa[taxon].named:
            silent |= {*one.records}
    for why, ids in (("no_skeleton_count", silent), ("no_named_animal", unnamed)):
        told = left_out(why, [one for one in here.specimens if one.id in ids])
        left += [told] if told else []
    sources: dict[str, int] = {}
    rows = [row for taxon in counted for row in _rows(taxon, counted, after, sources, known)]
    whole = {taxon: sum(one.low for one in own.values()) for taxon, own in counted.items()}
    notes = [*here.notes, *([] if rows else [Note("no_elements")])]
    if any(row.cells[-1] for row in rows):
        notes.append(Note("count_never_added"))
    if small := sum(n < FEW for n in whole.values()):
        notes.append(Note("few_elements", {"animals": small, "few": FEW}))
    return Result(
        "mau",
        asked.selection,
        here.unit,
        COLUMNS,
        tuple(rows),
        tuple(left),
        tuple(notes),
        (*(f"{number}: {source}" for source, number in sources.items()), SOURCE),
        tuple(_skeleton(taxon, counted[taxon], known) for taxon in _drawn(whole, known)),
    )


def _rows(
    taxon: str,
    counted: Mapping[str, Mapping[str, Mne]],
    after: Mapping[tuple[str, str], str],
    sources: dict[str, int],
    known: Knowledge,
) -> Iterator[Row]:
    own = counted[taxon]
    within = [one for one in counted if one != taxon and pools(taxon, known) and known.is_a(one, taxon)]
    low, high = (_units(taxon, own, end, known) for end in ("low", "high"))
    shares = mau.percent(low), mau.percent(high)
    for element, one in own.items():
        said = after[taxon, element]
        # Each end against its own largest, so that either may be the lower.
        percents = [share[element] for share in shares if share]
        yield Row(
            (
                Word("taxon", taxon),
                Word("element", element),
                Span(one.low, one.high),
                known.count(taxon, element),
                sources.setdefault(said, len(sources) + 1) if said else None,
                Span(low[element], high[element]),
                Span(min(percents), max(percents)) if percents else None,
                Word("analysis.row", "count_takes_in") if any(element in counted[one] for one in within) else None,
            ),
            one.records,
        )


def _units(taxon: str, own: Mapping[str, Mne], end: str, known: Knowledge) -> dict[str, float]:
    in_skeleton = {element: known.count(taxon, element) for element in own}
    return mau.mau({element: getattr(one, end) for element, one in own.items()}, in_skeleton)


def _drawn(whole: Mapping[str, int], known: Knowledge) -> list[str]:
    """The animals that are drawn: enough of them, and not within another's figures."""
    apart = [
        taxon
        for taxon, n in whole.items()
        if n >= FEW and not any(one != taxon and pools(one, known) and known.is_a(taxon, one) for one in whole)
    ]
    return sorted(apart, key=lambda taxon: -whole[taxon])[:SKELETONS]


def _skeleton(taxon: str, own: Mapping[str, Mne], known: Knowledge) -> Chart:
    form = skeleton_form(known.taxa[taxon].form)
    percents = mau.percent(_units(taxon, own, "low", known))
    shares = mau.on_skeleton(percents, skeleton_elements()[form], known)
    bones = sum(one.low for one in own.values())
    name = Word("taxon", taxon)
    return Chart("skeleton", y="mau_percent", form=form, shares=shares, more={"n": bones}, name=name)


TABLE = Table("mau", make, (BY_PROTOCOL,))
