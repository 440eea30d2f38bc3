"""A way to the cabin that misbehaves as networks do: batches come twice, late, in pieces, the wrong way round. No test.

Wraps a transport. What the tablet is told stays true: it gets the answers of its own batch, put back in their order.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

from fieldapp.records import batches
from fieldapp.sync.errors import NotUnderstood, Refused
from fieldapp.sync.transport import Transport


class Unruly:
    """See the module. `done` counts what it did."""

    def __init__(self, way: Transport, rng: random.Random) -> None:
        self.way = way
        self.rng = rng
        self.fingerprint = way.fingerprint
        self.late: list[Mapping[str, Any]] = []
        self.done = {"twice": 0, "late": 0, "turned": 0}

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
        known: str = "",
    ) -> dict[str, Any]:
        if not path.endswith("/push") or body is None:
            return self.way.ask(method, path, body=body, query=query, known=known)
        if self.late and self.rng.random() < 0.3:
            self.done["late"] += 1
            self.way.ask(method, path, body=self.late.pop(self.rng.randrange(len(self.late))))
        what = self.rng.random()
        if what < 0.2:
            self.done["twice"] += 1
            self.way.ask(method, path, body=body)
        if what < 0.4:
            self.late.append(body)
        try:
            entries = body.get("changes") or [
                {"id": one, "body": text} for one, text in batches.unpacked(body["batch"])
            ]
        except batches.Damaged as fault:
            # Only the cabin can tell what was left out: now and then it is made to ask for everything.
            if self.rng.random() < 0.5:
                raise Refused(status=422, message="as an older cabin") from fault
            entries = []
        if len(entries) < 2 or self.rng.random() < 0.5:
            return self.way.ask(method, path, body=body)
        # The second half before the first, as two batches that have overtaken each other.
        self.done["turned"] += 1
        half = len(entries) // 2
        plain = {"epoch": body["epoch"]}
        last = self.way.ask(method, path, body={**plain, "changes": entries[half:]})
        first = self.way.ask(method, path, body={**plain, "changes": entries[:half]})
        if not isinstance(first.get("answers"), list) or not isinstance(last.get("answers"), list):
            raise NotUnderstood(what="push")
        return {
            **first,
            "answers": first["answers"] + last["answers"],
            "notices": [*first.get("notices", ()), *last.get("notices", ())],
        }
