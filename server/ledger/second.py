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

from sqlalchemy import ColumnElement, Connection, and_, case, false, func, not_, or_, select

from fieldapp.assets import knowledge
from fieldapp.domain import agreement, readings
from fieldapp.domain.draws import GROUPED, HARD
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


@dataclass
class Choice:
    """What a draw chooses among.

    groups       {animal or element, "" where it is not drawn by either: ids of dockets}
    left         how many may not be drawn, by why
    passed_over  how many might be, but are not because only hard ones are wanted
    """

    groups: dict[str, list[str]] = field(default_factory=dict)
    left: Counter[str] = field(default_factory=Counter)
    passed_over: int = 0

    @property
    def there(self) -> int:
        """How many it chooses among."""
        return sum(map(len, self.groups.values()))


def choice(ledger: Ledger, within: Collection[str], how: str) -> Choice:
    """What a draw of this way chooses among, of the dockets in these contexts, of all where there are none.

    From the lines of lists, so that a site's hundred thousand need not be read. Those that the rules have not looked at
    are.
    """
    apart = _held_and_busy(ledger)
    with ledger.database.reading() as connection:
        late = list(connection.scalars(lines.LATE))
        there: list[ColumnElement[bool]] = [LINE.record.not_in(lines.LATE)] if late else []
        if within:
            there.append(among(connection, LINE.context, within))
        found = _of_lines(connection, there, how, *apart)
        waiting = [one for one in records_of(connection, sorted(late)) if one.life() != "deleted"]
    if within and waiting:
        contexts = ledger.contexts_of(waiting)
        waiting = [one for one in waiting if contexts.get(one.id) in within]
    return choice_of(ledger, waiting, how, found, apart)


def _of_lines(
    connection: Connection, there: list[ColumnElement[bool]], how: str, held: set[str], busy: set[str]
) -> Choice:
    unread = and_(*(one.is_(None) for one in (LINE.taxon, LINE.element, LINE.side, LINE.stage)))
    easy = func.coalesce(LINE.hard, false()).is_(False) if how == HARD else false()
    group = func.coalesce(getattr(LINE, GROUPED[how]) if how in GROUPED else None, "")
    # One row a group, its bones as one text: a hundred thousand as rows take twice as long.
    asked = select(
        group,
        func.aggregate_strings(case((not_(or_(unread, easy)), LINE.record)), " "),
        func.count(case((unread, 1))),
        func.count(case((and_(not_(unread), easy), 1))),
    )
    found, apart = Choice(), held | busy
    for name, ids, n_unread, n_easy in connection.execute(asked.where(*there).group_by(group)):
        if may := [one for one in (ids or "").split() if one not in apart]:
            found.groups[name] = may
        found.left["no_reading"] += n_unread
        found.passed_over += n_easy
    barred = select(LINE.record, easy).where(among(connection, LINE.record, apart), not_(unread), *there)
    for one, is_easy in connection.execute(barred):
        found.left["on_hold" if one in held else "drawn"] += 1
        found.passed_over -= bool(is_easy)
    return found


def choice_of(
    ledger: Ledger,
    dockets: Iterable[Record],
    how: str,
    beside: Choice | None = None,
    apart: tuple[set[str], set[str]] | None = None,
) -> Choice:
    """The same of these dockets, read one by one; added to `beside`. `apart`: _held_and_busy, where that is known."""
    held, busy = apart or _held_and_busy(ledger)
    listed, problem = list(dockets), tables.problem.c
    with ledger.database.reading() as connection:
        grave = select(problem.record).where(problem.level != "note")
        problems = set(connection.scalars(grave.where(among(connection, problem.record, [one.id for one in listed]))))
    found = beside or Choice()
    for one in listed:
        reading = one.value("reading")
        if not second.is_read(reading):
            found.left["no_reading"] += 1
        elif one.id in held:
            found.left["on_hold"] += 1
        elif one.id in busy:
            found.left["drawn"] += 1
        elif how == HARD and not (one.id in problems or second.is_hard(reading, "reading" in one.disagreements())):
            found.passed_over += 1
        else:
            group = str(reading.get(GROUPED[how]) or "") if how in GROUPED else ""
            found.groups.setdefault(group, []).append(one.id)
    return found


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
