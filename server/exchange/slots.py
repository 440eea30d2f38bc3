"""What a map can say of a specimen: the slots, and the words or figures that each takes. Pure.

A slot is the name of one answer; its words are searched with `bonedocket terms`.

    element, taxon, certainty, side, position, sex, age, texture, stage, compared          the reading
    material, count, weight_g, longest_mm, finder, burning, burn_colour, weathering, preservation, roots, staining,
    breaks, digestion, antler_base                                                         the piece
    context, trench, phase, context_type, grave_like, bag, recovery, mesh_mm    where it lay and how it was got
    label, find_no                       its number, ours and theirs
    fusion.proximal, fusion.distal       how the end of a bone is joined, whatever its centre is called here
    end.proximal, end.distal             which centre that is, where the map's [end.…] does not say it for every bone
    epiphysis.proximal, .distal          what is there of that centre's own end
    span.<stretch>                       what is there of a stretch of a long bone: proximal_end, proximal_shaft,
                                         mid_shaft, distal_shaft, distal_end
    whole                                what is there of every portion, as of a bone that is complete
    portion.<key>                        what is there of a portion; "{side}" in it becomes left or right
    measure.<code>                       a measurement in millimetres
    mark.<kind>                          marks on the surface; a number says how many
    tooth, jaw, seat, tooth_stage, wear.<scheme>, crown_height_mm       of the teeth that a row names
    worn                                 which of them the wear is of, where there are several
    human                                "query" or "not_excluded": the question is only ever raised
    note                                 kept as a note, in the words that stand there
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from fieldapp.domain.knowledge import Knowledge
from server.exchange import along

LISTS = {
    "material": "material", "burning": "burning", "burn_colour": "burn_colour", "preservation": "preservation",
    "roots": "roots", "staining": "staining", "breaks": "break", "digestion": "digestion",
    "antler_base": "antler_base", "side": "side", "certainty": "certainty", "sex": "sex", "age": "age_class",
    "texture": "bone_texture", "stage": "stage", "recovery": "recovery", "context_type": "context_type",
    "grave_like": "grave_like", "jaw": "jaw", "seat": "seat", "tooth_stage": "eruption_state",
    "whole": "portion_state",
}  # fmt: skip
"""{slot: the vocabulary list of its words}."""
FAMILY_LISTS = {
    "fusion": "fusion_state",
    "span": "portion_state",
    "epiphysis": "portion_state",
    "portion": "portion_state",
}
FIGURES = frozenset({"weight_g", "longest_mm", "crown_height_mm", "mesh_mm", "measure"})
WHOLES = frozenset({"weathering", "mark"})
TEXTS = ("context", "trench", "phase", "bag", "label", "find_no", "finder", "position", "compared", "note")
JOINED = frozenset({"context", "bag", "label"})
"""Where several columns make one: their words one after the other."""
RAISES = ("query", "not_excluded")
ENDS = ("proximal", "distal")
COUNT, NOTE, TOOTH, WORN, HUMAN = "count", "note", "tooth", "worn", "human"
_OTHER = {"element", "taxon", COUNT, TOOTH, WORN, HUMAN, "weathering"}
SINGLE = frozenset({*LISTS, *TEXTS, *_OTHER, *FIGURES} - {"measure"})
FAMILIES = frozenset({*FAMILY_LISTS, "end", "measure", "mark", "wear"})


def known(slot: str, knowledge: Knowledge) -> bool:
    """Whether there is such a slot."""
    family, dot, key = slot.partition(".")
    if not dot:
        return slot in SINGLE
    if family not in FAMILIES or not key:
        return False
    keys: Mapping[str, Collection[str]] = {
        "span": along.SPANS,
        "epiphysis": ENDS,
        "end": ENDS,
        "mark": knowledge.words["mark_kind"],
        "wear": knowledge.teeth.schemes,
        "measure": knowledge.measures.codes,
    }
    return family not in keys or key in keys[family]


def words_of(slot: str, knowledge: Knowledge) -> Collection[str] | None:
    """The words that a slot takes; None for one that takes figures, stages of wear or free words."""
    family, dot, _ = slot.partition(".")
    if slot in ("element", "taxon"):
        return knowledge.elements.keys() if slot == "element" else knowledge.taxa.keys()
    if slot == HUMAN:
        return RAISES
    if slot in (TOOTH, WORN):
        return knowledge.teeth.teeth.keys()
    if dot and family == "end":
        return {one.key for own in knowledge.centres.values() for one in own}
    of = FAMILY_LISTS.get(family) if dot else LISTS.get(slot)
    return knowledge.words[of] if of else None


def is_figure(slot: str) -> bool:
    """Whether a slot takes a figure."""
    return slot.partition(".")[0] in FIGURES
