"""What is known of surfaces agrees with what was published, and its rules hold beyond their one case each.

tests/data/outside/open_surface.csv counts, value by value, what two published assemblages say of burning, cuts,
gnawing and working (Open Context, CC BY 3.0; who and which in its column `source`).
"""

from __future__ import annotations

import csv
import math
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.assets import AssetError
from fieldapp.domain import rules
from fieldapp.domain.rules import Around
from fieldapp.domain.rules.amounts import DENSEST_G_CM3
from fieldapp.domain.rules.breakage import has_marrow
from fieldapp.domain.rules.surface import RULES as SURFACE_RULES
from tests.domain.cases.breakage import SCORES, joined
from tests.domain.cases.marks import CUT
from tests.domain.cases.records import CONTEXT, NO_ANSWER, QUERY, Case, d, docket, reading, shin

K = assets.knowledge()
TEXTS = assets.texts()
OUTSIDE = Path(__file__).parents[1] / "data" / "outside"

WORD_PATHS = {
    "burning": "burning",
    "burn_colour": "burn_colour",
    "preservation": "preservation",
    "roots": "roots",
    "staining": "staining",
    "breaks": "break",
    "digestion": "digestion",
    "antler_base": "antler_base",
}
MARK_FIELDS = {
    "kind": "mark_kind", "aspect": "aspect", "direction": "mark_direction", "tool": "tool", "tone": "mark_tone",
}  # fmt: skip


def published(name: str) -> list[dict[str, str]]:
    with (OUTSIDE / f"{name}.csv").open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened))


def fired(case: Case) -> set[str]:
    return {problem.rule for problem in rules.check_docket(case.values, case.around, K)}


# Against what was published


def test_the_stages_of_weathering_are_the_published_ones_and_say_what_marks_each() -> None:
    definitions = {word.key: word.definition.lower() for word in K.glossary if word.of == "weathering"}
    rows = published("weathering_published")
    assert list(definitions) == [f"stage_{row['stage']}" for row in rows]
    for row in rows:
        missing = [one for one in row["feature"].split("|") if one not in definitions[f"stage_{row['stage']}"]]
        assert missing == [], row["stage"]


def test_a_colour_goes_with_the_degree_that_its_published_heat_is_called() -> None:
    for row in published("burn_colours_published"):
        degrees = K.surface.degrees[row["colour"]]
        if row["called"]:
            assert row["called"] in degrees, row
        elif row["to_celsius"] and int(row["to_celsius"]) <= 500:
            assert "calcined" not in degrees, row
        elif row["from_celsius"] and int(row["from_celsius"]) >= 700:
            assert "charred" not in degrees, row


FIRE: dict[str, dict[str, Any]] = {
    "Part Burned": {"burning": "mixed"},
    "Burning- Brown": {"burning": "charred", "burn_colour": "brown"},
    "Burning- Black": {"burning": "charred", "burn_colour": "black"},
    "Burning- Grey": {"burning": "burnt", "burn_colour": "grey"},
    "Black": {"burning": "charred", "burn_colour": "black"},
    "Brown": {"burning": "charred", "burn_colour": "brown"},
    "Completely burned": {"burning": "burnt"},
    "Local": {"burning": "mixed"},
    "White": {"burning": "calcined", "burn_colour": "white"},
    "Very white": {"burning": "calcined", "burn_colour": "white"},
    "Gray": {"burning": "burnt", "burn_colour": "grey"},
    "White and gray": {"burning": "burnt", "burn_colour": "mixed"},
    "Occlusal face": {"burning": "mixed", "note/1": {"text": "burnt on the chewing face", "stage": "analysis"}},
}
MARKS: dict[tuple[str, str], dict[str, Any]] = {
    ("Carnivore Gnawing", "1"): {"kind": "carnivore_gnawing"},
    ("Cut Marks", "1"): {"kind": "cut", "number": 1},
    ("Cut Marks", "4"): {"kind": "cut", "number": 4},
    ("Tool", "yes"): {"kind": "worked"},
    ("Tool", "residue"): {"kind": "worked", "note": "offcut"},
    ("Tool", "?"): {"kind": "unclear", "note": "worked?"},
    ("Additional Observations", "traces of skinning"): {"kind": "cut", "note": "as from skinning"},
}
NOT_EXPRESSED = {
    "Brown?": "burning has no `perhaps`",
    "?": "burning has no `perhaps`",
    "~": "not explained by the publisher",
    "Black; X": "the X is not explained by the publisher",
}


def test_every_published_value_of_fire_and_marks_can_be_written_but_those_that_are_listed() -> None:
    written, all_rows = 0, 0
    for row in published("open_surface"):
        many = int(row["rows"])
        all_rows += many
        values = FIRE.get(row["column"], FIRE.get(row["value"]))
        mark = MARKS.get((row["column"], row["value"]))
        if mark is not None:
            values = {"mark/1": mark}
        if values is None:
            assert row["column"] == "Burned"
            assert NOT_EXPRESSED[row["value"]], row
            continue
        for path, value in values.items():
            if path in WORD_PATHS:
                assert K.is_word(WORD_PATHS[path], value), row
            elif path.startswith("mark/"):
                for field, of in MARK_FIELDS.items():
                    assert value.get(field) is None or K.is_word(of, value[field]), row
        # So many of a row's pieces: they become a docket of their own, or the number of marks.
        count = int(row["value"]) if row["column"].startswith("Burning-") else 1
        rib = docket(reading("rib", "medium_mammal", side="unsided", part=("upper_body",)), count=count)
        rib["human/1"] = {"answer": "not_excluded"}
        assert fired(Case({**rib, **values})) == set(), row
        written += many
    assert (written, all_rows) == (329, 337)


# Words and tables


def test_every_word_of_the_surface_has_a_definition() -> None:
    lists = {*WORD_PATHS.values(), *MARK_FIELDS.values(), "weathering", "pathology", "material"}
    lists |= {f"fracture_{name}" for name in SCORES}
    assert lists <= set(K.words)
    for word in K.glossary:
        if word.of in lists:
            assert word.definition.endswith("."), word


def test_the_three_scores_of_a_break_add_up_to_six_at_most() -> None:
    # Memory: Outram 2001, 0 (fresh) to 6.
    assert sum(len(K.words[f"fracture_{name}"]) - 1 for name in SCORES) == 6


@pytest.mark.parametrize(
    ("name", "old", "new", "what"),
    [
        ("burn_colours", "\nwhite,calcined", "\nwhite,melted", "not some of"),
        ("mark_kinds", "\nchop,butchery,", "\nchop,butchery,spoon|", "not some of"),
        ("mark_kinds", "\nchop,butchery,", "\nchop,fighting,", "not one of"),
        ("mark_kinds", "\ninsect,", "\ninsects,", "'insects'"),
        ("mark_aspects", "\nplantar,hindlimb", "\nplantar,moon", "not some of"),
        ("marrow", "\nfemur,mammal", "\nfemur,dragon", "not some of"),
        ("tool_dates", "\nmetal_saw,,", "\nlaser,,", "'laser'"),
        ("tool_dates", "\nmetal_saw,,", "\nmetal_saw,atlantis,", "'atlantis'"),
        ("tool_dates", ",-3000,", ",soon,", "not a number"),
        ("tool_dates", ",-3000,", ",-3000.5,", "not a whole year"),
    ],
)
def test_a_table_of_surfaces_that_contradicts_the_words_is_named(
    tmp_path: Path, name: str, old: str, new: str, what: str
) -> None:
    shutil.copytree(assets.root() / "reference", tmp_path / "reference")
    path = tmp_path / "reference" / f"{name}.csv"
    before = path.read_text(encoding="utf-8")
    assert old in before
    path.write_text(before.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(AssetError, match=what) as caught:
        assets.knowledge_at(tmp_path)
    assert caught.value.file == f"reference/{name}.csv"


@pytest.mark.parametrize("name", ["burn_colours", "mark_kinds", "mark_aspects"])
def test_a_word_without_its_row_is_named(tmp_path: Path, name: str) -> None:
    shutil.copytree(assets.root() / "reference", tmp_path / "reference")
    path = tmp_path / "reference" / f"{name}.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    with pytest.raises(AssetError, match=f"no row for '{lines[-1].split(',')[0]}'"):
        assets.knowledge_at(tmp_path)


# Burning, weather and what goes with them


def test_burnt_without_a_degree_raises_the_human_question_as_any_burning_does() -> None:
    for burning in K.words["burning"]:
        piece = d(reading("rib", "medium_mammal", side="unsided", part=("upper_body",)), burning=burning, **NO_ANSWER)
        assert ("burnt_not_excluded" in fired(piece)) == (burning != "unburnt"), burning


def test_each_colour_has_a_degree_that_it_goes_with_and_all_go_with_burnt() -> None:
    for colour in K.words["burn_colour"]:
        for burning in K.words["burning"]:
            against = "colour_against_burning" in fired(d(burning=burning, burn_colour=colour))
            assert against == (burning != "unburnt" and burning not in K.surface.degrees[colour])
        assert "colour_against_burning" not in fired(d(burning="burnt", burn_colour=colour))
        assert "colour_without_burning" in fired(d(burning="unburnt", burn_colour=colour))


@pytest.mark.parametrize("stage", [True, -1, 6, 2.5, "2", [2], 10**400])
def test_what_is_no_stage_of_weathering_is_asked_about_and_no_other_rule_reads_it(stage: object) -> None:
    found = fired(d(weathering=stage, preservation="lost", burning="calcined"))
    assert "weathering_not_a_stage" in found
    assert not found & {"weathering_on_lost_surface", "weathering_may_be_heat"}


def test_all_stages_are_taken() -> None:
    for stage in range(6):
        assert "weathering_not_a_stage" not in fired(d(weathering=stage))


# Breaks


@pytest.mark.parametrize(
    ("element", "taxon", "may"),
    [
        ("femur", "cattle", True),
        ("femur", None, True),
        ("femur", "unknown", True),
        ("femur", "human", True),
        ("femur", "fowl", False),
        ("femur", "fish", False),
        ("long_bone", "large_mammal", True),
        ("radio_ulna", "cattle", True),
        ("metapodial", "sheep_goat", True),
        ("lateral_metapodial", "cattle", False),
        ("ulna", "cattle", False),
        ("atlas", "cattle", False),
        ("skull", "pig", False),
    ],
)
def test_only_shafts_with_marrow_are_scored(element: str, taxon: str | None, may: bool) -> None:
    assert has_marrow(element, taxon, K) is may


def test_a_break_is_not_scored_where_the_shaft_is_absent() -> None:
    assert "fracture_without_marrow" in fired(d(shin(), fracture=SCORES))
    assert "fracture_without_marrow" not in fired(
        d(shin(portions={"lower_shaft": "not_examined"}), fracture=SCORES),
    )


def test_a_tooth_joins_its_jaw_and_another_animal_does_not() -> None:
    tooth = docket(reading("loose_tooth", "cattle", side="left", most=("crown",)), material="tooth")
    jaw = reading("mandible", "cattle", side="left", most=("molar_row",))
    assert "refit_conflicts" not in fired(joined(tooth, what=jaw))
    assert "refit_conflicts" in fired(joined(tooth, what={**jaw, "taxon": "pig"}))
    assert "refit_conflicts" in fired(joined(tooth, what={**jaw, "side": "right"}))
    assert "refit_conflicts" in fired(joined(tooth))


def test_a_join_that_was_taken_away_or_leads_to_a_deleted_docket_is_no_join() -> None:
    wrong = docket(shin(taxon="pig"), burning="calcined")
    names = {"refit_conflicts", "new_break_counted_twice", "new_break_burnt_unlike"}
    assert names <= fired(joined(wrong, burning="unburnt"))
    assert not names & fired(joined({**wrong, "deleted": True}, burning="unburnt"))
    taken = joined(wrong, burning="unburnt")
    assert not names & fired(Case({**taken.values, "joins/d2": None}, taken.around))


def test_two_pieces_of_one_bone_that_the_dig_broke_are_no_conflict_once_they_are_said_to_be_one() -> None:
    upper, lower = shin(most=("upper_shaft",)), shin()
    once = joined(docket(upper), what=lower, same_as__d2=True)
    around = Around(record="d1", joined=once.around.refits, refits=once.around.refits)
    assert not fired(Case(once.values, around)) & {"joined_but_conflicting", "new_break_counted_twice"}
    # Without the join they are two records of the same piece, and contradict each other.
    assert "joined_but_conflicting" in fired(Case({**once.values, "joins/d2": None}, around))


# Marks


def test_marks_that_may_be_on_human_bone_are_left_to_the_osteologist_whatever_the_animal_named() -> None:
    for kind, row in K.surface.kinds.items():
        for values in ({"human__2": QUERY}, {"human__1": {"answer": "stop", "in_place": True}, "bag": ...}):
            found = "mark_on_possible_human" in fired(d(mark__a={"kind": kind}, **values))
            assert found == (row.group in ("butchery", "working") or kind == "human_gnawing"), kind
    assert "mark_on_possible_human" in fired(d(shin(taxon="human"), mark__a=CUT))
    assert "mark_on_possible_human" not in fired(d(mark__a=CUT))


def test_no_sentence_on_marks_calls_anything_animal() -> None:
    for key in SURFACE_RULES:
        assert "animal" not in TEXTS[f"rule.{key}"].lower(), key


def test_an_older_dating_of_the_site_is_asked_where_the_context_has_none() -> None:
    mark = {**CUT, "tool": "metal_blade"}
    old, late = {"dating": {"from": -7000, "to": -6000}}, {"dating": {"from": 43, "to": 410}}
    assert "tool_before_its_time" in fired(d(mark__a=mark, around=Around(context=CONTEXT, site=old)))
    assert "tool_before_its_time" not in fired(d(mark__a=mark, around=Around(context={**CONTEXT, **late}, site=old)))
    assert "tool_before_its_time" in fired(d(mark__a=mark, around=Around(context={**CONTEXT, **old}, site=late)))
    assert "tool_before_its_time" not in fired(d(mark__a=mark))


def test_where_metal_came_late_it_is_asked_about_later() -> None:
    mark = {**CUT, "tool": "metal_blade"}
    old = {**CONTEXT, "dating": {"from": -3800, "to": -3300}}
    for region, early in (("britain_ireland", True), ("mediterranean", False), ("any", False), (None, False)):
        around = Around(context=old, site={"region": region})
        assert ("tool_before_its_time" in fired(d(mark__a=mark, around=around))) is early, region
    for (tool, region), year in K.surface.from_year.items():
        assert year >= (K.surface.earliest(tool) or year), (tool, region)


def test_nothing_makes_a_tooth_mark_but_teeth() -> None:
    for kind, row in K.surface.kinds.items():
        for tool in K.words["tool"]:
            against = "tool_against_mark" in fired(d(mark__a={"kind": kind, "tool": tool}))
            assert against == (tool not in row.tools)
            assert against or row.group != "gnawing"
        assert "tool_against_mark" not in fired(d(mark__a={"kind": kind}))


# Length, weight and material


@given(st.floats(1, 700), st.integers(1, 50), st.floats(0.01, 100))
def test_no_piece_is_heavier_than_a_ball_of_enamel_as_wide_as_it_is_long(mm: float, count: int, share: float) -> None:
    ball = DENSEST_G_CM3 * 4 / 3 * math.pi * (mm / 20) ** 3
    weight = ball * count * share
    found = "longest_against_weight" in fired(d(longest_mm=mm, count=count, weight_g=weight))
    assert found == (share > 1) or math.isclose(share, 1, rel_tol=1e-6)


def test_a_cow_shin_and_a_sheep_tooth_of_usual_size_are_not_too_heavy() -> None:
    # Common practice, no source: a whole cattle tibia of 340 mm and 500 g, a sheep's molar of 35 mm and 6 g.
    assert not fired(d(longest_mm=340, weight_g=500)) & {"longest_against_weight", "longest_implausible"}
    assert "longest_against_weight" not in fired(d(longest_mm=35, weight_g=6))


@pytest.mark.parametrize(
    ("element", "material", "wrong"),
    [
        ("loose_tooth", "tooth", False),
        ("loose_tooth", "bone", True),
        ("mandible", "tooth", False),
        ("skull", "antler", False),
        ("skull", "horn_core", False),
        ("mandible", "antler", True),
        ("tibia", "horn_core", True),
        ("tibia", "unsure", False),
        ("tibia", None, False),
    ],
)
def test_material_and_element_go_together(element: str, material: str | None, wrong: bool) -> None:
    assert ("material_against_element" in fired(d(reading(element, None), material=material))) is wrong


def test_eggshell_is_no_bone_and_needs_no_reading() -> None:
    assert "not_bone_with_reading" in fired(d(material="eggshell"))
    assert not fired(d(reading(None, "bird") | {"element": None}, material="eggshell")) & {"not_bone_with_reading"}
    assert "reading_missing" not in fired(d(material="eggshell", reading=None))


@pytest.mark.parametrize("path", ["mark/a", "measure/a", "tooth/a", "burning", "weathering", "joins/d2", "fracture"])
def test_what_is_not_bone_closes_to_a_note(path: str) -> None:
    nothing = d({**shin(), "element": None}, material="not_bone")
    assert "not_bone_with_details" not in fired(nothing)
    assert "not_bone_with_details" in fired(Case({**nothing.values, path: {}}, nothing.around))
    assert "not_bone_with_details" not in fired(Case({**nothing.values, path: None}, nothing.around))
    assert "not_bone_with_details" not in fired(Case({**nothing.values, path: {}, "material": "unsure"}))


# Any record at all

words = st.sampled_from(sorted({*K.portion_keys["tibia"], *(word for found in K.words.values() for word in found)}))
odd = st.none() | st.booleans() | st.integers(-3, 9) | st.floats() | words | st.lists(words, max_size=2)
marks = odd | st.fixed_dictionaries({}, optional={name: odd for name in (*MARK_FIELDS, "portion", "number", "note")})
scores = odd | st.fixed_dictionaries({}, optional=dict.fromkeys(SCORES, odd))
surfaces = st.builds(
    lambda plain, one, two, broken, join, change: {
        **plain, "mark/a": one, "mark/b": two, "fracture": broken, "joins/d2": join, "pathology/a": change,
    },
    st.fixed_dictionaries({}, optional={**dict.fromkeys([*WORD_PATHS, "weathering", "longest_mm", "material"], odd)}),
    marks,
    marks,
    scores,
    odd | st.fixed_dictionaries({"break": odd}),
    marks,
)  # fmt: skip


@given(surfaces, surfaces, odd | st.fixed_dictionaries({}, optional={"from": odd, "to": odd}), st.booleans())
def test_no_surface_however_odd_makes_a_rule_raise(
    values: dict[str, Any], other: dict[str, Any], dating: object, new: bool
) -> None:
    place = {"dating": dating, "deposit": "sealed", "region": dating}
    around = Around("d1", new, place, "c1", refits={"d2": other}, site=place)
    for problem in rules.check_docket({**docket(), **values}, around, K):
        assert "{" not in rules.sentence(problem, TEXTS)
