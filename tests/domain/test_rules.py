"""Every rule fires on the record that breaks it, is quiet on a near miss, and survives any record at all."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.readings import blank_reading
from fieldapp.domain.rules import Around, Problem
from fieldapp.domain.rules.findings import Docket, Record
from fieldapp.domain.rules.fusion import joins_before
from tests.domain.cases import CASES
from tests.domain.cases.records import CONTEXT, GRAVE, LABEL, SOUND, VERDICT, Case, d, docket, femur, g, reading, shin

K = assets.knowledge()
TEXTS = assets.texts()


def check(kind: str, case: Case) -> tuple[Problem, ...]:
    if kind == "group":
        return rules.check_group(case.values, case.members, K, case.around)
    return rules.check_record(kind, case.values, case.around, K)


def fired(case: Case, kind: str = "docket") -> set[str]:
    return {problem.rule for problem in check(kind, case)}


@pytest.mark.parametrize(("kind", "rule", "path", "breaks", "near"), CASES, ids=[f"{c[0]}-{c[1]}" for c in CASES])
def test_a_rule_fires_on_what_breaks_it_and_not_on_the_near_miss(
    kind: str, rule: str, path: str, breaks: Case, near: Case
) -> None:
    found = [problem for problem in check(kind, breaks) if problem.rule == rule]
    assert found, f"{rule} is quiet"
    assert path in {problem.path for problem in found}
    assert {problem.level for problem in found} == {K.rules[rule].level}
    assert {problem.raises for problem in found} == {K.rules[rule].raises}
    assert rule not in fired(near, kind)


def test_every_rule_of_every_kind_has_a_case() -> None:
    wanted = {(kind, key) for kind, found in rules.BY_KIND.items() for key in found}
    assert {(kind, rule) for kind, rule, *_ in CASES} == wanted
    assert len(CASES) == len(wanted)


@pytest.mark.parametrize("kind", SOUND)
def test_nothing_is_found_in_a_sound_record(kind: str) -> None:
    assert check(kind, SOUND[kind]) == ()


@pytest.mark.parametrize(("kind", "rule", "path", "breaks", "near"), CASES, ids=[f"{c[0]}-{c[1]}" for c in CASES])
def test_every_sentence_is_filled_in_with_words_and_says_what_to_do(
    kind: str, rule: str, path: str, breaks: Case, near: Case
) -> None:
    for problem in check(kind, breaks):
        said = rules.sentence(problem, TEXTS)
        assert "{" not in said
        assert not re.search(r"\b(element|taxon|portion|centre|side|rule|rules|recovery)\.[a-z_]", said), said
        assert said[-1] == "."


def test_every_field_of_a_sentence_is_given_by_its_rule() -> None:
    for kind, rule, _, breaks, _ in CASES:
        wanted = set(re.findall(r"{(\w+)}", TEXTS[f"rule.{rule}"]))
        for problem in check(kind, breaks):
            if problem.rule == rule:
                assert wanted <= set(problem.fields), rule


def test_the_table_of_rules_and_the_rules_agree_and_each_has_a_sentence() -> None:
    assert rules.unmatched(K) == []
    for key in K.rules:
        assert TEXTS[f"rule.{key}"]
    assert {key for key in TEXTS if key.startswith("rule.")} == {f"rule.{key}" for key in K.rules}


def test_the_catalogue_lists_every_rule_with_its_source_gravest_first() -> None:
    listed = rules.catalogue(K, TEXTS)
    assert len(listed) == len(K.rules) >= 30
    assert [row["level"] for row in listed] == sorted(
        (row["level"] for row in listed), key=["impossible", "check", "note"].index
    )
    for row in listed:
        assert row["source"]
        assert row["sentence"]
        assert row["families"]


def test_no_rule_is_another_one_for_one_taxon_or_one_element() -> None:
    for key in K.rules:
        assert not set(key.split("_")) & (set(K.taxa) - {"human", "unknown", "bird"}), key
        assert key not in K.elements


def test_a_deleted_record_has_no_problems() -> None:
    for kind, _, _, breaks, _ in CASES:
        gone = Case({**breaks.values, "deleted": True}, breaks.around, breaks.members)
        assert check(kind, gone) == ()


# Raising the human question


def test_rules_only_ever_raise_and_only_as_far_as_lab_query() -> None:
    assert {row.raises for row in K.rules.values()} == {"", "query", "not_excluded"}


def test_a_rule_that_raises_is_quiet_once_its_own_answer_is_there() -> None:
    for kind, rule, _, breaks, _ in CASES:
        raises = K.rules[rule].raises
        if raises:
            answered = {**breaks.values, "human/by-rule": {"answer": raises, "by_rule": rule}}
            assert rule not in fired(Case(answered, breaks.around), kind)


def test_a_milder_answer_does_not_quiet_a_rule_that_raises() -> None:
    for kind, rule, _, breaks, _ in CASES:
        if K.rules[rule].raises:
            for milder in ("no_sign", "not_asked"):
                answered = {**breaks.values, "human/later": {"answer": milder}}
                assert rule in fired(Case(answered, breaks.around), kind)


def test_an_animals_name_does_not_quiet_the_question_of_a_grave() -> None:
    for taxon in ("cattle", "pig", "unknown", None):
        assert "grave_without_answer" in fired(d(shin(taxon=taxon), around=Around(context=GRAVE)))
    assert "grave_without_answer" in fired(d(around=Around(context={**CONTEXT, "type": "grave"})))
    assert "grave_without_answer" in fired(d(material=None, around=Around(context=GRAVE)))


def test_a_word_of_a_newer_version_for_the_human_answer_counts_as_a_query() -> None:
    assert "grave_without_answer" not in fired(d(human__1={"answer": "scanned"}, around=Around(context=GRAVE)))
    assert "word_unknown" in fired(d(human__1={"answer": "scanned"}))


@pytest.mark.parametrize("taxon", ["small_mammal", "bird"])
def test_a_bare_shaft_of_infant_size_is_not_excluded_whatever_class_it_was_put_into(taxon: str) -> None:
    for element in ("femur", "long_bone"):
        assert "young_shaft_not_excluded" in fired(d(reading(element, taxon)))
    assert "young_shaft_not_excluded" not in fired(d(reading("femur", "large_mammal", fusion={"distal": "unfused"})))


@pytest.mark.parametrize("taxon", ["cat", "hare_rabbit", "fowl"])
def test_a_small_animals_name_does_not_quiet_an_unfused_shaft_before_full_analysis(taxon: str) -> None:
    # Infants have been sorted as small mammals and birds: the case study is named with the rule.
    young = reading("femur", taxon, most=("upper_shaft",), fusion={"distal": "unfused"})
    assert "young_shaft_not_excluded" in fired(d(young))
    assert "young_shaft_not_excluded" not in fired(d({**young, "stage": "analysis"}))
    assert "young_shaft_not_excluded" not in fired(d({**young, "taxon": "sheep"}))


# Fusion and groups


@pytest.mark.parametrize(
    ("element", "taxon", "earlier", "later"),
    [
        ("humerus", "pig", "distal", "proximal"),
        ("radius", "sheep_goat", "proximal", "distal"),
        ("tibia", "horse", "distal", "proximal"),
        ("humerus", "dog", "distal", "proximal"),
    ],
)
def test_the_order_of_fusion_follows_the_chosen_ages(element: str, taxon: str, earlier: str, later: str) -> None:
    assert "fusion_order" in fired(d(reading(element, taxon, fusion={earlier: "unfused", later: "fused"})))
    assert "fusion_order" in fired(d(reading(element, taxon, fusion={earlier: "loose_epiphysis", later: "fusing"})))
    assert "fusion_order" not in fired(d(reading(element, taxon, fusion={earlier: "fusing", later: "unfused"})))
    assert "fusion_order" not in fired(d(reading(element, taxon, fusion={earlier: "fused", later: "unfused"})))


def test_overlapping_ages_give_no_order() -> None:
    # Both ends of the pig's femur fuse at the same published age.
    for one, other in (("unfused", "fused"), ("fused", "unfused")):
        assert "fusion_order" not in fired(d(reading("femur", "pig", fusion={"head": one, "distal": other})))


def test_ranges_that_touch_are_in_order_and_single_ages_are_not() -> None:
    assert joins_before((18, 30), (30, 48))
    assert joins_before((18, 24), (30, None))
    assert not joins_before((42, 42), (42, 48))
    assert not joins_before((36, 42), (42, 42))
    assert not joins_before((42, 42), (42, 42))
    assert not joins_before((30, 48), (18, 30))
    assert not joins_before((48, None), (48, None))
    assert not joins_before((12, 18), (15, 20))


def test_a_size_class_has_no_order_of_fusion() -> None:
    wrong_way_round = {"distal": "unfused", "proximal": "fused"}
    assert "fusion_order" in fired(d(shin(taxon="sheep", fusion=wrong_way_round)))
    assert "fusion_order" not in fired(d(shin(taxon="medium_mammal", fusion=wrong_way_round)))


def test_several_of_a_bone_fit_one_animal_if_its_feet_hold_as_many() -> None:
    toe = docket(reading("phalanx_1", "cattle", side="left", most=("body",)))
    assert "group_same_side_twice" not in fired(g(*[toe] * 4), "group")
    assert "group_same_side_twice" in fired(g(*[toe] * 5), "group")
    pig = docket(reading("metacarpal", "medium_mammal", side="left", most=("upper_shaft",)))
    assert "group_same_side_twice" not in fired(g(*[pig] * 4), "group")


def test_associated_bones_may_be_of_several_animals() -> None:
    found = fired(g(femur(), femur(), femur(taxon="sheep"), relation="associated"), "group")
    assert not found & {"group_same_side_twice", "group_taxa_differ", "group_more_than_skeleton"}


def test_a_deleted_member_is_missing_and_does_not_clash() -> None:
    found = fired(g(femur(), {**femur(taxon="pig"), "deleted": True}), "group")
    assert "group_member_missing" in found
    assert "group_taxa_differ" not in found


# Every bone of every animal

EXPECTED_OF_SOUND = {
    "taxon_finer_than_bone",  # a species, said of a rib
    "no_sign_without_portion",  # pieces that have no portions
    "young_shaft_not_excluded",  # the same, as small as an infant's
    "human_without_answer",
    "human_open_without_answer",
}


def test_no_whole_and_grown_bone_that_an_animal_has_is_called_impossible() -> None:
    asked = 0
    for taxon in K.taxa:
        for element, row in K.elements.items():
            if not K.occurs(element, taxon):
                continue
            sound = blank_reading(element, taxon, K, "analysis")
            sound["portions"] = dict.fromkeys(sound["portions"], "most")
            sound["fusion"] = dict.fromkeys(sound["fusion"], "fused")
            sound["side"] = "left" if row.sided else sound["side"]
            case = d({**sound, "compared": "reference bones"}, material=row.material, weight_g=0.1)
            found = {(problem.rule, problem.level) for problem in check("docket", case)}
            assert {rule for rule, level in found if level != "note"} <= EXPECTED_OF_SOUND, (taxon, element, found)
            asked += 1
    assert asked > 9_000


# Any record at all

SOME = ("distal", "head", "tuber", "upper_shaft", "HLG26 B417-K", "c1", "d1", "")
words = st.sampled_from([*K.taxa, *K.elements, *(word for found in K.words.values() for word in found), *SOME])
odd = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | words | st.text(max_size=5) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words | st.text(max_size=5), inner, max_size=4),
    max_leaves=8,
)
readings = odd | st.fixed_dictionaries(
    {},
    optional={
        "element": words | odd,
        "taxon": words | odd,
        "side": words | odd,
        "certainty": words | odd,
        "portions": st.dictionaries(words, words | odd) | odd,
        "fusion": st.dictionaries(words, words | odd) | odd,
        "sex": odd,
        "age": words | odd,
        "texture": words | odd,
        "position": st.sampled_from(["3", "3+4", "lateral", "99"]) | odd,
        "stage": words | odd,
        "compared": odd,
    },
)
FIELDS = [
    "answer", "in_place", "verdict", "taxon", "element", "bone_seen", "seen", "by_rule", "tooth", "jaw", "side", "seat",
    "stage", "scheme", "wear", "crown_height_mm", "code", "mm", "estimated", "kind", "portion", "aspect", "direction",
    "tool", "number", "tone", "break", "angle", "outline", "texture", "from", "to", "part", "mesh_mm", "sorted_share",
    "weight_g", "bone_g", "fraction_mm", "region",
]  # fmt: skip
KNOWN = ["M1", "M3", "dP4", "GL", "Bd", "SD", "BT", "grant_1982", "a", "g", 12.5, 1, 0, -400, 5]
items = odd | st.dictionaries(st.sampled_from(FIELDS), words | odd | st.sampled_from(KNOWN), max_size=6)
PATHS = [
    "label", "bag", "context", "material", "count", "weight_g", "burning", "deleted", "number", "type", "grave_like",
    "state", "recovery", "mesh_mm", "relation", "same_as/d1", "same_as/d2", "member/m0", "member/m1", "member/", "odd",
    "human/", "assessment", "/", "burn_colour", "weathering", "preservation", "roots", "staining", "breaks",
    "digestion", "longest_mm", "antler_base", "photo/p1", "deposit", "sample", "fraction", "step/washed", "litres",
    "spit", "bone_g", "kind", "docket", "to", "authority", "lab_code", "taken_g", "remainder_g", "photo_before",
    "measured_before", "back", "view", "scale", "closed", "sha256", "region", "fusion_source/pig", "plausible/pig",
]  # fmt: skip
ITEMS = [
    "tooth/1", "tooth/2", "tooth/", "measure/1", "measure/2", "mark/1", "mark/2", "pathology/1", "fracture", "joins/d1",
    "joins/d2", "dating", "fraction/a", "fraction/b", "cremation/1", "plausible/cattle", "human/2", "assessment/2",
]  # fmt: skip
records = st.builds(
    lambda *parts: {**parts[0], **parts[1], **parts[2], "human/1": parts[3], "assessment/1": parts[4]},
    st.dictionaries(st.sampled_from(PATHS), words | odd | st.sampled_from(KNOWN), max_size=8),
    st.dictionaries(st.sampled_from(ITEMS), items, max_size=5),
    st.fixed_dictionaries({}, optional={"reading": readings}),
    items,
    items,
)
arounds = st.builds(
    Around,
    record=st.sampled_from(["", "d1"]),
    new=st.booleans(),
    context=st.none() | records,
    bag=st.none() | records,
    labels=st.dictionaries(words, st.integers(0, 3), max_size=2),
    siblings=st.lists(records, max_size=2),
    joined=st.dictionaries(st.sampled_from(["d1", "d2"]), records, max_size=1),
    refits=st.dictionaries(st.sampled_from(["d1", "d2"]), records, max_size=1),
    site=st.none() | records,
    sample=st.none() | records,
    photos=st.dictionaries(st.sampled_from(["p1"]), records, max_size=1),
    transfers=st.dictionaries(st.sampled_from(["t1"]), records, max_size=1),
    subject=st.none() | records,
    inside=st.lists(records, max_size=2),
    whole=st.booleans(),
)


@given(records, arounds, st.dictionaries(st.sampled_from(["m0", "m1", "m2"]), records, max_size=3))
def test_rules_never_raise_whatever_the_record(
    values: dict[str, Any], around: Around, members: dict[str, dict[str, Any]]
) -> None:
    for kind in rules.BY_KIND:
        for problem in check(kind, Case(values, around, members)):
            assert rules.sentence(problem, TEXTS)
            assert problem.level in ("impossible", "check", "note")
            assert all(isinstance(value, str) and len(value) < 200 for value in problem.fields.values())


ODD: list[Any] = [None, True, 0, -1.5, float("nan"), 10**400, "", "odd", [], [[]], {}, {"distal": []}]


def spoilt(values: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The record with each of its values, and of its values' fields, replaced by each odd value in turn."""
    for path, value in values.items():
        for bad in ODD:
            yield {**values, path: bad}
        if isinstance(value, dict):
            for inner in spoilt(value):
                yield {**values, path: inner}


@pytest.mark.parametrize("one_in", [5, pytest.param(1, marks=pytest.mark.proof)])
def test_no_value_anywhere_in_a_record_or_around_it_makes_a_rule_raise(one_in: int) -> None:
    for kind, _, _, breaks, _ in CASES:
        for values in islice(spoilt(breaks.values), 0, None, one_in):
            check(kind, Case(values, breaks.around, breaks.members))
        for name in ("context", "bag", "site", "sample"):
            for values in spoilt(getattr(breaks.around, name) or {}):
                check(kind, Case(breaks.values, replace(breaks.around, **{name: values}), breaks.members))
        for member, found in breaks.members.items():
            for values in spoilt(found):
                check(kind, Case(breaks.values, breaks.around, {**breaks.members, member: values}))
    for around in (CONTEXT, GRAVE, docket()):
        for values in spoilt(around):
            full = Around("d1", True, values, "c1", values, {LABEL: 2}, [values], {"d2": values})
            check("docket", Case(docket(same_as__d2=True), full))


@given(records, arounds)
def test_the_same_record_gives_the_same_problems_in_the_same_order(values: dict[str, Any], around: Around) -> None:
    assert rules.check_docket(values, around, K) == rules.check_docket(dict(values), around, K)


def said_in_spite_of(kind: str, record: Record, around: Around) -> list[str]:
    """The rules that would find something in a record in which what they need is not there."""
    passed_by = (key for key in rules.BY_KIND[kind] if rules.NEEDS.get(key) not in (None, *record.there))
    return [key for key in passed_by if list(rules.BY_KIND[kind][key](record, around, K))]


@given(records, arounds)
def test_a_rule_that_is_passed_by_would_have_had_nothing_to_say(values: dict[str, Any], around: Around) -> None:
    for first in (None, *sorted({path.partition("/")[0] for path in values})):
        rest = {path: value for path, value in values.items() if path.partition("/")[0] != first}
        assert said_in_spite_of("docket", Docket(rest, K), around) == []
        for kind in ("bag", "sample", "photo", "transfer"):
            assert said_in_spite_of(kind, Record(rest), around) == []


def without_parts(values: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """A docket without each of its paths and each field of its reading, and with other states in the place of each."""
    reading = values.get("reading")
    for path in values:
        yield {one: value for one, value in values.items() if one != path}
    for field, said in reading.items() if isinstance(reading, dict) else ():
        yield {**values, "reading": {one: value for one, value in reading.items() if one != field}}
        for state in set(said.values()) if isinstance(said, dict) else ():
            for other in ("not_examined", "odd", None):
                changed = {key: other if value == state else value for key, value in said.items()}
                yield {**values, "reading": {**reading, field: changed}}


def test_no_part_may_be_taken_from_any_case_so_that_a_rule_is_passed_by_and_would_have_spoken() -> None:
    passed_by: set[str] = set()
    for kind, _, _, breaks, near in CASES:
        for case in (breaks, near) if kind == "docket" else ():
            for values in (case.values, *without_parts(case.values)):
                docket = Docket(values, K)
                assert said_in_spite_of("docket", docket, case.around) == []
                passed_by |= {key for key, need in rules.NEEDS.items() if need not in docket.there}
    assert passed_by == set(rules.NEEDS)


def test_several_dockets_at_once_have_the_problems_of_each_by_itself() -> None:
    cases = [case for kind, _, _, *both in CASES if kind == "docket" for case in both]
    together = rules.check_dockets([(rules.Docket(case.values, K), case.around) for case in cases], K)
    assert together == [rules.check_docket(case.values, case.around, K) for case in cases]
    assert len({len(found) for found in together}) > 2


# What may not quieten the human question


@pytest.mark.parametrize(
    "written", [None, "", {"verdict": "cannot_tell", "seen": ["human/1"]}, {**VERDICT, "seen": []}]
)
def test_a_verdict_that_settles_nothing_leaves_the_cautions_where_they_were(written: Any) -> None:
    cut = {"kind": "cut", "portion": "distal_medial"}
    assert "mark_on_possible_human" in fired(d(mark__a=cut, human__2={"answer": "query"}, assessment__1=written))
    read = docket(shin(taxon="human"), human__1=..., assessment__1=written)
    sent = Case({"docket": "d1", "kind": "loan", "to": "a museum (invented)"}, Around(subject=read))
    assert "transfer_of_possible_human" in fired(sent, "transfer")


@pytest.mark.parametrize("kind", ["discard", "destructive_sample"])
def test_what_is_not_excluded_is_not_used_up_or_thrown_away_unasked(kind: str) -> None:
    small = docket(human__2={"answer": "not_excluded"})
    assert "transfer_of_possible_human" in fired(
        Case({"docket": "d1", "kind": kind}, Around(subject=small)), "transfer"
    )
    sound = Case({"docket": "d1", "kind": kind}, Around(subject=docket()))
    assert "transfer_of_possible_human" not in fired(sound, "transfer")


@pytest.mark.parametrize("material", ["not_bone", "shell", "eggshell"])
def test_a_material_that_is_no_bone_does_not_quieten_what_was_read_as_one(material: str) -> None:
    assert "grave_without_answer" in fired(d(material=material, around=Around(context=GRAVE)))
    assert "newborn_not_excluded" in fired(d(reading("femur", None, age="newborn"), material=material))


# Ordinary records that nothing is to be said of


def test_a_laying_hen_a_handful_of_fish_and_a_rib_named_by_its_body_are_in_order() -> None:
    hen = reading("femur", "fowl", side="left", most=("head",), sex="female", compared="medullary bone")
    assert "sex_not_visible" not in fired(d(hen))
    assert "sex_not_visible" in fired(d({**hen, "taxon": "cattle"}))
    fish = reading("vertebra", "fish", side="midline", most=tuple(K.portion_map("vertebra", "fish")))
    assert "several_as_one_bone" not in fired(d(fish, count=12))
    rib = reading("rib", "cattle", side="left", most=("head",))
    assert "taxon_finer_than_bone" in fired(d(rib))
    assert "taxon_finer_than_bone" not in fired(d({**rib, "compared": "named by the group"}))


def test_a_deer_and_a_large_mammal_may_be_one_animal_and_a_deer_and_a_pig_not() -> None:
    assert "group_taxa_differ" not in fired(g(femur(taxon="cervid"), femur(taxon="large_mammal")), "group")
    assert "group_taxa_differ" in fired(g(femur(taxon="cervid"), femur(taxon="pig")), "group")


def test_one_slip_is_minded_once() -> None:
    two = fired(d(count=2, measure__a={"code": "Bd", "mm": 60}))
    assert {"several_as_one_bone", "measure_of_several"} & two == {"several_as_one_bone"}
    pyre = fired(Case({"number": "7", "type": "pyre"}), "context")
    assert {"cremation_not_as_grave", "grave_not_asked"} & pyre == {"cremation_not_as_grave"}
    marked = check("bag", Case({"label": LABEL, "context": "c1", "step/marked": True}))
    assert [problem.rule for problem in marked].count("marked_before_dried") == 1


def test_nobody_is_told_to_name_a_bone_that_may_be_human_after_its_neighbours() -> None:
    unnamed = docket(reading("rib", None, side="left"))
    assert "group_name_to_share" in fired(g(femur(), unnamed), "group")
    assert "group_name_to_share" not in fired(g(femur(), {**unnamed, "human/2": {"answer": "not_excluded"}}), "group")
    assert "group_name_to_share" not in fired(g(femur(taxon="human"), unnamed), "group")


def test_a_faulty_weight_figure_or_tooth_does_not_put_the_bone_out_of_the_counts() -> None:
    for key in ("weight_not_positive", "measure_not_a_number", "tooth_twice", "wear_against_state"):
        assert K.rules[key].level == "check"


def test_what_cannot_be_printed_is_shown_as_a_dot() -> None:
    for sign in ("\n", "\u202e", "\ud800", "\0"):
        (problem,) = (p for p in check("docket", d(material=f"a{sign}b")) if p.rule == "word_unknown")
        rules.sentence(problem, TEXTS).encode("utf-8")
        assert problem.fields["word"] == "a\u00b7b"


@pytest.mark.parametrize(("longest", "weight", "limit"), [(60, 500.0, "340 g"), (150, 12345.75, "5300 g")])
def test_a_limit_of_weight_is_written_as_a_balance_shows_it(longest: float, weight: float, limit: str) -> None:
    """A ball of enamel (3 g/cm³) of that width: 3 x pi / 6 x (longest / 10)³, worked out by hand."""
    found = check("docket", d(longest_mm=longest, weight_g=weight))
    (said,) = [rules.sentence(one, TEXTS) for one in found if one.rule == "longest_against_weight"]
    assert limit in said
    assert f"{weight:.10g} g" in said
