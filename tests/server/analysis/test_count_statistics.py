"""Tables of shares, skeletal parts, likely numbers, diversity and cross tables, out of specimens."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fieldapp.assets import knowledge, texts_in
from fieldapp.domain.assemblage import crosstable, diversity, numbers
from fieldapp.domain.assemblage.results import Span, Word
from fieldapp.domain.assemblage.selection import Selection, Unit, parse
from fieldapp.domain.assemblage.specimens import HUMAN, TALLY, Specimen
from server.analysis import charts, count_crosstable, count_diversity
from server.analysis.asking import Asked
from server.analysis.count_elements import elements
from server.analysis.gathering import Gathered
from server.analysis.topics import table
from server.analysis.wording import Wording
from server.analysis.writing import as_csv, as_json, as_text
from tests.domain.assemblage.bones import assemblages

KEYS = ("shares", "mau", "individuals", "diversity", "rarefaction", "crosstable")


def bones(name, n, **more):
    usual = {"taxon": "cattle", "element": "tibia", "material": "bone", "recovery": "hand", "phase": "1"}
    return [Specimen(f"{name}{at}", **{**usual, **more}) for at in range(n)]


def asked(specimens, line="", **options):
    gathered = Gathered(tuple(specimens), {}, {}, knowledge(), {}, (), 0)
    return Asked(gathered, parse(line, knowledge()), options)


def made(key, *args, **more):
    found = table("counts", key)
    return list(found.make(asked(*args, **more)))


def cells(result, row):
    return dict(zip((column.key for column in result.columns), result.rows[row].cells, strict=True))


MIXED = [
    *bones("c", 30), *bones("p", 12, taxon="pig"), *bones("s", 4, taxon="sheep"), *bones("g", 3, taxon="sheep_goat"),
    *bones("d", 2, taxon="red_deer"), *bones("e", 1, taxon="cervid"), *bones("u", 3, taxon="large_mammal"),
    *bones("x", 2, material="shell"), *bones("h", 2, apart=HUMAN), *bones("f", 5, taxon="pig", phase="2"),
    *bones("k", 9, phase="2"), *bones("m", 4, taxon="duck", phase="2", recovery="sieve", mesh_mm=2.0),
    Specimen("t", kind=TALLY, taxon="pig", element="rib", material="bone", recovery="hand", phase="2", count=6),
    Specimen("y", taxon="cattle", element="femur", material="bone", recovery="hand", phase="1", sure=False),
    Specimen("y", taxon="pig", element="femur", material="bone", recovery="hand", phase="1", sure=False),
    Specimen("z", taxon="gryphon", element="wing of it", material="stone?", recovery="beamed up", phase=""),
]  # fmt: skip
"""Something of everything, and words that no vocabulary holds."""


def test_shares_say_their_n_their_range_and_what_is_not_among_them():
    hand, _, unrecorded = made("shares", MIXED)
    assert (hand.unit, unrecorded.unit.way) == (Unit("site", "", "hand"), "unrecorded")
    cattle = cells(hand, 0)
    assert (cattle["taxon"], cattle["nisp"], cattle["nisp_sure"]) == (Word("taxon", "cattle"), Span(39, 40), 39)
    total = cells(hand, -1)
    assert hand.rows[-1].total
    assert (total["nisp"], total["nisp_sure"]) == (Span(72, 73), 72)
    assert cattle["nisp_percent"] == pytest.approx(100 * 39 / 72)
    assert cattle["interval_all"].low < cattle["interval_one"].low < cattle["interval_one"].high
    left = {one.why: one.pieces for one in hand.left_out}
    assert left == {"possible_human": 2, "not_bone": 2, "not_identified": 3, "in_dispute": 1}
    assert {one.key for one in hand.notes} == {"not_independent", "tallied", "count_human"}
    assert "y0" not in hand.rows[0].records
    assert "y" in hand.rows[0].records


def test_every_record_of_a_pile_is_counted_or_told_of():
    for key, overlap in (("shares", "names_apart"), ("shares", "names_pooled"), ("diversity", "names_apart")):
        for result in made(key, MIXED, "ways=hand", overlap=overlap):
            told = {one for part in (*result.rows, *result.left_out) for one in part.records}
            assert told == {one.id for one in MIXED if one.recovery == "hand"}


def test_names_that_hold_one_another_are_put_together_alike_in_every_place():
    (result,) = made("diversity", MIXED, "by=phase,ways=hand")
    assert [cells(result, row)["sorts"] for row in (0, 1)] == [4, 2]  # cattle, pig, sheep/goat, red deer
    assert [cells(result, row)["identified"] for row in (0, 1)] == [51, 20]
    assert {one.why: one.records for one in result.left_out}["wider_name"] == ("e0",)
    assert cells(result, 0)["shannon"] == pytest.approx(stats.entropy([30, 12, 7, 2]))
    (bits,) = made("diversity", MIXED, "by=phase,ways=hand", base="2")
    assert cells(bits, 0)["shannon"] == pytest.approx(stats.entropy([30, 12, 7, 2], base=2))
    assert [one.fields["base"] for one in bits.notes if one.key == "shannon_base"] == ["2"]


def test_rarefaction_brings_all_piles_to_the_smallest_that_is_large_enough():
    (result,) = made("rarefaction", MIXED, "by=phase")
    first, second, sieved, _ = (cells(result, row) for row in range(4))
    assert (first["drawn"], second["drawn"], sieved["drawn"]) == (20, 20, None)
    assert first["sorts_expected"] == pytest.approx(float(diversity.rarefied([30, 12, 7, 2], 20)[0]))
    assert second["sorts_expected"] == 2
    (chart,) = result.charts
    assert [one.name.place for one in chart.series] == ["1", "2"]
    assert chart.series[0].y[-1] == pytest.approx(4)
    assert [one.fields for one in result.notes if one.key == "too_few_to_draw"] == [{"units": 2, "least": 20}]


@settings(max_examples=40)
@given(st.lists(st.integers(0, 50), min_size=1, max_size=6).filter(any), st.data())
def test_quick_rarefaction_is_that_of_the_definition(counts, data):
    sizes = data.draw(st.lists(st.integers(0, sum(counts)), min_size=1, max_size=3))
    for size, sorts, deviation in zip(sizes, *count_diversity.rarefied(counts, sizes), strict=True):
        expected, variance = diversity.rarefied(counts, size)
        assert sorts == pytest.approx(float(expected), abs=1e-8)
        assert deviation == pytest.approx(math.sqrt(variance), abs=1e-4)


def test_places_are_compared_within_one_way_of_recovery():
    found = made("crosstable", MIXED, "by=phase")
    assert sorted((one.unit.way, one.key) for one in found) == [
        ("hand", "crosstable"), ("hand", "crosstable_test"), ("sieve:2", "crosstable"), ("unrecorded", "crosstable"),
    ]  # fmt: skip
    shown, tests = (one for one in found if one.unit.way == "hand")
    counts = [[30, 9], [7, 0], [12, 11], [2, 0]]
    assert [cells(shown, row)["nisp_sure"] for row in range(8)] == [one for row in counts for one in row]
    assert cells(shown, 0)["expected"] == pytest.approx(39 * 51 / 71)
    usual, drawn = cells(tests, 0), cells(tests, 1)
    assert (usual["chance"], usual["chi_square"]) == (None, pytest.approx(stats.chi2_contingency(counts).statistic))
    assert (drawn["test"], drawn["rounds"]) == (Word("analysis.row", "drawn_tables"), count_crosstable.ROUNDS)
    assert drawn["chance"] == pytest.approx(float(crosstable.exact_chance(counts)), abs=0.01)
    assert {one.key for one in tests.notes} == {"not_independent_test", "expected_small", "drawn_at_random"}
    assert "possible_human" in {one.why for one in shown.left_out}


def test_without_places_the_ways_of_recovery_are_compared_themselves():
    shown, tests = made(
        "crosstable", [*bones("a", 40), *bones("b", 20, recovery="sieve"), *bones("c", 20, taxon="pig")]
    )
    assert shown.unit is None
    assert cells(tests, 0)["places_compared"] == 2
    (_, tests) = made("crosstable", [*bones("a", 900), *bones("b", 900, recovery="sieve", taxon="pig"), *bones("c", 9),
                                     *bones("d", 9, taxon="pig")])  # fmt: skip
    assert cells(tests, 0)["chance"] == "< 0.0001"


def test_large_counts_have_the_chance_of_scipy_and_small_ones_fishers_or_none_at_all():
    large = [[40, 60], [55, 30]]
    (one,) = count_crosstable.chances(large)
    assert one.chance == pytest.approx(stats.chi2_contingency(large, correction=False).pvalue)
    small = [[8, 2], [1, 5]]
    usual, exact = count_crosstable.chances(small)
    assert (usual.chance, exact.chance) == (None, pytest.approx(stats.fisher_exact(small).pvalue))
    wide = [[1] * 201, [2] * 201]
    assert [one.how for one in count_crosstable.chances(wide)] == ["chi_square"]


def test_tables_drawn_at_random_come_near_the_exact_chance_and_to_the_same_again():
    for counts in ([[4, 1, 0], [0, 2, 3], [1, 1, 2]], [[3, 0], [1, 4], [2, 2]]):
        chance = count_crosstable.drawn(counts, seed=1, rounds=9999)
        assert chance == count_crosstable.drawn(counts, seed=1, rounds=9999)
        assert chance == pytest.approx(float(crosstable.exact_chance(counts)), abs=0.02)
    # No table of these totals is greater, and yet the chance is never nought.
    assert count_crosstable.drawn([[90, 0], [0, 90]], seed=1, rounds=99) == 0.01


PORTIONS = dict.fromkeys(("distal_lateral", "distal_medial"), "most")


def test_skeletal_parts_are_shown_with_the_source_of_each_number_of_a_skeleton():
    here = [
        *bones("l", 4, side="left", portions=PORTIONS), *bones("r", 2, side="right", portions=PORTIONS),
        *bones("v", 6, element="rib"), *bones("k", 1, element="scale"), *bones("n", 1, taxon="large_mammal"),
        Specimen("t", kind=TALLY, taxon="cattle", element="rib", count=40, recovery="hand", material="bone"),
    ]  # fmt: skip
    (result,) = made("mau", here)
    by_element = {cells(result, row)["element"].key: cells(result, row) for row in range(len(result.rows))}
    tibia, rib = by_element["tibia"], by_element["rib"]
    assert (tibia["in_skeleton"], rib["in_skeleton"]) == (2, 26)
    assert tibia["mau"].low == tibia["mne"].low / 2
    assert (tibia["mau_percent"], rib["mau_percent"].low) == (
        Span(100, 100), pytest.approx(100 * rib["mau"].low / tibia["mau"].low)
    )  # fmt: skip
    said = result.sources[rib["source_no"] - 1]
    assert said.startswith(f"{rib['source_no']}: ")
    assert "verified:" in said
    assert {one.why: one.pieces for one in result.left_out} == {
        "count_tallied": 40, "no_skeleton_count": 1, "no_named_animal": 1
    }  # fmt: skip
    assert ([one.key for one in result.notes], result.charts) == (["few_elements"], ())
    (result,) = made("mau", [*here, *bones("m", 30, side="left", portions=PORTIONS), *bones("w", 2, taxon="pig")])
    (chart,) = result.charts
    assert (chart.kind, chart.form, chart.shares["tibia"]) == ("skeleton", "ruminant", 1.0)


def test_skeletal_parts_say_which_rows_take_in_others():
    here = [
        *bones("s", 4, taxon="sheep", side="left", portions=PORTIONS),
        *bones("o", 2, taxon="sheep_goat", side="left", portions=PORTIONS), *bones("p", 1, taxon="pig", element="rib"),
        *bones("r", 2, taxon="sheep_goat", element="rib"),
    ]  # fmt: skip
    (result,) = made("mau", here)
    told = {(row.cells[0].key, row.cells[1].key): bool(row.cells[-1]) for row in result.rows}
    assert told == {
        ("sheep", "tibia"): False, ("sheep_goat", "tibia"): True, ("sheep_goat", "rib"): False, ("pig", "rib"): False,
    }  # fmt: skip
    assert "count_never_added" in {one.key for one in result.notes}


def test_likely_numbers_rest_on_pairs_that_somebody_matched():
    lefts, rights = bones("l", 6, side="left", portions=PORTIONS), bones("r", 5, side="right", portions=PORTIONS)
    (without,) = made("individuals", [*lefts, *rights])
    told = cells(without, 0)
    assert (told["left"], told["right"], told["pairs"], told["chapman"], told["likely_number"]) == (
        6,
        5,
        None,
        None,
        None,
    )
    assert "pairs_not_recorded" in {one.key for one in without.notes}
    toes = [*bones("l", 3, side="left", element="phalanx_1"), *bones("r", 3, side="right", element="phalanx_1")]
    assert made("individuals", toes)[0].rows == ()
    paired = [
        *(Specimen(f"{side}{n}", taxon="cattle", element="tibia", material="bone", recovery="hand", side=name,
                   portions=PORTIONS, group=f"g{n}" if n < 2 else "")
          for side, name, many in (("l", "left", 6), ("r", "right", 5)) for n in range(many)),
    ]  # fmt: skip
    (result,) = made("individuals", paired)
    told = cells(result, 0)
    assert (told["pairs"], told["lincoln_petersen"], told["chapman"], told["likely_number"]) == (2, 15, 13, 13)
    assert told["interval_animals"].low >= 9
    assert set(result.rows[0].records) == {one.id for one in paired}


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("line", ["", "by=phase", "by=context,ways=together", "taxon=sheep_goat", "taxon=goose"])
def test_every_table_says_itself_in_words_whatever_the_records_hold(key, line):
    for specimens in (MIXED, [], [MIXED[-1]]):
        results = made(key, specimens, line)
        assert results
        for lang in ("en", "de"):
            texts = texts_in(lang)
            wording = Wording(texts, {})
            as_text(results, wording), as_csv(results, wording), as_json(results, wording)
            for result in results:
                assert result.rows or result.notes
                wanted = {f"{result.key}.title", f"{result.key}.how", *(f"column.{one.key}" for one in result.columns)}
                wanted |= {f"note.{one.key}" for one in result.notes}
                wanted |= {f"left_out.{one.why}" for one in result.left_out}
                wanted |= {f"axis.{one}" for chart in result.charts for one in (chart.x, chart.y) if one}
                wanted = {one for one in wanted if ".count_" not in one}  # words of the counts proper
                assert not [one for one in wanted if not texts.get(f"analysis.{one}")]
                words = [cell for row in result.rows for cell in row.cells if isinstance(cell, Word)]
                assert not [one for one in words if f"{one.of}.{one.key}" not in texts and one.of != "analysis.way"]


def test_options_have_their_words():
    texts = texts_in("en")
    for key in KEYS:
        for option in (one for one in table("counts", key).options if one.key != "countable"):
            assert f"analysis.option.{option.key}" in texts
            assert all(f"{option.of}.{one}" in texts for one in option.choices(asked([])) if option.of)


def test_the_pictures_can_be_drawn():
    wording = Wording(texts_in("en"), {})
    here = [*MIXED, *bones("w", 25, side="left", portions=PORTIONS)]
    for key in ("shares", "mau", "rarefaction"):
        for result in made(key, here, "ways=hand"):
            assert result.charts
            for chart in result.charts[:1]:
                assert charts.draw(chart, wording, "title").startswith(b"<?xml")


def test_a_selection_is_kept_with_its_table():
    selection = Selection(by="phase", ways="hand")
    assert all(one.selection == selection for key in KEYS for one in made(key, MIXED, selection.text()))


@settings(max_examples=15)
@given(assemblages())
def test_elements_are_those_of_the_definition_with_the_same_records(specimens):
    wanted = numbers.mne(specimens, knowledge())
    for here, found in elements(asked(specimens, "ways=together")):
        assert here.specimens == [one for one in specimens if not one.apart]
        assert {place: (one.low, one.high, one.left, one.right, set(one.records)) for place, one in found.items()} == {
            place: (one.low, one.high, one.left.n, one.right.n, set(one.records)) for place, one in wanted.items()
        }
