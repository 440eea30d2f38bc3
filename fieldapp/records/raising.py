"""What a raise writes of its hold: the same on the tablet and at the desk.

Not here: the answer itself, who may give it, and what becomes closed with it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from fieldapp.domain import human
from fieldapp.records.fold import Record


class HoldWrite(NamedTuple):
    """What to set in the hold's record, and the heads that it replaces."""

    set: dict[str, Any]
    over: dict[str, list[str]]


def hold_write(
    known: Record | None, docket: str, context: str, tier: str, zone: str, lifted: bool = False
) -> HoldWrite | None:
    """What opens the hold of a docket, or raises the one there is; None if it stands already.

    `zone`: what a stop closes here. `lifted`: somebody has said so; what nobody has said of a query is left open.
    """
    in_place = True if tier == human.STOP else False if lifted else None
    if known is None:
        values = {"docket": docket, "context": context, "tier": tier, "zone": zone, "in_place": in_place}
        return HoldWrite(values, {})
    if tier == human.STOP and known.value("tier") != human.STOP:
        heads = known.head_ids()
        values = {"tier": tier, "in_place": True}
        return HoldWrite(values, {path: heads[path] for path in values if path in heads})
    return None
