"""Minimum numbers over columns are those of the plain definitions, for any assemblage."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage import numbers as plain
from fieldapp.domain.assemblage.bones import pile, root
from fieldapp.domain.assemblage.individuals import mni_of
from server.analysis.frames import frame
from server.analysis.individuals import Animals
from server.analysis.numbers import CENTRE_RANK, NONE_RANK, RANKS, Numbers
from tests.domain.assemblage.bones import mixed

K = knowledge()
FEW = max(5, settings().max_examples // 12)
"""Each example is many piles in one frame, which costs no more than one."""


def best_of(code: int, element: str, of) -> plain.Best:
    n, rank = divmod(code, RANKS)
    if rank > NONE_RANK:
        return plain.Best(n, of.portions[root(element)][RANKS - 1 - rank])
    return (
        plain.Best(n, "", of.centres[root(element)][CENTRE_RANK - rank]) if n and rank != NONE_RANK else plain.Best(n)
    )


@settings(max_examples=FEW)
@given(st.lists(mixed(most=30), min_size=5, max_size=8), st.booleans())
def test_elements_come_to_the_same_over_columns_as_by_the_definition(units, refits):
    piles = [pile(one, K, refits=refits) for one in units]
    of = frame(piles, K)
    found = [{} for _ in units]
    for row in Numbers(of).mne.iter_rows(named=True):
        element = of.elements[row["element"]]
        found[row["unit"]][of.taxa[row["taxon"]], element] = (
            row["low"], row["high"], row["pieces"],
            *(best_of(row[side], element, of) for side in ("left", "right", "all", "whole")),
        )  # fmt: skip
    wanted = [
        {place: (one.low, one.high, one.pieces, one.left, one.right, one.all, one.whole) for place, one in each.items()}
        for each in (plain.mne_of(one, K) for one in piles)
    ]
    assert found == wanted


@settings(max_examples=FEW)
@given(st.lists(mixed(most=30), min_size=5, max_size=8))
def test_individuals_come_to_the_same_over_columns_as_by_the_definition(units):
    piles = [pile(one, K) for one in units]
    of = frame(piles, K)
    animals = Animals(Numbers(of))
    found, aged = [{} for _ in units], [{} for _ in units]
    for row in animals.mni.iter_rows(named=True):
        found[row["unit"]][of.taxa[row["taxon"]]] = (row["low"], row["high"], animals.decides(row["decides"]))
    for row in animals.aged.iter_rows(named=True):
        aged[row["unit"]][of.taxa[row["taxon"]]] = (row["low"], row["high"])
    wanted = [mni_of(one, K) for one in piles]
    assert found == [{taxon: (one.low, one.high, one.decides) for taxon, one in each.items()} for each in wanted]
    assert aged == [{taxon: (one.aged_low, one.aged_high) for taxon, one in each.items()} for each in wanted]
