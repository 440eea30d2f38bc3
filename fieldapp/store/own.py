"""What was written on this tablet, by whom and when: for lists of one's own and for the totals of a shift.

Read from the journal when it is asked for, not kept: it is asked for a few times a day.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import NamedTuple

from fieldapp.store.notebook import Notebook


class Written(NamedTuple):
    """One own change: when, by whom, of which record, and whether it gave the record its label."""

    at: str
    by: str
    kind: str
    record: str
    new: bool


def written(notebook: Notebook) -> Iterator[Written]:
    """Every own change that can be read, oldest first. Raises JournalDamaged."""
    for own, _, body in notebook.bodies():
        if not own:
            continue
        try:
            change = json.loads(body)
            yield Written(
                str(change["at"]),
                str(change["by"].get("name")),
                change["kind"],
                change["record"],
                "label" in change["set"],
            )
        except (ValueError, KeyError, TypeError, AttributeError):
            continue  # of a newer version: kept, and counted nowhere here
