"""Cases of the rules about samples."""

from __future__ import annotations

from typing import Any

from fieldapp.domain.labels import Label
from fieldapp.domain.rules import Around
from tests.domain.cases.records import (
    CLOSED,
    CONTEXT,
    CREMATION,
    GRAVE,
    MISREAD,
    QUERY,
    SAMPLE,
    SAMPLED,
    Case,
    Cases,
    c,
    d,
)

OWN = str(Label("HLG26", "B", 9))
PYRE = {**GRAVE, "type": "pyre"}


def s(**changes: Any) -> Case:
    """A sample's case, "fraction__r4" standing for "fraction/r4"."""
    return c({**SAMPLE, **{path.replace("__", "/"): value for path, value in changes.items()}}, context=CONTEXT)


def cremation(**changes: Any) -> Case:
    """A cremation's case, in a context that is like a grave."""
    return c({**CREMATION, **{path.replace("__", "/"): value for path, value in changes.items()}}, context=GRAVE)


def r4(**changes: Any) -> Case:
    """A sample's case with another 4 mm residue."""
    return s(fraction__r4={**SAMPLE["fraction/r4"], **changes}, bone_g=None)  # type: ignore[dict-item]


def b(**changes: Any) -> Case:
    """The case of a bag that came out of the sample."""
    return c({**SAMPLED, **changes}, context=CONTEXT, sample=SAMPLE)


CASES: Cases = [
    ("sample", "label_check_wrong", "label", c({**SAMPLE, "label": MISREAD}), c(SAMPLE)),
    ("sample", "label_repeated", "label", c(SAMPLE, labels={OWN: 2}), c(SAMPLE, labels={OWN: 1})),
    (
        "sample",
        "context_closed",
        "context",
        c(SAMPLE, new=True, context=CLOSED),
        c(SAMPLE, new=False, context=CLOSED),
    ),
    ("sample", "litres_missing", "litres", s(litres=None), s(litres=None, type="bulk")),
    ("sample", "litres_not_positive", "litres", s(litres=0), s(litres=0.5)),
    ("sample", "sorted_share_out_of_range", "fraction/r4", r4(sorted_share=25), r4(sorted_share=0.01)),
    ("sample", "sorted_share_missing", "fraction/r4", r4(sorted_share=None), r4(sorted_share=None, bone_g=0)),
    ("sample", "fraction_without_mesh", "fraction/r4", r4(mesh_mm=None), r4(mesh_mm=5.6)),
    ("sample", "fraction_repeated", "fraction/r1", r4(mesh_mm=1), r4(mesh_mm=1, part="flot")),
    (
        "sample",
        "flot_coarser_than_residue",
        "fraction/flot",
        s(fraction__flot={"part": "flot", "mesh_mm": 1.5}),
        s(fraction__flot={"part": "flot", "mesh_mm": 1}),
    ),
    ("sample", "bone_heavier_than_fraction", "fraction/r4", r4(weight_g=12), r4(weight_g=12.5)),
    ("sample", "fractions_against_total", "bone_g", s(bone_g=12), s(bone_g=14.2)),
    (
        "sample",
        "cremation_fraction_unknown",
        "cremation/3",
        cremation(cremation__3={"fraction_mm": 4}),
        cremation(cremation__3={"fraction_mm": 2}),
    ),
    (
        "sample",
        "cremation_weight_not_possible",
        "cremation/3",
        cremation(cremation__3={"fraction_mm": 2, "weight_g": -3}),
        cremation(cremation__3={"fraction_mm": 2, "weight_g": 0}),
    ),
    ("sample", "cremation_total_differs", "bone_g", cremation(bone_g=110), cremation(bone_g=101)),
    ("sample", "spit_missing", "spit", cremation(spit=None), cremation(spit=3)),
    ("sample", "cremation_not_as_grave", "type", c(CREMATION, context=CONTEXT), c(CREMATION, context=GRAVE)),
    (
        "context",
        "cremation_not_as_grave",
        "type",
        c({**PYRE, "grave_like": "unknown"}),
        c(PYRE),
    ),
    (
        "docket",
        "cremation_without_answer",
        "human",
        d(around=Around(context=CONTEXT, sample=CREMATION)),
        d(around=Around(context=CONTEXT, sample=CREMATION), human__2=QUERY),
    ),
    ("bag", "bag_of_other_sample", "sample", b(context="c2"), b(context="c1")),
    ("bag", "bag_fraction_unknown", "fraction", b(fraction="r2"), b(fraction="r1", mesh_mm=1)),
    ("bag", "bag_mesh_differs", "mesh_mm", b(mesh_mm=2), b(mesh_mm=4.0)),
    ("bag", "sample_by_hand", "recovery", b(recovery="hand", mesh_mm=None), b(recovery=None)),
]
