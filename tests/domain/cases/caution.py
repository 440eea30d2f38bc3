"""Cases of the rules about the human question."""

from __future__ import annotations

from typing import Any

from fieldapp.domain.rules import Around
from tests.domain.cases.records import (
    CONTEXT,
    FEMUR_END,
    GRAVE,
    QUERY,
    VERDICT,
    Case,
    Cases,
    d,
    docket,
    reading,
    shin,
)


def fitting(answer: dict[str, Any], **changes: Any) -> Case:
    """A docket that fits another, of which this was answered."""
    other = docket(human__1=answer, **changes)
    return d(joins__d2={"break": "old"}, around=Around(record="d1", refits={"d2": other}))


CASES: Cases = [
    (
        "docket",
        "human_without_answer",
        "reading/taxon",
        d(shin(taxon="human")),
        d(shin(taxon="human"), human__2=QUERY),
    ),
    (
        "docket",
        "human_open_without_answer",
        "reading/taxon",
        d(shin(taxon="mammal_or_human")),
        d(shin(taxon="mammal_or_human"), human__1={"answer": "not_excluded"}),
    ),
    (
        "docket",
        "grave_without_answer",
        "human",
        d(around=Around(context=GRAVE)),
        d(around=Around(context=CONTEXT)),
    ),
    (
        "docket",
        "young_shaft_not_excluded",
        "human",
        d(reading("femur", "medium_mammal", most=("upper_shaft", "distal_metaphysis"), fusion={"distal": "unfused"})),
        d(reading("femur", "medium_mammal", most=FEMUR_END, fusion={"distal": "unfused"})),
    ),
    (
        "docket",
        "newborn_not_excluded",
        "human",
        d(reading("rib", "sheep", certainty="cf", most=("head",), texture="woven")),
        d(reading("rib", "sheep", certainty="cf", most=("head",), texture="porous")),
    ),
    (
        "docket",
        "child_size_not_excluded",
        "human",
        d(reading("femur", "sheep", most=FEMUR_END, fusion={"distal": "unfused"}), longest_mm=160),
        d(reading("femur", "sheep", most=FEMUR_END, fusion={"distal": "fused"}), longest_mm=160),
    ),
    (
        "docket",
        "readings_conflict",
        "reading",
        d(shin(taxon="sheep"), around=Around(readings=(shin(taxon="sheep"), shin(taxon="pig")))),
        d(shin(taxon="sheep"), around=Around(readings=(shin(taxon="sheep"), shin(taxon="sheep_goat")))),
    ),
    (
        "docket",
        "burnt_not_excluded",
        "human",
        d(reading("rib", "medium_mammal", most=("upper_body",)), burning="calcined"),
        d(reading("rib", "medium_mammal", most=("upper_body",)), burning="unburnt"),
    ),
    (
        "docket",
        "no_sign_without_portion",
        "human/1",
        d(shin(most=(), part=("distal_metaphysis",))),
        d(shin(most=("distal_metaphysis", "distal_medial"))),
    ),
    ("docket", "question_not_asked", "human", d(human__1={"answer": "not_asked"}), d(human__1=QUERY)),
    (
        "docket",
        "aid_possible_human",
        "human/1",
        d(human__1={"answer": "no_sign", "aid": {"criteria": "x", "answers": {"cv02": "yes"}, "outcome": "stop"}}),
        d(human__1={"answer": "query", "aid": {"criteria": "x", "answers": {"cv02": "yes"}, "outcome": "stop"}}),
    ),
    (
        "docket",
        "aid_cannot_tell",
        "human/1",
        d(human__1={"answer": "no_sign", "aid": {"criteria": "x", "answers": {}, "outcome": "cannot_tell"}}),
        d(human__1={"answer": "no_sign", "aid": {"criteria": "x", "answers": {}, "outcome": "confirm"}}),
    ),
    (
        "docket",
        "fits_possible_human",
        "human",
        fitting(QUERY),
        fitting(QUERY, assessment__1={**VERDICT, "seen": ["human/1"]}),
    ),
    (
        "docket",
        "stop_but_lifted",
        "human/1",
        d(human__1={"answer": "stop", "in_place": False}),
        d(human__1={"answer": "query", "in_place": False}),
    ),
    (
        "docket",
        "in_place_but_bagged",
        "human/1",
        d(human__1={"answer": "stop", "in_place": True}),
        d(human__1={"answer": "stop", "in_place": True}, bag=..., context="c1"),
    ),
    (
        "docket",
        "assessment_against_reading",
        "assessment/1",
        d(shin(taxon="sheep"), assessment__1=VERDICT),
        d(shin(taxon="large_mammal"), assessment__1=VERDICT),
    ),
    (
        "docket",
        "assessment_cannot_clear",
        "assessment/1",
        d(assessment__1={**VERDICT, "bone_seen": "pictures"}),
        d(assessment__1=VERDICT),
    ),
]
