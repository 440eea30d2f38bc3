"""Specimens out of a ledger: what each docket says, where it lay, and what keeps it from the animals."""

from __future__ import annotations

import pytest

from fieldapp.domain.assemblage.selection import parse
from fieldapp.domain.assemblage.specimens import HUMAN, IMPOSSIBLE, TALLY, Change, surely
from server.analysis.gathering import Assemblage
from tests.server.tablets import SITE, Tablet, an_id, context_id, reading

PIT = context_id(SITE, "99")


@pytest.fixture
def tablet() -> Tablet:
    return Tablet()


def send(ledger, *tablets: Tablet) -> None:
    for one in tablets:
        ledger.accept(one.entries(), one.id)
    while ledger.check_due():
        pass


def of(gathered, name: str):
    return [one for one in gathered.specimens if one.id == an_id(name)]


def test_a_docket_lies_where_its_bag_does_and_was_got_as_its_bag_was(ledger, tablet):
    tablet.write("context", PIT, {"number": "99", "trench": "B", "phase": "3"})
    fraction = {"mesh_mm": 4, "sorted_share": 0.25}
    tablet.write("sample", an_id("sample"), {"label": "S1", "context": PIT, "fraction/f1": fraction})
    bag = {
        "label": "B1",
        "context": PIT,
        "recovery": "sieve",
        "mesh_mm": 4,
        "sample": an_id("sample"),
        "fraction": "f1",
    }
    tablet.write("bag", an_id("bag"), bag)
    tablet.docket("one", bag=an_id("bag"), context=None, reading=reading("tibia", "sheep"), count=3, weight_g=4.5)
    send(ledger, tablet)
    (one,) = of(Assemblage(ledger).now(), "one")
    assert (one.context, one.trench, one.phase) == (PIT, "B", "3")
    assert (one.recovery, one.mesh_mm, one.share) == ("sieve", 4.0, 0.25)
    assert (one.element, one.taxon, one.count, one.weight_g, one.sure) == ("tibia", "sheep", 3, 4.5, True)


def test_a_bone_read_in_two_ways_is_two_specimens_and_neither_is_sure(ledger, tablet):
    first = tablet.docket("one", reading=reading("tibia", "sheep"))
    other = Tablet("tablet two")
    for taxon, who in (("pig", other), ("cattle", tablet)):
        who.write("docket", an_id("one"), {"reading": reading("tibia", taxon)}, {"reading": [first.id]})
    send(ledger, tablet, other)
    found = of(Assemblage(ledger).now(), "one")
    assert sorted(one.taxon for one in found) == ["cattle", "pig"]
    assert surely(found) == []


def test_readings_that_differ_in_precision_are_one_specimen_of_the_coarser(ledger, tablet):
    first = tablet.docket("one", reading=reading("tibia", "sheep"))
    other = Tablet("tablet two")
    for taxon, who in (("sheep_goat", other), ("sheep", tablet)):
        who.write("docket", an_id("one"), {"reading": reading("tibia", taxon)}, {"reading": [first.id]})
    send(ledger, tablet, other)
    (one,) = of(Assemblage(ledger).now(), "one")
    assert (one.taxon, one.sure) == ("sheep_goat", True)


def test_of_a_count_in_dispute_the_least_is_sure_and_the_most_is_not(ledger, tablet):
    first = tablet.docket("one", reading=reading(), count=1)
    other = Tablet("tablet two")
    for count, who in ((4, other), (2, tablet)):
        who.write("docket", an_id("one"), {"count": count}, {"count": [first.id]})
    send(ledger, tablet, other)
    assert [(one.count, one.sure) for one in of(Assemblage(ledger).now(), "one")] == [(2, True), (4, False)]


def test_what_may_be_human_and_what_cannot_be_is_not_among_the_animals(ledger, tablet):
    tablet.docket("one", reading=reading())
    tablet.human("one", "query")
    tablet.docket("joined", reading=reading(), **{f"same_as/{an_id('one')}": True})
    tablet.docket("unsure", reading=reading())
    tablet.human("unsure", "not_excluded")
    tablet.docket("gill", reading=reading("opercle", "cattle"))
    send(ledger, tablet)
    found = Assemblage(ledger).now()
    assert {name: of(found, name)[0].apart for name in ("one", "joined", "unsure", "gill")} == {
        "one": HUMAN,
        "joined": HUMAN,
        "unsure": "",
        "gill": IMPOSSIBLE,
    }
    assert of(found, "unsure")[0].excluded
    assert of(found, "one")[0].bone == of(found, "joined")[0].bone != ""


def test_a_tally_counts_as_many_pieces_and_a_deleted_docket_as_none(ledger, tablet):
    tablet.write("tally", an_id("many"), {"label": "T1", "context": PIT, "taxon": "medium_mammal", "count": 40})
    gone = tablet.docket("gone", reading=reading())
    seen = {path: [gone.id] for path in gone.set}
    tablet.write("docket", an_id("gone"), {"deleted": True}, {"deleted": [], **seen})
    send(ledger, tablet)
    found = Assemblage(ledger).now()
    (many,) = of(found, "many")
    assert (many.kind, many.count, many.taxon) == (TALLY, 40, "medium_mammal")
    assert of(found, "gone") == []


def test_what_comes_later_is_there_as_if_it_had_been_there_from_the_start(ledger, tablet):
    kept = Assemblage(ledger)
    tablet.docket("one", reading=reading("tibia", "sheep"), context=PIT)
    send(ledger, tablet)
    before = kept.now()
    assert kept.now() is before
    tablet.write("context", PIT, {"number": "99", "phase": "2"})
    tablet.docket("two", reading=reading("femur", "pig"), context=PIT)
    tablet.human("one", "query")
    send(ledger, tablet)
    after = kept.now()
    assert after.specimens == Assemblage(ledger).now().specimens
    assert {one.phase for one in after.specimens} == {"2"}
    assert of(after, "one")[0].apart == HUMAN
    assert [one.id for one in after.chosen(parse("context=99,taxon=pig", after.knowledge))] == [an_id("two")]


@pytest.mark.parametrize(
    "odd",
    [
        {"reading": "a bone"},
        {"reading": {"element": 7, "taxon": ["x"], "portions": "all", "fusion": {"proximal": 3}}},
        {"tooth/x": "m1", "measure/y": {"code": "GL", "mm": "long"}, "mark/z": {"kind": None}},
        {"count": -3, "weight_g": "heavy", "bag": {}, "context": [1]},
    ],
)
def test_a_value_of_an_odd_shape_says_nothing_and_stops_nothing(ledger, tablet, odd):
    tablet.docket("odd", **odd)
    send(ledger, tablet)
    (one,) = of(Assemblage(ledger).now(), "odd")
    assert (one.count, one.measures, one.teeth, one.marks) == (1, (), (), ())


def test_changes_of_sickness_are_read_and_odd_ones_are_not(ledger, tablet):
    odd = {"pathology/2": {"kind": 7}, "pathology/3": None}
    tablet.docket("one", reading=reading(), **{"pathology/1": {"kind": "joint_rim", "portion": "head"}}, **odd)
    send(ledger, tablet)
    (one,) = of(Assemblage(ledger).now(), "one")
    assert one.changes == (Change("joint_rim", "head"),)


def test_a_group_says_how_its_bones_belong_together_unless_that_is_in_dispute(ledger, tablet):
    for name in ("one", "two"):
        tablet.docket(name, reading=reading())
    tablet.write("group", an_id("agreed"), {"relation": "articulated_inferred", f"member/{an_id('one')}": True})
    first = tablet.write("group", an_id("argued"), {"relation": "associated", f"member/{an_id('two')}": True})
    other = Tablet("tablet two")
    for relation, who in (("articulated_observed", other), ("articulated_inferred", tablet)):
        who.write("group", an_id("argued"), {"relation": relation}, {"relation": [first.id]})
    send(ledger, tablet, other)
    gathered = Assemblage(ledger).now()
    assert gathered.relations == {an_id("agreed"): "articulated_inferred"}
    assert [one.group for one in of(gathered, "one")] == [an_id("agreed")]
