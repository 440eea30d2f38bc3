"""Cases of the rules about contexts and bags."""

from __future__ import annotations

from tests.domain.cases.records import BAG, CONTEXT, Cases, c

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
    ("bag", "bag_without_context", "context", c({**BAG, "context": None}), c(BAG)),
    ("bag", "sieve_without_mesh", "mesh_mm", c({**BAG, "mesh_mm": None}), c({**BAG, "mesh_mm": 0.5})),
    (
        "bag",
        "mesh_without_sieve",
        "mesh_mm",
        c({**BAG, "recovery": "hand"}),
        c({**BAG, "recovery": "hand", "mesh_mm": None}),
    ),
    ("bag", "mesh_implausible", "mesh_mm", c({**BAG, "mesh_mm": 400}), c({**BAG, "mesh_mm": 10})),
]
