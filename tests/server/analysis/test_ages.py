"""Tables of ages: what stands in them, which source they follow, and that every figure leads back to its records."""

from __future__ import annotations

import pytest

from fieldapp.assets import knowledge, texts_in
from fieldapp.domain.assemblage.results import Result, Span, Word
from fieldapp.domain.assemblage.selection import Selection, parse
from fieldapp.domain.assemblage.specimens import TALLY, Specimen, Tooth
from server.analysis import ages_asked as ask
from server.analysis import topics
from server.analysis.asking import Asked
from server.analysis.gathering import Assemblage, Gathered
from server.analysis.wording import Wording
from server.analysis.writing import as_csv, as_text
from tests.server.tablets import Tablet, an_id, reading

KNOW = knowledge()
TABLES = topics.tables("ages")
ZEDER = next(one for one in KNOW.sources_of("sheep") if one.startswith("Zeder"))
REITZ = next(one for one in KNOW.sources_of("sheep_goat") if one.startswith("Reitz"))


def gathered(*specimens: Specimen, site: dict[str, str] | None = None) -> Gathered:
    return Gathered(specimens, {}, {}, KNOW.at_site(site or {}), site or {}, (), 0)


def asked(*specimens: Specimen, line: str = "", site: dict[str, str] | None = None, **options: str) -> Asked:
    return Asked(gathered(*specimens, site=site), parse(line, KNOW), options)


def made(key: str, question: Asked) -> list[Result]:
    found = topics.table("ages", key)
    assert found is not None
    return list(found.make(question))


def bone(id: str, element: str = "tibia", taxon: str = "sheep", **fields) -> Specimen:
    base = {"side": "left", "recovery": "hand", "material": "bone", "certainty": "certain", "phase": "1"}
    return Specimen(id, element=element, taxon=taxon, **({"label": f"HLG26 {id}"} | base | fields))


def jaw(id: str, *teeth: Tooth, **fields) -> Specimen:
    return bone(id, "mandible", teeth=teeth, **fields)


def tooth(key: str, stage: str | None = None, wear: str | None = None) -> Tooth:
    return Tooth(key, "lower", stage=stage, scheme="grant_1982" if wear else None, wear=wear)


def cells(result: Result, column: str) -> list:
    at = [one.key for one in result.columns].index(column)
    return [row.cells[at] for row in result.rows]


def notes(result: Result) -> set[str]:
    return {one.key for one in result.notes}


FLOCK = (
    *(bone(f"f{n}", fusion={"distal": "fused"}) for n in range(6)),
    *(bone(f"u{n}", fusion={"distal": "unfused"}, taxon="goat") for n in range(3)),
    bone("l", fusion={"distal": "loose_epiphysis"}, taxon="goat"),
    jaw("j1", tooth("M1", wear="a"), tooth("M2", "half_up"), tooth("M3", "crypt_open"), label="HLG26 A1"),
    jaw("j2", tooth("M2", wear="b"), tooth("M3", "in_crypt")),
    jaw("j3", tooth("M1", wear="g"), tooth("M2", wear="f"), tooth("M3", wear="b")),
    jaw("j4", tooth("M1", "not_visible")),
    jaw("j5", tooth("M3", "in_wear"), tooth("M1", "full_unworn")),
    bone("loose", "loose_tooth", teeth=(tooth("M3", wear="c"),)),
    bone("t", kind=TALLY, count=40),
    bone("n", "rib", age="newborn"),
)


def test_ends_are_counted_with_their_share_and_the_records_behind_it():
    (found,) = made("fusion", asked(*FLOCK))
    (row,) = found.rows
    assert cells(found, "fused") == [Span(6, 6)]
    assert (cells(found, "unfused"), cells(found, "loose_ends"), cells(found, "open_shafts")) == (
        [Span(3, 3)], [Span(1, 1)], [Span(3, 3)],
    )  # fmt: skip
    assert cells(found, "n") == [9]
    assert cells(found, "percent_fused") == [pytest.approx(66.667, abs=0.001)]
    assert set(row.records) == {*(f"f{n}" for n in range(6)), "u0", "u1", "u2", "l"}
    assert {one.why: one.pieces for one in found.left_out} == {"ages_tally": 40, "ages_no_end": 7}
    assert {"ages_pair", "ages_few", "ages_source"} <= notes(found)
    assert any(source.startswith(ZEDER) and source.endswith("(memory)") for source in found.sources)


def test_what_is_joining_has_begun_and_is_not_fused_and_what_is_disputed_is_in_no_share():
    joining = bone("g", fusion={"distal": "fusing"})
    disputed = [bone("d", fusion={"distal": word}, sure=False) for word in ("fused", "unfused")]
    (found,) = made("fusion", asked(*FLOCK, joining, *disputed))
    assert (cells(found, "percent_fused"), cells(found, "percent_begun")) == ([60], [70])
    assert (cells(found, "fused"), cells(found, "unfused")) == ([Span(6, 7)], [Span(3, 4)])
    assert "ages_disputed_share" in notes(found)
    (curve,) = made("survival", asked(*FLOCK, joining, *disputed))
    assert cells(curve, "age_animals")[0] == 10
    assert {one.why: one.records for one in curve.left_out}["ages_disputed"] == ("d",)


def test_a_table_follows_one_source_alone_and_says_which():
    (usual,), (other,) = made("fusion", asked(*FLOCK)), made("fusion", asked(*FLOCK, source=REITZ))
    assert (cells(usual, "age_from"), cells(usual, "age_to")) == ([18], [30])
    assert (cells(other, "age_from"), cells(other, "age_to")) == ([15], [24])
    assert all(ZEDER not in source for source in other.sources)
    (of_site,) = made("fusion", asked(*FLOCK, site={"fusion_source/sheep_goat": REITZ}))
    assert cells(of_site, "age_from") == [15]
    (back,) = made("fusion", asked(*FLOCK, site={"fusion_source/sheep_goat": REITZ}, source=ZEDER))
    assert cells(back, "age_from") == [18]


def test_ages_read_off_radiographs_stand_last_and_are_told_as_such():
    question = asked(bone("a", taxon="dog", fusion={"distal": "fused"}), taxon="dog")
    choices = TABLES[0].options[1].choices(question)
    assert choices[-1].startswith("Sumner-Smith")
    (found,) = made("fusion", Asked(question.gathered, Selection(), {"taxon": "dog", "source": choices[-1]}))
    assert "ages_radiographic" in notes(found)
    (usual,) = made("fusion", question)
    assert "ages_radiographic" not in notes(usual)
    for taxon in ("cattle", "goat", "horse", "dog", "cat"):
        told = [ask.radiographic(KNOW, taxon, one) for one in ask.sources_for(KNOW, taxon)]
        assert told == sorted(told)
        assert True in told


def test_stages_of_fusion_are_drawn_as_parts_of_a_hundred():
    (found,) = made("fusion_stages", asked(*FLOCK))
    assert (cells(found, "age_stage"), cells(found, "n")) == (["D"], [9])
    (chart,) = found.charts
    assert chart.kind == "stacked"
    assert sum(series.y[0] or 0 for series in chart.series) == pytest.approx(100)


def test_each_jaw_is_listed_with_what_was_written_and_what_it_may_be():
    (found,) = made("wear", asked(*FLOCK, taxon="sheep"))
    told = dict(zip([row.records[0] for row in found.rows], cells(found, "wear_stages"), strict=True))
    assert (told["j1"], told["j2"], told["j3"]) == ("C", "D", "E–F")  # noqa: RUF001
    assert told["j4"] == Word("analysis.row", "ages_silent")
    assert told["j5"] == Word("analysis.row", "ages_contradictory")
    months = zip(cells(found, "eruption_from"), cells(found, "eruption_to"), strict=True)
    by_eruption = dict(zip(told, months, strict=True))
    # Silver 1969 as the table has it (memory): second molar of sheep 9 to 12 months, third 18 to 24.
    assert by_eruption["j1"] == (9, 24)
    assert by_eruption["j3"] == (18, None)
    (wrong,) = made("wear", asked(jaw("w", tooth("M1", "in_crypt"), tooth("M2", "half_up"))))
    assert "contradictory" in as_text([wrong], Wording(texts_in("en"), {}))
    first = found.rows[0]
    assert first.cells[:8] == ("HLG26 A1", Word("taxon", "sheep"), Word("side", "left"), None, None, "a",
                               Word("eruption_state", "half_up"), Word("eruption_state", "crypt_open"))  # fmt: skip


def test_jaws_are_shared_out_as_is_asked_and_the_raw_counts_stand_beside():
    (evenly,) = made("wear_stages", asked(*FLOCK, taxon="sheep"))
    at = cells(evenly, "wear_stage").index("E")
    assert cells(evenly, "wear_certain")[at] == 0
    assert cells(evenly, "wear_possible")[at] == 1
    assert cells(evenly, "wear_evenly")[at] == 0.5
    assert cells(evenly, "percent_died")[at] == pytest.approx(100 / 6)
    assert cells(evenly, "percent_survived")[at] == pytest.approx(100 / 6)
    assert {one.why: one.records for one in evenly.left_out} == {
        "ages_tally": ("t",), "ages_contradictory_jaw": ("j5",), "ages_silent_jaw": ("j4",),
    }  # fmt: skip
    assert "ages_sharing_evenly" in notes(evenly)
    (other,) = made("wear_stages", asked(*FLOCK, taxon="sheep", sharing="as_certain"))
    assert "ages_sharing_as_certain" in notes(other)


def test_jaws_that_may_be_of_nearly_every_stage_make_no_picture():
    told = [jaw(f"c{n}", tooth("M2", wear="b"), tooth("M3", "in_crypt")) for n in range(6)]
    (narrow,) = made("wear_stages", asked(*told, taxon="sheep"))
    (wide,) = made("wear_stages", asked(*(jaw(f"o{n}", tooth("M1", wear="b")) for n in range(6)), taxon="sheep"))
    assert [len(one.charts) for one in (narrow, wide)] == [1, 0]
    assert "ages_stages_too_open" in notes(wide) - notes(narrow)


def test_a_score_is_added_only_where_all_three_molars_are_known():
    (found,) = made("wear_scores", asked(*FLOCK, taxon="sheep"))
    scores = dict(zip([row.records[0] for row in found.rows], cells(found, "mandible_score"), strict=True))
    assert scores == {"j1": 11, "j3": 30, "j2": None, "j5": None}


def test_a_jaw_or_tooth_under_two_labels_counts_once_and_one_in_dispute_not_at_all():
    molars = tooth("M1", wear="g"), tooth("M2", wear="f"), tooth("M3", wear="b")
    jaws = [jaw("a", *molars, bone="x"), jaw("b", *molars, bone="x"), jaw("c", *molars, count=2)]
    argued = [jaw("d", *molars, sure=False, side=side) for side in ("left", "right")]
    (found,) = made("wear_scores", asked(*jaws, *argued, taxon="sheep"))
    (note,) = [one for one in found.notes if one.key == "ages_scores"]
    assert (note.fields, len(found.rows)) == ({"n": 3, "of": 3}, 5)
    teeth = [bone(id, "loose_tooth", teeth=molars[:1], bone="x") for id in "ab"]
    argued = [bone("c", "loose_tooth", teeth=molars[:1], sure=False, side=side) for side in ("left", "right")]
    (found,) = made("wear_loose", asked(*teeth, *argued, taxon="sheep"))
    assert cells(found, "n") == [1]
    assert [one.records for one in found.left_out] == [("c",)]


def test_loose_teeth_stand_apart_and_in_no_curve():
    (found,) = made("wear_loose", asked(*FLOCK, taxon="sheep"))
    assert [row.records for row in found.rows] == [("loose",)]
    assert all("loose" not in row.records for one in made("wear_stages", asked(*FLOCK)) for row in one.rows)


def test_fusion_and_teeth_stand_apart_before_they_stand_together_with_a_caution():
    herd = [jaw(f"k{n}", tooth("M2", wear="b"), tooth("M3", "in_crypt")) for n in range(6)]
    found = made("survival", asked(*FLOCK, *herd, evidence="joint"))
    assert [one.key for one in found] == ["survival_fusion", "survival_teeth", "survival_joint"]
    assert [("ages_joint" in notes(one)) for one in found] == [False, False, True]
    by_fusion, by_teeth, joint = found
    # Six of nine had joined at 18 to 30 months, three had not; the loose epiphysis may be one of theirs.
    assert dict(zip(cells(by_fusion, "age_months"), cells(by_fusion, "age_animals"), strict=True)) == {
        0.0: 9, 18.0: 9, 30.0: 9,
    }  # fmt: skip
    assert {one.why for one in by_fusion.left_out} == {"ages_tally", "ages_pairs"}
    assert cells(by_teeth, "age_animals")[0] == 9
    assert cells(joint, "age_animals")[0] == 18
    for one in found:
        for bounds, survivors in zip(cells(one, "survivors_bounds"), cells(one, "survivors"), strict=True):
            assert bounds.low - 0.1 <= survivors.high
            assert survivors.low <= bounds.high + 0.1
    # All that fused and unfused ends say here is that everybody may have died between 18 and 30 months: no curve.
    assert by_fusion.charts == ()
    assert "ages_one_step" in notes(by_fusion)
    for one in (by_teeth, joint):
        assert [chart.kind for chart in one.charts] == ["steps", "lines"]
        assert [series.n for chart in one.charts for series in chart.series] == [(cells(one, "age_animals")[0],)] * 2


def test_units_stand_side_by_side_on_one_chart_without_a_test():
    later = [bone(f"p{n}", fusion={"distal": "unfused"}, phase="2") for n in range(7)]
    few = [bone("q", fusion={"distal": "fused"}, phase="3")]
    old = [bone(f"old{n}", fusion={"proximal": "fused"}, phase=n) for n in "12"]
    (found,) = made("survival", asked(*FLOCK, *later, *few, *old, line="by=phase"))
    assert found.unit is None
    assert [series.name.place for series in found.charts[0].series] == ["1", "2"]
    assert {"ages_no_test", "ages_few_units", "ages_drawings", "ages_reached"} <= notes(found)
    assert {one.why: one.records for one in found.left_out}["ages_small_unit"] == ("q",)


def test_the_young_are_told_of_each_animal_with_what_they_are_a_share_of():
    (found,) = made("neonatal", asked(*FLOCK))
    sheep = cells(found, "taxon").index(Word("taxon", "sheep"))
    assert (cells(found, "young")[sheep], cells(found, "n")[sheep]) == (Span(1, 1), 13)
    assert cells(found, "percent_young")[sheep] == pytest.approx(100 / 13)
    assert found.rows[sheep].records[0] == "n"
    assert len(found.rows[sheep].records) == 13


def test_that_nobody_wrote_of_age_does_not_make_a_share_of_none():
    (found,) = made("neonatal", asked(*(bone(f"b{n}") for n in range(40))))
    assert (cells(found, "n"), cells(found, "young_told")) == ([40], [0])
    for column in ("young", "percent_young", "wilson", "percent_young_told"):
        assert cells(found, column) == [None]
    assert "ages_young_unsaid" in notes(found)


def test_a_stage_of_fusion_names_the_ends_that_are_counted_in_it():
    (found,) = made("fusion_stages", asked(*FLOCK, taxon="sheep_goat"))
    (told,) = (Wording(texts_in("en"), {}).note(one) for one in found.notes if one.key == "ages_stage_ends")
    assert told.endswith(": tibia distal.")


def test_minimum_numbers_by_written_class_are_shares_of_their_sum():
    # Hartmann-Frick 1964, table 29, phase fBZ (seen): 2, 8 and 12 animals, printed as 9.1, 36.3 and 54.6 of 100, where
    # the source moved 0.1 between the last two. The bones that give those numbers are made here.
    counts = {"juvenile": 2, "subadult": 8, "adult": 12}
    ends = {"distal_medial": "most", "distal_lateral": "most"}
    herd = [bone(f"{word}{n}", age=word, portions=ends) for word, many in counts.items() for n in range(many)]
    (found,) = made("age_classes", asked(*herd, bone("x", portions=ends), bone("r", side="right", age="adult")))
    assert cells(found, "class_mni") == [*(Span(n, n) for n in counts.values()), Span(22, 22)]
    assert cells(found, "percent_mni")[:3] == pytest.approx([9.1, 36.3, 54.6], abs=0.1)
    assert cells(found, "n") == [2, 8, 13, 23]
    assert {one.why: one.records for one in found.left_out} == {"ages_no_class": ("x",)}
    of_two = [bone("a", age="adult", portions=ends), bone("b", taxon="goat", age="adult", portions=ends)]
    (apart,) = made("age_classes", asked(*of_two))
    assert cells(apart, "class_mni")[0] == Span(2, 2)


@pytest.mark.parametrize("table", TABLES, ids=[one.key for one in TABLES])
def test_every_table_takes_odd_words_and_nothing_at_all_and_has_words_for_all_it_says(table):
    texts = texts_in("de")
    odd = (
        bone("a", taxon=None, fusion={"elbow": "fused"}),
        bone("b", "shin", "unicorn", fusion={"distal": "melted"}),
        jaw("c", Tooth("tusk", "middle", "both", scheme="none", wear="?"), Tooth("M1", wear="a"), taxon="pig"),
        bone("d", taxon="human", fusion={"distal": "fused"}),
        bone("e", side=None, fusion={"distal": "fused"}, sure=False),
        bone("e", side=None, fusion={"distal": "unfused"}, sure=False),
    )
    questions = [
        asked(), asked(*odd), asked(*odd, taxon="unicorn", source="none", scheme="none", evidence="none"),
        asked(*odd, taxon="human"), asked(*odd, taxon="horse", evidence="joint"), asked(*FLOCK, evidence="joint"),
        asked(*FLOCK, *odd, line="by=context"), asked(*FLOCK, taxon="cattle", evidence="teeth"),
    ]  # fmt: skip
    keys = {f"analysis.{table.key}.title"}
    for question in questions:
        for option in table.options:
            keys.add(f"analysis.option.{option.key}")
            keys |= {f"{option.of}.{one}" for one in option.choices(question) if option.of}
        for one in table.make(question):
            keys |= {f"analysis.{one.key}.title", f"analysis.{one.key}.how"}
            keys |= {f"analysis.column.{column.key}" for column in one.columns}
            keys |= {f"analysis.note.{note.key}" for note in one.notes}
            keys |= {f"analysis.left_out.{left.why}" for left in one.left_out}
            keys |= {f"analysis.axis.{axis}" for chart in one.charts for axis in (chart.x, chart.y)}
            keys |= {f"{cell.of}.{cell.key}" for row in one.rows for cell in row.cells
                     if isinstance(cell, Word) and cell.of.startswith("analysis")}  # fmt: skip
            # Of a stage of jaws that none can be of there is nothing to lead back to.
            assert all(row.records or table.key == "wear_stages" for row in one.rows)
            assert all(len(row.cells) == len(one.columns) for row in one.rows)
            wording = Wording(texts, {})
            assert as_text([one], wording)
            assert as_csv([one], wording)
    assert {key for key in keys if not texts.get(key)} == set()


def test_a_bone_of_the_ledger_stands_in_the_table_under_its_own_id(ledger):
    tablet = Tablet()
    tablet.docket("one", reading=reading("tibia", "cattle") | {"fusion": {"distal": "fused"}})
    ledger.accept(tablet.entries(), tablet.id)
    while ledger.check_due():
        pass
    (found,) = made("fusion", Asked(Assemblage(ledger).now(), Selection()))
    assert [row.records for row in found.rows] == [(an_id("one"),)]
