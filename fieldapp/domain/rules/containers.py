"""Rules about contexts and bags themselves, and about what kind of context a find is given to."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import CREMATION_PLACES
from fieldapp.domain.rules.findings import Around, Finding, Record, by_name, number, shown, term, text
from fieldapp.domain.steps import is_ticked

EARLIEST_YEAR, LATEST_YEAR = -1_000_000, 2200
"""Years outside these are taken for slips of the pen (project decision)."""

SHORTFALL = 0.02
"""A bag may weigh less than its bones by this share before it is looked at: balances differ (project decision)."""

_MIXED = frozenset({"topsoil", "subsoil", "unstratified"})
LARGEST_MESH_MM = 50
"""Above this a mesh is taken for a slip of the pen (common practice, no source)."""


def context_number_missing(context: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A context without a number."""
    if text(context.values.get("number")) is None:
        yield "number", {}


def context_number_repeated(context: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A number that another context has too."""
    own = text(context.values.get("number"))
    if own is not None and around.labels.get(own, 0) > 1:
        yield "number", {"context": shown(own)}


def grave_denied(context: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A grave that is said not to look like one."""
    if context.values.get("type") == "grave" and context.values.get("grave_like") == "no":
        yield "grave_like", {"context": shown(context.values.get("number") or "?")}


def grave_not_asked(context: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Nobody has said whether the context could be a grave."""
    # Of a cremation another rule says more.
    unsaid = context.values.get("grave_like") in (None, "", "unknown")
    if unsaid and context.values.get("type") not in ("grave", *CREMATION_PLACES):
        yield "grave_like", {"context": shown(context.values.get("number") or "?")}


def dating_not_years(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A dating that is no years: a fraction of one, a word, or a number no dig meets."""
    for year in _years(record).values():
        value = number(year)
        if year is not None and (value is None or value != int(value) or not EARLIEST_YEAR <= value <= LATEST_YEAR):
            yield "dating", {"year": shown(year)}


def dating_reversed(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A dating that ends before it begins: often years BC without their minus."""
    years = _years(record)
    begin, end = number(years.get("from")), number(years.get("to"))
    if begin is not None and end is not None and begin > end:
        yield "dating", {"from": shown(years.get("from")), "to": shown(years.get("to"))}


def sealed_but_mixed(context: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Sealed, and of a kind that never is: ploughed, rooted through or found loose."""
    kind = text(context.values.get("type"))
    if context.values.get("deposit") == "sealed" and kind in _MIXED:
        yield "deposit", {"type": term("context_type", kind)}


def find_from_cut(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A find given to a cut, which is a shape and holds nothing: it is from the fill."""
    if _own_context(record) and around.context is not None and around.context.get("type") == "cut":
        yield "context", {"context": shown(around.context.get("number") or around.context_id)}


def find_from_natural(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A find from ground that people did not lay down: it came in from above, or the ground is not natural."""
    if _own_context(record) and around.context is not None and around.context.get("type") == "natural":
        yield "context", {"context": shown(around.context.get("number") or around.context_id)}


def _own_context(record: Record) -> bool:
    # A docket in a bag lies where the bag does: what is wrong there is said once, of the bag.
    return text(record.values.get("context")) is not None and text(record.values.get("bag")) is None


def _years(record: Record) -> Mapping[str, Any]:
    dating = record.values.get("dating")
    return {end: dating.get(end) for end in ("from", "to")} if isinstance(dating, Mapping) else {}


def context_missing(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bag or a sample that belongs nowhere."""
    if text(record.values.get("context")) is None:
        yield "context", {}


def sieve_without_mesh(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Sieved, and nobody knows through what."""
    if bag.values.get("recovery") == "sieve" and bag.values.get("mesh_mm") is None:
        yield "mesh_mm", {}


def mesh_without_sieve(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Collected by hand, and a mesh."""
    if bag.values.get("recovery") == "hand" and bag.values.get("mesh_mm") is not None:
        yield "mesh_mm", {"mesh": shown(bag.values.get("mesh_mm")), "recovery": term("recovery", "hand")}


def mesh_implausible(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A mesh that no sieve has."""
    mesh = bag.values.get("mesh_mm")
    if mesh is not None and ((value := number(mesh)) is None or not 0 < value <= LARGEST_MESH_MM):
        yield "mesh_mm", {"mesh": shown(mesh)}


def marked_before_dried(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bones that carry their numbers before they were washed and dried: the ink comes off with the dirt."""
    for step in ("washed", "dried"):
        if _done(bag, "marked") and not _done(bag, step):
            yield f"step/{step}", {"step": term("bag_step", step)}
            return


def weighed_wet(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Weighed after washing and before drying: the water is in the weight."""
    weighed = _done(bag, "weighed") or bag.values.get("weight_g") is not None
    if weighed and _done(bag, "washed") and not _done(bag, "dried"):
        yield "step/dried", {}


def weighed_without_weight(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to have been weighed, and the weight was not written down."""
    if _done(bag, "weighed") and bag.values.get("weight_g") is None:
        yield "weight_g", {}


def bag_lighter_than_bones(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bag that weighs less than the bones recorded from it."""
    own = number(bag.values.get("weight_g"))
    if own is not None and around.inside:
        there = (one for one in around.inside if one.get("deleted") is not True)
        bones = math.fsum(weight for one in there if (weight := number(one.get("weight_g"))) is not None and weight > 0)
        if own < bones * (1 - SHORTFALL):
            yield "weight_g", {"weight": f"{own:g}", "bones": f"{bones:g}"}


def _done(bag: Record, step: str) -> bool:
    # Steps are only added: what two people have said stands twice, each with its change behind the path.
    said = (one.partition("@") for one in bag.values if one.startswith("step/"))
    return is_ticked({change: bag.values[path + at + change] for path, at, change in said if path == f"step/{step}"})


_FIND = by_name(find_from_cut, find_from_natural)
CONTEXT_RULES = by_name(
    context_number_missing,
    context_number_repeated,
    grave_denied,
    grave_not_asked,
    dating_not_years,
    dating_reversed,
    sealed_but_mixed,
)
BAG_RULES = {
    **by_name(
        context_missing,
        sieve_without_mesh,
        mesh_without_sieve,
        mesh_implausible,
        marked_before_dried,
        weighed_wet,
        weighed_without_weight,
        bag_lighter_than_bones,
    ),
    **_FIND,
}
SAMPLE_RULES = {**by_name(context_missing), **_FIND}
DOCKET_RULES = _FIND
SITE_RULES = by_name(dating_not_years, dating_reversed)
