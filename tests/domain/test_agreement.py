"""Agreement of two readers: against statsmodels, scikit-learn, printed examples, and by hand."""

from __future__ import annotations

import uuid
from collections import Counter
from math import isclose, sqrt
from typing import Any

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.agreement import Field, agreement, kappa, measured
from fieldapp.domain.draws import draw, shares
from fieldapp.domain.readings import blank_reading

PAIRS = st.lists(st.tuples(st.sampled_from("abcd"), st.sampled_from("abcd")), min_size=1, max_size=60)


def table_of(square: list[list[int]]) -> dict[tuple[str, str], int]:
    return {(str(i), str(j)): n for i, row in enumerate(square) for j, n in enumerate(row) if n}


@pytest.mark.parametrize(
    ("square", "expected"),
    [
        # Printed example of ci.kappa, package statpsych (after Fleiss & Paik 2003):
        # https://dgbonett.github.io/statpsych/reference/ci.kappa.html
        ([[31, 12], [4, 58]], (0.6756757, 0.07344761, 0.5317210, 0.8196303)),
        # Print-out of SAS kept in statsmodels 0.15, stats/tests/test_inter_rater.py, TestUnweightedCohens.
        ([[0, 4, 1], [0, 8, 0], [0, 1, 5]], (0.4842, 0.1380, 0.2137, 0.7547)),
    ],
)
def test_kappa_and_its_interval_are_those_of_printed_examples(
    square: list[list[int]], expected: tuple[float, ...]
) -> None:
    found = kappa(table_of(square))
    got = (found.kappa, found.se, found.low, found.high)
    near = 6e-5 if expected[0] == 0.4842 else 6e-8
    assert all(isclose(a or 0, b, abs_tol=near) for a, b in zip(got, expected, strict=True)), got


@given(PAIRS)
def test_kappa_is_that_of_statsmodels_and_scikit_learn(pairs: list[tuple[str, str]]) -> None:
    # Imported here: they are large, and every process of a run reads this file.
    from sklearn.metrics import cohen_kappa_score
    from statsmodels.stats.inter_rater import cohens_kappa

    found = kappa(Counter(pairs))
    words = sorted({word for pair in pairs for word in pair})
    if len(words) == 1:
        assert (found.kappa, found.se, found.low) == (None, None, None)
        return
    square = numpy.zeros((len(words), len(words)))
    for a, b in pairs:
        square[words.index(a), words.index(b)] += 1
    with numpy.errstate(all="ignore"):  # of its own test against chance, which is not asked for here
        theirs = cohens_kappa(square)
    assert found.kappa is not None
    assert found.se is not None
    assert isclose(found.kappa, theirs.kappa, abs_tol=1e-12)
    assert isclose(found.kappa, cohen_kappa_score(*zip(*pairs, strict=True)), abs_tol=1e-12)
    assert isclose(found.se, sqrt(max(0.0, theirs.var_kappa)), abs_tol=1e-6)
    if found.se:
        assert found.low is not None
        assert isclose(found.low, max(-1.0, theirs.kappa_low), abs_tol=1e-6)
    else:
        assert found.low is None


@pytest.mark.parametrize("n", range(1, 30))
def test_where_one_reader_says_one_word_throughout_kappa_is_nought_without_an_interval(n: int) -> None:
    """After the formula: the observed agreement is then that by chance, whatever the other says."""
    found = kappa({("most", "most"): 2, ("most", "absent"): n})
    assert found.kappa == pytest.approx(0, abs=1e-12)
    assert (found.low, found.high) == (None, None)


def test_where_all_is_the_same_there_is_no_interval_and_with_one_word_no_kappa() -> None:
    all_same = kappa({("left", "left"): 5, ("right", "right"): 3})
    assert (all_same.kappa, all_same.low, all_same.high) == (1.0, None, None)
    one_word = Field("side", Counter({("left", "left"): 7}))
    assert one_word.agreement == 1.0
    assert one_word.kappa is not None
    assert one_word.kappa.kappa is None


def test_the_error_of_measuring_is_worked_out_as_published() -> None:
    # By hand: differences 0.2, -0.1, 0.4, 0; squares 0.04 + 0.01 + 0.16 = 0.21; over 2 * 4; root 0.16202.
    found = measured("Bd", [(20.0, 20.2), (31.1, 31.0), (25.0, 25.4), (28.0, 28.0)])
    assert isclose(found.error, 0.162018517, abs_tol=1e-9)
    assert isclose(found.difference, 0.125)
    assert isclose(found.relative or 0, 100 * 0.162018517 / 26.0875, abs_tol=1e-6)
    # The error is the spread of the differences over the root of two where they have no mean: numpy knows that.
    rng = numpy.random.default_rng(5)
    a = rng.normal(30, 3, 40)
    d = rng.normal(0, 0.3, 40)
    d -= d.mean()
    again = measured("Bd", zip(a.tolist(), (a + d).tolist(), strict=True))
    assert isclose(again.error, float(numpy.std(d)) / sqrt(2), rel_tol=1e-9)


def reading(element: str = "tibia", taxon: str | None = "sheep", side: str | None = "left", **more: Any) -> Any:
    found = blank_reading(element, taxon, knowledge())
    found["portions"] |= dict.fromkeys(found["portions"], "absent") | more.pop("portions", {})
    return {**found, "side": side, **more}


def test_precision_stands_apart_and_what_one_left_out_counts_nowhere() -> None:
    first = {"reading": reading(), "burning": "burnt", "mark/1": {"kind": "cut"}}
    pairs: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
        "same": (first, {"reading": reading(), "burning": "burnt", "mark/9": {"kind": "cut"}}),
        "wider": (first, {"reading": reading(taxon="sheep_goat", certainty="cf"), "mark/2": {"kind": "chop"}}),
        "other": (first, {"reading": reading("femur", "pig", "right"), "burning": "charred"}),
        "odd": (first, {"reading": ["x"], "burning": {"no": "word"}, "mark/3": 7, "count": "two"}),
    }
    found = agreement(pairs, knowledge())
    taxon = found.fields["taxon"]
    assert (taxon.same, taxon.conflict, taxon.precision.total(), taxon.one_only) == (1, 1, 1, 1)
    assert (taxon.agreement, taxon.strict) == (0.5, 1 / 3)
    assert taxon.confusions == [("sheep", "pig", 1)]
    # A cf. is another answer here, not a coarser one.
    assert found.fields["certainty"].table == {("certain", "certain"): 2, ("certain", "cf"): 1}
    assert found.fields["burning"].one_only == 2
    assert found.fields["mark/cut"].table == {("yes", "yes"): 1, ("yes", "no"): 3}
    assert found.fields["mark/chop"].conflict == 1
    # Of another element no portion is compared.
    assert found.fields["portions"].both == 2 * len(knowledge().portions_of("tibia", "sheep"))
    assert found.differing["wider"] == {
        "taxon": "precision", "certainty": "conflict", "burning": "one_only", "mark/cut": "conflict",
        "mark/chop": "conflict",
    }  # fmt: skip
    assert "same" not in found.differing


def test_measurements_and_teeth_are_compared_where_both_have_the_same_one_once() -> None:
    def jaw(wear: str, mm: float, **more: Any) -> dict[str, Any]:
        tooth = {"tooth": "M3", "jaw": "lower", "side": "left", "scheme": "grant_1982", "wear": wear, **more}
        return {"reading": reading("mandible"), "tooth/1": tooth, "measure/1": {"code": "9", "mm": mm}}

    guessed = {**jaw("g", 31.0), "measure/1": {"code": "9", "mm": 31.0, "estimated": True}}
    pairs = {
        "a": (jaw("g", 30.0), jaw("g", 30.2)), "b": (jaw("f", 31.0), jaw("g", 31.0)), "c": (jaw("f", 31.0), guessed),
        "d": (jaw("f", 31.0), jaw("f", 40.0, side="right")),
    }  # fmt: skip
    found = agreement(pairs, knowledge())
    assert found.fields["tooth_wear/grant_1982"].table == {("g", "g"): 1, ("f", "g"): 2}
    assert found.measures["measure/mandible/9"].n == 3


@given(st.dictionaries(st.sampled_from("abcdefg"), st.integers(1, 40)), st.integers(0, 120))
def test_shares_add_up_and_no_group_gives_more_than_it_has(counts: dict[str, int], size: int) -> None:
    found = shares(counts, size)
    assert sum(found.values()) == min(size, sum(counts.values()))
    assert all(0 < n <= counts[group] for group, n in found.items())
    if size >= len(counts):
        assert set(found) == set(counts)


def test_bones_stand_in_the_order_of_uuids_that_anybody_can_make() -> None:
    ids = [f"bone {n}" for n in range(500)]
    # By the standard library's own UUIDv5 (RFC 9562).
    by_library = sorted(ids, key=lambda one: uuid.uuid5(uuid.NAMESPACE_OID, f"ärger 7:{one}").int)
    assert draw({"": ids}, 500, "ärger 7") == by_library
    assert draw({"sheep": ids[::2], "pig": ids[1::2]}, 500, "ärger 7") == by_library


def test_the_same_seed_draws_the_same_bones_and_another_does_not() -> None:
    many = [f"d{n}" for n in range(200)]
    one = draw({"": many}, 20, "4711")
    assert one == draw({"": reversed(many)}, 20, "4711") == draw({"": [*many, *many]}, 20, "4711")
    assert one != draw({"": many}, 20, "4712")
    assert len(set(one)) == 20
    parted = draw({"pig": many[::10], "sheep": [each for each in many if each not in many[::10]]}, 20, "4711")
    assert len(parted) == 20
    assert sum(int(each[1:]) % 10 == 0 for each in parted) == 2
    assert set(draw({"": many}, 500, "1")) == set(many)
