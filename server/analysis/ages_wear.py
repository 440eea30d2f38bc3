"""Teeth: what each lower jaw says of its age, jaws by stage, added scores, and the teeth that were found loose.

For: the tables `wear`, `wear_stages`, `wear_scores` and `wear_loose`. What a jaw says is
fieldapp.domain.assemblage.wear's. Not for: curves of survival (ages_survival).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping

from fieldapp.assets import wear_limits
from fieldapp.domain.assemblage.deaths import animal_of, by_eruption
from fieldapp.domain.assemblage.results import Cell, Chart, Column, Note, Result, Row, Series, Word
from fieldapp.domain.assemblage.selection import Unit
from fieldapp.domain.assemblage.shares import percent
from fieldapp.domain.assemblage.specimens import Specimen, Tooth
from fieldapp.domain.assemblage.survival import OPEN
from fieldapp.domain.assemblage.wear import (
    BEHIND,
    CONTRADICTORY,
    GRANT,
    MOLARS,
    Stages,
    is_jaw,
    is_loose,
    mandible_score,
    molar_scores,
    months_of,
    shared,
    stage_of_score,
    stages_of,
    state_of,
)
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.teeth import Scheme
from server.analysis import ages_asked as ask
from server.analysis.asking import Asked, Option, Table
from server.analysis.cells import cited
from server.analysis.count_common import human_notes

TEETH = ("dP4", "P4", *MOLARS)
LEAST = 5
"""Fewer jaws make no chart: their shares would look like a pattern (a project decision)."""
MOST_STAGES = 3
"""Where jaws may be of more stages on average there is no chart: it would show how they are shared out (project
decision)."""
FIVE = 5
"""Scores stand together in fives on the chart."""
EVENLY, AS_CERTAIN = "evenly", "as_certain"
_TEETH = tuple(Column(f"tooth_{tooth.lower()}") for tooth in TEETH)
_AGES = (Column("age_from", "number", 0), Column("age_to", "number", 0))
_JAW = (Column("label"), Column("taxon"), Column("side"))
_BY_JAW = (
    *_JAW, *_TEETH, Column("wear_stages"), *_AGES,
    Column("eruption_from", "number", 1), Column("eruption_to", "number", 1),
)  # fmt: skip
_BY_STAGE = (
    Column("wear_stage"), *_AGES, Column("wear_certain", "count"), Column("wear_possible", "count"),
    Column("wear_evenly", "number", 2), Column("wear_as_certain", "number", 2),
    Column("percent_died", "percent"), Column("percent_survived", "percent"),
)  # fmt: skip
_BY_SCORE = (
    *_JAW, *(Column(f"score_{tooth.lower()}", "count") for tooth in MOLARS), Column("mandible_score", "count"),
    Column("score_stage"),
)  # fmt: skip
_LOOSE = (Column("taxon"), Column("tooth"), Column("jaw"), Column("side"), Column("wear_written"),
          Column("wear_scheme"), Column("n", "count"))  # fmt: skip

Told = tuple[Specimen, Stages | str]


def teller(scheme: Scheme, know: Knowledge) -> Callable[[Specimen], Stages | str]:
    """Says of a jaw which stages it may be of. Jaws with the same teeth are looked at once."""
    limits = [limit for limit in wear_limits() if limit.scheme == scheme.key]
    known: dict[tuple[str | None, tuple[Tooth, ...]], Stages | str] = {}

    def tell(one: Specimen) -> Stages | str:
        key = (one.taxon, one.teeth)
        if key not in known:
            known[key] = stages_of(one, scheme, limits, know)
        return known[key]

    return tell


def by_jaw(asked: Asked) -> Iterator[Result]:
    """One table a unit: each jaw with its teeth as they were written, and its stages."""
    chosen = ask.chosen(asked)
    know, scheme = chosen.knowledge, chosen.scheme
    tell = teller(scheme, know) if scheme else None
    for unit, own, jaws in _units(asked, chosen):
        told = [(one, tell(one)) for one in jaws] if tell else []
        told.sort(key=lambda one: _order(one[1]))
        rows = [
            Row(
                (
                    *_who(one),
                    *(_written(one, tooth, know) for tooth in TEETH),
                    _stages(found, scheme) if scheme else None,
                    *(months_of(found, scheme) if scheme and isinstance(found, Stages) else (None, None)),
                    *_eruption(one, chosen),
                ),
                (one.id,),
            )
            for one, found in told
        ]
        yield _result("wear", asked, unit, _BY_JAW, rows, own, scheme, used=chosen.eruption_sources())


def by_stage(asked: Asked) -> Iterator[Result]:
    """One table a unit: how many jaws of each stage, with those of several stages shared out."""
    chosen, way = ask.chosen(asked), asked.option("sharing", EVENLY)
    scheme = chosen.scheme
    tell = teller(scheme, asked.knowledge) if scheme else None
    for unit, own, jaws in _units(asked, chosen):
        told = [(one, tell(one)) for one in jaws if one.sure] if tell else []
        animals, contradictory = animals_of(told)
        counts = Counter({found: 0 for found, _ in animals})
        for found, members in animals:
            counts[found] += max(one.count for one in members)
        rows = _stage_rows(counts, animals, scheme, way) if scheme and counts else []
        silent = [one for one, found in told if isinstance(found, str) and found != CONTRADICTORY]
        n, spread = sum(counts.values()), _spread(counts)
        charts = (Chart("bars", "wear_stage", "age_percent_jaws", _bars(rows)),) if n >= LEAST else ()
        notes = _sharing_notes(counts, way) if rows else []
        if charts and spread > MOST_STAGES:
            charts, notes = (), [*notes, Note("ages_stages_too_open", {"stages": f"{spread:.1f}", "most": MOST_STAGES})]
        result = _result(
            "wear_stages", asked, unit, _BY_STAGE, rows, own, scheme,
            notes=notes,
            out=(
                ("ages_disputed", [one for one in jaws if not one.sure]),
                ("ages_contradictory_jaw", contradictory),
                ("ages_silent_jaw", silent),
            ),
            charts=charts,
        )  # fmt: skip
        yield result


def _spread(counts: Mapping[Stages, int]) -> float:
    """Of how many stages a jaw may be, on average."""
    n = sum(counts.values())
    return sum(times * (found.last - found.first + 1) for found, times in counts.items()) / n if n else 0.0


def _sharing_notes(counts: Mapping[Stages, int], way: str) -> list[Note]:
    notes, n = [Note(f"ages_sharing_{way if way == AS_CERTAIN else EVENLY}")], sum(counts.values())
    open_ones = sum(times for found, times in counts.items() if not found.certain)
    notes += [Note("ages_few_jaws", {"n": n})] if n < ask.FEW else []
    return [*notes, Note("ages_spread", {"n": open_ones, "of": n})] if open_ones else notes


def animals_of(told: Iterable[Told]) -> tuple[list[tuple[Stages, list[Specimen]]], list[Specimen]]:
    """(the stages of each animal with its jaws, the jaws that no stage fits). Jaws that say nothing are in neither."""
    together: dict[str, list[Told]] = {}
    for one, found in told:
        if isinstance(found, Stages) or found == CONTRADICTORY:
            together.setdefault(animal_of(one), []).append((one, found))
    animals, contradictory = [], []
    for own in together.values():
        members = [one for one, _ in own]
        spans = [found for _, found in own if isinstance(found, Stages)]
        first, last = max((one.first for one in spans), default=0), min((one.last for one in spans), default=0)
        if len(spans) < len(own) or first > last:
            contradictory += members
        else:
            animals.append((Stages(first, last), members))
    return animals, contradictory


def _stage_rows(
    counts: Counter[Stages], animals: list[tuple[Stages, list[Specimen]]], scheme: Scheme, way: str
) -> list[Row]:
    keys, found = list(scheme.stages), shared(counts, len(scheme.stages))
    adopted = found.as_certain if way == AS_CERTAIN else found.evenly
    n, left, rows = sum(counts.values()), 100.0, []
    for at, key in enumerate(keys):
        died = percent(adopted[at], n)
        left -= died or 0.0
        ids = tuple(one.id for span, own in animals if span.first <= at <= span.last for one in own)
        figures = (found.certain[at], found.possible[at], found.evenly[at], found.as_certain[at], died)
        rows.append(Row((key, *months_of(Stages(at, at), scheme), *figures, max(0.0, round(left, 9))), ids))
    certain, every = sum(found.certain), tuple(dict.fromkeys(one.id for _, own in animals for one in own))
    total = (Word("analysis.row", "ages_total"), None, None, certain, n, float(n), float(n), 100.0, None)
    return [*rows, Row(total, every, total=True)]


def _bars(rows: list[Row]) -> tuple[Series, ...]:
    """The certain and, beside them, all as they were shared out; both of all jaws."""
    told = [row for row in rows if not row.total]
    marks, n = tuple(str(row.cells[0]) for row in told), _number(rows[-1].cells[4]) or 1
    certain = tuple(100 * (_number(row.cells[3]) or 0) / n for row in told)
    return (
        Series(Word("analysis.row", "ages_certain"), marks, certain, n=(int(n),)),
        Series(Word("analysis.row", "ages_shared"), marks, tuple(_number(row.cells[7]) for row in told), n=(int(n),)),
    )


def _number(cell: Cell) -> float | None:
    return float(cell) if isinstance(cell, int | float) else None


def by_score(asked: Asked) -> Iterator[Result]:
    """One table a unit: the scores of the molars after Grant, added where all three are known."""
    chosen = ask.chosen(asked)
    know = chosen.knowledge
    bands = next((one for one in know.teeth.schemes.values() if chosen.taxon in one.taxa and _has_scores(one)), None)
    for unit, own, jaws in _units(asked, chosen):
        told = [(one, molar_scores(one, know)) for one in jaws]
        scored = [(one, scores, mandible_score(scores)) for one, scores in told if any(scores.values())]
        scored.sort(key=lambda one: (one[2] is None, one[2] or 0))
        rows = [
            Row(
                (
                    *_who(one),
                    *(scores[tooth] for tooth in MOLARS),
                    total,
                    stage_of_score(total, bands) if bands and total is not None else None,
                ),
                (one.id,),
            )
            for one, scores, total in scored
        ]
        # Each jaw is listed as it was read; of a jaw under two labels, or in dispute, one counts or none.
        jaw_of = {one.fitted or one.bone or one.id: (one, total) for one, _, total in reversed(scored) if one.sure}
        tally: Counter[int] = Counter()
        for one, total in jaw_of.values():
            if total is not None:
                tally[total] += one.count
        of = sum(one.count for one, _ in jaw_of.values())
        notes = [Note("ages_scores", {"n": sum(tally.values()), "of": of})] if rows else []
        if bands and rows:
            notes.append(Note("ages_score_bands", {"scheme": Word("wear_scheme", bands.key)}))
        first, last = (min(tally) - 1) // FIVE if tally else 0, (max(tally) - 1) // FIVE if tally else 0
        marks = {f"{at * FIVE + 1}–{(at + 1) * FIVE}": at for at in range(first, last + 1)}  # noqa: RUF001
        heights = tuple(sum(n for score, n in tally.items() if (score - 1) // FIVE == at) for at in marks.values())
        chart = Chart("bars", "mandible_score", "age_jaws", (Series(None, tuple(marks), heights),))
        grant = know.teeth.schemes[GRANT]
        used = [(grant.source, grant.seen)] + ([(bands.source, bands.seen)] if bands else [])
        without = [one for one, scores in told if not any(scores.values())]
        yield _result(
            "wear_scores", asked, unit, _BY_SCORE, rows, own, None, notes, (("ages_unscored", without),), used,
            (chart,) if sum(tally.values()) >= LEAST else (),
        )  # fmt: skip


def _has_scores(scheme: Scheme) -> bool:
    return scheme.kind == "jaw" and any(row.score_min is not None for row in scheme.stages.values())


def loose(asked: Asked) -> Iterator[Result]:
    """One table a unit: teeth found loose, by what they are and how worn. They may be of jaws that are counted."""
    chosen = ask.chosen(asked)
    tables = [*chosen.knowledge.taxa], [*chosen.knowledge.teeth.teeth]

    def place(key: tuple[Cell, ...]) -> tuple[int, int, str]:
        animal, tooth = (
            table.index(one.key) if isinstance(one, Word) and one.key in table else len(table)
            for one, table in zip(key[:2], tables, strict=True)
        )
        return animal, tooth, repr(key)

    for unit, specimens in asked.units.items():
        every = [one for one in chosen.own(specimens) if is_loose(one, chosen.knowledge)]
        own = {one.bone or one.id: one for one in reversed(every) if one.sure}
        tally: dict[tuple[Cell, ...], tuple[int, list[str]]] = {}
        for one in reversed(own.values()):
            for tooth in one.teeth:
                written, scheme = tooth.wear or (Word("eruption_state", tooth.stage) if tooth.stage else None), None
                if tooth.wear and tooth.scheme:
                    scheme = Word("wear_scheme", tooth.scheme)
                jaw = Word("jaw", tooth.jaw) if tooth.jaw else None
                side = tooth.side or one.side
                key = (Word("taxon", one.taxon or ""), Word("tooth", tooth.tooth), jaw,
                       Word("side", side) if side else None, written, scheme)  # fmt: skip
                n, ids = tally.get(key, (0, []))
                tally[key] = (n + one.count, [*ids, one.id])
        rows = [Row((*key, tally[key][0]), tuple(tally[key][1])) for key in sorted(tally, key=place)]
        sure = {one.id for one in every if one.sure}
        out = (("ages_disputed", [one for one in every if one.id not in sure]),)
        yield _result("wear_loose", asked, unit, _LOOSE, rows, every, None, out=out)


def _units(asked: Asked, chosen: ask.Chosen) -> Iterator[tuple[Unit, list[Specimen], list[Specimen]]]:
    """(unit, the specimens of the animal asked for, the lower jaws among them)."""
    for unit, specimens in asked.units.items():
        own = chosen.own(specimens)
        yield unit, own, [one for one in own if is_jaw(one, chosen.knowledge)]


def _who(one: Specimen) -> tuple[Cell, Cell, Cell]:
    return one.label or None, Word("taxon", one.taxon or ""), Word("side", one.side) if one.side else None


def _written(one: Specimen, tooth: str, know: Knowledge) -> Cell:
    """How a tooth of a jaw was written: its stage of wear, or how far it had come."""
    own = [each for each in one.teeth if each.tooth == tooth and each.jaw in (None, "lower")]
    codes = [each.wear for each in own if each.wear]
    if codes:
        return " / ".join(codes)
    states = [state for each in own if (state := state_of(each, know.teeth))]
    return Word("eruption_state", states[0]) if states else None


def _eruption(one: Specimen, chosen: ask.Chosen) -> tuple[Cell, Cell]:
    """(from, to) in months, as far as the coming through of its teeth says either."""
    found = by_eruption(one, chosen.taxon, chosen.knowledge)
    if found is None:
        return Word("analysis.row", "ages_contradictory"), None
    return found.low or None, None if found.high == OPEN else found.high


def _stages(found: Stages | str, scheme: Scheme) -> Cell:
    if isinstance(found, str):
        return Word("analysis.row", f"ages_{found}")
    keys = list(scheme.stages)
    return keys[found.first] if found.certain else f"{keys[found.first]}–{keys[found.last]}"  # noqa: RUF001


def _order(found: Stages | str) -> tuple[int, int, str]:
    return (found.first, found.last, "") if isinstance(found, Stages) else (1000, 0, found)


def _result(
    key: str, asked: Asked, unit: Unit, columns: tuple[Column, ...], rows: list[Row], own: list[Specimen],
    scheme: Scheme | None, notes: Iterable[Note] = (), out: tuple[tuple[str, list[Specimen]], ...] = (),
    used: Iterable[tuple[str, str]] = (), charts: tuple[Chart, ...] = (),
) -> Result:  # fmt: skip
    told = list(notes)
    if scheme is not None:
        told.insert(0, Note("ages_scheme", {"scheme": Word("wear_scheme", scheme.key)}))
        limits = [(one.source, one.seen) for one in wear_limits() if one.scheme == scheme.key]
        used = [*used, (scheme.source, scheme.seen), *limits, (BEHIND, "-")]
        if scheme.key in ("payne_1973", "halstead_1985", "hambleton_1999"):
            told.append(Note("ages_third_cusp"))
    if not rows:
        told.append(Note("ages_no_teeth"))
    told = [*human_notes(asked.left_out(unit), own), *told]
    left = (*asked.left_out(unit), *ask.outs(("ages_tally", ask.tallies(own)), *out))
    return Result(key, asked.selection, unit, columns, tuple(rows), left, tuple(told), cited(used), charts)


SHARING = Option("sharing", lambda _: (EVENLY, AS_CERTAIN), "analysis.row")
WEAR = Table("wear", by_jaw, (ask.TAXON, ask.SCHEME))
STAGES = Table("wear_stages", by_stage, (ask.TAXON, ask.SCHEME, SHARING))
SCORES = Table("wear_scores", by_score, (ask.TAXON,))
LOOSE = Table("wear_loose", loose, (ask.TAXON,))
