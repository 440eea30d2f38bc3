"""From changes to the ledger's worked-out tables: records, what they disagree about, where they stand, how they link.

`derive` says what a folded record means to the ledger; everything in those tables comes from it, so that a rebuild
finds the same. Not here: the merge itself (fieldapp.records.fold), which changes may be folded (intake), the rules
(checks).
"""

from __future__ import annotations

import hashlib
import itertools
import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Select, delete, select

from fieldapp.assets import knowledge
from fieldapp.domain import readings
from fieldapp.records import checked, standing
from fieldapp.records.changes import Change, kept
from fieldapp.records.fold import DELETED, Fold, Record, of_one
from server.errors import LedgerDamaged
from server.ledger import database, tables
from server.ledger.columns import LONGEST_KEY, writable

AT_ONCE = 500
"""Records that are worked out anew at a time."""

DERIVES = 8
"""Raised whenever `derive` makes something else of the same changes: ledgers then work out their records anew."""

PROTECTED = ("site", "person")
"""Kinds that decide who may do what: written at the cabin, by the cabin's own notebook, and nowhere else."""

LINKS = ("joins", "member", "photo", "same_as")
"""Prefixes of paths that name another record: a piece that fits, a group's dockets, a photo, one and the same bone."""

ABOUT = {
    "bag": ("sample",),
    "photo": ("docket", "context"),
    "second_reading": ("docket",),
    "transfer": ("docket", "bag", "photo_before"),
}
"""{kind: paths whose value names another record}, beside a record's own bag and context."""

PICTURE = "picture"
"""Sort of the links from a photo's record to the SHA-256 of its picture, which is no record."""

_text_of = json.JSONEncoder(separators=(",", ":")).encode

_LABELS = {"context": "number", "site": "name", "person": "name"}


class Derived(NamedTuple):
    """A record's rows: of `record`, `disagreement` and `link`."""

    row: dict[str, Any]
    disagreements: tuple[dict[str, str], ...]
    links: tuple[dict[str, str], ...]


def derive(record: Record, who: standing.Authority) -> Derived:
    """What the ledger says of `record`."""
    one, kind, only = record.id, record.kind, _only_change(record)
    names = {path.partition("/")[0] for path in record.heads}
    # Asked by its paths, not its kind: a second kind claimed for a docket must not hide what was said about it.
    assessed = "assessment" in names
    asked = assessed or "human" in names or "docket" in record.kinds
    return Derived(
        {
            "id": one,
            "kind": kind,
            "site": record.site,
            "state": _text_of_state(record, only),
            "life": record.life(),
            "label": label_of(record) or None,
            "context": indexed(record.value("context")),
            "bag": indexed(record.value("bag")),
            "docket": indexed(record.value("docket")) if "hold" in record.kinds else None,
            "answer": standing.answer_of(record, who) if asked else None,
            "assessed": assessed,
            "due": True,
        },
        tuple(
            {"record": one, "path": path, "nature": nature(path, list(heads.values()))}
            for path, heads in sorted(disputed(record).items(), key=lambda one: one[0])
        )
        if not only  # nobody disagrees with a single change
        else (),
        tuple({"record": one, "sort": sort, "other": other} for sort, other in _links(record, names) if other != one),
    )


def _links(record: Record, names: set[str]) -> list[tuple[str, str]]:
    """(sort, other record) pairs: sorts are LINKS, "about" for what ABOUT names, and PICTURE."""
    found = [(sort, other) for sort in LINKS if sort in names for other in record.linked(sort)]
    if record.kind in ABOUT:
        about = {indexed(record.value(path)) for path in ABOUT[record.kind]}
        found += [("about", other) for other in about if other]
    if "photo" in record.kinds:
        # Every picture that any version names, whatever else the record was claimed to be: what is closed by one is.
        found += [(PICTURE, one) for one in set(map(indexed, record.heads.get("sha256", {}).values())) if one]
    return sorted({(sort, short(other)) for sort, other in found})


def disputed(record: Record) -> dict[str, dict[str, Any]]:
    """What the record disagrees about, by the path as the table has it."""
    return {short(path): heads for path, heads in checked.disagreements(record).items()}


def short(text: str) -> str:
    """`text` as it can stand in an index. What is too long for one keeps its beginning and gets its digest."""
    if len(text) <= LONGEST_KEY:
        return text
    return f"{text[: LONGEST_KEY // 2]}…{hashlib.sha256(text.encode('utf-8', 'replace')).hexdigest()}"


def label_of(record: Record) -> str:
    """What a record is called in lists: its field label, context number or name; "" if it has none yet."""
    return indexed(record.value(_LABELS.get(record.kind, "label"))) or ""


def nature(path: str, values: Sequence[Any]) -> str:
    """What kind of disagreement these values at `path` are: "conflict", "precision" or "deletion"."""
    if path == DELETED:
        return "deletion"
    if path != "reading":
        return "conflict"
    pairs = itertools.combinations(values, 2)
    known = knowledge()
    return "conflict" if any(readings.compare(a, b, known) == "conflict" for a, b in pairs) else "precision"


def state_text(record: Record) -> str:
    """The record's state as it is kept; equal states give equal texts.

    Where one change is all of it, as of most records, the id of that change. Else like fold.Record.as_json, but with
    the heads by change, which says each change's long id once. What decides who may do what stands by itself, so that
    a ledger with a fault can still be opened and looked through.
    """
    return _text_of_state(record, _only_change(record))


def _text_of_state(record: Record, only: str) -> str:
    if only and record.kind not in PROTECTED:
        return only
    by_change: dict[str, dict[str, Any]] = {}
    bare = []
    for path in sorted(record.heads):
        heads = record.heads[path]
        if not heads:
            bare.append(path)
        for change, value in heads.items():
            by_change.setdefault(change, {})[path] = value
    state = {
        "id": record.id,
        "kinds": record.kinds,
        "sites": record.sites,
        "heads": dict(sorted(by_change.items())),
        "named": {path: sorted(ids) for path, ids in sorted((record.named or {}).items())},
        "seen_by_deletion": {
            change: {path: sorted(ids) for path, ids in sorted(over.items())}
            for change, over in sorted((record.seen_by_deletion or {}).items())
        },
        "bare": bare,
    }
    return _text_of(state)


def _only_change(record: Record) -> str:
    """The id of the change that alone makes this record, "" if there is none.

    Nothing was replaced, so whatever any change has set still stands: if all of it is one change's, there was no other,
    or none that set anything.
    """
    if record.named or len(record.kinds) != 1 or len(record.sites) != 1:
        return ""
    ids = {one for heads in record.heads.values() for one in heads}
    return ids.pop() if len(ids) == 1 and all(record.heads.values()) else ""


def states(*where: ColumnElement[bool]) -> Select[Any]:
    """The query for what `load` makes records of, of those records for which all of this holds."""
    column, change = tables.record.c, tables.change.c
    both = tables.record.outerjoin(tables.change, change.id == column.state)
    return select(column.state, change.body).select_from(both).where(*where)


def load(connection: Connection, query: Select[Any]) -> list[Record]:
    """The records whose states a query (`states`) finds, in its order."""
    return [_loaded(state, body) for state, body in connection.execute(query).all()]


def _loaded(text: str, body: str | None) -> Record:
    if body is not None:
        return of_one(kept(body, text))
    if not text.startswith("{"):
        raise LedgerDamaged(change=text)
    state: dict[str, Any] = json.loads(text)
    heads: dict[str, dict[str, Any]] = {path: {} for path in state.pop("bare")}
    for change, values in state["heads"].items():
        for path, value in values.items():
            heads.setdefault(path, {})[change] = value
    return Record.from_json({**state, "heads": heads})


def fold_in(
    connection: Connection,
    changes: Sequence[Change],
    who: standing.Authority,
    loaded: Mapping[str, Record] | None = None,
) -> None:
    """Folds changes that the ledger has not folded before. `loaded`: where their records were read just now, all of
    those that there are; they become what they are then."""
    ids = {change.record for change in changes}
    there = records_of(connection, sorted(ids)) if loaded is None else [loaded[one] for one in ids if one in loaded]
    old = [one.id for one in there]
    fold = Fold(there)
    for change in changes:
        fold.apply(change)
    store(connection, [derive(record, who) for record in fold], old)


def records_of(connection: Connection, ids: Sequence[str]) -> list[Record]:
    """The stored records with these ids, those that are there."""
    return load(connection, states(database.among(connection, tables.record.c.id, ids)))


def store(connection: Connection, derived: Sequence[Derived], old: Sequence[str] | None = None) -> None:
    """Puts these rows in the place of what was worked out for the same records before (`old`: those that had any)."""
    if not derived:
        return
    database.put(connection, tables.record, [one.row for one in derived], replace=True)
    ids = [one.row["id"] for one in derived] if old is None else old
    for table, rows in (
        (tables.disagreement, [row for one in derived for row in one.disagreements]),
        (tables.link, [row for one in derived for row in one.links]),
    ):
        if ids:
            connection.execute(delete(table).where(database.among(connection, table.c.record, ids)))
        database.put(connection, table, rows)


def authority_of(connection: Connection) -> standing.Authority:
    """Who may decide, from the site's and the persons' records."""
    records = load(connection, states(tables.record.c.kind.in_(PROTECTED)))
    site = next((one for one in records if one.kind == "site"), None)
    return standing.authority(site, [one for one in records if one.kind == "person"], knowledge().names)


def authority_changed(connection: Connection, who: standing.Authority) -> None:
    """Works out anew where the dockets stand whose answer hangs on who may assess."""
    store(connection, [derive(record, who) for record in load(connection, states(tables.record.c.assessed))])


def indexed(value: Any) -> str | None:
    """A text as it can stand in an index; None for anything else."""
    return short(writable(value) or "") if isinstance(value, str) else None
