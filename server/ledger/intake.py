"""Taking in what a notebook brings: sorts it change by change, keeps all of it, and notes forks and gaps.

    taken        read, kept, to be folded
    known        was here already
    kept_unread  no change, or one that does not match its id: kept as it came, under its number, and reported
                 (so is one whose notebook, record, kind or site is longer than an index takes)
    set_aside    read and kept, but not folded: what decides who may do what is written at the cabin only

Not here: the fold (folding), who may push (devices), what a person reads of it (texts, by key).
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, func, insert, select, union, update

from fieldapp.records import changes
from fieldapp.records.changes import Change, UnreadableChange
from server.ledger import database, events, tables
from server.ledger.columns import LONGEST_KEY, writable
from server.ledger.folding import PROTECTED, short

TAKEN, KNOWN, KEPT_UNREAD, SET_ASIDE = "taken", "known", "kept_unread", "set_aside"


class Answer(NamedTuple):
    """What became of one entry. `why` is "" unless it was not folded: a key of the texts."""

    id: str
    answer: str
    why: str = ""


@dataclass(slots=True)
class Sorted:
    """A batch, looked through: what to fold, an answer for each entry in its order, notices for the sender."""

    fresh: list[Change] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    notices: list[dict[str, Any]] = field(default_factory=list)


def take(connection: Connection, entries: Sequence[tuple[str, str]], *, source: str, head: int, at: str) -> Sorted:
    """Keeps `entries` (id, body). `head` is the last number of the ledger's count."""
    batch = Sorted()
    known = _known(connection, [one for one, _ in entries])
    protected = _protected(connection)
    aside: list[dict[str, Any]] = []
    seen_aside: set[tuple[str, str]] = set()
    for claimed, body in entries:
        if claimed in known and _hash(body) == claimed:
            batch.answers.append(Answer(claimed, KNOWN))
            continue
        try:
            change = changes.read(body, claimed)
        except UnreadableChange as fault:
            answer = Answer(claimed, KEPT_UNREAD, fault.key)
            number = (fault.notebook, fault.n)
        else:
            number = (change.notebook, change.n)
            if max(map(len, (change.notebook, change.record, change.kind, change.site))) > LONGEST_KEY:
                answer = Answer(claimed, KEPT_UNREAD, "cabin.aside.too_long")
            elif change.kind not in PROTECTED and change.record not in protected:
                batch.answers.append(Answer(claimed, TAKEN))
                batch.fresh.append(change)
                known.add(claimed)
                continue
            else:
                answer = Answer(claimed, SET_ASIDE, "cabin.aside.authority")
        batch.answers.append(answer)
        row = _aside(answer, body, number, at, source)
        if (row["id"], row["digest"]) not in seen_aside:
            seen_aside.add((row["id"], row["digest"]))
            aside.append(row)
    _keep_aside(connection, aside)
    keep(connection, batch.fresh, source=source, head=head, at=at)
    batch.notices += _forks(connection, batch.fresh, at)
    batch.notices += _gaps(connection, batch.fresh, aside, at)
    return batch


def keep(connection: Connection, fresh: Sequence[Change], *, source: str, head: int, at: str) -> None:
    """Adds changes to the ledger, numbered after `head` in their order."""
    if fresh:
        rows = [
            {
                "seq": seq,
                "id": one.id,
                "notebook": one.notebook,
                "n": one.n,
                "record": one.record,
                "kind": one.kind,
                "site": one.site,
                "body": one.body,
                "closed": bool(one.set) and all(path.endswith("_sealed") for path in one.set),
                "received_at": at,
                "source": source,
            }
            for seq, one in enumerate(fresh, head + 1)
        ]
        database.put(connection, tables.change, rows)


def _hash(body: str) -> str:
    return hashlib.sha256(_bytes(body)).hexdigest()


def _bytes(body: str) -> bytes:
    return body.encode("utf-8", "surrogatepass")


def _known(connection: Connection, ids: Sequence[str]) -> set[str]:
    column = tables.change.c.id
    asked = [one for one in ids if one.isascii()]
    return set(connection.scalars(select(column).where(database.among(connection, column, asked))))


def _protected(connection: Connection) -> set[str]:
    """Ids of the records that decide about authority: another kind claimed for one of them changes nothing either."""
    return set(connection.scalars(select(tables.record.c.id).where(tables.record.c.kind.in_(PROTECTED))))


def _aside(answer: Answer, body: str, number: tuple[str | None, int | None], at: str, source: str) -> dict[str, Any]:
    notebook, n = number
    fits = n is not None and 0 < n <= changes.BIGGEST_N and notebook is not None and notebook.isascii()
    fits = fits and len(notebook or "") <= LONGEST_KEY
    return {
        "id": short(writable(answer.id) or ""),
        "digest": _hash(body),
        "answer": answer.answer,
        "why": answer.why,
        "notebook": notebook if fits else None,
        "n": n if fits else None,
        "body": _bytes(body),
        "received_at": at,
        "source": source,
    }


def _keep_aside(connection: Connection, rows: Iterable[dict[str, Any]]) -> None:
    """Keeps what is new of these; a tablet that missed the answer may send them again."""
    for row in rows:
        there = select(tables.unread.c.nr).where(
            tables.unread.c.id == row["id"], tables.unread.c.digest == row["digest"]
        )
        if connection.scalar(there) is None:
            connection.execute(insert(tables.unread), row)
            fields = {name: row[name] for name in ("id", "answer", "why", "notebook", "n")}
            events.note(connection, row["answer"], row["source"], row["received_at"], fields)


def _forks(connection: Connection, fresh: Sequence[Change], at: str) -> list[dict[str, Any]]:
    """Numbers that one notebook has given to two changes, and chains that do not close: an old copy went on writing."""
    found: list[dict[str, Any]] = []
    for notebook, own in _by_notebook(fresh).items():
        ids = _ids_by_number(connection, notebook, own)
        for change in own:
            if len(ids[change.n]) > 1:
                found.append({"what": "fork", "notebook": notebook, "n": change.n, "ids": sorted(ids[change.n])})
            elif ids[change.n - 1] and change.prev not in ids[change.n - 1]:
                found.append({"what": "broken_chain", "notebook": notebook, "n": change.n, "ids": [change.id]})
    for notice in found:
        events.note(connection, notice["what"], notice["notebook"], at, notice)
    return found


def _ids_by_number(connection: Connection, notebook: str, own: Sequence[Change]) -> dict[int, set[str]]:
    """{number: ids of all changes that have it} for the numbers of some changes, and for those before them."""
    column = tables.change.c
    ids: dict[int, set[str]] = defaultdict(set)
    for one in own:
        ids[one.n].add(one.id)
    # What is asked for is what the changes themselves cannot tell: the numbers before them, and those given twice.
    before = {one.n - 1 for one in own if one.n - 1 not in ids}
    of_own = column.notebook == notebook
    among = database.among(connection, column.n, sorted(ids))
    twice = select(column.n).where(of_own, among).group_by(column.n).having(func.count() > 1)
    wanted = sorted(before | set(connection.scalars(twice)))
    if wanted:
        asked = select(column.n, column.id).where(of_own, database.among(connection, column.n, wanted))
        for n, one in connection.execute(asked):
            ids[n].add(one)
    return ids


def _gaps(
    connection: Connection, fresh: Sequence[Change], aside: Sequence[dict[str, Any]], at: str
) -> list[dict[str, Any]]:
    """Follows how far each notebook has come without a gap; says where one is open."""
    found: list[dict[str, Any]] = []
    touched = {one.notebook for one in fresh} | {row["notebook"] for row in aside if row["notebook"]}
    for notebook in sorted(touched):
        row = connection.execute(select(tables.notebook).where(tables.notebook.c.id == notebook)).first()
        reached, noted = (row.reached, row.gap_noted) if row else (0, None)
        come = {one.n for one in fresh if one.notebook == notebook}
        while reached + 1 in come:
            reached += 1
        reached, following = _advance(connection, notebook, reached)
        highest = max(
            [reached, row.highest if row else 0]
            + [one.n for one in fresh if one.notebook == notebook]
            + [one["n"] for one in aside if one["notebook"] == notebook]
        )
        values = {"reached": reached, "highest": highest, "gap_noted": noted}
        if following is not None:
            notice = {"what": "gap", "notebook": notebook, "after": reached, "before": following}
            found.append(notice)
            if noted != reached:
                events.note(connection, "gap", notebook, at, notice)
                values["gap_noted"] = reached
        if row:
            connection.execute(update(tables.notebook).where(tables.notebook.c.id == notebook).values(values))
        else:
            connection.execute(insert(tables.notebook), {"id": notebook, **values})
    return found


def _advance(connection: Connection, notebook: str, reached: int) -> tuple[int, int | None]:
    """The last number that has come without a gap after `reached`, and the next one beyond the gap, if any."""
    numbers = union(
        *(
            select(table.c.n).where(and_(table.c.notebook == notebook, table.c.n > reached))
            for table in (tables.change, tables.unread)
        )
    ).order_by("n")
    for n in connection.scalars(numbers):
        if n > reached + 1:
            return reached, n
        reached = n
    return reached, None


def _by_notebook(fresh: Sequence[Change]) -> dict[str, list[Change]]:
    found: dict[str, list[Change]] = defaultdict(list)
    for one in fresh:
        found[one.notebook].append(one)
    return found
