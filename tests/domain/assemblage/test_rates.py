"""Rates of surfaces: who can show a mark, intervals, freshness and wholeness; intervals against statsmodels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.rates import (
    Rate,
    always_recorded,
    can_show,
    freshness,
    has_marrow,
    pieces,
    seen,
    size_of,
    wholeness,
)
from fieldapp.domain.assemblage.specimens import TALLY, Change, Mark, Specimen

KNOW = knowledge()
SHAFT = {"upper_shaft": "most", "lower_shaft": "part", "head": "absent"}


def bone(name: str, *marks: Mark, surface: str | None = "good", **more) -> Specimen:
    state = {} if surface is None else {"preservation": surface}
    given_surface = {**state, **more.pop("more_surface", {})}
    base = {"taxon": "cattle", "element": "humerus", "portions": SHAFT, "stage": "analysis", **more}
    return Specimen(name, name.upper(), marks=marks, surface=given_surface, **base)


# -- Intervals --


@given(st.integers(0, 400), st.integers(1, 400))
def test_intervals_are_wilson_s(n, of):
    """statsmodels, proportion_confint(method="wilson")."""
    n = min(n, of)
    ends = [100 * end for end in proportion_confint(n, of, method="wilson")]
    assert Rate(n, of).interval == pytest.approx(ends, abs=1e-9)


def test_of_none_there_is_no_rate():
    assert Rate(0, 0).percent is None
    assert Rate(0, 0).interval is None


# -- Who counts --


def test_a_bone_counts_once_and_pieces_that_fit_are_one_with_the_marks_of_both():
    cut, chop = Mark("cut", portion="upper_shaft"), Mark("chop", portion="head")
    there = [
        bone("a", cut, fitted="f"),
        bone("b", chop, fitted="f", changes=(Change("new_bone"),), portions={"head": "most", "upper_shaft": "part"}),
        bone("c", bone="same"),
        bone("d", bone="same"),
        bone("e", material="shell"),
    ]
    found = pieces(there).found
    assert [one.id for one in found] == ["a", "c"]
    assert found[0].portions == {"upper_shaft": "most", "lower_shaft": "part", "head": "most"}
    assert found[0].marks == (cut, chop)
    assert found[0].changes == (Change("new_bone"),)
    assert [one.id for one in pieces(there, refits=False).found] == ["a", "b", "c"]


def test_one_piece_of_each_docket_fits_and_the_others_stay():
    (one,) = pieces([bone("a", fitted="f", count=3), bone("b", fitted="f"), bone("c", fitted="f")]).found
    assert one.count == 3, "one of a's three, with b and c, and the two others of a"


def test_a_bone_under_two_labels_has_the_marks_of_both_and_one_that_both_wrote_once():
    cut, gnawed = Mark("cut", portion="upper_shaft", number=3), Mark("carnivore_gnawing", portion="upper_shaft")
    nameless = bone("a", Mark("cut", portion="upper_shaft"), gnawed, bone="same", taxon=None)
    (one,) = pieces([nameless, bone("b", cut, bone="same")]).found
    assert (one.id, one.taxon is None, one.marks) == ("b", False, (cut, gnawed))


def test_what_is_read_in_two_ways_is_in_no_rate_and_is_named():
    both = [bone("a", sure=False, readings=2), bone("a", sure=False, readings=2, taxon="red_deer"), bone("b")]
    gone = [bone("gone", sure=False, readings=0, count=count) for count in (1, 2)]
    side = [bone("side", sure=False, readings=2, side="left"), bone("side", sure=False, readings=2, side="right")]
    found = pieces([*both, *gone, *side])
    assert [one.id for one in found.found] == ["b", "side"]
    assert [one.id for one in found.disputed] == ["a", "gone"], "deleted by one, and not by another"


def test_teeth_and_tallies_are_no_bones_to_look_for_marks_on():
    found = pieces([bone("t", element="loose_tooth"), bone("m", material="tooth"), bone("y", kind=TALLY), bone("b")])
    assert len(found.found) == 4
    assert [one.id for one in found.dockets()] == ["b"]


# -- Who can show a mark --


@pytest.mark.parametrize(
    ("surface", "fine", "coarse"),
    [(["odd"], 1, 1), ("crisp", 1, 1), ("good", 1, 1), ("dulled", 0, 1), ("poor", 0, 1), ("lost", 0, 0), (None, 1, 1)],
)
def test_a_fine_mark_needs_a_good_surface_and_any_other_one_that_is_not_lost(surface, fine, coarse):
    one = bone("a", surface=surface)
    assert (can_show(one, fine=True), can_show(one, fine=False)) == (bool(fine), bool(coarse))


def test_where_nobody_says_how_the_surface_is_it_can_be_left_out():
    assert not can_show(bone("a", surface=None), fine=False, recorded_only=True)


@pytest.mark.parametrize("surface", ["crisp", None])
def test_a_bone_read_unwashed_in_the_trench_shows_no_fine_marks(surface):
    one = bone("a", surface=surface, stage="trench")
    assert not can_show(one, fine=True)
    assert can_show(one, fine=False)


def test_a_rate_is_of_those_that_can_show_it_and_others_are_told_apart():
    cut = Mark("cut", portion="upper_shaft", number=3)
    those = [bone("a", cut), bone("b"), bone("c", cut, surface="poor"), bone("d", count=2), bone("e", cut, count=2)]
    able = [one for one in those if can_show(one, fine=True)]
    found = seen(those, able, {"cut"})
    assert (found.rate, found.elsewhere, found.marks) == (Rate(3, 6), 1, 12)
    assert found.records == ("a", "c", "e")
    assert seen(those, able, {"chop"}).rate == Rate(0, 6)


def test_on_a_portion_counts_who_has_any_of_it():
    those = [
        bone("a", Mark("cut", portion="lower_shaft")),
        bone("b", Mark("cut")),
        bone("c", Mark("cut", portion="lower_shaft"), portions={"head": "most"}),
        bone("d", portions={"lower_shaft": "most"}),
    ]
    assert seen(those, those, {"cut"}, "lower_shaft").rate == Rate(1, 3), "a part is enough; without portion it is not"
    assert seen(those, those, {"cut"}, "head").rate == Rate(0, 1)
    assert seen(those, those, {"cut"}).rate == Rate(3, 4), "the bone as a whole has every mark"


BONES = st.lists(
    st.tuples(
        st.sampled_from([None, "crisp", "good", "dulled", "poor", "lost"]),
        st.lists(st.sampled_from(["cut", "chop", "odd"]), max_size=2),
        st.integers(1, 4),
    ),
    max_size=12,
)


@given(BONES, st.booleans())
def test_no_rate_is_above_all_and_nothing_marked_is_lost(those, fine):
    bones = [
        bone(f"b{n}", *(Mark(kind) for kind in kinds), surface=surface, count=count)
        for n, (surface, kinds, count) in enumerate(those)
    ]
    able = [one for one in bones if can_show(one, fine)]
    found = seen(bones, able, {"cut"})
    assert 0 <= found.rate.n <= found.rate.of
    assert found.rate.n + found.elsewhere == sum(one.count for one in bones if any(m.kind == "cut" for m in one.marks))


# -- Breaks --


@pytest.mark.parametrize(
    ("scores", "sum_"),
    [
        ({"angle": 0, "outline": 0, "texture": 0}, 0),
        ({"angle": 2, "outline": 1, "texture": 2}, 5),
        ({"angle": 2, "outline": 2, "texture": 2}, 6),
        ({"angle": 2, "outline": 2}, None),
        ({"angle": 3, "outline": 0, "texture": 0}, None),
        ({"angle": True, "outline": 0, "texture": 0}, None),
        ("odd", None),
    ],
)
def test_freshness_is_the_sum_of_three_scores(scores, sum_):
    """Outram 2001, recalled (class M): three scores of 0 to 2, added up, 0 to 6."""
    assert freshness(bone("a", more_surface={"fracture": scores})) == sum_


def test_freshness_is_meant_for_marrow_bearing_shafts_of_mammals():
    def meant(element, taxon):
        return has_marrow(bone("a", element=element, taxon=taxon), KNOW)

    assert meant("tibia", "pig")
    assert meant("long_bone", "medium_mammal")
    assert meant("long_bone", None)
    assert not meant("tibia", "fowl")
    assert not meant("rib", "cattle")
    assert not meant("odd", "cattle")


def test_wholeness_adds_up_the_portions_of_which_over_half_is_there():
    rows = KNOW.portions_of("humerus", "cattle")
    whole = wholeness(bone("a", portions={row.key: "most" for row in rows}), KNOW)
    assert whole is not None
    assert whole.whole
    assert whole.share == pytest.approx(1.0)
    half = wholeness(bone("a"), KNOW)
    assert half is not None
    assert (half.most, half.portions) == (1, len(rows))
    assert half.share == next(row.share for row in rows if row.key == "upper_shaft")
    assert wholeness(bone("a", portions={}), KNOW) is None
    assert wholeness(bone("a", element="odd"), KNOW) is None


@given(st.floats(0.1, 5000))
def test_every_length_is_of_one_class(mm):
    low, below = size_of(mm)
    assert low <= mm
    assert below is None or mm < below


def test_nothing_means_none_only_where_the_protocol_says_so():
    assert always_recorded({"protocol": {"countable": "all", "always": ["mark"]}}, "mark")
    assert not always_recorded({"protocol": {"countable": "all", "always": ["side"]}}, "mark")
    assert not always_recorded({"protocol": "odd"}, "mark")
    assert not always_recorded({}, "mark")
