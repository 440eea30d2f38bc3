"""The curves that numpy works out are those of the plain definition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.domain.assemblage.survival import OPEN, Interval, bands, turnbull
from server.analysis.ages_curves import ENOUGH_DRAWN, SEED, fitted

LIMITS = st.sampled_from([0.0, 2.0, 6.0, 12.0, 18.0, 24.0, 36.0, 48.0])
INTERVALS = st.tuples(LIMITS, st.one_of(LIMITS, st.just(OPEN))).map(lambda one: Interval(*sorted(one)))
FOUND = st.dictionaries(INTERVALS, st.integers(1, 9), min_size=1, max_size=9)


@settings(max_examples=25)
@given(FOUND)
def test_numpy_and_the_plain_definition_give_the_same_curve_and_the_same_band(found):
    fast, plain = fitted(found, drawings=4), turnbull(found)
    assert fast.curve.places == plain.places
    assert fast.curve.shares == pytest.approx(plain.shares, abs=1e-9)
    assert (fast.curve.rounds, fast.curve.reached) == (plain.rounds, plain.reached)
    kinds = sorted(found)
    n = sum(found.values())
    drawn = np.random.default_rng(SEED).multinomial(n, np.array([found[one] for one in kinds]) / n, size=4)
    drawings = [dict(zip(kinds, map(int, row), strict=True)) for row in drawn]
    ages = [2.0, 6.0, 12.0, 30.0, 48.0]
    for ours, theirs in zip(fast.bands(ages), bands(drawings, plain, ages, ENOUGH_DRAWN), strict=True):
        assert (ours.low, ours.high) == (pytest.approx(theirs.low, abs=1e-6), pytest.approx(theirs.high, abs=1e-6))


def test_a_band_holds_the_curve_and_is_the_same_each_time():
    found = {Interval(0, 12): 10, Interval(6, 24): 20, Interval(18, OPEN): 15}
    one = fitted(found)
    for age, band in zip(ages := [12.0, 24.0], one.bands(ages), strict=True):
        assert band.low <= one.curve.surviving(age)[0] <= band.high
    assert fitted(found).bands(ages) == one.bands(ages)


def test_nothing_found_has_no_band():
    assert fitted({}).bands([6, 12]) == []
