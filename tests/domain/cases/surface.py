"""Cases of the rules about fire, weather, roots and stomachs, and about what a bone suffered in life."""

from __future__ import annotations

from fieldapp.domain.rules import Around
from tests.domain.cases import breakage, marks
from tests.domain.cases.records import CONTEXT, Cases, d

SEALED = {**CONTEXT, "deposit": "sealed"}

CASES: Cases = [
    (
        "docket",
        "colour_against_burning",
        "burn_colour",
        d(burning="charred", burn_colour="white"),
        d(burning="calcined", burn_colour="white"),
    ),
    (
        "docket",
        "colour_without_burning",
        "burn_colour",
        d(burning="unburnt", burn_colour="black"),
        d(burning="charred", burn_colour="black"),
    ),
    (
        "docket",
        "burning_may_be_stain",
        "burning",
        d(burning="charred", staining="manganese"),
        d(burning="charred", staining="manganese", burn_colour="black"),
    ),
    ("docket", "weathering_not_a_stage", "weathering", d(weathering=6), d(weathering=5)),
    (
        "docket",
        "weathering_may_be_heat",
        "weathering",
        d(weathering=1, burning="calcined"),
        d(weathering=0, burning="calcined"),
    ),
    (
        "docket",
        "weathering_on_lost_surface",
        "weathering",
        d(weathering=4, preservation="lost"),
        d(weathering=5, preservation="lost"),
    ),
    (
        "docket",
        "roots_against_preservation",
        "preservation",
        d(roots="most", preservation="crisp"),
        d(roots="some", preservation="crisp"),
    ),
    (
        "docket",
        "roots_in_sealed_deposit",
        "roots",
        d(roots="some", around=Around(context=SEALED)),
        d(roots="none", around=Around(context=SEALED)),
    ),
    (
        "docket",
        "digestion_on_large_piece",
        "digestion",
        d(digestion="slight", longest_mm=81),
        d(digestion="slight", longest_mm=80),
    ),
    (
        "docket",
        "pathology_not_on_bone",
        "pathology/a",
        d(pathology__a={"kind": "new_bone", "portion": "upper_shaft"}),
        d(pathology__a={"kind": "new_bone", "portion": "distal_metaphysis"}),
    ),
    *breakage.CASES,
    *marks.CASES,
]
