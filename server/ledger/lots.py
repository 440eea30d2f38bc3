"""What settles disagreements as a lot, and what opens the lot again: plain edits over the heads that were shown.

A settlement sets a path to one value over every head; the opening sets it to each of the versions before, over the
settlement alone, so that they stand side by side as they did. Whatever has been written meanwhile is left out.
Not here: which may be settled together (causes), pages, writing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fieldapp.records.changes import Change, canonical
from fieldapp.records.fold import Record
from server.ledger.ledger import Edit

NOTE = "note/"


def settled(record: Record, path: str, shown: Sequence[str], value: Any) -> Edit | None:
    """The settlement of one of a lot; None where other heads stand than those that were shown."""
    heads = record.heads.get(path, {})
    return Edit(record.kind, record.id, {path: value}, {path: sorted(heads)}) if set(heads) == set(shown) else None


def path_of(settlement: Change) -> str:
    """The path that a change of a lot settled: the one beside its note."""
    return next((path for path in settlement.set if not path.startswith(NOTE)), "")


def former(settlement: Change, written: Mapping[str, Change]) -> list[Any]:
    """The distinct values it was written over; `written`: the changes that it names, by id."""
    path = path_of(settlement)
    heads = [written[one].set[path] for one in settlement.over.get(path, ()) if one in written]
    values = {canonical(value): value for value in heads}
    return [values[key] for key in sorted(values)]


def opened(
    lot: Iterable[Change], written: Mapping[str, Change], records: Mapping[str, Record]
) -> tuple[list[list[Edit]], list[Change]]:
    """For each settlement of a lot the edits that put its versions back; and the settlements that are left as they are,
    because they stand no more."""
    found: list[list[Edit]] = []
    left: list[Change] = []
    for one in lot:
        path, values, record = path_of(one), former(one, written), records.get(one.record)
        if record is None or set(record.heads.get(path, {})) != {one.id} or len(values) < 2:
            left.append(one)
        else:
            found.append([Edit(one.kind, one.record, {path: value}, {path: [one.id]}) for value in values])
    return found, left
