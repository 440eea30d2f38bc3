"""A specialist's mark on a docket: looked at and found right, as it stood then.

The mark stands at `checked` and lists the heads that its form showed. It holds while everything that stands now, but
notes and the mark itself, is among them: whatever comes afterwards shows. It is no assessment, and says nothing of the
human question. Not here: who may set it (roles).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal

from fieldapp.records.fold import Record

PATH = "checked"
State = Literal["checked", "changed_since", ""]


def covers(path: str) -> bool:
    """Whether a path is among what a mark is about. A note alters nothing of the bone."""
    return path != PATH and not path.startswith("note/")


def mark(heads: Mapping[str, Iterable[str]]) -> dict[str, list[str]]:
    """The mark of somebody to whom `heads`, {path: ids}, were shown."""
    return {"seen": sorted({one for path, ids in heads.items() if covers(path) for one in ids})}


def state_of(record: Record) -> State:
    """Where a docket stands: "checked", "changed_since" it was, or "" where nobody has marked it.

    Where one marks and another takes the mark off, it was changed since: the cautious side.
    """
    hold, held = marks(record)
    if not hold and not held:
        return ""
    return "checked" if hold and len(hold) + len(held) == len(record.heads[PATH]) else "changed_since"


def marks(record: Record) -> tuple[list[str], list[str]]:
    """Ids of the changes whose mark holds, and of those whose held until something was changed."""
    found: tuple[list[str], list[str]] = ([], [])
    standing = record.heads.get(PATH)
    if not standing:
        return found
    there = {one for path, ids in record.heads.items() if covers(path) for one in ids}
    for change, value in standing.items():
        if isinstance(value, Mapping):
            found[not there <= _seen(value)].append(change)
    return found


def disagreements(record: Record) -> dict[str, dict[str, Any]]:
    """What a record disagrees about, but for marks: of two people's marks each is true of what its form showed."""
    return {path: heads for path, heads in record.disagreements().items() if path != PATH}


def _seen(value: Mapping[str, Any]) -> set[str]:
    seen = value.get("seen")
    return {one for one in seen if isinstance(one, str)} if isinstance(seen, list) else set()
