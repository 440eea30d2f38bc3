"""Second readings at the cabin: which bones may be drawn, what a draw writes, and how the two readers of one agree.

Until a draw is over, nothing that compares is to be shown. What is compared is the first reading as it stood when the
bone was drawn (`first`), so that what was mended since changes no figure; where people disagreed then, the coarser of
what they said. Not here: what a draw is (fieldapp.records.second), pages, the figures (domain.agreement).
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, case, func, select

from fieldapp.assets import knowledge
from fieldapp.domain import agreement, readings
from fieldapp.domain.draws import HARD, Candidate
from fieldapp.records import second
from fieldapp.records.changes import Change
from fieldapp.records.fold import Record
from fieldapp.records.schemas import OBSERVED
from fieldapp.records.second import KIND, SEEN, Draw, docket_of, is_done, is_open, reader_of, sample_of
from server.ledger import lines, tables
from server.ledger.database import among
from server.ledger.folding import records_of
from server.ledger.ledger import Edit, Ledger
from server.ledger.lines import LINE
from server.spreadsheet import plain

__all__ = ["KIND", "SEEN", "Draw", "docket_of", "is_done", "is_open", "reader_of", "sample_of"]

LEFT_OUT = ("no_reading", "on_hold", "drawn")
"""Why a bone may not be drawn: nobody has read it yet; it is on hold; it is in a draw that is not over."""


@dataclass
class Compared:
    """What became of a draw.

    pairs     {second reading's id: (first, second) values}
    disputed  of how many bones people disagreed on the first reading when it was drawn
    seen      second readings whose reader had looked at the first: not blind
    own       those whose reader had made the first reading too: how one person agrees with themselves
    """

    draw: Draw
    agreement: agreement.Agreement
    pairs: dict[str, tuple[dict[str, Any], dict[str, Any]]]
    disputed: int = 0
    seen: set[str] = field(default_factory=set)
    own: set[str] = field(default_factory=set)


def draws(ledger: Ledger) -> list[Draw]:
    """Every draw, those that are not over first, then by name."""
    return second.draws(ledger.records(KIND))


def about(connection: Connection, dockets: Collection[str]) -> list[Record]:
    """The second readings of these dockets."""
    if not dockets:
        return []
    link = tables.link.c
    asked = select(link.record).where(among(connection, link.other, set(dockets)), link.sort == "about")
    kind = select(tables.record.c.id).where(tables.record.c.kind == KIND, tables.record.c.id.in_(asked))
    return [one for one in records_of(connection, list(connection.scalars(kind))) if one.life() != "deleted"]


# -- drawing


def candidates(ledger: Ledger, dockets: Iterable[Record]) -> tuple[list[Candidate], Counter[str]]:
    """What may be drawn of these dockets, and how many may not, by why."""
    held, busy = _held_and_busy(ledger)
    listed, problem = list(dockets), tables.problem.c
    with ledger.database.reading() as connection:
        grave = select(problem.record).where(problem.level != "note")
        problems = set(connection.scalars(grave.where(among(connection, problem.record, [one.id for one in listed]))))
    found, left = [], Counter[str]()
    for one in listed:
        reading = one.value("reading")
        if not second.is_read(reading):
            left["no_reading"] += 1
        elif one.id in held:
            left["on_hold"] += 1
        elif one.id in busy:
            left["drawn"] += 1
        else:
            taxon, element = (str(reading.get(name) or "") for name in ("taxon", "element"))
            hard = one.id in problems or second.is_hard(reading, "reading" in one.disagreements())
            found.append(Candidate(one.id, taxon, element, hard))
    return found, left


def candidates_of_lines(ledger: Ledger, within: Collection[str], how: str) -> tuple[list[Candidate], Counter[str], int]:
    """What a draw of this way chooses among, of the dockets in these contexts, of all where there are none; how many
    may not be drawn, by why; and how many might be, but are passed over because only hard ones are wanted.

    From the lines of lists, so that a site's hundred thousand need not be read. Those that the rules have not looked at
    are.
    """
    held, busy = _held_and_busy(ledger)
    hard = case((LINE.hard.is_(True), 1), else_=0)
    with ledger.database.reading() as connection:
        late = list(connection.scalars(lines.LATE))
        there: list[ColumnElement[bool]] = [LINE.record.not_in(lines.LATE)] if late else []
        if within:
            there.append(among(connection, LINE.context, within))
        why = case(
            (and_(*(one.is_(None) for one in (LINE.taxon, LINE.element, LINE.side, LINE.stage))), "no_reading"),
            (among(connection, LINE.record, held), "on_hold"),
            (among(connection, LINE.record, busy), "drawn"),
            else_="",
        ).label("why")
        rows = select(LINE.record, func.coalesce(LINE.taxon, ""), func.coalesce(LINE.element, ""), hard, why)
        easy = Counter[str]()
        if how == HARD:
            # Only counted, which takes less time than to hand them out.
            counted = select(why, func.count()).where(hard == 0, *there).group_by("why")
            easy.update(dict(connection.execute(counted).all()))
            rows = rows.where(hard == 1)
        listed = connection.execute(rows.where(*there)).all()
        waiting = [one for one in records_of(connection, sorted(late)) if one.life() != "deleted"]
    if within and waiting:
        contexts = ledger.contexts_of(waiting)
        waiting = [one for one in waiting if contexts.get(one.id) in within]
    more, left = candidates(ledger, waiting)
    found = [Candidate(*row[:4]) for row in listed if not row[4]]
    found += (one for one in more if one.hard or how != HARD)
    left += Counter(row[4] for row in listed if row[4])
    passed_over = easy.pop("", 0) + sum(not one.hard for one in more if how == HARD)
    return found, left + easy, passed_over


def _held_and_busy(ledger: Ledger) -> tuple[set[str], set[str]]:
    """Dockets on hold, and those in a draw that is not over."""
    held = {one.docket for one in ledger.holds() if one.raised}
    return held, {docket_of(one) for draw in draws(ledger) if not draw.over for one in draw.readings}


def edits(ledger: Ledger, sample: str, drawn: Mapping[str, Any], reader: str, dockets: Sequence[Record]) -> list[Edit]:
    """The second readings that a draw makes, still to be written."""
    return [
        Edit(
            KIND,
            ledger.new_id(),
            {
                "docket": one.id,
                "sample": sample,
                "drawn": dict(drawn),
                "reader": reader or None,
                "first": {path: sorted(ids) for path, ids in one.head_ids().items() if _is_observed(path)},
            },
            {},
        )
        for one in dockets
    ]


def _is_observed(path: str) -> bool:
    return path.partition("/")[0] in OBSERVED


# -- comparing


def compared(ledger: Ledger, draw: Draw) -> Compared:
    """How the two readers of a draw agree, over what was read."""
    ids = {one for reading in draw.done for ids in _first(reading).values() for one in ids}
    ids |= {one for reading in draw.done for one in reading.heads.get("done", {})}
    written = {one: found.change for one, found in ledger.who(ids).items()}
    found = Compared(draw, agreement.Agreement(0, {}, {}, {}), {})
    for one in draw.done:
        first = _first(one)
        values = {path: value for path, value in one.values().items() if _is_observed(path) and value is not None}
        found.pairs[one.id] = (_as_drawn(first, written), values)
        found.disputed += len(_said("reading", first, written)) > 1
        readers = {_person(written[change]) for change in one.heads["done"] if change in written} - {""}
        if readers & second.seen_early(one):
            found.seen.add(one.id)
        if readers & {_person(written[change]) for change in first.get("reading", ()) if change in written}:
            found.own.add(one.id)
    found.agreement = agreement.agreement(found.pairs, knowledge())
    return found


def _first(reading: Record) -> dict[str, list[str]]:
    """{path: heads} of the docket when it was drawn, as far as that was written as it should be."""
    value = reading.value("first")
    if not isinstance(value, Mapping):
        return {}
    return {path: [one for one in ids if isinstance(one, str)] for path, ids in value.items() if isinstance(ids, list)}


def _said(path: str, first: Mapping[str, Sequence[str]], written: Mapping[str, Change]) -> list[Any]:
    """The distinct values that stood at a path when the bone was drawn."""
    found: list[Any] = []
    for one in first.get(path, ()):
        if one in written and path in written[one].set and (value := written[one].set[path]) not in found:
            found.append(value)
    return found


def _as_drawn(first: Mapping[str, Sequence[str]], written: Mapping[str, Change]) -> dict[str, Any]:
    """What the docket said when it was drawn; of what was in dispute no more than all said."""
    values = {}
    for path in first:
        said = _said(path, first, written)
        value = said[0] if said else None
        for other in said[1:]:
            value = readings.coarser(value, other, knowledge()) if path == "reading" else None
        if value is not None:
            values[path] = value
    return values


def _person(change: Change) -> str:
    value = change.by.get("person")
    return value if isinstance(value, str) else ""


# -- tables


COLUMNS = (
    "sort", "field", "first", "second", "n", "same", "conflict", "precision", "one_only", "agreement", "strict",
    "kappa", "kappa_se", "kappa_low", "kappa_high", "mean_mm_or_g", "mean_difference", "tem", "tem_percent",
)  # fmt: skip


def rows(found: agreement.Agreement) -> list[dict[str, Any]]:
    """All figures as rows of one table (COLUMNS): a field each, then what was taken for what, then measurements."""
    made: list[dict[str, Any]] = []
    for name, one in found.fields.items():
        kappa = one.kappa
        made.append(
            {
                "sort": "field",
                "field": name,
                "n": one.both,
                "same": one.same,
                "conflict": one.conflict,
                "precision": one.precision.total(),
                "one_only": one.one_only,
                "agreement": one.agreement,
                "strict": one.strict,
                "kappa": kappa.kappa if kappa else None,
                "kappa_se": kappa.se if kappa else None,
                "kappa_low": kappa.low if kappa else None,
                "kappa_high": kappa.high if kappa else None,
            }
        )
    for name, one in found.fields.items():
        for sort, table in (("confusion", one.table), ("precision", one.precision)):
            for (a, b), n in sorted(table.items()):
                if a != b:
                    made.append({"sort": sort, "field": name, "first": a, "second": b, "n": n})
    for name, each in found.measures.items():
        figures = {"mean_mm_or_g": each.mean, "mean_difference": each.difference, "tem": each.error}
        made.append({"sort": "measurement", "field": name, "n": each.n, **figures, "tem_percent": each.relative})
    return made


def as_csv(found: agreement.Agreement) -> str:
    """The rows as CSV; figures with six digits. No word that came from a tablet can begin a formula."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    table.writeheader()
    for row in rows(found):
        table.writerow({name: _cell(value) for name, value in row.items()})
    return out.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain(value) if isinstance(value, str) else value
