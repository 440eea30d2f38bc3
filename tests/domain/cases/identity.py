"""Cases of the rules about names, sex and age."""

from __future__ import annotations

from tests.domain.cases.records import Cases, d, reading, shin

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
]
