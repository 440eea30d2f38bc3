"""What stands on the page of a group whose lefts and rights were laid side by side: which were found to be pairs.

Not here: groups themselves (groups), and what is counted from them (fieldapp.domain.assemblage.compared).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.assemblage.individuals import SIDES
from fieldapp.domain.rules.groups import COMPARED, OF_ONE_BODY
from fieldapp.records.fold import Record
from server.ledger import pairs
from server.review import blind, desk, words
from server.review.showing import agreed

PAIR = "articulated_inferred"
"""How the bones of a pair that was found on the table belong together."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One member. `bodies`: groups that say of which body it is; `partners`: members of one of these, of its other
    side; `sizes`: its measurements, in short."""

    side: str
    bodies: tuple[Record, ...]
    partners: tuple[Record, ...]
    sizes: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """All members by their ids, and how many are in pairs and alone by side."""

    members: Mapping[str, Compared]
    pairs: int
    alone: Mapping[str, int]


def of(group: Record, dockets: Mapping[str, Record]) -> Comparison | None:
    """The comparison that a group is; None of a group of another sort. What is hidden from a blind reader stays so."""
    if group.value("relation") != COMPARED:
        return None
    with desk.ledger().database.reading() as connection:
        pointing = pairs.pointing(connection, list(dockets), ("member",))
    groups = {id_: one for id_, one in desk.ledger().get({id_ for id_, _, _ in pointing}).items() if _is_body(one)}
    bodies = {id_: [groups[one] for one, _, other in pointing if other == id_ and one in groups] for id_ in dockets}
    sides = {id_: "" if blind.is_hidden(id_) else _side(record) for id_, record in dockets.items()}
    members = {}
    for id_, own in bodies.items():
        fellows = {other for one in own for other in one.linked("member") if other in dockets}
        partners = [dockets[one] for one in sorted(fellows) if {sides[one], sides[id_]} == set(SIDES)]
        members[id_] = Compared(sides[id_], tuple(own), tuple(partners), _sizes(id_, dockets[id_]))
    paired = {frozenset((id_, *(one.id for one in it.partners))) for id_, it in members.items() if it.partners}
    return Comparison(members, len(paired), Counter(it.side for it in members.values() if not it.partners))


def _is_body(group: Record) -> bool:
    return group.kinds == ("group",) and group.life() != "deleted" and group.value("relation") in OF_ONE_BODY


def _side(docket: Record) -> str:
    """The side that all who read it give it."""
    reading = agreed(docket)
    side = reading.get("side") if isinstance(reading, Mapping) else None
    return side if side in SIDES else ""


def _sizes(id_: str, docket: Record) -> str:
    """What a pair is looked for by: `Bd 54.2, SD 30`."""
    if blind.is_hidden(id_):
        return ""
    found = (value for _, value in docket.values().items() if isinstance(value, Mapping) and "mm" in value)
    return ", ".join(sorted(_size(one) for one in found if one.get("code")))


def _size(value: Mapping[str, Any]) -> str:
    return f"{value['code']} {words.plain(value['mm'])}"
