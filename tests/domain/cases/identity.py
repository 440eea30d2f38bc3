"""Cases of the rules about names, sex and age."""

from __future__ import annotations

from tests.domain.cases.records import Cases, d, reading, shin

HIP = ("acetabulum_ilium", "acetabulum_ischium", "acetabulum_pubis")

CASES: Cases = [
    (
        "docket",
        "element_not_in_taxon",
        "reading/element",
        d(reading("calcaneum", "fowl", most=("body",))),
        d(reading("calcaneum", "cat", most=("body",))),
    ),
    (
        "docket",
        "taxon_finer_than_bone",
        "reading/taxon",
        d(reading("rib", "sheep", most=("head",))),
        d(reading("rib", "sheep", certainty="cf", most=("head",))),
    ),
    (
        "docket",
        "taxon_coarser_than_bone",
        "reading/taxon",
        d(reading("astragalus", "medium_mammal", most=("proximal_medial", "proximal_lateral"))),
        d(reading("astragalus", "medium_mammal", most=("proximal_medial",))),
    ),
    (
        "docket",
        "cf_without_name",
        "reading/certainty",
        d(shin(taxon="large_mammal", certainty="cf")),
        d(shin(taxon="sheep_goat", certainty="cf")),
    ),
    (
        "docket",
        "pair_parted_without_comparison",
        "reading/compared",
        d(shin(taxon="goat")),
        d(shin(taxon="goat", compared="the unit's own skeletons")),
    ),
    (
        "docket",
        "sex_not_visible",
        "reading/sex",
        d(shin(sex="female")),
        d(reading("pelvis", sex="female", side="left", most=("acetabulum_pubis",))),
    ),
    (
        "docket",
        "adult_with_unfused",
        "reading/age",
        d(shin(age="adult", fusion={"distal": "unfused"})),
        d(shin(age="adult", fusion={"distal": "fusing"})),
    ),
    ("docket", "reading_missing", "reading", d(reading=None), d(reading=None, material="shell")),
    (
        "docket",
        "element_coarser_than_portions",
        "reading/element",
        d(reading("phalanx", "large_mammal", most=("proximal_epiphysis", "body"), stage="analysis")),
        d(reading("phalanx", "large_mammal", most=("proximal_epiphysis",), stage="analysis")),
    ),
    (
        "docket",
        "position_not_there",
        "reading/position",
        d(reading("thoracic_vertebra", most=("centrum",), position="15")),
        d(reading("thoracic_vertebra", most=("centrum",), position="13")),
    ),
    (
        "docket",
        "position_of_single_bone",
        "reading/position",
        d(shin(position="3")),
        d(reading("phalanx_1", side="left", most=("body",), position="3")),
    ),
    (
        "docket",
        "position_missing",
        "reading/position",
        d(reading("metacarpal", "dog", side="left", most=("proximal_medial", "upper_shaft"), stage="analysis")),
        d(reading("metacarpal", "cattle", side="left", most=("proximal_medial", "upper_shaft"), stage="analysis")),
    ),
    (
        "docket",
        "sex_of_young_bone",
        "reading/sex",
        d(reading("pelvis", sex="female", side="left", most=HIP, fusion={"acetabulum": "unfused"})),
        d(reading("pelvis", sex="female", side="left", most=HIP, fusion={"acetabulum": "fused"})),
    ),
    (
        "docket",
        "texture_against_age",
        "reading/texture",
        d(shin(age="adult", texture="woven")),
        d(shin(age="adult", texture="compact")),
    ),
]
