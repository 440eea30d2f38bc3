"""Rules about samples, their fractions, cremation spits, and the bags and bones that come out of them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import CREMATION_PLACES, CREMATIONS, like_a_grave, not_bodily
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, by_name, number, shown, text
from fieldapp.domain.samples import amount, burnt_of, fractions_of, share

CREMATION_MM = (10, 5, 2)
"""The meshes by which cremated bone is weighed."""

_BY_VOLUME = frozenset({"flotation", "sieving"})
_QUERY = human.CAUTION[human.QUERY]
LEAST_DIFFERENCE_G, LEAST_DIFFERENCE = 0.5, 0.01
"""Weights that differ by less than this (grams, or share of the larger) are taken to be the same (project decision)."""


def litres_missing(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Floated or sieved, and nobody knows how much earth it was."""
    if sample.values.get("litres") is None and text(sample.values.get("type")) in _BY_VOLUME:
        yield "litres", {}


def litres_not_positive(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A volume of nothing, less than nothing, or no number."""
    litres = sample.values.get("litres")
    if litres is not None and not amount(litres):
        yield "litres", {"litres": shown(litres)}


def sorted_share_out_of_range(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A share of nothing or of more than all: often a percentage."""
    for key, fraction in fractions_of(sample.values).items():
        said = fraction.get("sorted_share")
        if said is not None and share(said) is None:
            yield f"fraction/{key}", {"share": shown(said)}


def sorted_share_missing(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bone out of a fraction of which nobody knows how much was sorted."""
    for key, fraction in fractions_of(sample.values).items():
        if fraction.get("sorted_share") is None and amount(fraction.get("bone_g")):
            yield f"fraction/{key}", {"mesh": shown(fraction.get("mesh_mm"))}


def fraction_without_mesh(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A fraction that nobody can compare with any other."""
    for key, fraction in fractions_of(sample.values).items():
        if fraction.get("mesh_mm") is None:
            yield f"fraction/{key}", {}


def fraction_repeated(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two fractions of one part and one mesh: one of them written down twice, or a subsample to be told apart."""
    seen: set[tuple[str, float]] = set()
    for key, fraction in fractions_of(sample.values).items():
        part, mesh = text(fraction.get("part")), amount(fraction.get("mesh_mm"))
        if part is not None and mesh is not None:
            if (part, mesh) in seen:
                yield f"fraction/{key}", {"mesh": shown(fraction.get("mesh_mm"))}
            seen.add((part, mesh))


def flot_coarser_than_residue(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A flot caught on a coarser mesh than the residue: what is light would have been lost."""
    found = fractions_of(sample.values)
    meshes: dict[str, list[float]] = {"flot": [], "residue": []}
    for fraction in found.values():
        mesh, part = amount(fraction.get("mesh_mm")), text(fraction.get("part"))
        if mesh is not None and part in meshes:
            meshes[part].append(mesh)
    if meshes["flot"] and meshes["residue"] and min(meshes["flot"]) > min(meshes["residue"]):
        for key, fraction in found.items():
            if fraction.get("part") == "flot":
                yield f"fraction/{key}", {"flot": f"{min(meshes['flot']):g}", "residue": f"{min(meshes['residue']):g}"}
                return


def bone_heavier_than_fraction(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """More bone out of a fraction than the fraction weighs."""
    for key, fraction in fractions_of(sample.values).items():
        bone, whole = amount(fraction.get("bone_g")), amount(fraction.get("weight_g"))
        if bone is not None and whole is not None and bone > whole:
            yield f"fraction/{key}", {"bone": f"{bone:g}", "weight": f"{whole:g}"}


def fractions_against_total(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """More bone in the fractions together than in the whole sample."""
    total = amount(sample.values.get("bone_g"))
    if total is not None:
        parts = math.fsum(amount(one.get("bone_g")) or 0.0 for one in fractions_of(sample.values).values())
        if parts > total and _differ(parts, total):
            yield "bone_g", {"parts": f"{parts:g}", "total": f"{total:g}"}


def cremation_fraction_unknown(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Cremated bone weighed by a mesh that no other cremation is weighed by."""
    for path, item in sample.items("cremation/"):
        mesh = item.get("fraction_mm") if isinstance(item, dict) else None
        if mesh is not None and number(mesh) not in CREMATION_MM:
            yield path, {"mesh": shown(mesh)}


def cremation_weight_not_possible(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A weight of cremated bone that is less than nothing, or no number."""
    for path, item in sample.items("cremation/"):
        weight = item.get("weight_g") if isinstance(item, dict) else None
        if weight is not None and amount(weight) is None:
            yield path, {"weight": shown(weight)}


def cremation_total_differs(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Weights by fraction and region that do not add up to the weight of all."""
    total = amount(sample.values.get("bone_g"))
    if total is not None and "cremation" in sample.heads:
        weighed = burnt_of(sample.values)
        if weighed.by_both and _differ(weighed.total, total):
            yield "bone_g", {"parts": f"{weighed.total:g}", "total": f"{total:g}"}


def spit_missing(sample: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A cremation, and nobody knows from which depth of it."""
    if sample.values.get("spit") is None and sample.values.get("type") == "cremation":
        yield "spit", {}


def cremation_not_as_grave(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A cremation, or a sample of one, in a context that nobody has said is like a grave."""
    place = around.context if "context" in record.heads else record.values
    if place is not None and text(record.values.get("type")) in CREMATIONS and not like_a_grave(place):
        yield "type", {"context": shown(place.get("number") or around.context_id or "?")}


def bag_of_other_sample(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """In a bag of one context, out of a sample of another."""
    if around.sample is not None:
        own, samples = text(bag.values.get("context")), text(around.sample.get("context"))
        if own is not None and samples is not None and own != samples:
            yield "sample", {"sample": shown(around.sample.get("label") or "?")}


def bag_fraction_unknown(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bones of a fraction that its sample does not have, or of no sample."""
    fraction = text(bag.values.get("fraction"))
    if fraction is None:
        return
    if text(bag.values.get("sample")) is None or (around.sample is not None and not _fraction(bag, around)):
        yield "fraction", {"fraction": shown(fraction)}


def bag_mesh_differs(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One mesh on the bag, another at the fraction it came out of."""
    mesh, fraction = amount(bag.values.get("mesh_mm")), _fraction(bag, around)
    theirs = amount(fraction.get("mesh_mm")) if fraction is not None else None
    if mesh is not None and theirs is not None and mesh != theirs:
        yield "mesh_mm", {"mesh": f"{mesh:g}", "other": f"{theirs:g}"}


def sample_by_hand(bag: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Out of a sample, and said to have been picked by hand in the trench."""
    if text(bag.values.get("sample")) is not None and bag.values.get("recovery") == "hand":
        yield "recovery", {}


def cremation_without_answer(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """From a cremation, and nobody has raised the human question: an animal's name does not answer it."""
    if docket.caution >= _QUERY or not_bodily(docket):
        return
    context, sample = around.context, around.sample
    if context is not None and like_a_grave(context):
        return  # the rule about graves says it
    if (sample is not None and sample.get("type") == "cremation") or (
        context is not None and text(context.get("type")) in CREMATION_PLACES
    ):
        yield "human", {"context": shown((context or {}).get("number") or around.context_id or "?")}


def _fraction(bag: Record, around: Around) -> dict[str, object] | None:
    """The fraction of the sample that a bag says it came out of, if it is there."""
    key = text(bag.values.get("fraction"))
    found = around.sample.get(f"fraction/{key}") if around.sample is not None and key is not None else None
    return found if isinstance(found, dict) else None


def _differ(one: float, other: float) -> bool:
    return abs(one - other) > max(LEAST_DIFFERENCE_G, LEAST_DIFFERENCE * max(one, other))


RULES = by_name(
    litres_missing,
    litres_not_positive,
    sorted_share_out_of_range,
    sorted_share_missing,
    fraction_without_mesh,
    fraction_repeated,
    flot_coarser_than_residue,
    bone_heavier_than_fraction,
    fractions_against_total,
    cremation_fraction_unknown,
    cremation_weight_not_possible,
    cremation_total_differs,
    spit_missing,
    cremation_not_as_grave,
)
CONTEXT_RULES = by_name(cremation_not_as_grave)
BAG_RULES = by_name(bag_of_other_sample, bag_fraction_unknown, bag_mesh_differs, sample_by_hand)
DOCKET_RULES = by_name(cremation_without_answer)
