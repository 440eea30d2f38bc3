"""Bags, samples, transfers and photos: what their rules say beyond one case each, and of any record at all."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.human import CAUTION
from fieldapp.domain.rules import Around, Problem
from fieldapp.domain.rules.words import lists
from tests.domain.cases import CASES
from tests.domain.cases.records import (
    BAG,
    CONTEXT,
    CREMATION,
    GRAVE,
    PHOTO,
    QUERY,
    SAMPLE,
    SAMPLED,
    TRANSFER,
    Case,
    c,
    d,
    docket,
)
from tests.domain.cases.transfers import CLEARED, HUMAN, MORE, RAISED
from tests.domain.test_rules import check, fired, odd, spoilt, words

K = assets.knowledge()
MINE = ("bag", "context", "sample", "transfer", "photo", "site", "docket")


def level_and_up(case: Case, kind: str) -> list[Problem]:
    return [problem for problem in check(kind, case) if problem.level != "note"]


# Possible human remains


@pytest.mark.parametrize("why", MORE)
def test_bone_that_may_be_human_is_not_to_be_moved_before_an_assessment(why: str) -> None:
    assert "transfer_of_possible_human" in fired(MORE[why], "transfer")
    about = MORE[why]
    photo = Case({**PHOTO, "docket": about.values["docket"]}, about.around)
    assert "photo_open_of_possible_human" in fired(photo, "photo")


@pytest.mark.parametrize("kind", K.words["transfer_kind"])
def test_it_is_said_of_every_kind_of_transfer(kind: str) -> None:
    assert "transfer_of_possible_human" in fired(c({**TRANSFER, "kind": kind}, subject=RAISED), "transfer")


def test_a_verdict_of_human_asks_for_the_permission_and_not_for_an_assessment() -> None:
    found = fired(c({**TRANSFER, "reference": ""}, subject=HUMAN), "transfer")
    assert "human_transfer_without_reference" in found
    assert "transfer_of_possible_human" not in found


def test_a_cleared_bone_needs_neither() -> None:
    found = fired(c({**TRANSFER, "reference": ""}, subject=CLEARED), "transfer")
    assert not found & {"human_transfer_without_reference", "transfer_of_possible_human"}
    assert "photo_open_of_possible_human" not in fired(c(PHOTO, subject=CLEARED), "photo")


def test_a_raise_after_the_assessment_opens_the_question_again() -> None:
    again = {**CLEARED, "human/3": QUERY}
    assert "transfer_of_possible_human" in fired(c(TRANSFER, subject=again), "transfer")


def test_a_photo_that_a_possible_human_docket_links_is_to_be_closed() -> None:
    photo = {**PHOTO, "docket": None, "context": "c1"}
    assert "photo_open_of_possible_human" in fired(c(photo, subject=CONTEXT, inside=[RAISED]), "photo")
    assert "photo_open_of_possible_human" not in fired(c(photo, subject=CONTEXT, inside=[docket()]), "photo")


@pytest.mark.parametrize("taxon", ["cattle", "pig", "sheep", "unknown"])
def test_an_animals_name_does_not_quiet_the_question_of_a_cremation(taxon: str) -> None:
    for around in (Around(context=CONTEXT, sample=CREMATION), Around(context={**CONTEXT, "type": "pyre"})):
        case = d(around=around)
        case.values["reading"] = {**case.values["reading"], "taxon": taxon}
        assert "cremation_without_answer" in fired(case)


def test_the_question_of_a_cremation_in_a_grave_is_raised_once() -> None:
    around = Around(context={**GRAVE, "type": "cremation_deposit"}, sample=CREMATION)
    raised = [problem for problem in check("docket", d(around=around)) if problem.raises]
    assert [problem.rule for problem in raised] == ["grave_without_answer"]
    assert CAUTION[raised[0].raises] >= CAUTION["query"]


# What is not known is not missing


def test_nothing_is_said_to_be_missing_where_not_everything_was_looked_for() -> None:
    marked = docket(mark__1={"kind": "worked"}, photo__p9=True)
    assert not {"worked_without_transfer", "photo_missing"} & fired(Case(marked))
    assert {"worked_without_transfer", "photo_missing"} <= fired(Case(marked, Around(whole=True)))
    assert "subject_not_here" not in fired(c(TRANSFER), "transfer")


def test_what_was_deleted_is_no_photo_and_no_transfer() -> None:
    marked = docket(mark__1={"kind": "worked"}, photo__p1=True)
    gone = Around(
        whole=True,
        photos={"p1": {**PHOTO, "deleted": True}},
        transfers={"t1": {"kind": "worked_bone", "deleted": True}},
    )
    assert {"worked_without_transfer", "photo_missing"} <= fired(Case(marked, gone))


@pytest.mark.parametrize(
    ("kind", "case"),
    [
        ("sample", c(CREMATION, context=GRAVE)),
        ("bag", c(SAMPLED, context=CONTEXT, sample=SAMPLE)),
        (
            "bag",
            c(
                {**SAMPLED, "weight_g": 121, **{f"step/{one}": True for one in K.words["bag_step"]}},
                context=CONTEXT,
                sample=SAMPLE,
                inside=[docket()],
            ),
        ),
        ("transfer", c({"docket": "d1", "kind": "worked_bone", "to": "the specialist"}, subject=docket())),
        ("photo", c({**PHOTO, "closed": True}, subject=RAISED)),
        ("context", c({**CONTEXT, "dating": {"from": -400, "to": 43}, "deposit": "sealed"})),
    ],
)
def test_nothing_is_found_in_other_sound_records(kind: str, case: Case) -> None:
    assert check(kind, case) == ()


def test_every_list_that_words_are_looked_up_in_is_there() -> None:
    assert {of for of in lists() if not K.words.get(of)} == set()


def test_every_word_of_places_samples_transfers_and_people_has_a_definition() -> None:
    mine = {
        "context_type", "grave_like", "context_state", "deposit", "recovery", "bag_step", "view", "sample_type",
        "fraction_part", "body_region", "transfer_kind", "human_answer", "verdict", "bone_seen", "relation", "role",
        "site_mode", "level",
    }  # fmt: skip
    defined = [word for word in K.glossary if word.of in mine]
    assert {word.of for word in defined} == mine
    for word in defined:
        assert word.definition.endswith("."), (word.of, word.key)


# Any record at all

PATHS = [
    "label", "context", "bag", "type", "kind", "deposit", "dating", "grave_like", "recovery", "mesh_mm", "sample",
    "fraction", "weight_g", "litres", "spit", "bone_g", "docket", "to", "authority", "reference", "lab_code", "taken_g",
    "remainder_g", "photo_before", "measured_before", "back", "sha256", "view", "scale", "closed", "material",
    "human/1", "human/1@a", "assessment/1", "mark/1", "tooth/1", "joins/d2", "photo/p1", "step/dried", "step/",
    "fraction/r4", "fraction/", "cremation/1", "cremation/", "reading", "deleted", "plausible/cat", "region",
]  # fmt: skip
FIELDS = [
    "from", "to", "part", "mesh_mm", "sorted_share", "weight_g", "bone_g", "fraction_mm", "region", "kind", "answer",
    "verdict", "seen", "taxon", "element", "bone_seen", "stage", "side",
]  # fmt: skip
values = words | odd | st.dictionaries(st.sampled_from(FIELDS), words | odd, max_size=4)
records = st.dictionaries(st.sampled_from(PATHS), values, max_size=8)
arounds = st.builds(
    Around,
    new=st.booleans(),
    context=st.none() | records,
    bag=st.none() | records,
    joined=st.dictionaries(st.sampled_from(["d1", "d2"]), records, max_size=2),
    site=st.none() | records,
    sample=st.none() | records,
    photos=st.dictionaries(st.sampled_from(["p1", "p2"]), records, max_size=1),
    transfers=st.dictionaries(st.sampled_from(["t1", "t2"]), records, max_size=1),
    subject=st.none() | records,
    inside=st.lists(records, max_size=2),
    whole=st.booleans(),
)


@given(st.sampled_from(MINE), records, arounds)
def test_no_record_and_nothing_around_it_makes_a_rule_raise(kind: str, values: dict[str, Any], around: Around) -> None:
    for problem in check(kind, Case(values, around)):
        assert rules.sentence(problem, assets.texts())
        assert all(isinstance(field, str) and len(field) < 200 for field in problem.fields.values())


def test_no_value_around_a_breaking_record_makes_a_rule_raise() -> None:
    for kind, rule, _, breaks, _ in CASES:
        around = breaks.around
        if rule in rules.BY_KIND[kind] and (around.subject or around.sample or around.inside):
            for bad in spoilt({**BAG, **SAMPLE, **RAISED, **HUMAN}):
                full = Around(context=bad, sample=bad, subject=bad, inside=[bad], joined={"d2": bad}, whole=True)
                check(kind, Case(breaks.values, full))
