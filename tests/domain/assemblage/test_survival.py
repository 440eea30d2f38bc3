"""Curves of survival against published ones, the estimate of another library, and what an estimate has to be.

Kaplan-Meier: Bewick, Cheek & Ball 2004, Crit Care 8: 389, table 2 (inputs and result both printed there, seen);
Freireich et al. 1963, 6-MP arm, as in many textbooks (memory). Interval censoring: lifelines.
"""

from __future__ import annotations

import math
import random
import warnings
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.domain.assemblage.survival import (
    ENOUGH,
    OPEN,
    Interval,
    bounds,
    common,
    innermost,
    quantile,
    turnbull,
)

LIMITS = st.sampled_from([0.0, 2.0, 6.0, 12.0, 18.0, 24.0, 36.0, 48.0, OPEN])


@st.composite
def intervals(draw):
    low, high = sorted((draw(LIMITS), draw(LIMITS)))
    return Interval(0.0 if low == OPEN else low, high)


FOUND = st.dictionaries(intervals(), st.integers(1, 9), min_size=1, max_size=9)


def of(deaths: list[float], censored: list[float]) -> Counter[Interval]:
    return Counter([Interval(age, age) for age in deaths] + [Interval(age, OPEN) for age in censored])


@pytest.mark.parametrize(
    ("deaths", "censored", "printed"),
    [
        ([1, 1, 4, 5, 9, 22], [6, 9], {1: 0.750, 4: 0.625, 5: 0.500, 9: 0.333, 22: 0.000}),
        (
            [6, 6, 6, 7, 10, 13, 16, 22, 23],
            [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35],
            {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448},
        ),
    ],
    ids=["Bewick 2004 (printed)", "Freireich 1963 (memory)"],
)
def test_with_exact_ages_and_lower_limits_the_curve_is_that_of_kaplan_and_meier(deaths, censored, printed):
    curve = turnbull(of(deaths, censored))
    assert curve.reached
    for age, share in printed.items():
        assert curve.surviving(age) == (pytest.approx(share, abs=0.0006), pytest.approx(share, abs=0.0006))


def test_any_such_curve_is_the_one_that_lifelines_works_out():
    from lifelines import KaplanMeierFitter

    draw = random.Random(11)
    for _ in range(5):
        ages, died = [draw.randint(1, 30) for _ in range(40)], [draw.random() < 0.6 for _ in range(40)]
        other = KaplanMeierFitter().fit_right_censoring(ages, died)
        curve = turnbull(
            of([a for a, d in zip(ages, died, strict=True) if d], [a for a, d in zip(ages, died, strict=True) if not d])
        )
        for age in set(ages):
            assert curve.surviving(age)[0] == pytest.approx(float(other.predict(age)), abs=1e-4)


def test_of_ages_between_limits_the_curve_is_the_one_that_lifelines_estimates():
    from lifelines import KaplanMeierFitter

    draw, edges = random.Random(5), [0.0, 6.0, 12.0, 18.0, 30.0, 48.0]
    for _ in range(3):
        found = []
        for _ in range(60):
            low = draw.randrange(len(edges))
            high = draw.randrange(low + 1, len(edges) + 1)
            found.append(Interval(edges[low], edges[high] if high < len(edges) else OPEN))
        # There both ends belong to an interval, here only the later one: hence the small step off the first.
        lower = [one.low + 1e-4 for one in found]
        upper = [1e6 if one.high == OPEN else one.high for one in found]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = KaplanMeierFitter().fit_interval_censoring(lower, upper, tol=1e-9)
        curve = turnbull(Counter(found))
        for age in edges[1:]:
            theirs = other.survival_function_["NPMLE_estimate_lower"].loc[:age].iloc[-1]
            assert curve.surviving(age)[0] == pytest.approx(theirs, abs=1e-4)


@given(FOUND)
def test_no_other_shares_make_what_was_found_more_likely(found):
    curve = turnbull(found)
    assert curve.reached
    assert curve.gap <= ENOUGH
    assert sum(curve.shares) == pytest.approx(1)

    def likelihood(shares):
        return sum(
            n * math.log(max(1e-300, sum(s for p, s in zip(curve.places, shares, strict=True) if one.holds(p))))
            for one, n in found.items()
        )

    draw = random.Random(1)
    for _ in range(20):
        others = [share * draw.random() + 0.01 * draw.random() for share in curve.shares]
        others = [one / sum(others) for one in others]
        assert likelihood(others) <= likelihood(curve.shares) + ENOUGH * curve.n + 1e-9


@given(FOUND)
def test_how_many_died_in_each_interval_is_told_by_one_estimate_alone(found):
    places = innermost(found)
    holds = np.array([[one.holds(place) for place in places] for one in found], dtype=float)
    assert np.linalg.matrix_rank(holds) == len(places)


@given(FOUND)
def test_the_curve_only_falls_and_lies_between_what_surely_and_what_may_have_outlived(found):
    curve, before = turnbull(found), (1.0, 1.0)
    for age in (0, 1, 2, 6, 9, 12, 18, 24, 30, 36, 48, 60):
        least, most = curve.surviving(age)
        assert least <= before[0] + 1e-9
        assert most <= before[1] + 1e-9
        assert least <= most
        surely, may = bounds(found, age)
        assert surely - 1e-3 <= most
        assert least <= may + 1e-3
        before = (least, most)


def test_where_nothing_found_tells_the_curve_is_from_to():
    curve = turnbull({Interval(0, 12): 1, Interval(12, 48): 3})
    assert curve.regions() == (Interval(0, 12), Interval(12, 48))
    assert curve.surviving(6) == (0.75, 1.0)
    assert curve.surviving(12) == (0.75, 0.75)
    assert curve.surviving(30) == (0.0, 0.75)
    assert (curve.told(12), curve.told(30)) == (True, False)


def test_stages_that_follow_one_another_share_no_age_but_limits_that_touch_do():
    assert innermost([Interval(6, 12), Interval(12, 24)]) == (Interval(6, 12), Interval(12, 24))
    assert common([Interval(0, 42), Interval(42, OPEN)]) == Interval(42, 42)
    assert common([Interval(0, 12), Interval(18, OPEN)]) is None
    assert common([]) == Interval(0, OPEN)


def test_nothing_found_is_a_curve_of_nothing():
    assert turnbull({}).shares == ()
    assert bounds({}, 12) == (0.0, 1.0)


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=9), st.floats(0, 1))
def test_a_quantile_is_the_one_that_numpy_takes(values, share):
    assert quantile(values, share) == pytest.approx(float(np.quantile(values, share)), abs=1e-9)
