"""The teeth agree with what was published, row by row, and their tables with one another.

tests/data/outside holds the published values as they were gathered; `verified` there says for each row whether it was
seen at an address or written down from memory.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.assets import AssetError
from fieldapp.domain.teeth import COMING, GONE, JAWS, coming
from tests.test_assets import change

K = assets.knowledge()
T = K.teeth
TEXTS = assets.texts()
OUTSIDE = Path(__file__).parents[1] / "data" / "outside"
KINDS = ("incisor", "canine", "premolar", "molar")


def published(name: str) -> list[dict[str, str]]:
    with (OUTSIDE / f"{name}.csv").open(newline="", encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def number(cell: str) -> float | None:
    return float(cell) if cell else None


def span(cell: str) -> tuple[int, int]:
    low, _, high = cell.partition("-")
    return int(low), int(high or low)


# Which teeth an animal has


@pytest.mark.parametrize("one", published("dental_formulae_published"), ids=lambda one: f"{one['animal']}-{one['set']}")
def test_the_teeth_of_each_kind_and_jaw_add_up_to_the_published_formula(one: dict[str, str]) -> None:
    rows = {row.jaw: row for row in T.formulae if (row.dentition, row.set) == (one["dentition"], one["set"])}
    assert set(rows) == set(JAWS)
    for side in JAWS if one["upper"] else ():
        cells = one[side].split(".")
        for kind, cell in zip(KINDS, cells, strict=False):
            always = sum(T.teeth[key].kind == kind for key in rows[side].always)
            some = sum(T.teeth[key].kind == kind for key in rows[side].some)
            assert (always, always + some) == span(cell), (one, side, kind)
    least = 2 * sum(len(row.always) for row in rows.values())
    most = least + 2 * sum(len(row.some) for row in rows.values())
    low, high = span(one["total"])
    if one["upper"]:
        assert (low, high) == (least, most)
    else:
        assert least <= low <= high <= most


def test_every_dentition_is_checked_against_a_published_formula_or_is_a_union_of_some() -> None:
    checked = {one["dentition"] for one in published("dental_formulae_published")}
    assert {row.dentition for row in T.formulae} - checked <= {"rodent"}
    assert set(T.dentitions.values()) <= {row.dentition for row in T.formulae}


@pytest.mark.parametrize(
    ("taxon", "total"),
    [("cattle", (32, 32)), ("sheep", (32, 32)), ("pig", (44, 44)), ("dog", (42, 42)), ("horse", (36, 44)),
     ("cat", (30, 30)), ("human", (28, 32)), ("hare_rabbit", (26, 28)), ("red_deer", (34, 34))],
)  # fmt: skip
def test_a_whole_skull_has_the_number_of_teeth_that_the_handbooks_give(taxon: str, total: tuple[int, int]) -> None:
    # anatomy handbooks (memory); the formulae behind them are checked one by one above
    assert T.total(taxon) == total
    assert sum(T.per_side(taxon, "tooth", one) or 0 for one in JAWS) * 2 >= total[1]


def test_ruminants_have_no_upper_incisors_and_of_them_only_deer_an_upper_canine() -> None:
    # common practice, no source
    for taxon in (*K.members("ruminant"), "cattle", "sheep", "bovid", "red_deer", "roe_deer", "reindeer"):
        assert T.has(taxon, "I1", "lower")
        assert T.has(taxon, "I1")
        assert not T.has(taxon, "I1", "upper")
        assert not T.has(taxon, "dI2", "upper")
        assert not T.has(taxon, "I", "upper")
        assert T.has(taxon, "front", "upper") == T.has(taxon, "C", "upper") == (not K.is_a(taxon, "bovid"))
        assert T.has(taxon, "M1_2", "upper")


def test_nothing_is_said_against_a_tooth_of_an_animal_whose_teeth_are_not_known() -> None:
    for taxon in ("medium_mammal", "unknown", "mammal", "no such", None):
        assert T.teeth_of(taxon) is None
        assert T.has(taxon, "I1", "upper")
    assert T.has("cattle", "no such tooth", "upper")
    assert T.teeth_of("fowl") == ()
    assert not T.has("fowl", "M1")


def test_every_animal_with_teeth_that_is_a_mammal_has_a_formula() -> None:
    for key, taxon in K.taxa.items():
        # The teeth of toothed whales are alike and many: they have no places.
        narrowest = taxon.kind != "size_class" and not K.members(key)
        if narrowest and K.is_a(key, "mammal") and not K.is_a(key, "cetacean"):
            assert T.teeth_of(key), key


def test_a_permanent_tooth_replaces_the_milk_tooth_of_its_place_and_molars_replace_none() -> None:
    for key, row in T.teeth.items():
        if row.replaces:
            assert row.replaces == f"d{key}"
            assert T.replaced_by(row.replaces) == key
        if row.kind == "molar":
            assert row.set == "permanent"
            assert row.replaces is None
        if row.set == "deciduous" and row.place:
            assert T.replaced_by(key) is not None
    assert T.replaced_by("M1") is None
    assert T.replaces("P1") is None
    assert T.replaces("no such") is T.replaced_by("no such") is None


@pytest.mark.parametrize("dentition", sorted({row.dentition for row in T.formulae}))
def test_a_milk_tooth_has_its_successor_in_the_same_jaw(dentition: str) -> None:
    rows = {(row.jaw, row.set): {*row.always, *row.some} for row in T.formulae if row.dentition == dentition}
    for side in JAWS:
        permanent = rows[side, "permanent"]
        for milk in rows[side, "deciduous"]:
            after = T.replaced_by(milk)
            assert after in permanent


def test_a_wider_name_of_a_tooth_holds_those_under_it() -> None:
    assert T.teeth["M1"].broader == ("M1_2", "M", "cheek", "tooth")
    assert T.is_a("dP4", "cheek")
    assert not T.is_a("dP4", "P")
    assert not T.is_a("M3", "M1_2")
    assert not T.is_a("no such", "tooth")
    assert T.per_side("pig", "M", "lower") == 3
    assert T.per_side("pig", "M1_2") == 4
    assert T.per_side("medium_mammal", "M") is None


def test_uberon_ids_of_the_kinds_of_tooth_are_matched_by_id() -> None:
    # Uberon commit 52817eea (2026-04-01), https://github.com/obophenotype/uberon
    labels = {one["id"]: one["label_in_2026_04_bridges"] for one in published("uberon_ids_published")}
    ids = {row.kind: row.uberon for row in T.teeth.values()}
    assert ids == {
        "incisor": "UBERON:0001098", "canine": "UBERON:0003674", "premolar": "UBERON:0007120",
        "molar": "UBERON:0003655", "any": "UBERON:0001091",
    }  # fmt: skip
    for row in T.teeth.values():
        assert row.uberon_label == labels[row.uberon]


def test_every_tooth_and_scheme_and_word_has_a_name_and_says_what_it_means() -> None:
    for key, row in T.teeth.items():
        assert TEXTS[f"tooth.{key}"] == row.name
        assert row.definition.endswith(".")
    for key, scheme in T.schemes.items():
        assert TEXTS[f"wear_scheme.{key}"] == scheme.name
        assert scheme.definition.endswith(".")
    for word in K.glossary:
        if word.of in ("jaw", "seat", "eruption_state"):
            assert word.definition.endswith(".")
    assert K.words["jaw"] == JAWS
    assert {*COMING, *GONE, "not_visible"} == set(K.words["eruption_state"])
    assert tuple(word for word in K.words["eruption_state"] if word in COMING) == COMING


# When they come through

OUR_TAXA = {"red deer": "red_deer", "wild boar": "wild_boar", "roe deer": "roe_deer"}


def test_every_published_age_is_taken_over_with_its_source_and_no_other() -> None:
    theirs = {
        (
            OUR_TAXA.get(one["taxon"], one["taxon"]),
            one["tooth"],
            number(one["age_min_months"]),
            number(one["age_max_months"]),
            one["source"],
            one["verified"],
        )
        for one in published("tooth_eruption_published")
    }
    ours = {
        (row.taxon, row.published_tooth, row.min_months, row.max_months, row.source, row.seen) for row in T.eruption
    }
    assert ours == theirs
    assert len(published("tooth_eruption_published")) == 210


def test_the_printed_names_of_teeth_mean_ours() -> None:
    renamed = {"P1 (=P2)": {"P2"}, "P2 (=P3)": {"P3"}, "P3 (=P4)": {"P4"}, "I4/C": {"C"}, "dM1 upper": set()}
    for row in T.eruption:
        if row.published_tooth in T.teeth and T.teeth[row.published_tooth].place:
            assert row.teeth == (row.published_tooth,)
        elif row.published_tooth in renamed:
            assert set(row.teeth) == renamed[row.published_tooth]
        for key in row.teeth:
            assert T.has(row.taxon, key, row.jaw or None), row


def test_one_source_is_chosen_for_each_animal_and_a_silent_one_is_not_filled_in() -> None:
    sources: dict[str, set[str]] = {}
    for row in T.eruption:
        if row.chosen:
            sources.setdefault(row.taxon, set()).add(row.source)
        for tooth_key in row.teeth if row.chosen else ():
            assert T.eruption_range(row.taxon, tooth_key, row.jaw or None) is not None
    assert set(sources) == {row.taxon for row in T.eruption}
    assert all(len(found) == 1 for found in sources.values())
    # Milk incisors of the horse stand in the table, from a source that is not the chosen one.
    assert any(row.taxon == "horse" and "dI1" in row.teeth for row in T.eruption)
    assert T.eruption_range("horse", "dI1") is None
    assert T.eruption_range("dog", "dP4") is T.eruption_range("wolf", "M1") is T.eruption_range("no such", "M1") is None


def test_what_was_seen_in_wear_is_never_taken_for_coming_through() -> None:
    assert {row.event for row in T.eruption} == {"eruption", "wear", "complete"}
    assert not [row for row in T.eruption if row.chosen and row.event != "eruption"]


def test_the_unparted_pair_has_the_span_of_its_two_animals() -> None:
    sheep, goat = T.eruption_range("sheep", "M1"), T.eruption_range("goat", "M1")
    assert (sheep, goat) == ((3, 5), (5, 6))
    assert T.eruption_range("sheep_goat", "M1") == (3, 6)
    assert T.eruption_range("sheep_goat", "M1", "upper") == (3, 6)
    assert T.eruption_range("medium_mammal", "M1") is None


@pytest.mark.parametrize("taxon", sorted({row.taxon for row in T.eruption if row.chosen}))
def test_the_first_molar_comes_before_the_second_and_that_before_the_third(taxon: str) -> None:
    # anatomy handbook (memory): the molars come from the front backwards
    ranges = [found for key in ("M1", "M2", "M3") if (found := T.eruption_range(taxon, key, "lower")) is not None]
    for first, second in pairwise(ranges):
        assert (first[0] or 0) <= (second[0] or 0)
        assert first[1] is not None
        assert second[1] is None or first[1] <= second[1]


def test_a_source_that_parts_upper_and_lower_teeth_is_followed() -> None:
    # Matschke 1967, seen: lower I2 18-22, upper I2 and lower M3 21-26, upper M3 from 26 months
    assert T.eruption_range("wild_boar", "M3", "lower") == (21, 26)
    assert T.eruption_range("wild_boar", "M3", "upper") == (26, None)
    assert T.eruption_range("wild_boar", "M3") == (21, None)
    assert T.eruption_range("wild_boar", "I2") == (18, 26)
    assert T.eruption_range("pig_boar", "M3") is None


def test_teeth_set_limits_to_the_age_at_death() -> None:
    # Silver 1969 as recalled in tooth_eruption: cattle M2 15-18, M3 24-30, P4 28-36 months
    least, most = T.age_limits("cattle", [("M2", "lower", "in_wear"), ("M3", "lower", "in_crypt")])
    assert least is not None
    assert most is not None
    assert (least.months, least.tooth, most.months, most.tooth) == (15, "M2", 30, "M3")
    least, most = T.age_limits("cattle", [("M3", None, "erupting")])
    assert least is not None
    assert most is not None
    assert (least.months, most.months) == (24, 30)
    _, most = T.age_limits("cattle", [("dP4", "lower", "in_wear")])
    assert most is not None
    assert (most.months, most.tooth) == (36, "dP4")
    assert T.age_limits("cattle", [("M3", "lower", "lost_in_life"), ("M3", "lower", "not_visible")]) == (None, None)
    assert T.age_limits("medium_mammal", [("M3", "lower", "in_wear")]) == (None, None)


states = st.sampled_from([*COMING, *GONE, "not_visible", "odd"])
seen_teeth = st.lists(st.tuples(st.sampled_from([*T.teeth, "odd"]), st.sampled_from([*JAWS, None]), states), max_size=8)
taxa = st.sampled_from([*T.dentitions, "medium_mammal", "odd"])


@given(taxa, seen_teeth, seen_teeth)
def test_one_more_tooth_never_widens_the_age(taxon: str, some: list[Any], more: list[Any]) -> None:
    (least, most), (closer, closer_most) = T.age_limits(taxon, some), T.age_limits(taxon, [*some, *more])
    assert least is None or (closer is not None and closer.months >= least.months)
    assert most is None or (closer_most is not None and closer_most.months <= most.months)


@given(taxa, st.permutations([(key, "lower", "in_wear") for key in ("M1", "M2", "P4", "dP4", "I1")]))
def test_the_order_in_which_teeth_are_written_does_not_change_the_age(taxon: str, seen: list[Any]) -> None:
    first, second = T.age_limits(taxon, seen), T.age_limits(taxon, sorted(seen))
    assert [limit and limit.months for limit in first] == [limit and limit.months for limit in second]


# Wear


def test_every_published_stage_is_taken_over_with_its_age_and_source() -> None:
    stages = {
        (row.published_scheme, row.published_stage): row for one in T.schemes.values() for row in one.stages.values()
    }
    whole = {(one.published_scheme, name): one for one in T.schemes.values() for name in one.published_stages}
    for one in published("tooth_wear_published"):
        key = (one["scheme"], one["stage"])
        found = whole.get(key) or stages[key]
        assert (found.source, found.seen) == (one["source"], one["verified"])
        if key in stages:
            row = stages[key]
            assert (row.min_months, row.max_months) == (number(one["age_min_months"]), number(one["age_max_months"]))
        else:
            assert not one["age_min_months"]
    printed = {(one["scheme"], one["stage"]) for one in published("tooth_wear_published")}
    assert {key for key in stages if key[0] != "Grant 1982"} | set(whole) == printed


def test_grants_codes_have_the_published_scores_in_the_published_order() -> None:
    theirs = published("grant_wear_published")
    ours = list(T.schemes["grant_1982"].stages.values())
    assert [(row.key, row.kind, row.score_min, row.score_max, row.seen) for row in ours] == [
        (one["code"], one["kind"], *[int(one["numerical_score"])] * 2, one["verified"]) for one in theirs
    ]
    assert "i" not in T.schemes["grant_1982"].stages
    assert [row.state for row in ours if row.kind == "eruption"] == list(COMING[:-1])
    assert {row.state for row in ours if row.kind == "wear"} == {"in_wear"}


def test_the_stages_of_a_jaw_follow_one_another_without_a_gap_in_age() -> None:
    for key in ("payne_1973", "halstead_1985", "hambleton_1999"):
        rows = [row for row in T.schemes[key].stages.values() if row.max_months is not None]
        assert len(rows) >= 5
        for first, second in pairwise(rows):
            assert first.max_months == second.min_months
    bands = list(T.schemes["hambleton_1999_scores"].stages.values())
    for first, second in pairwise(bands):
        assert first.score_max is not None
        assert second.score_min == first.score_max + 1


def test_wear_is_written_only_where_a_scheme_is_for_the_animal_the_tooth_and_the_jaw() -> None:
    assert [one.key for one in T.schemes_for("sheep", "M1", "lower")] == ["grant_1982", "payne_1987"]
    assert [one.key for one in T.schemes_for("pig", "dP4")] == ["grant_1982"]
    for taxon, key, side in [
        ("horse", "M1", "lower"), ("dog", "M1", "lower"), ("cattle", "I1", "lower"), ("cattle", "M1", "upper"),
        ("medium_mammal", "M1", "lower"), ("no such", "M1", None), (None, "M1", None), ("pig", "M", None),
    ]:  # fmt: skip
        assert T.schemes_for(taxon, key, side) == ()
    for scheme in T.schemes.values():
        for taxon in scheme.taxa:
            for key in scheme.teeth:
                assert T.has(taxon, key, scheme.jaw)


@given(st.integers(0, 23), st.integers(0, 23), st.sampled_from(["", "A", "G", "S"]), st.sampled_from(["A", "Z"]))
def test_a_number_and_letter_stage_is_ordered_by_its_number(one: int, other: int, first: str, second: str) -> None:
    order = [T.stage_order("payne_1987", f"{n}{letter}") for n, letter in ((one, first), (other, second))]
    assert order == [one, other]
    stage = T.stage("payne_1987", f"{one}{first}")
    assert stage is not None
    assert (stage.kind == "wear") == (stage.state == "in_wear") == (one > 0)


@given(st.text(max_size=4))
def test_any_other_text_is_no_stage(wear: str) -> None:
    figures = wear[:-1] if wear[-1:] in set("ABCDEFGHIJKLMNOPQRSTUVWXYZ") else wear
    fits = figures in {f"{n:0{width}}" for n in range(24) for width in (1, 2)}
    assert (T.stage("payne_1987", wear) is not None) == fits
    assert (T.stage("grant_1982", wear) is not None) == (
        wear in {one["code"] for one in published("grant_wear_published")}
    )


def test_what_is_no_scheme_and_no_stage_is_answered_with_nothing() -> None:
    for odd in (None, 3, [], {}, "no such", float("nan")):
        assert T.stage(odd, "g") is T.stage("grant_1982", odd) is T.stage_order(odd, odd) is None
        assert T.tooth(odd) is coming(odd) is None


# Tables


@pytest.mark.parametrize(
    ("name", "where", "cells", "what"),
    [
        ("teeth", lambda row: row["key"] == "M1", {"broader": "molars"}, "'molars'"),
        ("teeth", lambda row: row["key"] == "P4", {"replaces": "dP3"}, "no milk tooth of the same place"),
        ("teeth", lambda row: row["key"] == "M2", {"key": "M1"}, "not a new word"),
        ("dentitions", lambda row: row["set"] == "permanent", {"always": "M1|M9"}, "'M9'"),
        ("dentitions", lambda row: row["set"] == "permanent", {"always": "M1|dP4"}, "other set"),
        ("dentitions", lambda row: row["set"] == "permanent", {"always": "M1", "some": "M1"}, "both among"),
        ("dentitions", lambda row: row["set"] == "permanent", {"always": "M"}, "no single place"),
        ("tooth_taxa", lambda row: row["taxon"] == "human", {"dentition": "dragon"}, "'dragon'"),
        ("tooth_taxa", lambda row: row["taxon"] == "human", {"taxon": "sheep_goat"}, "two dentitions"),
        ("tooth_bearers", lambda row: True, {"element": "beak"}, "'beak'"),
        ("tooth_eruption", lambda row: row["chosen"] == "yes", {"chosen": "no"}, "does not follow"),
        ("tooth_eruption", lambda row: row["event"] == "wear", {"chosen": "yes"}, "does not follow"),
        ("tooth_eruption", lambda row: row["max_months"] == "18", {"min_months": "30"}, "before it begins"),
        ("eruption_choices", lambda row: row["taxon"] == "pig", {"taxon": "hare_rabbit"}, "."),
        ("wear_schemes", lambda row: row["kind"] == "tooth", {"comparable": "I1"}, "is not for"),
        ("wear_schemes", lambda row: row["kind"] == "jaw", {"kind": "tooth"}, "one for single teeth"),
        ("wear_stages", lambda row: row["stage"] == "b", {"stage": "a"}, "name of its own"),
        ("wear_stages", lambda row: row["stage"] == "b", {"step": "9"}, "no gap"),
        ("wear_stages", lambda row: row["stage"] == "b", {"kind": "jaw"}, "no stage of a tooth"),
    ],
)
def test_a_tooth_table_that_contradicts_another_is_named_with_its_line(
    tmp_path: Path, name: str, where: Callable[[dict[str, str]], bool], cells: dict[str, str], what: str
) -> None:
    shutil.copytree(assets.root() / "reference", tmp_path / "reference")
    file, line = change(tmp_path, name, where, **cells)
    with pytest.raises(AssetError, match=what) as caught:
        assets.knowledge_at(tmp_path)
    assert caught.value.line >= line or caught.value.file != file
