"""One reading put together from several of the same bone, field by field, by somebody who has them all before her.

The result is a whole reading of its own. Only what one person could have seen may be put together: portions and centres
come from a reading of the same element, an element with the side and the animal it has. Not here: whether it is true of
a skeleton, which the rules say of it as of any reading, and who said it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.readings import Reading, differences

WHOLE = ("portions", "fusion")
"""Fields that are taken whole from one reading: their parts are those of an element."""

OWN = ("stage", "compared")
"""Fields that are those of who combines: how she looked."""


def differing(readings: Sequence[Any], know: Knowledge) -> list[str]:
    """The fields that have to be chosen, in the order in which the readings have them; [] where one is no reading."""
    if not all(isinstance(one, Mapping) for one in readings):
        return []
    names: set[str] = set()
    for n, one in enumerate(readings):
        for other in readings[n + 1 :]:
            names.update(name.partition("/")[0] for name in differences(one, other, know))
    order = [name for one in readings for name in one]
    return [name for name in dict.fromkeys([*order, *sorted(names)]) if name in names and name not in OWN]


def combined(
    readings: Sequence[Mapping[str, Any]], picks: Mapping[str, int], own: Mapping[str, Any], know: Knowledge
) -> Reading:
    """The reading that takes each field from the reading picked for it; a field in which none differ, from the first
    that has it."""
    names = dict.fromkeys(name for one in readings for name in one)
    made: Reading = {}
    for name in names:
        if name in picks:
            if name in readings[picks[name]]:
                made[name] = readings[picks[name]][name]
        elif name not in OWN:
            told = [one[name] for one in readings if one.get(name) not in (None, "")]
            made[name] = told[0] if told else next(one[name] for one in readings if name in one)
    made.update(own)
    for name in WHOLE:
        made[name] = _written_out(made, name, know)
    return made


def unseen(
    readings: Sequence[Mapping[str, Any]], picks: Mapping[str, int], made: Mapping[str, Any], know: Knowledge
) -> list[str]:
    """The fields by which nobody could have seen such a bone: "portions" or "fusion" of another element, a "side" the
    element has not, a "taxon" that has no such element."""
    element, taxon, side = made.get("element"), made.get("taxon"), made.get("side")
    found = [
        name
        for name in WHOLE
        if name in picks and readings[picks[name]].get("element") != element and _told(made, name)
    ]
    row = know.elements.get(element) if isinstance(element, str) else None
    if row is not None:
        if side in ("left", "right") and not row.sided:
            found.append("side")
        if side == "midline" and not row.midline:
            found.append("side")
        if isinstance(taxon, str) and taxon in know.taxa and not know.occurs(row.key, taxon):
            found.append("taxon")
        keys = {one.key for one in know.portions_of(row.key, taxon if isinstance(taxon, str) else None)}
        if "portions" not in found and any(key not in keys for key in _told(made, "portions")):
            found.append("portions")
    return found


def _told(made: Mapping[str, Any], name: str) -> list[str]:
    """Parts of which something was seen or looked for."""
    written = made.get(name)
    return [key for key, state in written.items() if state != "not_examined"] if isinstance(written, Mapping) else []


def _written_out(made: Mapping[str, Any], name: str, know: Knowledge) -> dict[str, Any]:
    """Every portion or centre of the element: those of which nothing is told are not examined."""
    element, taxon = made.get("element"), made.get("taxon")
    written = made.get(name)
    written = dict(written) if isinstance(written, Mapping) else {}
    if not isinstance(element, str):
        return written
    animal = taxon if isinstance(taxon, str) else None
    parts = know.portions_of(element, animal) if name == "portions" else know.centres_of(element, animal)
    keys = [one.key for one in parts]
    there = {key: state for key, state in written.items() if key in keys or state != "not_examined"}
    return {**{key: there.pop(key, "not_examined") for key in keys}, **there}
