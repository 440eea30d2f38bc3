"""What was entered in the clear about a bone before somebody said that it may be human: closed with the raise.

Its exact place goes into the hold, sealed to the cabin; its pictures are marked closed and their files sealed. What had
been written into the journal before stays there, and what had been sent has been sent: the rest is the cabin's.
Not here: who may open it again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.ids import hold_id
from fieldapp.domain.rules.findings import number
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from fieldapp.records.sealing import seal
from fieldapp.ui.presenters.desk import Desk, Write

PARTS = ("east", "north", "level")


@dataclass(frozen=True, slots=True)
class Closed:
    """What a raise closes.

    writes    further records' parts of the save
    pictures  SHA-256 of the files to be sealed when it is written
    place_lost  an exact place was entered that could not be sealed, so it was not kept
    """

    writes: tuple[Write, ...] = ()
    pictures: tuple[str, ...] = ()
    place_lost: bool = False


def close(
    desk: Desk, docket: str, record: Record | None, values: dict[str, Any], over: dict[str, list[str]], new: list[Write]
) -> Closed:
    """Takes out of a docket's `values` what is not to be in the clear. `new`: the photo records made with it."""
    hold, key = hold_id(docket), desk.seal_key()
    stored = record.value("place") if record is not None else None
    entered = values.pop("place", None)
    over.pop("place", None)
    writes: list[Write] = []
    sealed, place = "", entered or stored
    if place and key:
        try:
            sealed = seal(_words(place), key, hold)
        except ValueError:
            sealed = ""  # the cabin's key is none: nothing can be sealed to it
    if sealed:
        known = desk.record(hold)
        heads = known.head_ids().get("place_sealed", []) if known is not None else []
        writes.append(Write(hold, "hold", {"place_sealed": sealed}, {"place_sealed": heads}))
        if stored and record is not None:
            values["place"], over["place"] = None, record.head_ids()["place"]
    pictures = [str(one.set.get("sha256") or "") for one in new]
    for one in desk.notebook.records("photo"):
        if one.value("docket") == docket:
            pictures.append(str(one.value("sha256") or ""))
            if one.value("closed") is not True:
                writes.append(Write(one.id, "photo", {"closed": True}, {"closed": one.head_ids().get("closed", [])}))
    return Closed(tuple(writes), tuple(one for one in pictures if one), bool(entered) and not sealed)


def _words(place: Any) -> str:
    """A place in words. It may be anything, from anywhere: nothing of it is lost, and no raise fails over it."""
    figures = {name: number(place.get(name)) for name in PARTS} if isinstance(place, Mapping) else {}
    if not figures or None in [figures[name] for name in place if name in PARTS] or set(place) - set(PARTS):
        return place if isinstance(place, str) else canonical(place)
    return ", ".join(f"{name} {figure:g} m" for name, figure in figures.items() if figure is not None)
