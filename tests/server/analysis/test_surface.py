"""Tables of surfaces over specimens made by hand: rates, plates, states, breaks, and hand against sieve."""

from __future__ import annotations

import random

import pytest

from fieldapp.assets import knowledge, texts
from fieldapp.domain.assemblage import numbers
from fieldapp.domain.assemblage.results import Word
from fieldapp.domain.assemblage.specimens import HUMAN, TALLY, Change, Mark, Specimen
from server.analysis import charts, topics
from server.analysis.wording import Wording
from tests.server.analysis.questions import answers, unsaid

KNOW = knowledge()


def bone(name: str, *marks: Mark, surface=None, **more) -> Specimen:
    base = {"taxon": "cattle", "element": "humerus", "recovery": "hand", "stage": "analysis", "context": "c"}
    return Specimen(name, name.upper(), marks=marks, surface=surface or {}, **{**base, **more})


def mixed(n: int = 60) -> list[Specimen]:
    """Pieces with something of everything, odd words among them."""
    one = random.Random(3)
    found = []
    for at in range(n):
        taxon = one.choice(["cattle", "sheep", "sheep_goat", "pig", "fowl", None, "gryphon"])
        element = one.choice(["humerus", "tibia", "phalanx_1", "loose_tooth", "long_bone", "wing", None])
        portions = {row.key: one.choice(["most", "part", "absent"]) for row in KNOW.portions_of(element or "", taxon)}
        marks = [Mark(one.choice(["cut", "chop", "carnivore_gnawing", "scorched"]), one.choice([*portions, "odd"]))]
        surface = {
            "preservation": one.choice(["good", "poor", "lost", "odd", ["odd"]]),
            "burning": one.choice(["unburnt", "charred", 7, {}]),
            "burn_colour": "black",
            "weathering": one.choice([0, 3, 9, "x", [], True]),
            "roots": one.choice(["some", {}, []]),
            "staining": "iron",
            "digestion": "none",
            "breaks": one.choice(["old", "fresh", ["odd"]]),
            "longest_mm": one.choice([12.5, 80, -1, "x", {}]),
            "fracture": {"angle": 1, "outline": 1, "texture": one.choice([0, 2, 5])},
        }
        recovery = one.choice(["hand", "sieve", None])
        changes = (Change(one.choice(["new_bone", "odd"])),)[: at % 3]
        found.append(
            bone(f"b{at}", *marks[: at % 2], changes=changes, surface=surface, taxon=taxon, element=element,
                 portions=portions, recovery=recovery, mesh_mm=4.0 if recovery == "sieve" else None,
                 count=one.choice([1, 1, 3]))
        )  # fmt: skip
    found.append(Specimen("tally", kind=TALLY, taxon="medium_mammal", count=40, recovery="hand", context="c"))
    found.append(bone("human", Mark("cut"), apart=HUMAN))
    return found


@pytest.mark.parametrize("table", [one.key for one in topics.tables("surface")])
def test_every_table_has_words_for_what_it_says_takes_odd_words_and_can_be_drawn(table):
    specimens = mixed()
    by = {} if table == "recovery" else {"by_what": "taxon_element"}
    results = [*answers("surface", table, specimens), *answers("surface", table, specimens, **by)]
    results += [*answers("surface", table, []), *answers("surface", table, [bone("x", taxon=None, element=None)])]
    odd = ("gryphon", "wing", "scorched", "odd", "stage_9")
    assert {one for one in unsaid("surface", results) if not one.endswith(odd)} == set()
    assert "human" not in {one for result in results for row in result.rows for one in row.records}
    of_kind = {chart.kind: chart for result in results for chart in result.charts}
    for chart in of_kind.values():
        assert charts.draw(chart, Wording({}, {}), "", "png").startswith(b"\x89PNG")


def row_of(result, **words):
    """The first row with these cells."""
    at = {column.key: n for n, column in enumerate(result.columns)}
    return next(
        {key: row.cells[n] for key, n in at.items()} | {"records": row.records}
        for row in result.rows
        if all(getattr(row.cells[at[key]], "key", row.cells[at[key]]) == word for key, word in words.items())
    )


def test_cuts_are_out_of_good_surfaces_and_gnawing_out_of_all_that_are_not_lost():
    cut, gnawed = Mark("cut"), Mark("carnivore_gnawing")
    specimens = [bone(f"g{n}", surface={"preservation": "good"}) for n in range(8)]
    specimens += [
        bone("cut", cut, surface={"preservation": "good"}),
        bone("bad", cut, surface={"preservation": "poor"}),
    ]
    specimens += [
        bone("gnawed", gnawed, surface={"preservation": "poor"}),
        bone("lost", surface={"preservation": "lost"}),
    ]
    result, tools = answers("surface", "marks", specimens)
    cuts, gnawing = row_of(result, mark_kind="cut"), row_of(result, mark_kind="carnivore_gnawing")
    assert (cuts["marked"], cuts["can_show"], cuts["elsewhere"], cuts["records"]) == (1, 9, 1, ("cut", "bad"))
    assert (gnawing["marked"], gnawing["can_show"]) == (1, 11)
    assert row_of(tools, mark_kind="cut")["pieces"] == 2
    alone, _ = answers("surface", "marks", [*specimens, bone("unsaid")], unrecorded_surface="left_out")
    assert row_of(alone, mark_kind="cut")["can_show"] == 9


def test_a_zero_is_trusted_only_where_the_protocol_asks_for_it():
    def notes(site):
        result, _ = answers("surface", "marks", [bone("a", surface={"preservation": "good"})], "", site)
        return {one.key for one in result.notes}

    assert notes({}) == {"marks_none", "surface_not_always"}
    assert notes({"protocol": {"countable": "all", "always": ["mark"]}}) == {"marks_none"}


def test_butchery_lies_on_portions_and_on_a_plate_with_right_bones_turned():
    there = {"upper_shaft": "most", "lower_shaft": "part"}
    cut = Mark("cut", "upper_shaft", view="cranial", x=0.25, y=0.5)
    specimens = [
        bone("left", cut, portions=there, side="left"),
        bone("right", cut, portions=there, side="right"),
        bone("none", portions={"lower_shaft": "most"}),
        bone("sheep", cut, portions=there, taxon="sheep"),
    ]
    (result,) = answers("surface", "butchery", specimens)
    upper, lower = row_of(result, portion="upper_shaft"), row_of(result, portion="lower_shaft")
    assert (upper["marked"], upper["can_show"], upper["cut"]) == (2, 2, 2)
    assert (lower["marked"], lower["can_show"]) == (0, 3)
    assert row_of(result, portion="whole_bone")["can_show"] == 3
    skeleton, chart = result.charts
    assert (skeleton.kind, skeleton.shares) == ("skeleton", {"humerus": pytest.approx(2 / 3)})
    assert (chart.kind, chart.form, chart.more["counts"]) == ("plate", "ruminant", {"upper_shaft": 2})
    assert chart.more["marks"] == (("cranial", 0.25, 0.5, "cut"), ("cranial", 0.75, 0.5, "cut"))
    (pooled,) = answers("surface", "butchery", specimens, taxon="sheep")
    assert row_of(pooled, portion="upper_shaft")["records"] == ("sheep",)


def test_burning_is_of_what_was_looked_at_with_tallies_and_by_animal():
    specimens = [
        bone("a", surface={"burning": "unburnt"}, count=3),
        bone("b", surface={"burning": "calcined"}),
        bone("c"),
    ]
    specimens.append(Specimen("t", kind=TALLY, count=6, recovery="hand", surface={"burning": "charred"}))
    degrees, _ = answers("surface", "burning", specimens)
    assert [(row.cells[0].key, row.cells[1], row.cells[2]) for row in degrees.rows] == [
        ("unburnt", 3, 30.0), ("charred", 6, 60.0), ("calcined", 1, 10.0),
    ]  # fmt: skip
    assert [(one.why, one.records, one.pieces) for one in degrees.left_out] == [("surface_unrecorded", ("c",), 1)]
    by_animal, _ = answers("surface", "burning", specimens, by_what="taxon")
    assert row_of(by_animal, taxon="cattle", burning="calcined")["share"] == 25.0
    assert row_of(by_animal, taxon="", burning="charred")["share"] == 100.0


def test_weathering_is_a_profile_of_stages_and_says_what_was_read_unwashed():
    specimens = [bone(f"w{n}", surface={"weathering": n % 2}) for n in range(4)]
    specimens.append(bone("raw", surface={"weathering": 4}, stage="trench"))
    stages, roots, *_ = answers("surface", "weathering", specimens)
    assert [(row.cells[0].key, row.cells[1]) for row in stages.rows] == [("stage_0", 2), ("stage_1", 2), ("stage_4", 1)]
    assert "weathering_unwashed" in {one.key for one in stages.notes}
    assert roots.rows == ()
    assert [one.key for one in roots.notes] == ["state_none"]


def test_freshness_is_of_old_breaks_of_marrow_bones():
    scores = {"angle": 1, "outline": 0, "texture": 1}
    specimens = [
        bone("old", surface={"fracture": scores}),
        bone("two", surface={"fracture": {**scores, "angle": 2}}, count=2),
        bone("new", surface={"fracture": scores, "breaks": "fresh"}),
        bone("rib", surface={"fracture": scores}, element="rib"),
        bone("part", surface={"fracture": {"angle": 1}}),
    ]
    result, breaks = answers("surface", "freshness", specimens)
    (row,) = result.rows
    assert row.cells[2:4] == (3, pytest.approx(8 / 3))
    assert row.cells[4:] == (0, 0, 1, 2, 0, 0, 0)
    assert {one.why: one.records for one in result.left_out} == {
        "freshness_in_part": ("part",), "freshness_no_marrow": ("rib",), "freshness_new": ("new",),
    }  # fmt: skip
    assert [row.cells[1] for row in breaks.rows] == [1]


def test_completeness_sets_pieces_against_the_bones_they_come_from():
    rows = KNOW.portions_of("humerus", "cattle")
    specimens = [
        bone("whole", portions={row.key: "most" for row in rows}, side="left"),
        bone("shaft", portions={"upper_shaft": "most"}, side="left"),
        bone("end", portions={"trochlea": "most"}, side="left"),
    ]
    result, _ = answers("surface", "completeness", specimens)
    (row,) = result.rows
    shares = {one.key: one.share for one in rows}
    expected = 100 * (1 + shares["upper_shaft"] + shares["trochlea"]) / 3
    assert row.cells[2:4] == (3, 1)
    assert row.cells[4] == pytest.approx(expected)
    assert (row.cells[6], row.cells[7].low, row.cells[8].high) == (3, 2, 1.5), "the shaft and the end may be one bone"


def test_pieces_and_bones_of_completeness_are_those_of_the_plain_definition():
    specimens = [one for one in mixed(120) if not one.apart]
    results = [one for one in answers("surface", "completeness", specimens) if one.key == "completeness"]
    for result in results:
        way = {"hand": "hand", "sieve:4": "sieve", "unrecorded": None}[result.unit.way]
        plain = numbers.mne([one for one in specimens if one.recovery == way], KNOW)
        found = {(row.cells[0].key, row.cells[1].key): row for row in result.rows}
        assert found.keys() == plain.keys()
        for key, row in found.items():
            told = plain[key]
            assert (row.cells[6], row.cells[7].low, row.cells[7].high) == (told.pieces, told.low, told.high)
            assert row.records == told.records


def test_changes_of_sickness_are_out_of_all_pieces_and_say_where_they_lie():
    sick = (Change("joint_rim", "head"), Change("new_bone"))
    specimens = [
        bone("sick", changes=sick),
        bone("sound"),
        bone("tooth", element="loose_tooth", changes=(Change("tooth_line"),)),
    ]
    found, where = answers("surface", "pathology", specimens)
    assert [(row.cells[0].key, row.cells[1], row.cells[2]) for row in found.rows] == [
        ("new_bone", 1, 3), ("joint_rim", 1, 3), ("tooth_line", 1, 3), ("any_kind", 2, 3),
    ]  # fmt: skip
    assert row_of(where, pathology="joint_rim")["portion"] == Word("portion.humerus", "head")
    assert row_of(where, pathology="tooth_line")["records"] == ("tooth",)


def test_recovery_compares_where_both_were_done_and_says_how_few_there_are():
    hand = [bone(f"h{n}") for n in range(6)] + [bone("bird", taxon="fowl")]
    sieve = [bone(f"s{n}", taxon="fowl", recovery="sieve", mesh_mm=4.0, share=0.5) for n in range(3)]
    elsewhere = [bone("far", context="d")]
    (result,) = answers("surface", "recovery", [*hand, *sieve, *elsewhere])
    assert result.unit is None
    fowl = row_of(result, compared="medium_bird")
    assert (fowl["hand"], round(fowl["hand_share"], 1), fowl["sieve"], fowl["sieve_share"]) == (1, 14.3, 3, 100.0)
    assert fowl["sieve_of_all"] == 75.0
    assert {one.why: one.records for one in result.left_out} == {"recovery_one_way": ("far",)}
    assert {one.key for one in result.notes} == {"recovery_contexts", "recovery_few", "recovery_shares"}
    (everything,) = answers("surface", "recovery", [*hand, *sieve, *elsewhere], contexts="all", compare="bone_kind")
    assert row_of(everything, compared="bone_long_bone")["hand"] == 8
    fish = bone("fish", taxon="cod", recovery="sieve")
    (with_fish,) = answers("surface", "recovery", [*hand, fish])
    assert row_of(with_fish, compared="fish")["sieve"] == 1, "an animal without a size class has its wide group"
    (none,) = answers("surface", "recovery", hand)
    assert [one.key for one in none.notes] == ["recovery_none"]
    assert none.rows == ()


def test_recovery_is_compared_place_by_place_where_places_are_asked_for():
    here = [bone(f"{p}{way}", recovery=way, context=p, phase=p) for p in "12" for way in ("hand", "sieve")]
    (found,) = answers("surface", "recovery", here, line="by=phase")
    places = [(row.cells[0].place, row.cells[2], row.cells[5]) for row in found.rows]
    assert places == [("1", 1, 1), ("2", 1, 1)]
    assert {one.key for one in found.notes} == {"recovery_contexts", "surface_few"}


def test_every_kind_of_bone_has_a_word_to_be_compared_by():
    kinds = {one.kind for one in KNOW.elements.values()} - {"indeterminate"}
    assert {f"analysis.row.bone_{kind}" for kind in kinds} <= texts().keys()


def test_no_chart_takes_bones_of_two_animals_for_one():
    cut, surface = Mark("cut"), {"longest_mm": 50.0, "roots": "some"}
    both = [bone("a", cut, surface=surface), bone("b", surface=surface, taxon="sheep")]
    for table in ("marks", "weathering", "completeness"):
        for result in answers("surface", table, both, by_what="taxon_element"):
            assert result.charts == ()
        for result in answers("surface", table, both, by_what="taxon"):
            for chart in result.charts:
                names = [one.name for one in chart.series]
                assert len(names) == len(set(names))
