"""Fusion, wear and the young: what is counted, what is never added, and what is never guessed.

Outside: shares of minimum numbers by age class printed by Hartmann-Frick 1964, table 29 (seen); Grant's scores
M1 g + M2 f + M3 b = 30 (memory). Stages of jaws are those of the tables, which say that they are from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge, wear_limits
from fieldapp.domain.assemblage.deaths import (
    EVERY_AGE,
    between,
    by_eruption,
    by_fusion,
    by_stages,
    deaths,
    without_pairs,
)
from fieldapp.domain.assemblage.fusion import ends, paired, stage_names, stages
from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.shares import percent
from fieldapp.domain.assemblage.specimens import TALLY, Specimen, Tooth
from fieldapp.domain.assemblage.survival import OPEN, Interval
from fieldapp.domain.assemblage.wear import (
    CONTRADICTORY,
    SILENT,
    Stages,
    mandible_score,
    molar_scores,
    months_of,
    shared,
    stage_of_score,
    stages_of,
)
from fieldapp.domain.assemblage.young import young

KNOW = knowledge()


def bone(id: str, element: str = "tibia", taxon: str = "cattle", side: str | None = "left", **fields) -> Specimen:
    return Specimen(id, element=element, taxon=taxon, side=side, **fields)


def tibia(id: str, state: str, **fields) -> Specimen:
    return bone(id, fusion={"distal": state}, **fields)


def distal(*specimens: Specimen, taxon: str = "cattle"):
    return ends(specimens, taxon, KNOW)["tibia", "distal"]


# Fusion


def test_a_loose_epiphysis_and_an_open_shaft_are_one_unfused_end():
    found = distal(tibia("a", "loose_epiphysis"), tibia("b", "unfused"), tibia("c", "fused"), tibia("d", "fusing"))
    assert (found.fused, found.fusing, found.unfused) == (Span(1, 1), Span(1, 1), Span(1, 1))
    assert (found.loose, found.shafts, found.n) == (Span(1, 1), Span(1, 1), 3)


def test_two_sides_are_two_ends_and_what_has_no_side_may_be_either():
    assert distal(tibia("a", "loose_epiphysis", side="right"), tibia("b", "unfused")).unfused == Span(2, 2)
    assert distal(tibia("a", "loose_epiphysis", side=None), tibia("b", "unfused")).unfused == Span(1, 1)


def test_sheep_and_goat_are_two_ends_and_sheep_goat_may_be_either():
    sheep, goat = tibia("a", "loose_epiphysis", taxon="sheep"), tibia("b", "unfused", taxon="goat")
    either = tibia("c", "unfused", taxon="sheep_goat")
    assert distal(sheep, goat, taxon="sheep_goat").unfused == Span(2, 2)
    assert distal(sheep, either, taxon="sheep_goat").unfused == Span(1, 1)


KINDS = st.tuples(st.sampled_from(["sheep", "goat", "sheep_goat"]), st.sampled_from(["left", "right", ""]))
TALLIES = st.dictionaries(KINDS, st.integers(1, 5), max_size=5)


@given(TALLIES, TALLIES)
def test_unfused_ends_are_at_least_either_and_never_more_than_both(loose, shafts):
    least = paired(loose, shafts, "sheep_goat")
    assert max(sum(loose.values()), sum(shafts.values())) <= least <= sum(loose.values()) + sum(shafts.values())
    assert paired(shafts, loose, "sheep_goat") == least


def test_one_bone_counts_once_and_pieces_alike_as_many_as_they_are():
    same = [tibia("a", "fused", bone="x"), tibia("b", "fused", bone="x")]
    assert distal(*same, tibia("c", "fused", count=4)).fused == Span(5, 5)
    most_first = [tibia("a", "fused", bone="x", count=2), tibia("b", "fused", bone="x")]
    assert distal(*most_first).fused == Span(2, 2)
    fits = [tibia("a", "fused", fitted="y"), tibia("b", "fused", fitted="y")]
    assert distal(*fits).fused == Span(1, 1)
    assert ends(fits, "cattle", KNOW, refits="pieces")["tibia", "distal"].fused == Span(2, 2)


def test_a_docket_in_dispute_widens_each_count_and_is_in_no_share():
    both = [tibia("a", "fused", sure=False), tibia("a", "unfused", sure=False)]
    found = distal(*both, tibia("b", "fused"))
    assert (found.fused, found.unfused, found.sure, found.n) == (Span(1, 2), Span(0, 1), (1, 0, 0), 1)


def test_tallies_and_words_that_nobody_knows_count_nowhere():
    odd = [
        tibia("a", "fused", kind=TALLY),
        tibia("b", "melted"),
        bone("c", fusion={"elbow": "fused"}),
        bone("d", "shin", fusion={"distal": "fused"}),
        bone("e", fusion={}),
    ]
    assert ends(odd, "cattle", KNOW) == {}


def test_an_end_of_bones_grown_together_is_that_of_the_one_bone():
    grown = bone("a", "radio_ulna", fusion={"radius_distal": "fused", "ulna_proximal": "unfused"})
    assert list(ends([grown], "cattle", KNOW)) == [("radius", "distal"), ("ulna", "proximal")]


def test_stages_are_the_sources_own_where_it_names_any():
    # Zeder 2006, groups A to F, as the table has them (memory).
    names = stage_names("sheep_goat", KNOW)
    assert (names["radius", "proximal"], names["tibia", "distal"], names["humerus", "proximal"]) == ("A", "D", "F")
    found = ends([tibia("a", "fused", taxon="sheep"), bone("b", "metacarpal", "goat", fusion={"distal": "unfused"})],
                 "sheep_goat", KNOW)  # fmt: skip
    (stage,), ageless = stages(found, "sheep_goat", KNOW)
    assert (stage.name, stage.months, stage.count.sure, ageless) == ("D", (18.0, 30.0), (1, 0, 1), [])


def test_elsewhere_ends_stand_together_that_join_at_the_same_ages():
    assert stage_names("cattle", KNOW) == {}
    found = ends([bone("a", "humerus", fusion={"distal": "fused"}), bone("b", "radius", fusion={"proximal": "fused"}),
                  bone("c", "femur", fusion={"head": "fused"})], "cattle", KNOW)  # fmt: skip
    told, _ = stages(found, "cattle", KNOW)
    assert [(one.months, len(one.ends)) for one in told] == [((12.0, 18.0), 2), ((42.0, 42.0), 1)]


@pytest.mark.parametrize(
    ("counts", "printed"),
    [((0, 3, 15), (0, 16.7, 83.3)), ((2, 8, 12), (9.1, 36.3, 54.6)), ((1, 2, 3), (16.7, 33.3, 50.0)),
     ((0, 1, 5), (0, 16.7, 83.3))],
)  # fmt: skip
def test_shares_by_age_class_are_those_that_hartmann_frick_printed(counts, printed):
    # 1964, table 29 p. 241: the source moved 0.1 between two classes of one phase.
    assert [percent(one, sum(counts)) for one in counts] == pytest.approx(printed, abs=0.1)


# Jaws


def jaw(*teeth: Tooth, taxon: str = "sheep", **fields) -> Specimen:
    return Specimen("a", element="mandible", taxon=taxon, teeth=teeth, **fields)


def grant(tooth: str, wear: str) -> Tooth:
    return Tooth(tooth, "lower", scheme="grant_1982", wear=wear)


def payne(tooth: str, wear: str) -> Tooth:
    return Tooth(tooth, "lower", scheme="payne_1987", wear=wear)


def state(tooth: str, word: str) -> Tooth:
    return Tooth(tooth, "lower", stage=word)


def told(one: Specimen, scheme: str = "payne_1973"):
    row = KNOW.teeth.schemes[scheme]
    found = stages_of(one, row, wear_limits(), KNOW)
    return found if isinstance(found, str) else "".join(list(row.stages)[found.first : found.last + 1])


@pytest.mark.parametrize(
    ("teeth", "stages"),
    [
        ([state("dP4", "full_unworn")], "A"),
        ([state("dP4", "in_wear"), state("M1", "half_up")], "B"),
        ([grant("M1", "a"), grant("M2", "½")], "C"),
        ([grant("M1", "a")], "C"),
        ([grant("M1", "b")], "CDEFGHI"),
        ([grant("M2", "a")], "D"),
        ([grant("M1", "a"), grant("M2", "b")], "DEFG"),
        ([grant("M2", "b"), grant("M3", "E")], "D"),
        ([grant("M2", "b")], "DEFG"),
        ([state("M2", "in_wear")], "DEFGHI"),
        ([payne("M3", "5A")], "EF"),
        ([grant("M3", "a")], "E"),
        ([grant("M3", "b")], "EF"),
        ([payne("M3", "11G"), payne("M2", "9A")], "G"),
        ([payne("M3", "11G"), payne("M2", "10A")], "H"),
        ([payne("M3", "11G")], "GH"),
        ([payne("M3", "12G"), payne("M2", "12A")], "I"),
        ([grant("M3", "g"), grant("M2", "g")], "G"),
        ([payne("M1", "0"), state("dP4", "in_wear")], "B"),
        ([state("P4", "half_up"), state("M3", "erupting"), state("M2", "in_wear")], "D"),
        ([state("dP4", "shed")], "BCDEFGHI"),
        ([Tooth("M1", "lower", scheme="payne_1973", wear="C-D")], "CD"),
    ],
)
def test_a_jaw_may_be_of_the_stages_that_its_teeth_allow(teeth, stages):
    assert told(jaw(*teeth)) == stages


def test_what_is_not_recorded_is_not_guessed_and_what_contradicts_is_said():
    assert told(jaw(Tooth("M1", "lower"))) == SILENT
    assert told(jaw(Tooth("M1", "lower", stage="not_visible", scheme="a", wear="b"))) == SILENT
    assert told(jaw(state("M3", "in_wear"), state("M1", "full_unworn"))) == CONTRADICTORY
    # Left and right differ: the tooth tells nothing.
    assert told(jaw(state("M1", "in_wear"), state("M1", "half_up"))) == SILENT
    assert told(jaw(Tooth("M1", "upper", stage="in_wear"))) == SILENT


def test_a_limit_of_cattle_alone_does_not_hold_for_sheep():
    assert told(jaw(grant("M3", "j"), taxon="cattle"), "oconnor_2003") == "E"
    assert told(jaw(grant("M3", "j"), taxon="sheep"), "oconnor_2003") == "A1A2A3E"


def test_a_pigs_last_molar_tells_that_its_wear_has_begun_and_no_more():
    assert told(jaw(grant("M3", "a"), taxon="pig"), "hambleton_1999") == "E"
    assert told(jaw(grant("M3", "c"), taxon="pig"), "hambleton_1999") == "EFGHI"


def test_months_of_stages_without_ages_begin_where_the_one_before_ends():
    cattle = KNOW.teeth.schemes["halstead_1985"]
    assert months_of(Stages(2, 3), cattle) == (8.0, 30.0)
    assert months_of(Stages(5, 8), cattle) == (36.0, None)
    assert by_stages(Stages(5, 8), cattle) == Interval(36.0, OPEN)


def test_a_jaw_of_two_stages_gives_a_half_to_each_or_follows_the_certain_ones():
    found = shared({Stages(2, 2): 3, Stages(3, 3): 1, Stages(2, 3): 2, Stages(5, 6): 1}, 8)
    assert found.certain == (0, 0, 3, 1, 0, 0, 0, 0)
    assert found.possible == (0, 0, 5, 3, 0, 1, 1, 0)
    assert found.evenly == (0, 0, 4, 2, 0, 0.5, 0.5, 0)
    assert found.as_certain == (0, 0, 4.5, 1.5, 0, 0.5, 0.5, 0)


@given(st.dictionaries(st.tuples(st.integers(0, 8), st.integers(0, 8)).map(lambda one: Stages(*sorted(one))),
                       st.integers(1, 9), max_size=12))  # fmt: skip
def test_no_jaw_is_lost_or_made_by_sharing_out(jaws):
    found, n = shared(jaws, 9), sum(jaws.values())
    assert sum(found.evenly) == pytest.approx(n)
    assert sum(found.as_certain) == pytest.approx(n)
    for at in range(9):
        assert found.certain[at] <= min(found.evenly[at], found.as_certain[at]) + 1e-9
        assert max(found.evenly[at], found.as_certain[at]) <= found.possible[at] + 1e-9


def test_the_score_of_a_jaw_is_grants_and_none_without_all_three_molars():
    whole = jaw(grant("M1", "g"), grant("M2", "f"), grant("M3", "b"), grant("dP4", "k"))
    scores = molar_scores(whole, KNOW)
    assert scores == {"M1": 12, "M2": 11, "M3": 7}
    assert mandible_score(scores) == 30
    assert stage_of_score(30, KNOW.teeth.schemes["hambleton_1999_scores"]) == "E"
    young_jaw = molar_scores(jaw(grant("M1", "a"), state("M2", "in_crypt"), state("M3", "in_wear")), KNOW)
    assert young_jaw == {"M1": 6, "M2": 2, "M3": None}
    assert mandible_score(young_jaw) is None


# Between which ages each died


def test_ends_that_have_joined_set_the_least_and_ends_that_have_not_the_most():
    # Silver 1969 as the table has it (memory): humerus distal 12-18, proximal 42-48; femur head 42.
    both = bone("a", "humerus", fusion={"distal": "fused", "proximal": "unfused"})
    assert by_fusion(both, "cattle", KNOW) == Interval(12, 48)
    assert by_fusion(bone("a", "femur", fusion={"head": "fusing"}), "cattle", KNOW) == Interval(42, 42)
    assert by_fusion(bone("a", "femur", fusion={"head": "not_visible"}), "cattle", KNOW) == EVERY_AGE
    wrong = bone("a", "humerus", fusion={"distal": "unfused", "proximal": "fused"})
    assert by_fusion(wrong, "cattle", KNOW) is None


def test_teeth_that_come_through_set_limits_too():
    one = jaw(state("M1", "in_wear"), state("M2", "erupting"), taxon="cattle")
    assert by_eruption(one, "cattle", KNOW) == Interval(15, 18)


def test_bones_of_one_group_are_one_animal_and_all_others_one_each():
    told = [
        (bone("a", group="g"), Interval(12, OPEN)),
        (bone("b", group="g"), Interval(0, 24)),
        (bone("c", count=3), Interval(0, 24)),
        (bone("d"), None),
        (bone("e"), EVERY_AGE),
        (bone("f", group="h"), Interval(36, OPEN)),
        (bone("h", group="h"), Interval(0, 12)),
    ]
    found = deaths(told)
    assert found.found == {Interval(12, 24): 1, Interval(0, 24): 3}
    assert [one.id for one in found.contradictory] == ["d", "f", "h"]
    assert [one.id for one in found.silent] == ["e"]
    assert between(30, 12) is None


def test_a_loose_epiphysis_that_may_belong_to_a_shaft_does_not_count():
    loose = [tibia("a", "loose_epiphysis", count=2), tibia("b", "loose_epiphysis", side="right")]
    kept, out = without_pairs([*loose, tibia("c", "unfused"), tibia("d", "fused")], "cattle")
    assert {one.id: one.count for one in kept} == {"a": 1, "b": 1, "c": 1, "d": 1}
    assert [(one.id, one.count) for one in out] == [("a", 1)]


@given(st.lists(st.tuples(st.sampled_from(["unfused", "loose_epiphysis", "fused"]),
                          st.sampled_from(["left", "right", None]), st.integers(1, 4)), max_size=8))  # fmt: skip
def test_unfused_bones_of_a_curve_are_as_many_as_unfused_ends_of_the_table(drawn):
    own = [tibia(str(at), word, side=side, count=n) for at, (word, side, n) in enumerate(drawn)]
    kept, out = without_pairs(own, "cattle")
    found = ends(own, "cattle", KNOW).get(("tibia", "distal"))
    unfused = sum(one.count for one in kept if one.fusion["distal"] != "fused")
    assert unfused == (found.unfused.low if found else 0)
    assert sum(one.count for one in (*kept, *out)) == sum(one.count for one in own)


# The young


def test_the_young_are_foetal_newborn_or_woven_and_porous_bone_is_not():
    base = {"material": "bone", "certainty": "certain"}
    found = young(
        [
            bone("a", age="foetal", **base),
            bone("b", age="newborn", **base),
            bone("c", texture="woven", **base),
            bone("d", texture="porous", **base),
            bone("e", age="adult", texture="woven", **base),
            bone("f", **base),
            bone("g", age="foetal", sure=False, **base),
            bone("h", age="foetal", taxon="large_mammal", **base),
            bone("i", kind=TALLY, age="foetal", **base),
        ],
        KNOW,
    )
    assert list(found) == ["cattle"]
    one = found["cattle"]
    assert (one.foetal, one.newborn, one.woven, one.young) == (Span(1, 2), Span(1, 1), Span(1, 1), Span(3, 4))
    assert (one.sure, one.n, one.told) == (3, 6, 5)
