"""Which records hang on which: what the rules have to look at again with a record, and what they look at beside it.

Asked of the ledger's tables and of the records themselves. What a record was like before counts too: whoever shared a
bag or a label with it may be free of a problem now. It is known from the record: a change that it replaces is named.
Not here: the rules and when they run (checks).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, select

from fieldapp.records import changes
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.columns import writable
from server.ledger.database import among
from server.ledger.folding import ABOUT, LINKS, records_of, short

_NAMING = {"bag": "bag", "label": "label", "number": "label"}
_NAMING_OF = {kind: {**dict.fromkeys(paths, "about"), **_NAMING} for kind, paths in ABOUT.items()}
"""{kind: {path by which a record is beside others: as what}}, beside its links."""

_ALL_LINKS = tuple(f"{sort}/" for sort in LINKS)
_LINK_PATHS = tuple(path for path in _ALL_LINKS if path != "member/")


def neighbours(connection: Connection, records: Sequence[Record]) -> set[str]:
    """Ids of the records whose problems may hang on these; among them some of records that have not come."""
    column, link, problem = tables.record.c, tables.link.c, tables.problem.c
    ids = {one.id for one in records}

    def ask(*wanted: Any) -> list[Any]:
        return list(connection.execute(select(*wanted[:-1]).where(wanted[-1])).all())

    def of(column: Any, values: Collection[str] = ids) -> Any:
        return among(connection, column, values)

    inside = ask(column.id, column.kind, of(column.context))
    near = ask(link.record, link.sort, of(link.other))
    named = _named(connection, records)
    # A link that was taken away leaves its path behind, set to nothing.
    far = {sort: set[str]() for sort in LINKS}
    for path in {path for one in records for path in one.heads if path.startswith(_LINK_PATHS)}:
        sort, _, other = path.partition("/")
        far[sort].add(short(writable(other) or ""))
    found = {one for one, _ in (*inside, *near)}.union(named["about"], *far.values())
    # A docket weighs in its bag; what is sent with the bag is sent with it; what is known of a sample, of its bags.
    beside = named["bag"]
    bags = {one for one, kind in inside if kind == "bag"} | {one for one, sort in near if sort == "about"}
    same = {one for one, sort in near if sort == "same_as"} | far["same_as"]
    queries = [
        select(column.id).where(of(column.bag, bags | ids)),
        select(link.record).where(of(link.other, beside), link.sort == "about"),
        select(column.id).where(of(column.label, named["label"])),
        select(problem.record)
        .join(tables.record, column.id == problem.record)
        .where(of(column.bag, beside), problem.rule == "possible_double"),
    ]
    if same:
        sent = select(column.bag).where(of(column.id, same), column.bag.is_not(None))
        queries += [
            select(link.record).where(of(link.other, same) | link.other.in_(sent), link.sort == "about"),
            select(link.other).where(of(link.record, same), link.sort == "photo"),
        ]
    return found.union(beside, *(connection.scalars(query).all() for query in queries))


def _named(connection: Connection, records: Iterable[Record]) -> dict[str, set[str]]:
    """{"bag", "label" or "about": the words that these have there, or had before}, as they stand in the tables."""
    found: dict[str, set[str]] = {"bag": set(), "label": set(), "about": set()}
    replaced: set[str] = set()

    def take(sort: str, word: Any) -> None:
        if isinstance(word, str) and word:
            found[sort].add(short(writable(word) or ""))

    for one in records:
        for path, sort in _NAMING_OF.get(one.kind, _NAMING).items():
            for word in one.heads.get(path, {}).values():
                take(sort, word)
            if one.named is not None:
                replaced.update(one.named.get(path, ()))
    if replaced:
        column = tables.change.c
        query = select(column.body, column.id).where(among(connection, column.id, replaced))
        for body, change in connection.execute(query).all():
            before = changes.kept(body, change)
            for path, sort in _NAMING_OF.get(before.kind, _NAMING).items():
                take(sort, before.set.get(path))
    return found


def around(connection: Connection, records: Sequence[Record]) -> list[Record]:
    """The records beside these that the rules may look at.

    The site, bags and what lies in them, contexts, samples, members, joined dockets, fitting pieces, photos, transfers.
    """
    known = {one.id for one in records}
    found: list[Record] = []

    def fetch(ids: Iterable[str]) -> None:
        wanted = {one for one in ids if one not in known}
        if wanted:
            new = records_of(connection, sorted(wanted))
            known.update(one.id for one in new)
            found.extend(new)

    column, link = tables.record.c, tables.link.c
    bags = {bag for one in records if isinstance(bag := one.value("bag"), str)}
    fetch(bags | {other for one in records for _, other in one.links(_ALL_LINKS)})
    named = {
        other
        for one in (*records, *found)
        for path in ABOUT.get(one.kind, ())
        if isinstance(other := one.value(path), str)
    }
    fetch(named)
    fetch({other for one in found if one.id in named for other in one.linked("same_as")})
    fetch(connection.scalars(select(column.id).where(column.kind == "site")))
    fetch({context for one in (*records, *found) if isinstance(context := one.value("context"), str)})
    bags |= {one.id for one in records if one.kind == "bag"}
    fetch(connection.scalars(select(column.id).where(among(connection, column.bag, bags))))
    linked = among(connection, link.other, named.union(one.id for one in records))
    fetch(connection.scalars(select(link.record).where(linked, link.sort != "member")))
    # What is sent with a bag, or shown by a photo, may be said to be one bone with something that lies elsewhere.
    sent = {bag for one in records if one.kind == "transfer" and isinstance(bag := one.value("bag"), str)}
    photos = {one.id for one in records if one.kind == "photo"}
    if sent or photos:
        there = [one for one in (*records, *found) if one.kind == "docket"]
        # A bag may be said to be anything at all.
        shown = [
            one
            for one in there
            if (isinstance(bag := one.value("bag"), str) and bag in sent) or photos.intersection(one.linked("photo"))
        ]
        pointing = among(connection, link.other, {one.id for one in shown})
        fetch(other for one in shown for other in one.linked("same_as"))
        fetch(connection.scalars(select(link.record).where(pointing, link.sort == "same_as")))
    return found
