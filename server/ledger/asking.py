"""What the ledger answers: lists, histories, disagreements, numbers, pages of changes. Reads only, and one moment each.

Functions over a connection; `Ledger` offers them. Not here: holds (a module of their own).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, and_, bindparam, case, func, or_, select
from sqlalchemy.orm import aliased

from fieldapp.domain.ids import context_ids, context_number
from fieldapp.records import wire
from fieldapp.records.changes import Change, read
from fieldapp.records.fold import Record
from server.ledger import database, folding, intake, meta, tables
from server.ledger.holds import contexts_of


class Written(NamedTuple):
    """One change, with `change.by`, `.at` and `.notebook` as its writer knew them; the rest is the ledger's."""

    change: Change
    seq: int
    received_at: str
    source: str


class Listed(NamedTuple):
    """A record's line in a list. `disagreements` and `problems` are numbers of them; what is not known is ""."""

    id: str
    kind: str
    label: str
    context: str
    life: str
    answer: str
    disagreements: int
    problems: int


class Disputed(NamedTuple):
    """A path about which a record disagrees. `heads`: the values that stand, by change id."""

    record: str
    kind: str
    label: str
    context: str
    path: str
    nature: str
    heads: dict[str, Any]


class Pulled(NamedTuple):
    """A page of changes as (seq, id, body); `cursor` and `mark` to go on from; whether there is more.

    own     the highest number of the asking notebook's that has come: above its own count, it is an old copy
    forked  whether one of its numbers came twice: there is another copy of it, which may be just as long
    """

    rows: list[tuple[int, str, str]]
    epoch: str
    cursor: int
    mark: str
    own: int
    more: bool
    forked: bool


def records(connection: Connection, kind: str, context: str | None, deleted: bool) -> list[Record]:
    """The records of a kind, by label."""
    column = tables.record.c
    query = _in_context(folding.states(), kind, context, deleted).order_by(column.label.nulls_first(), column.id)
    return folding.load(connection, query)


def listing(connection: Connection, kind: str, context: str | None, deleted: bool) -> list[Listed]:
    """Like `records`, as light lines."""
    column = tables.record.c
    bag = aliased(tables.record)
    numbers = [
        select(func.count()).select_from(table).where(table.c.record == column.id).scalar_subquery()
        for table in (tables.disagreement, tables.problem)
    ]
    query = select(
        column.id,
        column.kind,
        func.coalesce(column.label, ""),
        func.coalesce(bag.c.context, column.context, ""),
        column.life,
        func.coalesce(column.answer, ""),
        *numbers,
    ).select_from(tables.record.outerjoin(bag, bag.c.id == column.bag))
    query = _in_context(query, kind, context, deleted).order_by(column.label.nulls_first(), column.id)
    return [Listed(*row) for row in connection.execute(query)]


def begun_here(connection: Connection, place: str, limit: int) -> list[str]:
    """Ids of the live dockets in a bag, or in a context without one, that the cabin's notebook began: newest first."""
    record, change = tables.record.c, tables.change.c
    first, own = func.min(change.seq), meta.names(connection).notebook
    lies = or_(record.bag == place, and_(record.bag.is_(None), record.context == place))
    query = (
        select(record.id)
        .join(tables.change, change.record == record.id)
        .where(lies, record.kind == "docket", record.life != "deleted")
        .group_by(record.id)
        .having(first == func.min(case((change.notebook == own, change.seq))))
        .order_by(first.desc())
    )
    return list(connection.scalars(query.limit(limit)))


def _in_context(query: Select[Any], kind: str, context: str | None, deleted: bool) -> Select[Any]:
    column = tables.record.c
    query = query.where(column.kind == kind)
    if not deleted:
        query = query.where(column.life != "deleted")
    if context is None:
        return query
    bag = aliased(tables.record)
    there = select(bag.c.id).where(bag.c.context == context)
    elsewhere = select(bag.c.id).where(bag.c.context.is_not(None), bag.c.id == column.bag)
    own = and_(column.context == context, ~elsewhere.exists())
    return query.where(or_(column.bag.in_(there), own))


def called(connection: Connection, kind: str, label: str) -> list[str]:
    """Ids of the live records of a kind that carry a label or number."""
    column = tables.record.c
    query = select(column.id).where(column.label == folding.short(label), column.kind == kind)
    return list(connection.scalars(query.where(column.life != "deleted").order_by(column.id)))


def numbered(connection: Connection, site: str, numbers: Iterable[str]) -> dict[str, str]:
    """{number: id of the live context that has it, however it is spaced; else the id that such a one is made under}.

    A context that was numbered anew keeps its id, so that an id which follows from a number may be another one's.
    """
    column = tables.record.c
    rows = connection.execute(select(column.id, column.label, column.life).where(column.kind == "context")).all()
    has = {row.id: context_number(row.label or "") for row in rows}
    held = {has[row.id]: row.id for row in sorted(rows, key=lambda row: row.id, reverse=True) if row.life != "deleted"}
    found = {}
    for one in numbers:
        wanted = context_number(one)
        own = (made for made in context_ids(site, one) if has.get(made, "") in ("", wanted))
        found[one] = held.get(wanted) or next(own)
    return found


def came_after(connection: Connection, context: str, seq: int, limit: int) -> list[Written]:
    """Changes after number `seq` to a context and to what lies in it, in the order in which they came."""
    column, change = tables.record.c, tables.change.c
    bags = select(tables.record.c.id).where(column.context == context, column.kind == "bag")
    there = select(column.id).where(or_(column.id == context, column.context == context, column.bag.in_(bags)))
    query = select(tables.change).where(change.seq > seq, change.record.in_(there))
    return _written(connection, query.limit(limit))


def history(connection: Connection, record: str) -> list[Written]:
    """Every change of a record, in the order in which they came."""
    return _written(connection, select(tables.change).where(tables.change.c.record == record))


def who(connection: Connection, change_ids: Iterable[str]) -> dict[str, Written]:
    """{change id: its change} of those that are there."""
    asked = database.among(connection, tables.change.c.id, set(change_ids))
    return {one.change.id: one for one in _written(connection, select(tables.change).where(asked))}


def following(connection: Connection, first: str, n: int) -> list[Written]:
    """A change and those that the ledger took in right behind it, `n` in all: what was written at once."""
    change = tables.change.c
    begins = select(change.seq).where(change.id == first).scalar_subquery()
    return _written(connection, select(tables.change).where(change.seq >= begins, change.seq < begins + n))


def _written(connection: Connection, query: Select[Any]) -> list[Written]:
    rows = connection.execute(query.order_by(tables.change.c.seq))
    return [Written(read(row.body), row.seq, row.received_at, row.source) for row in rows]


def disagreements(connection: Connection, nature: str | None) -> list[Disputed]:
    """What the records disagree about, by label."""
    column = tables.disagreement.c
    query = select(column.record, column.path, column.nature)
    if nature is not None:
        query = query.where(column.nature == nature)
    listed = disputed(connection, [tuple(row) for row in connection.execute(query)])
    return sorted(listed, key=lambda one: (one.label, one.record, one.path))


def disputed(
    connection: Connection, rows: Sequence[tuple[str, str, str]], loaded: Mapping[str, Record] | None = None
) -> list[Disputed]:
    """Rows (record, path, nature) of the table `disagreement`, with what stands there; in their order. `loaded`: their
    records, where they have been read."""
    found = loaded or {one.id: one for one in folding.records_of(connection, sorted({row[0] for row in rows}))}
    contexts = contexts_of(connection, found.values())
    about = {one: folding.disputed(record) for one, record in found.items()}
    return [
        Disputed(
            one, found[one].kind, folding.label_of(found[one]), contexts.get(one, ""), path, what, about[one][path]
        )
        for one, path, what in rows
    ]


def brought(connection: Connection, after: str, among_last: int) -> list[tuple[str, int, str]]:
    """(source, how many changes, when the last came) of who brought any since then, the last first.

    `after`: as the ledger writes times; the last so many changes are looked through.
    """
    column = tables.change.c
    start = meta.names(connection).head - among_last
    query = select(column.source, func.count(), func.max(column.received_at)).where(column.seq > start)
    rows = connection.execute(query.where(column.received_at >= after).group_by(column.source)).all()
    return sorted(((source, n, at) for source, n, at in rows), key=lambda one: one[2], reverse=True)


def unread(connection: Connection, answer: str | None) -> list[dict[str, Any]]:
    """What was kept but not folded, newest first."""
    query = select(tables.unread).order_by(tables.unread.c.nr.desc())
    if answer is not None:
        query = query.where(tables.unread.c.answer == answer)
    return [dict(row) for row in connection.execute(query).mappings()]


def counts(connection: Connection) -> dict[str, Any]:
    """Numbers for a first page: see Ledger.counts."""
    column = tables.record.c
    live = column.life != "deleted"
    aside = _numbers(connection, tables.unread.c.answer)
    return {
        "records": _numbers(connection, column.kind, live),
        "answers": _numbers(connection, column.answer, live, column.answer.is_not(None)),
        "disagreements": _numbers(connection, tables.disagreement.c.nature),
        "problems": _numbers(connection, tables.problem.c.level),
        "unread": aside.get(intake.KEPT_UNREAD, 0),
        "set_aside": aside.get(intake.SET_ASIDE, 0),
        "due": connection.scalar(select(func.count()).select_from(tables.record).where(column.due)) or 0,
        "head": meta.names(connection).head,
    }


def _numbers(connection: Connection, column: Any, *only: Any) -> dict[str, int]:
    return dict(connection.execute(select(column, func.count()).where(*only).group_by(column)).all())


def pull(
    connection: Connection, since: int, limit: int, skip: str, notebook: str, characters: int | None = None
) -> Pulled:
    """A page of changes after number `since`: see Ledger.pull."""
    there = mark(connection, since)
    return page(connection, meta.names(connection), there, since, limit, skip, notebook, characters)


def page(
    connection: Connection,
    now: meta.Names,
    at: str,
    since: int,
    limit: int,
    skip: str,
    notebook: str,
    characters: int | None = None,
) -> Pulled:
    """The same, for who has asked for the ledger's names and for the mark `at` the number `since` already."""
    column = tables.change.c
    query = select(column.seq, column.id, column.body).where(
        column.seq > since, or_(~column.closed, column.notebook == notebook), column.notebook != skip
    )
    found: list[tuple[int, str, str]] = []
    size, more = 0, False
    for row in connection.execute(query.order_by(column.seq).limit(limit + 1)) if since < now.head else ():
        size += len(row.body)
        if len(found) == limit or (found and characters is not None and size > characters):
            more = True
            break
        found.append((row.seq, row.id, row.body))
    cursor = found[-1][0] if more else now.head
    own = connection.scalar(_OWN, {"notebook": notebook}) or 0
    there = at if cursor == since else mark(connection, cursor)
    return Pulled(found, now.epoch, cursor, there, own, more, forked(connection, notebook))


def tag(connection: Connection, notebook: str) -> str:
    """See Ledger.tag."""
    now = meta.names(connection)
    mark, own, fork = connection.execute(_TAG, {"seq": now.head, "notebook": notebook}).one()
    return wire.tag(now.epoch, now.head, mark or "", own or 0) if fork is None else ""


# Asked for again and again: made once.
_MARK = select(tables.change.c.id).where(tables.change.c.seq == bindparam("seq"))
_OWN = select(tables.notebook.c.highest).where(tables.notebook.c.id == bindparam("notebook"))
_FORK = (
    select(tables.event.c.nr)  # noted when the second change of a number came
    .where(tables.event.c.what == "fork", tables.event.c.who == bindparam("notebook"))
    .limit(1)
)
_TAG = select(*(one.scalar_subquery() for one in (_MARK, _OWN, _FORK)))


def beginning_with(connection: Connection, beginnings: Set[str]) -> dict[str, tuple[str, str]]:
    """See Ledger.beginning_with. Hexadecimal beginnings."""
    column = tables.change.c
    listed = database.listed(connection, sorted(beginnings))
    # After every character of a hash comes a g.
    begins = and_(column.id >= listed.c.value, column.id < listed.c.value.concat("g"))
    found: dict[str, tuple[str, str]] = {}
    twice: set[str] = set()
    for beginning, *one in connection.execute(select(listed.c.value, column.id, column.record).where(begins)):
        if beginning in found:
            twice.add(beginning)
        found[beginning] = (one[0], one[1])
    return {beginning: one for beginning, one in found.items() if beginning not in twice}


def mark(connection: Connection, seq: int) -> str:
    """The id of the change at a number of the count, "" for none."""
    return connection.scalar(_MARK, {"seq": seq}) or ""


def forked(connection: Connection, notebook: str) -> bool:
    """Whether two changes of a notebook have the same number."""
    return connection.scalar(_FORK, {"notebook": notebook}) is not None
