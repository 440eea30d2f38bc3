"""Short ways to make changes for tests: notebooks that write chained changes, without a store."""

from __future__ import annotations

import uuid
from typing import Any

from fieldapp.domain import ids
from fieldapp.records.changes import Change, write

SITE = ids.site_id("HLG26")
DOCKET = str(uuid.UUID(int=1))
ANA = {"person": "p-ana", "name": "Ana Marsh", "role": "recorder"}


class Pen:
    """Writes the chained changes of one notebook's life."""

    def __init__(self, name: str = "A", by: dict[str, Any] = ANA) -> None:
        self.notebook = str(uuid.uuid5(uuid.NAMESPACE_OID, name))
        self.by = by
        self.n = 0
        self.prev = ""

    def copy(self) -> Pen:
        """The notebook as a clone or an old backup would have it: same id, same place in the chain."""
        twin = Pen(by=self.by)
        twin.notebook, twin.n, twin.prev = self.notebook, self.n, self.prev
        return twin

    def write(
        self,
        set: dict[str, Any],
        over: dict[str, list[str]] | None = None,
        record: str = DOCKET,
        kind: str = "docket",
        at: str = "2026-06-01T09:00:00+00:00",
    ) -> Change:
        """The notebook's next change."""
        self.n += 1
        change = write(
            notebook=self.notebook,
            n=self.n,
            prev=self.prev,
            site=SITE,
            record=record,
            kind=kind,
            set=set,
            over=over or {},
            by=self.by,
            at=at,
        )
        self.prev = change.id
        return change
