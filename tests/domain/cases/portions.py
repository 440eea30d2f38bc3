"""Cases of the rules about portions and sides."""

from __future__ import annotations

from fieldapp.domain.readings import blank_reading
from tests.domain.cases.records import SHIN, Cases, K, d, reading, shin

CASES: Cases = [
    (
        "docket",
        "portion_of_other_bone",
        "reading/portions/trochlea",
        d(shin(portions={"trochlea": "absent"})),
        d(shin(portions={"trochlea": "not_examined"})),
    ),
    (
        "docket",
        "detail_without_element",
        "reading/side",
        d(reading("long_bone", "large_mammal", side="right")),
        d(reading("long_bone", "large_mammal", side="unsided")),
    ),
    (
        "docket",
        "side_on_midline",
        "reading/side",
        d(reading("atlas", side="left", most=("left_wing",))),
        d(reading("mandible", side="left", most=("diastema",))),
    ),
    (
        "docket",
        "midline_on_paired",
        "reading/side",
        d(shin(side="midline")),
        d(reading("pelvis", side="midline", most=("symphysis",))),
    ),
    ("docket", "side_missing", "reading/side", d(shin(side=None)), d(shin(side=None, most=(), part=SHIN))),
    (
        "docket",
        "portions_all_absent",
        "reading/portions",
        d(shin(most=())),
        d(shin(most=(), portions={"tuberosity": "not_examined"})),
    ),
    (
        "docket",
        "portions_not_written",
        "reading/portions",
        d({**shin(), "portions": {"distal_medial": "most"}}),
        d({**shin(), "portions": {portion.key: "not_examined" for portion in K.portions_of("tibia")}}),
    ),
    (
        "docket",
        "portions_not_joined",
        "reading/portions",
        d(shin(most=("upper_shaft", "distal_medial"))),
        d(shin(most=("upper_shaft", "distal_medial"), portions={"lower_shaft": "not_examined"}, part=SHIN)),
    ),
    (
        "docket",
        "portions_not_examined",
        "reading/portions",
        d({**blank_reading("tibia", "cattle", K, "analysis"), "side": "left"}),
        d({**blank_reading("tibia", "cattle", K, "scan"), "side": "left"}),
    ),
    (
        "docket",
        "portion_of_other_animal",
        "reading/portions/tuberosity",
        d(shin(taxon="bird", portions={"tuberosity": "most"})),
        d(shin(portions={"tuberosity": "most"})),
    ),
]
