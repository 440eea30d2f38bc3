"""Cases of the rule about words, one for each kind of record."""

from __future__ import annotations

from tests.domain.cases.records import BAG, CONTEXT, SAMPLE, Cases, c, d, docket, femur, g, shin

CASES: Cases = [
    ("docket", "word_unknown", "reading/taxon", d(shin(taxon="auroch")), d(shin(taxon="unknown"))),
    ("context", "word_unknown", "type", c({**CONTEXT, "type": "posthole"}), c({**CONTEXT, "type": "other"})),
    (
        "bag",
        "word_unknown",
        "step/boiled",
        c({**BAG, "step/boiled@1": True, "step/boiled@2": True}),
        c({**BAG, "step/boiled": None, "step/washed@1": True, "step/washed@2": {"takes_back": ["1"]}}),
    ),
    ("group", "word_unknown", "relation", g(docket(), femur(), relation="near"), g(docket(), femur())),
    (
        "sample",
        "word_unknown",
        "fraction/f1",
        c({**SAMPLE, "fraction/f1": {"part": "sludge", "mesh_mm": 1, "sorted_share": 1}}),
        c({**SAMPLE, "fraction/f1": {"part": "residue", "mesh_mm": 1, "sorted_share": 1}}),
    ),
    (
        "transfer",
        "word_unknown",
        "kind",
        c({"docket": "d1", "kind": "gift"}),
        c({"docket": "d1", "kind": "display", "authority": "the museum"}),
    ),
    ("photo", "word_unknown", "view", c({"docket": "d1", "view": "odd"}), c({"docket": "d1", "view": "in_place"})),
    ("site", "word_unknown", "mode", c({"code": "HLG26", "mode": "odd"}), c({"code": "HLG26", "mode": "licensed"})),
]
