"""Cases of the rules about contexts and bags."""

from __future__ import annotations

from fieldapp.domain.rules import Around
from tests.domain.cases.records import BAG, CONTEXT, SAMPLE, Cases, c, d, docket

CUT = Around(context={**CONTEXT, "type": "cut"}, bag=BAG)
NATURAL = Around(context={**CONTEXT, "type": "natural"}, bag=BAG)

CASES: Cases = [
    ("context", "context_number_missing", "number", c({**CONTEXT, "number": ""}), c({**CONTEXT, "number": "0"})),
    (
        "context",
        "context_number_repeated",
        "number",
        c(CONTEXT, labels={"1042": 2}),
        c(CONTEXT, labels={"1042": 1, "1043": 2}),
    ),
    (
        "context",
        "grave_denied",
        "grave_like",
        c({**CONTEXT, "type": "grave", "grave_like": "no"}),
        c({**CONTEXT, "type": "grave", "grave_like": "yes"}),
    ),
    (
        "context",
        "grave_not_asked",
        "grave_like",
        c({**CONTEXT, "grave_like": "unknown"}),
        c({**CONTEXT, "grave_like": "unknown", "type": "grave"}),
    ),
    ("bag", "context_missing", "context", c({**BAG, "context": None}), c(BAG)),
    ("sample", "context_missing", "context", c({**SAMPLE, "context": None}), c(SAMPLE)),
    ("bag", "sieve_without_mesh", "mesh_mm", c({**BAG, "mesh_mm": None}), c({**BAG, "mesh_mm": 0.5})),
    (
        "bag",
        "mesh_without_sieve",
        "mesh_mm",
        c({**BAG, "recovery": "hand"}),
        c({**BAG, "recovery": "hand", "mesh_mm": None}),
    ),
    ("bag", "mesh_implausible", "mesh_mm", c({**BAG, "mesh_mm": 400}), c({**BAG, "mesh_mm": 10})),
    (
        "context",
        "dating_not_years",
        "dating",
        c({**CONTEXT, "dating": {"from": "Iron Age", "to": 43}}),
        c({**CONTEXT, "dating": {"from": None, "to": 43}}),
    ),
    (
        "site",
        "dating_not_years",
        "dating",
        c({"code": "HLG26", "dating": {"from": -400.5, "to": 43}}),
        c({"code": "HLG26", "dating": {"from": -400, "to": 43}}),
    ),
    (
        "context",
        "dating_reversed",
        "dating",
        c({**CONTEXT, "dating": {"from": 400, "to": 43}}),
        c({**CONTEXT, "dating": {"from": 43, "to": 43}}),
    ),
    (
        "site",
        "dating_reversed",
        "dating",
        c({"code": "HLG26", "dating": {"from": 400, "to": 43}}),
        c({"code": "HLG26", "dating": {"from": -400, "to": -43}}),
    ),
    (
        "context",
        "sealed_but_mixed",
        "deposit",
        c({**CONTEXT, "type": "topsoil", "deposit": "sealed"}),
        c({**CONTEXT, "type": "topsoil", "deposit": "open"}),
    ),
    ("docket", "find_from_cut", "context", d(bag=None, context="c1", around=CUT), d(around=CUT)),
    ("bag", "find_from_cut", "context", c(BAG, context=CUT.context), c(BAG, context=CONTEXT)),
    ("sample", "find_from_cut", "context", c(SAMPLE, context=CUT.context), c(SAMPLE, context=CONTEXT)),
    ("docket", "find_from_natural", "context", d(bag=None, context="c1", around=NATURAL), d(around=NATURAL)),
    ("bag", "find_from_natural", "context", c(BAG, context=NATURAL.context), c(BAG, context=CUT.context)),
    ("sample", "find_from_natural", "context", c(SAMPLE, context=NATURAL.context), c(SAMPLE)),
    (
        "bag",
        "marked_before_dried",
        "step/dried",
        # Taken back is not dried; ticked on two tablets is.
        c(
            {
                **BAG,
                "step/washed": True,
                "step/dried@1": True,
                "step/dried@2": {"takes_back": ["1"]},
                "step/marked": True,
            }
        ),
        c({**BAG, "step/washed": True, "step/dried@1": True, "step/dried@2": True, "step/marked": True}),
    ),
    (
        "bag",
        "weighed_wet",
        "step/dried",
        c({**BAG, "step/washed": True, "weight_g": 300}),
        c({**BAG, "weight_g": 300}),
    ),
    (
        "bag",
        "weighed_without_weight",
        "weight_g",
        c({**BAG, "step/weighed": True}),
        c({**BAG, "step/weighed": True, "weight_g": 300}),
    ),
    (
        "bag",
        "bag_lighter_than_bones",
        "weight_g",
        c({**BAG, "weight_g": 200}, inside=[docket(), docket(weight_g=95)]),
        c({**BAG, "weight_g": 200}, inside=[docket(), docket(weight_g=80), docket(weight_g=50, deleted=True)]),
    ),
    ("bag", "weight_not_positive", "weight_g", c({**BAG, "weight_g": 0}), c({**BAG, "weight_g": 0.5})),
]
