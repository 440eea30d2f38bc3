"""Percentages, diversity, likely numbers, MAU and cross tables: against published figures, libraries and every draw.

Classes: P, input and output printed in the source; C, input printed and output worked out by the stated formula.
"""

from __future__ import annotations

import math
from itertools import chain, combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import contingency
from statsmodels.stats.proportion import multinomial_proportions_confint, proportion_confint

from fieldapp import assets
from fieldapp.assets import knowledge
from fieldapp.domain.assemblage import crosstable, diversity, likely, mau, shares
from fieldapp.domain.assemblage.quantities import Together, by_taxon
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from tests.domain.assemblage.bones import agreeing, assemblages

COUNTS = st.lists(st.integers(0, 60), min_size=2, max_size=7).filter(any)


# Percentages


@pytest.mark.parametrize(
    ("counts", "printed"),
    [  # Crow Canyon, Yellow Jacket, faunal Table 12 (P); one figure there is moved by 0.1, so that rows add to 100.
        ((1485, 1103, 236), (52.6, 39.0, 8.4)),
        ((2936, 3408, 668), (41.9, 48.6, 9.5)),
        ((227, 645, 4), (25.9, 73.6, 0.5)),
        ((1004, 695, 56), (57.2, 39.6, 3.2)),
    ],
)
def test_shares_of_three_groups_are_those_printed(counts, printed):
    assert [shares.percent(one, sum(counts)) for one in counts] == pytest.approx(printed, abs=0.1)


@pytest.mark.parametrize(
    ("whole", "part", "printed"),
    [  # Crow Canyon, Sand Canyon, faunal Table 6 (P)
        *[(1447, part, printed) for part, printed in ((49, 3.4), (89, 6.2), (19, 1.3), (132, 9.1))],
        *[(668, part, printed) for part, printed in ((63, 9.4), (49, 7.3), (25, 3.7), (59, 8.8))],
        *[(2337, part, printed) for part, printed in ((125, 5.3), (69, 3.0), (2, 0.1), (4, 0.2))],
        # Crow Canyon, Yellow Jacket, bird Table 3 (P): of birds, and of all fauna
        *[(1214, part, printed) for part, printed in ((500, 41.19), (602, 49.59), (32, 2.64))],
        *[(3939, part, printed) for part, printed in ((500, 12.69), (602, 15.28), (32, 0.81), (1214, 30.82))],
        # Schuelke 1965, Burg Neu-Schellenberg p.195 (P; its total is not printed, 8352 fits)
        *[(8352, part, printed) for part, printed in ((5049, 60.45), (2061, 24.7), (838, 10.05))],
        *[(258, part, printed) for part, printed in ((105, 40.7), (69, 26.6))],
    ],
)
def test_shares_of_a_total_are_those_printed(whole, part, printed):
    assert shares.percent(part, whole) == pytest.approx(printed, abs=0.15)


@given(COUNTS, st.sampled_from((0.9, 0.95, 0.99)))
def test_intervals_are_those_of_statsmodels(counts, level):
    whole = sum(counts)
    for one in counts:
        low, high = proportion_confint(one, whole, 1 - level, method="wilson")
        assert shares.wilson(one, whole, level) == pytest.approx((max(0, low), min(1, high)), abs=1e-9)
    ours = shares.goodman({str(at): one for at, one in enumerate(counts)}, level)
    theirs = multinomial_proportions_confint(counts, 1 - level, method="goodman")
    for at, (low, high) in enumerate(theirs):
        assert ours[str(at)] == pytest.approx((max(0, low), min(1, high)), abs=1e-9)


def test_of_nothing_there_is_no_share():
    assert shares.percent(0, 0) is shares.wilson(0, 0) is None
    assert shares.goodman({"pig": 0}) == {}


def bone(name, taxon="sheep", **more):
    return Specimen(name, **{"taxon": taxon, "element": "tibia", "material": "bone", **more})


def test_nisp_runs_from_what_everybody_says_to_what_anybody_says():
    read_twice = [bone("b", "sheep", sure=False), bone("b", "pig", sure=False)]
    counted_twice = [bone("c", "pig", count=2), bone("c", "pig", count=5, sure=False)]
    unnamed = [bone("d", "large_mammal"), bone("e", None), bone("f", element="long_bone"), bone("g", material="shell")]
    tally = Specimen("t", kind=TALLY, taxon="pig", element="rib", material="bone", count=10)
    found = shares.nisp(
        [bone("a"), *read_twice, *counted_twice, *unnamed, tally, bone("odd", "gryphon")], knowledge(), Together()
    )
    assert {taxon: (one.low, one.high) for taxon, one in found.taxa.items()} == {"sheep": (1, 2), "pig": (12, 16)}
    assert found.taxa["pig"].records == ("b", "c", "t")
    assert found.high == 1 + 1 + 5 + 10


def test_of_dockets_that_are_one_bone_the_first_says_what_it_is():
    same = [bone("a", "pig"), bone("b", "cattle", bone="x"), bone("c", "pig", bone="x")]
    found = shares.nisp(same, knowledge(), Together()).taxa
    assert {taxon: one.low for taxon, one in found.items()} == {"cattle": 1, "pig": 1}


def test_pieces_that_fit_and_bones_of_one_group_count_as_asked_for():
    pieces = [bone("a", fitted="f"), bone("b", fitted="f"), bone("c", group="g"), bone("d", group="g")]
    for together, n in ((Together(), 3), (Together(refits=False), 4), (Together(groups=True), 2)):
        assert shares.nisp(pieces, knowledge(), together).taxa["sheep"].low == n


@settings(max_examples=60)
@given(assemblages(), st.booleans(), st.booleans())
def test_nisp_is_that_of_the_counts_proper(specimens, groups, refits):
    together = Together(groups, refits)
    specimens = sorted(agreeing(specimens), key=lambda one: (one.id, not one.sure))
    ours, (theirs, whole) = shares.nisp(specimens, knowledge(), together), by_taxon(specimens, knowledge(), together)
    wanted = {taxon: (one.nisp.low, one.nisp.high) for taxon, one in theirs.items() if one.nisp and one.nisp.high}
    assert {taxon: (one.low, one.high) for taxon, one in ours.taxa.items()} == wanted
    assert ours.high == whole.nisp.high


def test_names_that_hold_one_another_are_parted_as_asked_for():
    named = ("sheep", "goat", "sheep_goat", "red_deer", "cervid", "pig")
    apart = shares.counted_as(named, knowledge())
    assert apart == {
        "sheep": "sheep_goat", "goat": "sheep_goat", "sheep_goat": "sheep_goat",
        "red_deer": "red_deer", "cervid": None, "pig": "pig",
    }  # fmt: skip
    assert shares.counted_as(named, knowledge(), shares.POOLED)["red_deer"] == "cervid"
    assert shares.counted_as(named, knowledge(), shares.AS_NAMED) == {one: one for one in named}
    assert shares.counted_as(("sheep", "goat"), knowledge()) == {"sheep": "sheep", "goat": "goat"}


@settings(max_examples=60)
@given(st.lists(st.sampled_from(sorted(key for key, one in knowledge().taxa.items() if one.named)), max_size=12))
def test_animals_counted_apart_never_hold_one_another(named):
    for overlap in (shares.APART, shares.POOLED):
        groups = {one for one in shares.counted_as(named, knowledge(), overlap).values() if one}
        assert not [(one, other) for one in groups for other in groups if one != other and knowledge().is_a(one, other)]


# Diversity


def test_diversity_is_that_of_the_printed_example():
    # Microbiome tutorial, alpha rarefaction output (P for the figures; the counts are the only ones that give them all)
    # https://microbiome.forsyth.org/ftp/hidden_fomc/FOMC30527/PositiveControls.Bac16Sv19PB/Alpha_Diversity/alpha_div/
    counts = [3, 2, 2, 1, 1, 1]
    assert diversity.richness(counts) == 6
    assert diversity.shannon(counts, 2) == pytest.approx(2.44643934467)
    assert diversity.simpson(counts) == pytest.approx(0.8)
    assert diversity.inverse_simpson(counts) == pytest.approx(5.0)
    assert diversity.simpson_evenness(counts) == pytest.approx(0.8333, abs=5e-5)


@given(COUNTS)
def test_shannon_is_the_entropy_of_scipy_to_every_base(counts):
    for base in diversity.BASES.values():
        assert diversity.shannon(counts, base) == pytest.approx(stats.entropy(counts, base=base), abs=1e-9)


def test_of_nothing_and_of_one_sort_no_evenness_is_said():
    assert diversity.shannon([]) is diversity.simpson([0]) is diversity.simpson_evenness([]) is None
    assert diversity.evenness([9]) is None
    assert diversity.evenness([4, 4, 4]) == pytest.approx(1)


@pytest.mark.parametrize("counts", [[3, 2, 2, 1, 1, 1], [5, 1], [4, 0, 3, 1]])
def test_rarefaction_is_the_mean_over_every_draw_there_is(counts):
    pile = [sort for sort, one in enumerate(counts) for _ in range(one)]
    for size in range(len(pile) + 1):
        sorts = [len({pile[one] for one in draw}) for draw in combinations(range(len(pile)), size)]
        mean = sum(sorts) / len(sorts)
        expected, variance = diversity.rarefied(counts, size)
        assert float(expected) == pytest.approx(mean)
        assert float(variance) == pytest.approx(sum((one - mean) ** 2 for one in sorts) / len(sorts), abs=1e-12)


def test_rarefaction_is_that_of_the_hypergeometric_distribution():
    counts = [120, 40, 9, 2, 1]
    for size in (1, 10, 86, 172):
        wanted = sum(1 - stats.hypergeom(sum(counts), one, size).pmf(0) for one in counts)
        assert float(diversity.rarefied(counts, size)[0]) == pytest.approx(wanted)
    with pytest.raises(ValueError, match="173 cannot"):
        diversity.rarefied(counts, 173)


# Individuals


def test_estimates_from_pairs_are_those_printed():
    # http://numeracy-bank.net/?q=t/fun/mrr/3 (P): 23 marked, 28 caught, 9 of them marked: about 72
    assert likely.lincoln_petersen(23, 28, 9) == pytest.approx(71.56, abs=0.01)
    # https://rstudio-pubs-static.s3.amazonaws.com/429479_3d0d54661ce24f7db43a132bc5b7b9a5.html (P)
    assert likely.lincoln_petersen(100, 100, 10) == 1000
    assert likely.chapman(100, 100, 10) == pytest.approx(926.36, abs=0.01)
    # Worked out here with the same formula (C), and from memory (M)
    assert likely.chapman(100, 100, 20) == pytest.approx(484.76, abs=0.01)
    assert likely.chapman(346, 184, 49) == pytest.approx(1282.9, abs=0.05)
    # Adams & Konigsberg 2004 (P for the formula; C for the figure)
    assert likely.mlni(23, 28, 9) == 68


def test_without_pairs_nothing_bounds_the_number_of_animals():
    assert likely.lincoln_petersen(4, 5, 0) is likely.interval(4, 5, 0) is None


@settings(max_examples=60)
@given(st.integers(1, 25), st.integers(1, 25), st.data())
def test_the_interval_is_that_of_the_hypergeometric_distribution(left, right, data):
    pairs = data.draw(st.integers(1, min(left, right)))
    low, high = likely.interval(left, right, pairs)

    def fits(animals):
        drawn = stats.hypergeom(animals, left, right)
        return drawn.cdf(pairs) > 0.025 + 1e-9 and drawn.sf(pairs - 1) > 0.025 + 1e-9

    assert left + right - pairs <= low <= high
    assert fits(low)
    assert fits(high)
    assert not fits(high + 1)
    assert low == left + right - pairs or not fits(low - 1)


def test_all_matched_bones_are_as_many_animals_and_no_more_is_claimed_of_the_rest():
    assert likely.mlni(5, 5, 5) == 5
    assert likely.deviation(5, 5, 5) == 0
    assert likely.interval(5, 5, 5)[0] == 5


def test_only_a_specialists_match_makes_a_pair():
    bones = [
        bone("a", side="left", group="g", bone="x"), bone("b", side="right", group="g"),
        bone("c", side="left"), bone("d", side="right", group="h"),
        bone("e", side="left", group="i"), bone("f", side="right", group="i"), bone("g", side="right", group="i"),
        bone("h", side="left"), bone("i", side="right"),
        bone("j", side="left", group="g", sure=False, taxon="pig"), bone("k", side="right", group="g", taxon="pig"),
        bone("l", side="left", group="g", bone="x"),
    ]  # fmt: skip
    assert likely.matched(bones) == {("sheep", "tibia"): [("a", "b")]}


# Skeletal parts


def test_mau_is_that_of_the_published_mne():
    # Crow Canyon, Castle Rock, faunal Table 2, cottontail (P for MNE, C for MAU and %MAU)
    # https://sandbox.crowcanyon.org/ResearchReports/CastleRock/Tables/Faunal/Tbl_02.php
    mne = {
        "cranium": 12,
        "mandible": 63,
        "cervical": 6,
        "thoracic": 7,
        "lumbar": 26,
        "sacrum": 5,
        "rib": 11,
        "scapula": 48,
    }
    skeleton = {
        "cranium": 1, "mandible": 2, "cervical": 7, "thoracic": 12, "lumbar": 7, "sacrum": 1, "rib": 24, "scapula": 2
    }  # fmt: skip
    found = mau.mau(mne, skeleton)
    printed = [12.00, 31.50, 0.86, 0.58, 3.71, 5.00, 0.46, 24.00]
    assert list(found.values()) == pytest.approx(printed, abs=0.005)
    assert list(mau.percent(found).values()) == pytest.approx([38.1, 100, 2.7, 1.9, 11.8, 15.9, 1.5, 76.2], abs=0.05)
    own = {"cranium": "skull", "thoracic": "thoracic_vertebra", "lumbar": "lumbar_vertebra"}
    for name, many in skeleton.items():
        if name != "cervical":  # the seven of the example take in atlas and axis
            assert knowledge().count("rabbit", own.get(name, name)) == many


def test_every_number_of_a_skeleton_has_the_row_that_says_so():
    known = knowledge()
    for taxon in known.taxa:
        for element in known.elements:
            rows = mau.counted_after(taxon, element, known)
            assert {row.count for row in rows} == ({known.count(taxon, element)} - {None}), (taxon, element)


def test_shares_are_shown_on_the_bones_that_are_drawn():
    drawn = assets.skeleton_elements()["ruminant"]
    percents = {"tibia": 100.0, "radial_carpal": 20.0, "ulnar_carpal": 35.0, "radio_ulna": 50.0, "ulna": 10.0}
    found = mau.on_skeleton(percents, drawn, knowledge())
    assert found == {"tibia": 1.0, "carpal": 0.35, "radius": 0.5, "ulna": 0.5}


# Cross tables

TABLES = st.integers(2, 4).flatmap(
    lambda wide: st.lists(st.lists(st.integers(0, 40), min_size=wide, max_size=wide), min_size=2, max_size=4).filter(
        lambda table: all(map(any, table)) and all(map(any, zip(*table, strict=True)))
    )
)


@given(TABLES)
def test_a_cross_table_is_that_of_scipy(table):
    found = stats.chi2_contingency(table, correction=False)
    assert crosstable.statistic(table) == pytest.approx(found.statistic, abs=1e-9)
    assert crosstable.degrees(table) == found.dof
    assert list(chain(*crosstable.expected(table))) == pytest.approx(found.expected_freq.ravel().tolist())
    assert crosstable.cramers_v(table) == pytest.approx(contingency.association(table, method="cramer"), abs=1e-9)


@given(TABLES)
def test_of_two_by_two_a_residual_squared_is_chi_square(table):
    small = [row[:2] for row in table[:2]]
    if not (all(map(any, small)) and all(map(any, zip(*small, strict=True)))):
        return
    for one in chain(*crosstable.residuals(small)):
        assert one is not None
        assert one * one == pytest.approx(crosstable.statistic(small), abs=1e-9)


def test_the_exact_chance_of_two_by_two_is_fishers():
    # With these totals chi-square and likelihood put the tables into one order, so that both chances are of one set.
    for table in ([[8, 2], [1, 5]], [[3, 1], [1, 3]], [[10, 0], [2, 4]]):
        assert float(crosstable.exact_chance(table)) == pytest.approx(stats.fisher_exact(table).pvalue)


def test_all_tables_with_the_same_totals_are_gone_through():
    assert crosstable.exact_chance([[2, 2, 2], [2, 2, 2]]) == 1
    assert math.isclose(float(crosstable.exact_chance([[4, 0, 0], [0, 4, 0], [0, 0, 4]])), 6 / 34650)


def test_a_bone_that_is_read_as_two_animals_is_sure_in_all_together_and_in_neither():
    read_twice = [bone("b", taxon, sure=False, readings=2, count=count) for taxon, count in (("sheep", 2), ("pig", 3))]
    deleted_by_some = bone("d", "pig", sure=False, readings=0)
    unsure = bone("u", "pig", sure=False, readings=2)
    taxa, whole = by_taxon([bone("a", "pig"), *read_twice, deleted_by_some, unsure], knowledge(), Together())
    assert {taxon: (one.pieces.low, one.nisp.low) for taxon, one in taxa.items()} == {"sheep": (0, 0), "pig": (1, 1)}
    assert (whole.pieces.low, whole.pieces.high) == (3, 6)
    assert (whole.nisp.low, whole.nisp.high) == (3, 6)
