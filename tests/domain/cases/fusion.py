"""Cases of the rules about fusion."""

from __future__ import annotations

from tests.domain.cases.records import Cases, K, d, reading, shin

HUMERUS = tuple(portion.key for portion in K.portions_of("humerus"))

CASES: Cases = [
    (
        "docket",
        "centre_of_other_bone",
        "reading/fusion/head",
        d(shin(fusion={"distal": "fused", "head": "fused"})),
        d(reading("femur", side="left", most=("head",), fusion={"head": "fused"})),
    ),
    (
        "docket",
        "centre_not_in_taxon",
        "reading/fusion/proximal",
        d(reading("phalanx_3", "cattle", most=("articular_end",), fusion={"proximal": "fused"})),
        d(reading("phalanx_3", "human", most=("articular_end",), fusion={"proximal": "fused"})),
    ),
    (
        "docket",
        "epiphysis_missing",
        "reading/fusion/distal",
        d(shin(most=("distal_metaphysis",))),
        d(shin(most=("distal_metaphysis",), part=("distal_medial",))),
    ),
    (
        "docket",
        "growth_line_missing",
        "reading/fusion/proximal",
        d(shin(fusion={"distal": "fused", "proximal": "unfused"}, taxon=None)),
        d(shin(fusion={"distal": "fused", "proximal": "not_visible"}, taxon=None)),
    ),
    (
        "docket",
        "loose_with_shaft",
        "reading/fusion/distal",
        d(shin(fusion={"distal": "loose_epiphysis"})),
        d(shin(fusion={"distal": "loose_epiphysis"}, most=("distal_medial", "distal_lateral"))),
    ),
    (
        "docket",
        "fusion_order",
        "reading/fusion/distal",
        d(shin(fusion={"distal": "unfused", "proximal": "fused"})),
        d(shin(fusion={"distal": "fused", "proximal": "unfused"})),
    ),
    (
        "docket",
        "fusion_left_blank",
        "reading/fusion/distal",
        d(shin(fusion={})),
        d(shin(fusion={"distal": "not_visible"})),
    ),
    (
        "docket",
        "loose_with_other_parts",
        "reading/fusion/head",
        d(reading("femur", side="left", most=("head", "distal_metaphysis"), fusion={"head": "loose_epiphysis"})),
        d(reading("femur", side="left", most=("head", "greater_trochanter"), fusion={"head": "loose_epiphysis"})),
    ),
    (
        "docket",
        "fusion_ages_apart",
        "reading/fusion/distal",
        d(reading("humerus", side="left", most=HUMERUS, fusion={"distal": "fusing", "proximal": "fused"})),
        d(reading("humerus", side="left", most=HUMERUS, fusion={"distal": "fused", "proximal": "fusing"})),
    ),
    (
        "docket",
        "young_with_fused",
        "reading/age",
        d(shin(age="newborn")),
        d(shin(age="newborn", fusion={"distal": "unfused"})),
    ),
    (
        "docket",
        "texture_against_fusion",
        "reading/texture",
        d(shin(texture="woven")),
        d(shin(texture="porous")),
    ),
]
