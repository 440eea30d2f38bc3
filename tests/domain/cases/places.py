"""Cases of the rules about places, labels and joining."""

from __future__ import annotations

from fieldapp.domain.rules import Around
from tests.domain.cases.records import (
    BAG,
    CLOSED,
    CONTEXT,
    LABEL,
    MISREAD,
    Case,
    Cases,
    c,
    d,
    docket,
    femur,
    g,
    shin,
)

CASES: Cases = [
    ("docket", "place_missing", "bag", d(bag=None), d(bag=None, context="c1")),
    ("docket", "bag_of_other_context", "context", d(context="c2"), d(context="c1")),
    (
        "docket",
        "context_closed",
        "bag",
        d(around=Around(context=CLOSED, new=True)),
        d(around=Around(context=CLOSED)),
    ),
    (
        "bag",
        "context_closed",
        "context",
        c(BAG, context=CLOSED, new=True),
        c(BAG, context=CONTEXT, new=True),
    ),
    ("docket", "label_check_wrong", "label", d(label=MISREAD), d(label=LABEL.lower())),
    ("bag", "label_check_wrong", "label", c({**BAG, "label": MISREAD}), c({**BAG, "label": "sherds"})),
    ("group", "label_check_wrong", "label", g(docket(), femur(), label=MISREAD), g(docket(), femur(), label="leg")),
    ("docket", "label_repeated", "label", d(around=Around(labels={LABEL: 2})), d(around=Around(labels={LABEL: 1}))),
    ("bag", "label_repeated", "label", c(BAG, labels={BAG["label"]: 2}), c(BAG, labels={LABEL: 2})),
    (
        "group",
        "label_repeated",
        "label",
        Case({"label": LABEL, "member/m0": True, "member/m1": True}, Around(labels={LABEL: 2})),
        Case({"label": LABEL, "member/m0": True, "member/m1": True}, Around(labels={LABEL: 1})),
    ),
    (
        "docket",
        "possible_double",
        "weight_g",
        d(around=Around(siblings=[docket(label="HLG26 B418")])),
        d(around=Around(siblings=[docket(label="HLG26 B418", weight_g=120.6)])),
    ),
    ("docket", "joined_to_itself", "same_as/d1", d(same_as__d1=True), d(same_as__d2=True)),
    (
        "docket",
        "joined_but_conflicting",
        "same_as/d2",
        d(same_as__d2=True, around=Around(record="d1", joined={"d2": docket(shin(taxon="pig"))})),
        d(same_as__d2=True, around=Around(record="d1", joined={"d2": docket(shin(taxon="large_mammal"))})),
    ),
    (
        "docket",
        "burrower",
        "reading/taxon",
        d(shin(taxon="hare_rabbit"), weight_g=3),
        d(shin(taxon="cat"), weight_g=3),
    ),
]
