"""The tables of the topic surface. For: their list, with the options of each. Not for: any figure."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.assemblage.results import Result
from server.analysis import surface_breaks, surface_life, surface_marks, surface_recovery, surface_states
from server.analysis.asking import Asked, Table
from server.analysis.surface_asked import BY, UNRECORDED, looks


def gnawing(asked: Asked) -> Iterator[Result]:
    """Teeth on the bone, and bone that went through a gut."""
    for look in looks(asked):
        yield surface_marks.gnawing(look)
        yield surface_states.digestion(look)


TABLES: tuple[Table, ...] = (
    Table("marks", surface_marks.marks, (BY, surface_marks.GROUP, UNRECORDED)),
    Table("butchery", surface_marks.butchery, (surface_marks.ANIMAL, surface_marks.KIND, UNRECORDED)),
    Table("burning", surface_states.burning, (BY,)),
    Table("gnawing", gnawing, (BY, UNRECORDED)),
    Table("weathering", surface_states.weathering, (BY,)),
    Table("freshness", surface_breaks.freshness, (BY,)),
    Table("completeness", surface_breaks.completeness, (BY,)),
    Table("pathology", surface_life.pathology, (BY,)),
    Table("recovery", surface_recovery.recovery, (surface_recovery.WHAT, surface_recovery.WHERE)),
)
