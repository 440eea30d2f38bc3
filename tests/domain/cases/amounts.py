"""Cases of the rules about material, number and weight."""

from __future__ import annotations

from tests.domain.cases.records import Cases, d, reading, shin

CASES: Cases = [
    ("docket", "material_against_element", "material", d(material="tooth"), d(reading("mandible"), material="tooth")),
    (
        "docket",
        "material_not_in_taxon",
        "material",
        d(reading("skull", "pig", most=("left_frontal",)), material="antler"),
        d(reading("skull", "red_deer", most=("left_frontal",)), material="antler"),
    ),
    (
        "docket",
        "not_bone_with_reading",
        "material",
        d(material="not_bone"),
        d({**shin(), "element": None}, material="not_bone"),
    ),
    (
        "docket",
        "not_bone_with_details",
        "burning",
        d({**shin(), "element": None}, material="not_bone", burning="charred"),
        d({**shin(), "element": None}, material="not_bone", note__1={"text": "a root", "stage": "trench"}),
    ),
    (
        "docket",
        "antler_base_without_antler",
        "antler_base",
        d(antler_base="shed"),
        d(reading("skull", "red_deer"), material="antler", antler_base="shed"),
    ),
    (
        "docket",
        "shed_with_skull_bone",
        "antler_base",
        d(reading("skull", "red_deer", most=("left_frontal",)), material="antler", antler_base="shed"),
        d(reading("skull", "red_deer", most=("left_frontal",)), material="antler", antler_base="attached"),
    ),
    ("docket", "count_below_one", "count", d(count=0), d(count=1)),
    (
        "docket",
        "several_as_one_bone",
        "count",
        d(count=3),
        d(reading("long_bone", "large_mammal", side="unsided"), count=3),
    ),
    ("docket", "weight_not_positive", "weight_g", d(weight_g=0), d(weight_g=0.1)),
    ("docket", "weight_too_great", "weight_g", d(weight_g=4100), d(weight_g=4100, count=2)),
    ("docket", "longest_implausible", "longest_mm", d(longest_mm=701), d(longest_mm=700)),
    (
        "docket",
        "longest_against_weight",
        "longest_mm",
        d(longest_mm=12, weight_g=120.5),
        d(longest_mm=120, weight_g=120.5),
    ),
]
