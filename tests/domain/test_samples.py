"""Samples: multipliers, estimates and cremation weights follow from the definition of a share, and never divide by 0.

No published worked example was at hand; what is checked is arithmetic (identities, exact fractions) and odd input.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.domain.samples import (
    Sorted,
    amount,
    bone_of,
    burnt,
    burnt_of,
    density,
    estimate,
    multiplier,
    share,
)

shares = st.floats(min_value=1e-3, max_value=1)
weights = st.floats(min_value=0, max_value=1e6)
odd: st.SearchStrategy[Any] = st.none() | st.booleans() | st.text() | st.floats() | st.integers() | st.just(10**400)


@pytest.mark.parametrize(("sorted_share", "times"), [(1, 1), (0.5, 2), (0.25, 4), (0.125, 8), (0.2, 5)])
def test_a_find_in_a_sorted_share_stands_for_its_inverse(sorted_share: float, times: float) -> None:
    assert multiplier(sorted_share) == pytest.approx(times)


def test_a_share_of_a_share_multiplies() -> None:
    assert multiplier(0.25, 0.5) == pytest.approx(8)
    assert multiplier() == 1


@pytest.mark.parametrize("wrong", [0, -0.5, 1.01, 25, None, True, "1/4", math.nan, math.inf])
def test_what_is_no_share_has_no_multiplier(wrong: Any) -> None:
    assert share(wrong) is None
    assert multiplier(wrong) is None
    assert multiplier(0.5, wrong) is None


def test_a_sample_sorted_in_different_shares_is_multiplied_mesh_by_mesh() -> None:
    # 10 pieces above 4 mm, all sorted; 6 of 2-4 mm in a quarter; 3 below 2 mm in an eighth: 10 + 24 + 24.
    found = estimate([Sorted(10, 1), Sorted(6, 0.25), Sorted(3, 0.125)])
    assert (found.counted, found.estimated, found.unknown) == (19, 58, 0)
    assert found.multiplier == pytest.approx(58 / 19)


def test_a_part_with_finds_and_no_share_leaves_the_whole_unknown() -> None:
    found = estimate([Sorted(10, 1), Sorted(6, None)])
    assert (found.counted, found.estimated, found.multiplier, found.unknown) == (16, None, None, 1)


def test_a_part_without_finds_needs_no_share() -> None:
    assert estimate([Sorted(10, 0.5), Sorted(0, None)]).estimated == 20


def test_nothing_found_has_no_multiplier() -> None:
    found = estimate([])
    assert (found.counted, found.estimated, found.multiplier) == (0, 0, None)


@given(st.lists(st.builds(Sorted, st.integers(0, 5000), shares), max_size=6))
def test_estimates_agree_with_exact_fractions(parts: list[Sorted]) -> None:
    exact = sum((Fraction(part.count) / Fraction(part.share or 1) for part in parts), Fraction(0))
    found = estimate(parts)
    assert found.estimated == pytest.approx(float(exact))
    assert found.estimated is not None
    assert found.estimated >= found.counted * (1 - 1e-9)
    if found.multiplier is not None:
        assert found.multiplier * found.counted == pytest.approx(found.estimated)


@given(st.lists(st.integers(0, 5000), min_size=1, max_size=6), shares)
def test_one_share_throughout_gives_its_own_multiplier(counts: list[int], same: float) -> None:
    found = estimate(Sorted(count, same) for count in counts)
    if found.counted:
        assert found.multiplier == pytest.approx(1 / same)


def test_density_needs_a_volume() -> None:
    assert density(58, 10) == pytest.approx(5.8)
    for nothing in (0, None, -10, "10"):
        assert density(58, nothing) is None
    assert density(None, 10) is None


def test_the_bone_of_a_sample_is_estimated_from_its_fractions() -> None:
    sample = {
        "label": "HLG26 B9",
        "fraction/a": {"part": "residue", "mesh_mm": 4, "sorted_share": 1, "bone_g": 12.5},
        "fraction/b": {"part": "residue", "mesh_mm": 1, "sorted_share": 0.25, "bone_g": 2},
        "fraction/c": {"part": "flot", "mesh_mm": 0.3},
        "fraction/d": None,
    }
    found = bone_of(sample)
    assert (found.counted, found.estimated) == (14.5, 20.5)


def test_cremated_bone_is_summed_by_fraction_and_by_region() -> None:
    sample = {
        "cremation/1": {"fraction_mm": 10, "region": "skull", "weight_g": 40},
        "cremation/2": {"fraction_mm": 10, "region": "lower_limb", "weight_g": 60},
        "cremation/3": {"fraction_mm": 5, "region": "skull", "weight_g": 20},
        "cremation/4": {"fraction_mm": 5, "region": "skull", "weight_g": 30},
        "cremation/5": {"fraction_mm": 2, "region": None, "weight_g": 50},
        "cremation/6": {"fraction_mm": 2, "region": "axial", "weight_g": None},
        "cremation/7": "dust",
    }
    found = burnt_of(sample)
    assert list(found.by_fraction.items()) == [(10, 100), (5, 50), (2, 50)]
    assert found.by_region == {"skull": 90, "lower_limb": 60, "unidentified": 50}
    assert found.by_both[5, "skull"] == 50
    assert found.total == 200
    assert found.percent(found.by_region["skull"]) == pytest.approx(45)


def test_a_share_of_nothing_is_not_a_number() -> None:
    assert burnt({}).percent(0) is None


regions = st.sampled_from(["skull", "axial", "upper_limb", "lower_limb", "unidentified"])


@given(st.dictionaries(st.tuples(st.sampled_from([10.0, 5.0, 2.0]), regions), weights))
def test_both_ways_of_summing_cremated_bone_give_the_total(by_both: dict[tuple[float, str], float]) -> None:
    found = burnt(by_both)
    assert math.fsum(found.by_fraction.values()) == pytest.approx(found.total)
    assert math.fsum(found.by_region.values()) == pytest.approx(found.total)
    percents = [found.percent(grams) for grams in found.by_region.values()]
    if found.total > 0:
        assert math.fsum(one for one in percents if one is not None) == pytest.approx(100)


@given(odd, odd, odd)
def test_no_odd_value_raises_or_gives_an_impossible_figure(one: Any, other: Any, third: Any) -> None:
    times = multiplier(one, other)
    assert times is None or times >= 1
    assert amount(one) is None or amount(one) >= 0  # type: ignore[operator]
    density(amount(one), other)
    sample = {
        "fraction/1": {"bone_g": one, "sorted_share": other},
        "fraction/2": third,
        "cremation/1": {"fraction_mm": one, "region": other, "weight_g": third},
        "cremation/": other,
    }
    assert bone_of(sample).counted >= 0
    assert burnt_of(sample).total >= 0
