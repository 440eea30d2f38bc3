"""What can be measured on which fragment, the limits and orders it is held to, and how its rules weigh odd records."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.cells import TableFault
from fieldapp.domain.measures import NAMES, read
from fieldapp.domain.rules import Around
from fieldapp.domain.rules.measures import _GROWING, _NEWBORN, _TAKES_AWAY
from tests.domain.cases.measures import PIG_FOOT, TOOTH, measured, shoulder, toe
from tests.domain.cases.records import Case, d, reading, shin

K = assets.knowledge()
M = K.measures
TEXTS = assets.texts()


def codes(element: str, taxon: str | None, *most: str, **fusion: str) -> set[str]:
    return {one.measurement.code for one in M.possible(element, taxon, most, fusion) if one.now}


def fired(case: Case) -> set[str]:
    found = {problem.rule for problem in rules.check_docket(case.values, case.around, K)}
    return {rule for rule in found if rule.startswith("measure")}


# What can be taken


def test_a_lower_end_gives_its_breadth_and_depth_and_says_what_the_length_lacks() -> None:
    assert codes("tibia", "cattle", "distal_medial", "distal_lateral") == {"Bd", "Dd"}
    asked = M.possible("tibia", "cattle", {"distal_medial", "distal_lateral"})
    length = next(one for one in asked if one.measurement.code == "GL")
    assert ("medial_condyle",) in length.lacking
    assert ("distal_medial",) not in length.lacking


def test_an_open_line_of_growth_keeps_a_measurement_from_counting_and_is_named() -> None:
    ends = ("distal_medial", "distal_lateral")
    assert "Bd" not in codes("tibia", "cattle", *ends, distal="unfused")
    assert "Bd" not in codes("tibia", "cattle", *ends, distal="loose_epiphysis")
    assert "Bd" in codes("tibia", "cattle", *ends, distal="fusing", proximal="unfused")
    asked = M.possible("tibia", "cattle", ends, {"distal": "unfused"})
    assert next(one for one in asked if one.measurement.code == "Bd").unjoined == ("distal",)


def test_the_waist_of_a_shaft_is_seen_from_either_half_where_it_may_lie_in_either() -> None:
    assert "SD" in codes("radius", "sheep", "upper_shaft")
    assert "SD" in codes("radius", "sheep", "lower_shaft")
    assert "SD" not in codes("tibia", "sheep", "upper_shaft")


def test_codes_are_those_of_the_animal() -> None:
    whole = ("proximal_medial", "proximal_lateral", "distal_medial", "distal_lateral")
    assert codes("astragalus", "red_deer", *whole) == {"GLl", "GLm", "Dl", "Dm", "Bd"}
    assert codes("astragalus", "donkey", *whole) == {"GH", "GB", "BFd", "LmT"}
    assert codes("astragalus", "brown_hare", *whole) == {"GL"}
    assert codes("astragalus", "human", *whole) == {"maxL"}
    assert codes("tibia", "fowl", "cnemial_crests", "knee_face") == {"Dip"}


def test_a_wide_group_has_every_code_that_one_of_its_animals_has() -> None:
    whole = ("proximal_medial", "proximal_lateral", "distal_medial", "distal_lateral")
    assert {"GLl", "GH", "GL"} <= codes("astragalus", "mammal", *whole)
    assert codes("astragalus", None, *whole) >= {"GLl", "GH", "GL", "maxL"}


def test_a_bone_without_rows_of_its_own_has_those_of_what_it_is_or_may_be() -> None:
    assert "PL" in codes("cervical_vertebra", "sheep", "cranial_plate", "centrum", "caudal_plate")
    assert "BPtr" not in {row.code for row in M.of("caudal_vertebra")}
    assert codes("metapodial", "sheep", "medial_condyle", "lateral_condyle") == {"Bd", "Dd"}
    assert "GLpe" in {row.code for row in M.of("phalanx")}
    # Which of the many shafts it is nobody knows, so nothing is promised.
    assert M.of("long_bone") == ()
    assert M.of("rib") == ()


ASKED = [(row, taxon) for row in M.measurements for taxon in sorted(row.own) if K.occurs(row.element, taxon)]


def test_every_measurement_can_be_taken_on_a_whole_full_grown_bone_of_each_of_its_animals() -> None:
    assert {row for row, _ in ASKED} == set(M.measurements)
    for row, taxon in ASKED:
        parted = set(K.portion_map(row.element, taxon))
        assert row.lacking(parted) == (), (row.element, row.code, taxon)
        centres = {centre.key for centre in K.centres_of(row.element, taxon)}
        there = {one.key for one in K.centres[row.element]}
        assert set(row.centres) <= there
        # A centre that this animal lacks asks nothing of it; one that it has is asked for.
        fusion = dict.fromkeys(centres, "unfused")
        asked = {one.measurement: one for one in M.possible(row.element, taxon, parted, fusion, row.position)}
        assert set(asked[row].unjoined) == set(row.centres) & centres


def test_nothing_can_be_taken_where_nothing_is_there_or_nothing_is_known() -> None:
    for element in K.elements:
        assert not any(one.now for one in M.possible(element, None, ()))
    assert M.possible(None, "sheep", {"neck"}) == ()
    assert M.possible("wing", "dragon", {"tip"}) == ()
    assert M.possible("scapula", "dragon", {"neck"}) == ()
    assert M.limits("wing", "GL", "dragon") is None
    assert M.orders_of("wing") == ()


elements = st.sampled_from(sorted({row.element for row in M.measurements} | {"metapodial", "rib", "lumbar_vertebra"}))
taxa = st.none() | st.sampled_from(sorted(K.taxa))


@st.composite
def fragments(draw: st.DrawFn) -> tuple[str, str | None, set[str], set[str], dict[str, str]]:
    """Element, animal, portions at most, more of them, fusion."""
    element = draw(elements)
    keys = st.sets(st.sampled_from([*K.portion_keys[element], "odd"]))
    centres = [*K.centre_keys[element], "odd"]
    states = st.sampled_from([*K.words["fusion_state"], "odd"])
    return element, draw(taxa), draw(keys), draw(keys), draw(st.dictionaries(st.sampled_from(centres), states))


@given(fragments())
def test_more_of_a_bone_never_takes_a_measurement_away(
    fragment: tuple[str, str | None, set[str], set[str], dict[str, str]],
) -> None:
    element, taxon, some, more, fusion = fragment
    before = {one.measurement.code: one for one in M.possible(element, taxon, some, fusion)}
    after = {one.measurement.code: one for one in M.possible(element, taxon, some | more, fusion)}
    assert before.keys() == after.keys()
    for code, one in before.items():
        assert set(after[code].lacking) <= set(one.lacking)
        assert after[code].now or not one.now


@given(fragments())
def test_a_line_that_closes_never_takes_a_measurement_away(
    fragment: tuple[str, str | None, set[str], set[str], dict[str, str]],
) -> None:
    element, taxon, some, _, fusion = fragment
    before = {one.measurement.code for one in M.possible(element, taxon, some, fusion) if one.now}
    joined = dict.fromkeys(fusion, "fused")
    assert before <= {one.measurement.code for one in M.possible(element, taxon, some, joined) if one.now}


# Limits and orders


def test_limits_are_the_widest_over_the_sources_and_name_them() -> None:
    limits = M.limits("astragalus", "GLl", "cattle")
    assert limits is not None
    assert (limits.low, limits.high) == (49, 83)
    assert len(limits.ranges) == 5
    assert len({row.source for row in limits.ranges}) == 5


def test_a_few_bones_of_one_site_set_no_limit_but_tell_the_size_of_thing() -> None:
    assert M.limits("femur", "GL", "cat") is None
    span = M.span("femur", "GL", "cat")
    assert span is not None
    assert (span.low, span.high, span.firm) == (102, 102.5, False)


def test_a_dividing_line_between_the_sexes_is_no_limit() -> None:
    limits = M.limits("femur", "headDiam", "human")
    assert limits is not None
    assert all(row.use != "rule" for row in limits.ranges)


def test_a_pair_that_is_not_parted_has_the_limits_of_its_animals_and_they_its() -> None:
    def span(taxon: str) -> tuple[float, float] | None:
        limits = M.limits("humerus", "Bd", taxon)
        return (limits.low, limits.high) if limits else None

    assert (span("sheep"), span("goat"), span("sheep_goat")) == ((24, 37), (25, 40), (24, 40))
    assert M.limits("scapula", "GLP", "goat") == M.limits("scapula", "GLP", "sheep_goat")
    assert span("mountain_hare") == span("hare") == span("brown_hare") != span("rabbit")
    assert span("hare_rabbit") == (8, 14)
    # A wide group is no pair: between its smallest and its largest animal anything fits.
    assert span("medium_mammal") is None


def test_a_foot_bone_has_limits_only_once_it_is_said_which_it_is() -> None:
    assert M.limits("metacarpal", "GL", "pig", "3") is not None
    assert M.limits("metacarpal", "GL", "pig") is None
    assert M.limits("metacarpal", "GL", "pig", "2") is None
    assert M.limits("metacarpal", "GL", "sheep") is not None


def test_the_orders_do_not_contradict_the_limits() -> None:
    compared = 0
    for taxon in K.taxa:
        for element in K.elements:
            for order in M.orders_of(element, taxon):
                small, large = (M.limits(element, code, taxon) for code in (order.smaller, order.larger))
                if small is not None and large is not None:
                    compared += 1
                    assert small.low < large.high, (element, taxon, order)
                    assert (small.low + small.high) < (large.low + large.high), (element, taxon, order)
    assert compared > 40


def test_orders_make_no_circle_and_each_gives_its_reason() -> None:
    for element in K.elements:
        for taxon in (None, *K.taxa):
            pairs = {(order.smaller, order.larger) for order in M.orders_of(element, taxon)}
            assert not {(large, small) for small, large in pairs} & pairs
    assert all(order.reason.endswith(".") for order in M.orders)


def test_an_order_that_holds_in_hoofed_animals_is_not_asked_of_a_dog_or_of_a_group_that_holds_one() -> None:
    def asked(taxon: str | None) -> bool:
        return any(order.smaller == "M3B" for order in M.orders_of("loose_tooth", taxon))

    assert all(asked(taxon) for taxon in ("sheep", "pig_boar", "donkey", "ruminant"))
    assert not any(asked(taxon) for taxon in ("dog", "medium_mammal", "mammal", None))


# The tables


def test_every_measurement_has_a_name_and_a_sentence_of_its_own() -> None:
    for row in M.measurements:
        assert row.name
        assert row.definition.endswith(".")
        assert row.definition[0].isupper()
        assert row.code.isalnum()


def test_what_a_measurement_or_its_rules_name_is_in_its_own_table() -> None:
    for row in M.measurements:
        if row.tooth:
            found = K.teeth.tooth(row.tooth)
            assert found is not None
            assert found.key == row.tooth
    for word in _TAKES_AWAY:
        assert K.is_word("mark_kind", word), word
    assert all(K.is_word("bone_texture", word) for word in _GROWING)
    assert all(K.is_word("age_class", word) for word in _NEWBORN)
    assert K.is_word("burning", "unburnt")


GLP: dict[str, str] = {"element": "scapula", "code": "GLP"}
TALUS = {"element": "astragalus", "code": "GLl", "taxon": "cattle", "min_mm": "50.0"}
SOCKET = {"smaller": "LG"}


@pytest.mark.parametrize(
    ("name", "where", "cells", "what"),
    [
        ("measurements", GLP, {"needs": "glenoid|waist"}, "'waist'"),
        ("measurements", GLP, {"needs": "glenoid/waist"}, "'waist'"),
        ("measurements", GLP, {"needs": ""}, "something to take it on"),
        ("measurements", GLP, {"centres": "elbow"}, "'elbow'"),
        ("measurements", GLP, {"element": "wing"}, "'wing'"),
        ("measurements", GLP, {"animals": "dragon"}, "'dragon'"),
        ("measurements", GLP, {"not_in": "dragon"}, "'dragon'"),
        ("measurements", GLP, {"not_in": "mammal"}, "an animal"),
        ("measurements", GLP, {"code": "LG"}, "twice for the same animals"),
        ("measurement_ranges", TALUS, {"max_mm": "40"}, "not be above"),
        ("measurement_ranges", TALUS, {"min_mm": "-1"}, "above 0"),
        ("measurement_ranges", TALUS, {"min_mm": "", "max_mm": ""}, "needs a figure"),
        ("measurement_ranges", TALUS, {"code": "BT"}, "no measurement 'BT'"),
        ("measurement_ranges", TALUS, {"taxon": "horse"}, "in horse"),
        ("measurement_ranges", TALUS, {"use": "guess"}, "not one of"),
        ("measurement_orders", SOCKET, {"larger": "GLX"}, "no bone has both"),
        ("measurement_orders", SOCKET, {"element": "femur"}, "femur does not have both|no bone has both"),
        ("measurement_orders", SOCKET, {"animals": "dragon"}, "'dragon'"),
    ],
)
def test_a_table_of_measurements_that_contradicts_another_is_named_with_its_line(
    name: str, where: dict[str, str], cells: dict[str, str], what: str
) -> None:
    tables = {one: assets.rows(assets.root(), one) for one in NAMES}
    at = next(at for at, (_, _, row) in enumerate(tables[name]) if where.items() <= row.items())
    file, line, row = tables[name][at]
    tables[name][at] = (file, line, {**row, **cells})
    with pytest.raises(TableFault, match=what) as caught:
        read(tables, K.taxa, K.elements, K.centres, K.portions)
    assert caught.value.table.startswith(name)
    assert caught.value.line >= line


# The rules


def test_a_sound_measurement_of_a_sound_bone_is_passed_over() -> None:
    assert fired(measured("Bd")) == set()
    assert fired(measured("GLpe", 35, toe())) == set()
    assert fired(shoulder(24, 31)) == set()
    assert fired(measured("GL", 75, {**PIG_FOOT, "position": "3"})) == set()


def test_a_measurement_that_was_taken_back_is_passed_over() -> None:
    assert fired(d(measure__a=None)) == set()


@pytest.mark.parametrize("odd", ["60", None, True, 0, -3, float("nan"), float("inf"), [], {}])
def test_only_a_figure_above_nothing_is_one(odd: Any) -> None:
    assert "measure_not_a_number" in fired(measured("Bd", odd))


@pytest.mark.parametrize("odd", [60, "Bd 60", ["Bd", 60], True])
def test_what_is_no_measurement_at_all_is_said_once_as_a_code_and_once_as_a_figure(odd: Any) -> None:
    assert fired(d(measure__a=odd)) == {"measure_unknown", "measure_not_a_number"}


def test_small_is_no_wonder_in_a_young_or_burnt_bone_but_large_is() -> None:
    assert "measure_out_of_range" in fired(measured("Bd", 30))
    assert "measure_out_of_range" not in fired(measured("Bd", 30, {**shin(), "age": "newborn"}))
    assert "measure_out_of_range" not in fired(measured("Bd", 30, burning="calcined"))
    assert "measure_out_of_range" not in fired(measured("Bd", 30, shin(fusion={"distal": "unfused"})))
    assert "measure_out_of_range" in fired(measured("Bd", 120, burning="calcined"))


@pytest.mark.parametrize("mm", [6.2, 620, 5.5, 700])
def test_a_slip_of_the_unit_is_told_from_a_small_or_a_large_bone(mm: float) -> None:
    assert fired(measured("Bd", mm)) == {"measure_unit_slip"}


def test_the_trust_in_a_figure_does_not_reach_past_its_animal() -> None:
    assert "measure_out_of_range" not in fired(measured("Bd", 25, shin(taxon="sheep")))
    assert "measure_out_of_range" in fired(measured("Bd", 25, shin(taxon="cattle")))
    assert fired(measured("Bd", 25, shin(taxon="large_mammal"))) == {"measure_not_named"}


def test_an_order_is_broken_only_beyond_two_peoples_hands() -> None:
    assert "measure_order" in fired(shoulder(30.7, 30))
    assert "measure_order" not in fired(shoulder(30.5, 30))


def test_a_measurement_taken_by_two_is_compared_with_the_first() -> None:
    three = {f"measure__{at}": {"code": "Bd", "mm": mm} for at, mm in zip("abc", (60, 60.5, 64), strict=True)}
    found = rules.check_docket(d(**three).values, Around(), K)
    assert [one.path for one in found if one.rule == "measure_repeated_differs"] == ["measure/c"]


def test_a_tooth_is_looked_for_in_the_lower_jaw_and_not_in_an_empty_socket() -> None:
    def jaw(**tooth: Any) -> set[str]:
        what = reading("mandible", "cattle", side="left", most=("molar_row",))
        return fired(measured("M3L", 35, what, tooth__1={"tooth": "M3", **tooth}))

    assert "measure_needs_tooth" not in jaw(jaw="lower", seat="in_jaw")
    assert "measure_needs_tooth" in jaw(jaw="lower", seat="socket_only")
    assert "measure_needs_tooth" in jaw(jaw="upper", seat="in_jaw")
    assert "measure_needs_tooth" in fired(measured("M3L", 35, TOOTH))


def test_a_cut_takes_no_bone_away_and_a_chop_does() -> None:
    for kind, minded in (("cut", False), ("chop", True), ("rodent_gnawing", True), ("trampling", False)):
        case = measured("Bd", mark__1={"kind": kind, "portion": "distal_medial"})
        assert ("measure_on_damage" in fired(case)) == minded


def test_nothing_is_said_of_a_bone_or_an_animal_that_is_not_known_here() -> None:
    for what in ({**shin(), "element": "wing"}, {**shin(), "element": None}, reading("rib", "sheep")):
        assert fired(measured("Bd", 600, what)) <= {"measure_not_named"}
    assert not fired(measured("Bd", 600, shin(taxon="dragon"))) & {"measure_out_of_range", "measure_not_in_animal"}


known: st.SearchStrategy[str] = st.sampled_from(sorted(M.codes))
odd_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=3), inner, max_size=2),
    max_leaves=5,
)
items = odd_values | st.fixed_dictionaries(
    {},
    optional={"code": known | odd_values, "mm": st.floats() | odd_values, "estimated": st.booleans() | odd_values},
)
places = odd_values | st.fixed_dictionaries(
    {},
    optional={
        "kind": st.sampled_from([*K.words["mark_kind"]]) | odd_values,
        "portion": st.sampled_from(["glenoid", "body", "distal_medial"]) | odd_values,
        "tooth": st.sampled_from(["M3", "M1"]) | odd_values,
    },
)
readings = st.fixed_dictionaries(
    {},
    optional={
        "element": elements | odd_values,
        "taxon": taxa | odd_values,
        "position": st.sampled_from(["3", "4", "M3"]) | odd_values,
        "texture": st.sampled_from(["woven", "compact"]) | odd_values,
        "age": st.sampled_from(["newborn", "adult"]) | odd_values,
        "portions": st.dictionaries(st.text(max_size=3), odd_values, max_size=2) | odd_values,
        "fusion": st.dictionaries(st.sampled_from(["distal", "proximal"]), odd_values, max_size=2) | odd_values,
    },
)


@given(readings | odd_values, st.lists(items, min_size=1, max_size=4), places, places, odd_values, odd_values)
def test_no_measurement_however_odd_makes_a_rule_raise(
    what: Any, taken: list[Any], mark: Any, tooth: Any, burning: Any, count: Any
) -> None:
    values = {f"measure/{at}": one for at, one in enumerate(taken)}
    values |= {"mark/1": mark, "pathology/1": mark, "tooth/1": tooth, "burning": burning, "count": count}
    found = rules.check_docket({"reading": what, **values}, Around(), K)
    for problem in found:
        assert rules.sentence(problem, TEXTS)
        assert all(isinstance(value, str) and len(value) < 200 for value in problem.fields.values())
