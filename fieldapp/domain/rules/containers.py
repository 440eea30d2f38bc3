"""Rules about contexts and bags themselves."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Finding, Record, by_name, number, shown, term, text

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
    if context.values.get("type") != "grave" and context.values.get("grave_like") in (None, "", "unknown"):
        yield "grave_like", {"context": shown(context.values.get("number") or "?")}


def bag_without_context(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bag that belongs nowhere."""
    if text(bag.values.get("context")) is None:
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


CONTEXT_RULES = by_name(context_number_missing, context_number_repeated, grave_denied, grave_not_asked)
BAG_RULES = by_name(bag_without_context, sieve_without_mesh, mesh_without_sieve, mesh_implausible)
