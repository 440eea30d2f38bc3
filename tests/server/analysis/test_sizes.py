"""Tables of sizes over specimens made by hand; densities and mixtures against scikit-learn."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.mixture import GaussianMixture
from sklearn.neighbors import KernelDensity

from fieldapp.domain.assemblage.results import Span, Word
from fieldapp.domain.assemblage.specimens import HUMAN, Measured, Specimen
from server.analysis import charts, topics
from server.analysis.mixture import fitted
from server.analysis.sizes_log import density
from server.analysis.wording import Wording
from tests.server.analysis.questions import answers, unsaid

BOTH = np.round(
    np.concatenate([np.random.default_rng(7).normal(m, s, n) for m, s, n in ((54, 1.5, 45), (63, 2, 30))]), 1
)
"""Breadths of an invented herd, cows and bulls."""


def bone(name: str, taxon: str | None = "cattle", element: str | None = "metatarsal", **more) -> Specimen:
    """A specimen; capital names are measurements."""
    own = {code: more.pop(code) for code in list(more) if code[0].isupper()}
    measures = tuple(Measured(code, mm) for code, mm in own.items())
    return Specimen(name, name.upper(), taxon=taxon, element=element, measures=measures, recovery="hand", **more)


def herd() -> list[Specimen]:
    """Metatarsals with breadth and length, and some of everything that does not count."""
    found = [bone(f"b{n}", Bd=float(mm), GL=200.0 + n % 20, sex=("female", None)[n % 2]) for n, mm in enumerate(BOTH)]
    found += [
        bone("slip", Bd=5.9),
        bone("burnt", Bd=50.0, surface={"burning": "burnt"}),
        bone("human", Bd=50.0, apart=HUMAN),
        bone("horse", "horse", Ll=256.0),
        bone("odd", "gryphon", "wing", Bd=3.0),
        bone("young", Bd=50.0, fusion={"distal": "unfused"}),
    ]
    return found


@pytest.mark.parametrize("table", [one.key for one in topics.tables("sizes")])
def test_every_table_has_words_for_what_it_says_names_its_records_and_can_be_drawn(table):
    specimens = herd()
    results = [*answers("sizes", table, specimens), *answers("sizes", table, [])]
    results += answers("sizes", table, [bone("x", None, None)], "by=phase")
    assert unsaid("sizes", results) == set()
    ids = {one.id for one in specimens}
    for result in results:
        for row in result.rows:
            assert row.records
            assert ids.issuperset(row.records)
        for out in result.left_out:
            assert out.records
    of_kind = {chart.kind: chart for result in results for chart in result.charts}
    for chart in of_kind.values():
        assert charts.draw(chart, Wording({}, {}), "", "png").startswith(b"\x89PNG")


def test_measurements_say_what_was_left_out_and_keep_hand_and_sieve_apart():
    sieved = Specimen("s", taxon="cattle", element="metatarsal", recovery="sieve", measures=(Measured("Bd", 51.0),))
    hand, sieve = answers("sizes", "measurements", [*herd(), sieved])
    (row,) = sieve.rows
    assert row.cells[3:] == ("Bd", 1, 51.0, 51.0, 51.0, 51.0, None, None, 0)
    assert {one.why for one in hand.left_out} == {
        "possible_human",
        "measures_burnt",
        "measures_unnamed",
        "measures_young",
    }
    breadths = next(row for row in hand.rows if row.cells[3] == "Bd")
    assert breadths.cells[4] == len(BOTH) + 1
    assert "human" not in breadths.records
    (all_in, _) = answers("sizes", "measurements", [*herd(), sieved], burnt="in", growth="all")
    assert next(row for row in all_in.rows if row.cells[3] == "Bd").cells[4] == len(BOTH) + 3


def test_what_lies_out_leads_to_its_record():
    (result,) = answers("sizes", "outliers", herd())
    found = {row.records: row for row in result.rows}
    assert ("slip",) in found
    label, taxon, *_, mm, published, beyond, n, score = found["slip",].cells
    assert (label, taxon, mm, n) == ("SLIP", Word("taxon", "cattle"), 5.9, len(BOTH) + 1)
    assert isinstance(published, Span)
    assert beyond > 50
    assert score < -3.5


def test_heights_stand_by_factor_and_bone_by_bone_with_the_class_of_a_horse():
    by_factor, by_bone = answers("sizes", "withers", herd())
    names = {(row.cells[0].key, row.cells[3]) for row in by_factor.rows}
    assert {("horse", "Kiesewalter 1888"), ("cattle", "Matolcsi 1970"), ("cattle", "Fock 1966, both sexes")} <= names
    horse = next(row for row in by_bone.rows if row.records == ("horse",))
    assert horse.cells[7].low == pytest.approx(136.4, abs=0.1)
    assert horse.cells[-1] == Word("analysis.row", "horse_medium")
    assert {note.key for note in by_factor.notes} == {"withers_doubted", "withers_memory"}
    assert any("(memory)" in source for source in by_factor.sources)


def test_bones_of_unknown_sex_are_taken_as_each_sex_only_if_that_is_asked():
    def sexes(**options):
        by_factor, _ = answers("sizes", "withers", [bone("a", GL=210.0)], **options)
        return [row.cells[4] for row in by_factor.rows if row.cells[4] is not None]

    assert sexes() == []
    assert Word("sex", "male") in sexes(unsexed="as_each")


def test_a_density_is_that_of_another_library():
    """scikit-learn's KernelDensity at the same bandwidth."""
    grid = np.linspace(48, 72, 30)
    found, width = density([float(one) for one in BOTH], grid)
    assert width == pytest.approx(np.std(BOTH, ddof=1) * len(BOTH) ** -0.2)
    other = KernelDensity(bandwidth=width).fit(BOTH[:, None])
    assert found == pytest.approx(np.exp(other.score_samples(grid[:, None])))


def test_a_curve_of_log_sizes_is_drawn_from_ten_bones_on_and_every_bone_is_a_stroke():
    def drawn(n: int):
        result, each = answers("sizes", "log_size", herd()[:n])
        assert len(each.rows) == n
        return [([len(one.y) > 0 for one in chart.series], [*map(len, chart.more["rug"])]) for chart in result.charts]

    assert drawn(9) == []
    assert drawn(10) == [([True], [10])]


def test_log_sizes_of_units_stand_beside_each_other_against_the_sites_own_standard():
    own = {"name": "our cow", "taxon": "cattle", "element": "metatarsal", "code": "Bd", "mm": 54.0, "source": "us"}
    specimens = [bone(f"p{n}", Bd=(54.0, 59.4)[n % 2] + (-0.1, 0.1)[n // 2 % 2], phase=str(n % 2)) for n in range(20)]
    *_, compared = answers("sizes", "log_size", specimens, "by=phase", {"standard/x": own})
    assert compared.unit is None
    assert [(row.cells[0].place, row.cells[3], round(row.cells[6], 3)) for row in compared.rows] == [
        ("0", 10, 0.0),
        ("1", 10, 0.041),
    ]
    assert [one.name.place for one in compared.charts[0].series] == ["0", "1"]
    assert compared.sources[-1] == "our cow: us"


@pytest.mark.parametrize("seed", [1, 2])
def test_a_mixture_is_fitted_as_another_library_does(seed):
    """scikit-learn's GaussianMixture, from five starts: likelihood by BIC, shares, means and spreads."""
    random = np.random.default_rng(seed)
    x = np.concatenate([random.normal(54, 1.6, 50), random.normal(62, 2.2, 35)])
    told = fitted([float(one) for one in x])
    one, two = (GaussianMixture(n, n_init=5, tol=1e-8, max_iter=2000, random_state=0).fit(x[:, None]) for n in (1, 2))
    assert told is not None
    assert told.bic_one == pytest.approx(one.bic(x[:, None]), abs=0.01)
    assert told.bic_two == pytest.approx(two.bic(x[:, None]), abs=0.01)
    order = np.argsort(two.means_[:, 0])
    for group, at, low, high in zip(told.groups, order, told.low, told.high, strict=True):
        assert group.share == pytest.approx(two.weights_[at], abs=0.002)
        assert group.mean == pytest.approx(two.means_[at, 0], abs=0.01)
        assert group.sd == pytest.approx(np.sqrt(two.covariances_[at, 0, 0]), abs=0.01)
        assert low.mean < group.mean < high.mean
        assert low.share < group.share < high.share


def test_one_herd_is_not_called_two_and_one_odd_bone_is_no_group():
    one = np.random.default_rng(5).normal(54, 2, 80)
    told = fitted([float(mm) for mm in one])
    assert told is None or told.gain < 2
    with_giant = fitted([*(float(mm) for mm in BOTH), 95.0])
    assert with_giant is not None
    assert min(group.share for group in with_giant.groups) * with_giant.n >= 5


def test_two_groups_are_told_with_their_uncertainty_and_refused_below_thirty_bones():
    told, few = (answers("sizes", "mixture", herd()[:n], code="Bd")[0] for n in (75, 29))
    assert few.rows == ()
    assert few.notes[-1].key == "mixture_few"
    assert {"n": 29, "least": 30} == few.notes[-1].fields
    one, small, large = told.rows
    assert small.cells[3].low < 60 < small.cells[3].high, "45 of 75"
    assert small.cells[5].low < np.mean(BOTH[:45]) < small.cells[5].high
    assert large.cells[5].low < np.mean(BOTH[45:]) < large.cells[5].high
    assert one.cells[-1] > small.cells[-1]
    assert {"mixture_two", "mixture_caution", "mixture_drawn"} <= {note.key for note in told.notes}


def test_the_same_question_gives_the_same_intervals():
    assert fitted([float(one) for one in BOTH]) == fitted([float(one) for one in BOTH])


@pytest.mark.proof
def test_intervals_of_a_mixture_hold_what_is_true_about_as_often_as_they_say():
    """Drawn from a known truth: 54 and 61 mm, three fifths of the smaller. One herd is seldom called two."""
    told, twice = [], 0
    for seed in range(20):
        random = np.random.default_rng(seed)
        small = random.binomial(90, 0.6)
        both = np.concatenate([random.normal(54, 2, small), random.normal(61, 2.5, 90 - small)])
        found = fitted([float(one) for one in both])
        if found is not None:
            low, high = found.low, found.high
            told.append(
                (low[0].share < 0.6 < high[0].share, low[0].mean < 54 < high[0].mean, low[1].mean < 61 < high[1].mean)
            )
        one = fitted([float(mm) for mm in random.normal(55, 3, 90)])
        twice += one is not None and one.gain >= 2
    assert len(told) > 16
    assert all(share >= 0.8 for share in np.mean(told, axis=0))
    assert twice < 4
