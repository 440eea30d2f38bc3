"""Rules about what fire, weather, roots and stomachs did to a bone, and what it suffered in life.

Those about breaks and about marks stand in modules of their own and are gathered here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import breakage, marks
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, number, shown, term, text

DIGESTED_LONGEST_MM = 80
"""Pieces longer than this are seldom swallowed (project decision)."""

_DARK_FIRE = frozenset({"charred", "burnt"})
_DARK_STAINS = frozenset({"manganese", "humic", "ash"})
_ROOTED = frozenset({"some", "most"})
_DIGESTED = frozenset({"slight", "marked", "heavy"})


def colour_against_burning(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A colour that bone burnt so far does not have: white and only charred, black and burnt out."""
    colour, burning = text(docket.values.get("burn_colour")), text(docket.values.get("burning"))
    degrees = know.surface.degrees.get(colour or "")
    if degrees is not None and burning != "unburnt" and know.is_word("burning", burning):
        if burning not in degrees:
            yield "burn_colour", {"colour": term("burn_colour", colour), "burning": term("burning", burning)}


def colour_without_burning(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A colour from fire on a bone that no fire has touched."""
    colour = text(docket.values.get("burn_colour"))
    if colour in know.surface.degrees and docket.values.get("burning") == "unburnt":
        yield "burn_colour", {"colour": term("burn_colour", colour), "burning": term("burning", "unburnt")}


def burning_may_be_stain(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Charred, dark from the soil as well, and nobody has written down the colour of the burning."""
    staining, burning = text(docket.values.get("staining")), text(docket.values.get("burning"))
    if staining in _DARK_STAINS and burning in _DARK_FIRE and not text(docket.values.get("burn_colour")):
        if know.is_word("staining", staining):
            yield "burning", {"burning": term("burning", burning), "staining": term("staining", staining)}


def weathering_not_a_stage(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A stage of weathering that there is not."""
    written = docket.values.get("weathering")
    if written is not None and _stage(docket, know) is None:
        last = len(know.words.get("weathering", ())) - 1
        yield "weathering", {"stage": shown(written), "last": str(last)}


def weathering_may_be_heat(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Cracked by weather, and burnt out: heat cracks, flakes and bleaches too."""
    stage = _stage(docket, know)
    if stage and docket.values.get("burning") == "calcined":
        yield "weathering", {"stage": str(stage), "burning": term("burning", "calcined")}


def weathering_on_lost_surface(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The outer surface is gone, and still a stage that is read from it. In the last stage it goes by weather."""
    stage = _stage(docket, know)
    last = len(know.words.get("weathering", ())) - 1
    if stage is not None and stage < last and docket.values.get("preservation") == "lost":
        yield "weathering", {"stage": str(stage), "preservation": term("preservation", "lost")}


def roots_against_preservation(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Roots have etched most of a surface that is said to be untouched."""
    if docket.values.get("roots") == "most" and docket.values.get("preservation") == "crisp":
        yield "preservation", {"preservation": term("preservation", "crisp"), "roots": term("roots", "most")}


def roots_in_sealed_deposit(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Roots have reached a deposit that is said to be sealed."""
    context = around.context
    if context is not None and context.get("deposit") == "sealed" and text(docket.values.get("roots")) in _ROOTED:
        yield "roots", {"context": shown(context.get("number") or around.context_id)}


def digestion_on_large_piece(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Digested, and longer than what an animal swallows."""
    longest, digestion = number(docket.values.get("longest_mm")), text(docket.values.get("digestion"))
    if longest is not None and longest > DIGESTED_LONGEST_MM and digestion in _DIGESTED:
        yield "digestion", {"longest": f"{longest:g}", "limit": str(DIGESTED_LONGEST_MM)}


def pathology_not_on_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A change in life on a portion that is not there, or that the bone does not have."""
    if "pathology" not in docket.heads or docket.element_row is None:
        return
    own = docket.parted
    for path, change in docket.items("pathology/"):
        portion = text(change.get("portion")) if isinstance(change, Mapping) else None
        if portion is not None and (portion not in own or docket.portions.get(portion) == "absent"):
            yield path, docket.names(portion=marks.portion_name(docket, portion, know))


def _stage(docket: Docket, know: Knowledge) -> int | None:
    """The stage of weathering, None where it is not one of the stages."""
    written = docket.values.get("weathering")
    if isinstance(written, bool) or not isinstance(written, int) or not -1 < written < 10:
        return None
    return written if f"stage_{written}" in know.words.get("weathering", ()) else None


MARK_RULES = marks.RULES
RULES = {
    **by_name(
        colour_against_burning,
        colour_without_burning,
        burning_may_be_stain,
        weathering_not_a_stage,
        weathering_may_be_heat,
        weathering_on_lost_surface,
        roots_against_preservation,
        roots_in_sealed_deposit,
        digestion_on_large_piece,
        pathology_not_on_bone,
    ),
    **breakage.RULES,
    **MARK_RULES,
}
