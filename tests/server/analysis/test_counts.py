"""Tables of pieces, MNE and MNI, out of specimens: nothing is lost, and nothing is added that must not be."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.assets import knowledge, texts_in
from fieldapp.domain import counting
from fieldapp.domain.assemblage.individuals import mni
from fieldapp.domain.assemblage.quantities import Together, by_taxon
from fieldapp.domain.assemblage.results import Span, Word
from fieldapp.domain.assemblage.selection import parse
from fieldapp.domain.assemblage.specimens import HUMAN, TALLY, Specimen
from server.analysis.asking import Asked
from server.analysis.gathering import Gathered
from server.analysis.individuals import Animals
from server.analysis.numbers import Numbers
from server.analysis.topics import table
from server.analysis.wording import Wording
from server.analysis.writing import as_text
from tests.benchmarks import counts as benchmark
from tests.domain.assemblage.bones import mixed

K = knowledge()
FEW = max(6, settings().max_examples // 10)
SITE = {"protocol": {"countable": {"tibia": ["distal_medial"], "radio_ulna": ["radius_upper_shaft"]}, "always": []}}


def asked(specimens, line="", site=None, **options):
    labels = {one.id: one.label for one in specimens} | {"s": "S1"}
    return Asked(Gathered(tuple(specimens), {}, labels, K, site or {}, (), 0), parse(line, K), options)


def made(key, specimens, line="", **more):
    return list(table("counts", key).make(asked(specimens, line, **more)))


def rows(result):
    return [dict(zip((column.key for column in result.columns), row.cells, strict=True)) for row in result.rows]


def bones(name, n=1, **more):
    usual = {"taxon": "cattle", "element": "tibia", "side": "left", "material": "bone", "recovery": "hand",
             "portions": {"distal_medial": "most"}}  # fmt: skip
    return [Specimen(f"{name}{at}", **{**usual, **more}) for at in range(n)]


@settings(max_examples=FEW)
@given(mixed(), st.sampled_from(["", "by=context", "ways=together,groups=one", "refits=pieces"]))
def test_every_record_counts_or_is_told_to_be_left_out(specimens, line):
    for key in ("pieces", "mne", "mni"):
        told = set()
        for result in made(key, specimens, line):
            told |= {id for row in result.rows for id in row.records} | {
                id for one in result.left_out for id in one.records
            }
        assert told == {one.id for one in specimens}


@settings(max_examples=FEW)
@given(mixed(doubt=False), st.booleans(), st.booleans())
def test_pieces_and_nisp_are_the_sums_of_the_sheets(specimens, groups, refits):
    together = Together(groups, refits)
    animals = sorted(
        (one for one in specimens if not one.apart),
        key=lambda one: (not counting.is_identified(one.lot(), K), one.id),
    )
    found, whole = by_taxon(animals, K, together)
    lots = [together.by_name(one, one.taxon) for one in animals]
    assert {taxon: one.nisp.low for taxon, one in found.items() if one.nisp and one.nisp.low} == counting.nisp(lots, K)
    assert whole.nsp.low == counting.nsp(lots)
    assert whole.pieces.low == counting.pieces(one.lot() for one in animals)


@settings(max_examples=FEW)
@given(mixed(doubt=False))
def test_the_sum_of_the_contexts_is_each_by_itself_with_animals_pooled_as_over_the_whole(specimens):
    (*results,) = made("mni", specimens, "ways=together")
    contexts = [[one for one in specimens if one.context == context and not one.apart] for context in "xyz"]
    for result in results:
        for row in rows(result):
            taxon = row["taxon"].key
            # Context by context, what is pooled counts as the wider name, used there or not.
            if not any(K.is_a(other["taxon"].key, taxon) and other["taxon"].key != taxon for other in rows(result)):
                summed = sum(one.low for some in contexts if (one := mni(some, K).get(taxon)))
                assert (row["count_by_context"] or 0) == summed
            assert row["count_by_context"] is None or row["count_by_context"] >= 0


def test_a_pooled_animal_is_summed_over_contexts_where_only_finer_names_were_used():
    found = bones("s", 2, taxon="sheep", context="x") + bones("g", taxon="goat", context="y")
    found += bones("u", taxon="sheep_goat", context="z")
    (result,) = made("mni", found)
    pooled = rows(result)[-1]
    assert (pooled["taxon"].key, pooled["count_mni"], pooled["count_by_context"]) == ("sheep_goat", Span(4, 4), 4)
    assert pooled["count_contexts"] == 3
    assert pooled["count_pooled"] == Word("analysis.row", "count_takes_in")
    assert "count_never_added" in {one.key for one in result.notes}


def test_data_without_any_portion_is_counted_by_fusion_and_by_ends():
    found = bones("f", 3, portions={}, fusion={"distal": "fused"}) + bones(
        "u", portions={}, fusion={"distal": "unfused"}
    )
    (result,) = made("mne", found)
    (row,) = rows(result)
    assert (row["mne"], row["count_all_by"], row["count_ends"]) == (Span(2, 2), Word("centre.tibia", "distal"), 4)
    assert next(one.fields for one in result.notes if one.key == "count_no_portions") == {"pieces": 4}


def test_an_old_sheep_and_a_young_sheep_or_goat_are_two_by_age():
    found = bones("o", taxon="sheep", fusion={"distal": "fused"})
    found += bones("y", taxon="sheep_goat", element="humerus", fusion={"distal": "unfused"}, portions={})
    (result,) = made("mni", found)
    assert {one["taxon"].key: (one["count_mni"], one["count_aged"]) for one in rows(result)} == {
        "sheep": (Span(1, 1), Span(1, 1)),
        "sheep_goat": (Span(1, 1), Span(2, 2)),
    }


def test_what_was_laid_side_by_side_has_a_figure_of_its_own():
    found = bones("l", 3, group="body") + bones("r", 3, side="right")
    found[1:3] = [replace(one, group="") for one in found[1:3]]
    found[3] = replace(found[3], group="body")
    (plain,) = made("mni", found)
    assert [one["count_paired"] for one in rows(plain)] == [None]
    assert "count_no_pairs" in {one.key for one in plain.notes}
    question = asked(found)
    compared = (frozenset(one.id for one in found),)
    question = replace(question, gathered=replace(question.gathered, compared=compared))
    (result,) = table("counts", "mni").make(question)
    (row,) = rows(result)
    assert (row["count_mni"], row["count_paired"]) == (Span(3, 3), Span(5, 5))
    assert "count_no_pairs" not in {one.key for one in result.notes}


def test_the_frame_on_which_speed_is_measured_is_one_like_any_other():
    of = benchmark.made(300, 4)
    assert Animals(Numbers(of)).mni["low"].min() >= 1


def test_the_smaller_the_piles_the_larger_the_sum():
    found = bones("l", 3, context="x") + bones("r", 3, side="right", context="y")
    (whole,) = made("mni", found)
    (row,) = rows(whole)
    assert (row["count_mni"], row["count_by_context"], row["count_contexts"]) == (Span(3, 3), 6, 2)
    assert {tuple(one.y) for one in whole.charts[0].series} == {(3,), (6.0,)}
    assert all(one["count_by_context"] is None for each in made("mni", found, "by=context") for one in rows(each))


def test_what_a_fraction_stands_for_is_beside_what_was_counted_and_in_no_other_figure():
    sieved = {"recovery": "sieve", "mesh_mm": 4.0, "sample": "s"}
    found = bones("a", 3, fraction="one", share=0.25, **sieved) + bones("b", 2, fraction="two", **sieved)
    counted, estimated = made("pieces", found)
    assert [one["count_nisp"] for one in rows(counted)] == [Span(5, 5), Span(5, 5)]
    assert [(one["count_sample"], one["count_multiplier"], one["count_estimate"]) for one in rows(estimated)] == [
        ("S1", 4.0, Span(12, 12)),
        ("S1", None, None),
    ]
    assert [one.key for one in estimated.notes] == ["count_estimates", "count_share_unknown"]


def test_hand_and_sieve_are_apart_and_tallies_are_in_no_minimum_number():
    found = bones("h", 2) + bones("s", recovery="sieve")
    found += [Specimen("t", kind=TALLY, taxon="cattle", element="rib", material="bone", recovery="hand", count=40)]
    hand, sieve = made("pieces", found)
    assert [rows(one)[-1]["count_pieces"] for one in (hand, sieve)] == [Span(42, 42), Span(1, 1)]
    assert "count_tallied_too" in {one.key for one in hand.notes}
    hand, _ = made("mne", found)
    assert [(one["element"].key, one["mne"]) for one in rows(hand)] == [("tibia", Span(2, 2))]
    assert ("count_tallied", 40) in {(one.why, one.pieces) for one in hand.left_out}


def test_possibly_human_bone_is_told_on_every_table_and_counts_on_none():
    found = bones("a", 2, excluded=True) + bones("h", 3, apart=HUMAN)
    for key in ("pieces", "mne", "mni"):
        (result,) = made(key, found)
        assert next(one.fields for one in result.notes if one.key == "count_human") == {"apart": 3, "excluded": 2}
        assert not {"h0", "h1", "h2"} & {id for row in result.rows for id in row.records}


def test_by_what_the_site_counts_a_nought_is_written():
    found = bones("t", 2) + bones("f", 3, element="femur", portions={"head": "most"})
    (all_of_it,) = made("mne", found, site=SITE)
    assert {one["element"].key for one in rows(all_of_it)} == {"femur", "tibia"}
    (only,) = made("mne", found, site=SITE, countable="count_countable_only")
    assert {one["element"].key: one["mne"] for one in rows(only)} == {"tibia": Span(2, 2), "radius": Span(0, 0)}
    assert {one.why: one.pieces for one in only.left_out} == {"count_not_countable": 3}
    (free,) = made("mne", found, countable="count_countable_only")
    assert "count_no_protocol" in {one.key for one in free.notes}
    assert len(rows(free)) == 2


def test_what_decides_is_shown_with_each_figure():
    found = bones("l", 2) + bones("r", side="right", portions={"upper_shaft": "most"})
    (result,) = made("mne", found)
    (row,) = rows(result)
    assert (row["count_left"], row["count_left_by"]) == (2, Word("portion.tibia", "distal_medial"))
    assert (row["count_right"], row["count_right_by"]) == (1, Word("portion.tibia", "upper_shaft"))
    assert (row["mne"], result.rows[0].records) == (Span(3, 3), ("l0", "l1", "r0"))
    (animals,) = made("mni", found)
    assert (rows(animals)[0]["count_decided_by"], rows(animals)[0]["count_side"]) == (
        Word("element", "tibia"),
        Word("side", "left"),
    )
    assert any("memory" in one or "verified" in one for one in animals.sources)


@pytest.mark.parametrize("language", ["en", "de"])
def test_all_of_it_can_be_said(language):
    found = bones("a", 2) + bones("s", taxon="sheep") + bones("g", taxon="sheep_goat", sample="s", recovery="sieve")
    found += bones("n", taxon=None) + bones("m", taxon="medium_mammal") + bones("x", element="long_bone")
    found += bones("e", material="eggshell") + bones("j", element="mandible", side="midline", portions={})
    found += bones("d", element="antler", taxon="red_deer") + bones("o", element="loose_tooth") + bones("u", side=None)
    found += bones("q", sure=False) + bones("h", apart=HUMAN) + [Specimen("t", kind=TALLY, taxon="pig", count=3)]
    texts, said = texts_in(language), set()
    for key in ("pieces", "mne", "mni"):
        for line, option in (("", ""), ("by=context", "count_countable_only"), ("taxon=dog", "")):
            results = made(key, found, line, site=SITE, countable=option)
            assert as_text(results, Wording(texts, {}))
            for one in results:
                said |= {f"analysis.{one.key}.title", f"analysis.{one.key}.how"}
                said |= {f"analysis.column.{column.key}" for column in one.columns}
                said |= {f"analysis.note.{note.key}" for note in one.notes}
                said |= {f"analysis.left_out.{left.why}" for left in one.left_out}
                said |= {f"{cell.of}.{cell.key}" for row in one.rows for cell in row.cells if isinstance(cell, Word)}
                said |= {f"analysis.axis.{axis}" for chart in one.charts for axis in (chart.x, chart.y)}
    assert len(said) > 65
    assert {one for one in said if one not in texts} == {"taxon."}


def test_where_nothing_lies_there_is_a_table_that_says_so():
    for key in ("pieces", "mne", "mni"):
        (result,) = made(key, [])
        assert (result.rows, [one.key for one in result.notes]) == ((), ["count_nothing"])
