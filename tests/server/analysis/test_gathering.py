"""Specimens out of a ledger: what each docket says, where it lay, and what keeps it from the animals."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from fieldapp.domain.assemblage.selection import parse
from fieldapp.domain.assemblage.specimens import HUMAN, IMPOSSIBLE, TALLY, Change, surely
from server.analysis.gathering import Assemblage
from server.ledger import tables
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


def test_what_is_worked_out_anew_while_the_cabin_runs_is_told_at_once(ledger, tablet):
    tablet.docket("one", reading=reading("tibia", "sheep"), context=PIT)
    tablet.human("one", "query")
    send(ledger, tablet)
    with ledger.database.writing() as connection:
        connection.execute(update(tables.record).values(answer="not_asked"))
    kept = Assemblage(ledger)
    damaged = kept.now()
    assert of(damaged, "one")[0].apart == ""
    ledger.rebuild()
    while ledger.check_due():
        pass
    assert of(kept.now(), "one")[0].apart == HUMAN
    assert kept.now().stamp != damaged.stamp


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


@pytest.mark.parametrize(
    ("first", "said", "together"),
    [
        ("articulated_observed", [], True),
        ("articulated_observed", ["articulated_inferred", "articulated_observed"], True),
        ("articulated_observed", ["articulated_inferred", "associated"], False),
        ("associated", [], False),
        (None, [], False),
    ],
)
def test_bones_are_of_one_body_where_everybody_says_so(ledger, tablet, first, said, together):
    tablet.docket("one", reading=reading())
    made = tablet.write("group", an_id("group"), {"relation": first, f"member/{an_id('one')}": True})
    other = Tablet("tablet two")
    for relation, who in zip(said, (other, tablet), strict=False):
        who.write("group", an_id("group"), {"relation": relation}, {"relation": [made.id]})
    send(ledger, tablet, other)
    (one,) = of(Assemblage(ledger).now(), "one")
    assert one.group == (an_id("group") if together else "")


@pytest.mark.parametrize("what", ["bag", "context of the bag", "phase"])
def test_what_lies_where_people_disagree_is_told_and_counts_at_one_place(ledger, tablet, what):
    bag = tablet.write("bag", an_id("a bag"), {"label": "A1", "context": PIT})
    pit = tablet.write("context", PIT, {"number": "1042", "phase": "1"})
    one = tablet.docket("one", reading=reading(), bag=an_id("a bag"), context=None)
    tablet.docket("two", reading=reading(), context=context_id(SITE, "1057"))
    made = {"bag": one, "context of the bag": bag, "phase": pit}[what]
    path = {"bag": "bag", "context of the bag": "context", "phase": "phase"}[what]
    said = {"bag": (an_id("b bag"), an_id("c bag")), "context": (PIT, context_id(SITE, "1057")), "phase": ("2", "3")}
    others = Tablet("tablet two"), Tablet("tablet three")
    for other, value in zip(others, said[path], strict=True):
        other.write(made.kind, made.record, {path: value}, {path: [made.id]})
    send(ledger, tablet, *others)
    assemblage = Assemblage(ledger)
    found = assemblage.now()
    assert found.astray == {an_id("one")}
    assert len(of(found, "one")) == 1
    heads = ledger.record(made.record).head_ids()
    tablet.write(made.kind, made.record, {path: said[path][1]}, {path: heads[path]})
    send(ledger, tablet)
    assert assemblage.now().astray == frozenset()


def test_a_comparison_is_what_everybody_calls_one_and_its_members_what_nobody_took_away(ledger, tablet):
    for name in ("one", "two", "three"):
        tablet.docket(name, reading=reading())
    members = {f"member/{an_id(one)}": True for one in ("one", "two", "three")}
    made = tablet.write("group", an_id("laid"), {"relation": "compared", **members})
    tablet.write("group", an_id("body"), {"relation": "associated", **members})
    send(ledger, tablet)
    found = Assemblage(ledger).now()
    assert found.compared == (frozenset(an_id(one) for one in ("one", "two", "three")),)
    assert {one.group for one in found.specimens} == {""}, "to lie side by side is not to be of one body"
    others = Tablet("tablet two"), Tablet("tablet three")
    for other, value in zip(others, (None, True), strict=True):
        path = f"member/{an_id('two')}"
        other.write("group", an_id("laid"), {path: value}, {path: [made.id]})
    send(ledger, *others)
    assert Assemblage(ledger).now().compared == (frozenset(an_id(one) for one in ("one", "three")),)
    tablet.write("group", an_id("laid"), {"relation": "associated"}, {"relation": [made.id]})
    send(ledger, tablet)
    assert Assemblage(ledger).now().compared == ()


def test_what_fits_a_bone_under_another_label_is_of_its_body_too(ledger, tablet):
    names = ("first", "again", "fits", "beside", "far")
    more = {"again": f"same_as/{an_id('first')}", "fits": f"joins/{an_id('again')}"}
    for name in names:
        tablet.docket(
            name,
            reading=reading(),
            **({more[name]: {"break": "old"} if name == "fits" else True} if name in more else {}),
        )
    for group, members in (("body", ("first", "beside")), ("as well", ("beside", "far"))):
        said = {f"member/{an_id(one)}": True for one in members}
        tablet.write("group", an_id(group), {"relation": "articulated_observed", **said})
    send(ledger, tablet)
    found = {name: of(Assemblage(ledger).now(), name)[0] for name in names}
    assert len({one.group for one in found.values()}) == 1
    assert found["first"].bone == found["again"].bone != ""
    assert found["first"].fitted == found["fits"].fitted != ""
    assert found["beside"].fitted == ""


def argued(tablet, kind, name, first, *said):
    """A record of which two others, each without knowing of the other, say something else."""
    made = tablet.write(kind, an_id(name), {"label": name, "context": PIT, **first})
    others = [Tablet(f"other {n} of {name}") for n, _ in enumerate(said)]
    for who, values in zip(others, said, strict=True):
        who.write(kind, an_id(name), values, {path: [made.id] for path in values})
    return others


def test_a_tally_in_dispute_has_a_range_as_a_docket_has(ledger, tablet):
    cattle = {"taxon": "cattle", "element": "rib", "count": 40}
    others = argued(tablet, "tally", "animal", cattle, {"taxon": "pig"}, {"taxon": "sheep"})
    others += argued(tablet, "tally", "many", cattle, {"count": 30}, {"count": 50})
    others += argued(tablet, "tally", "finer", cattle, {"taxon": "sheep"}, {"taxon": "sheep_goat"})
    send(ledger, tablet, *others)
    gathered = Assemblage(ledger).now()

    def told(name):
        return sorted((one.taxon, one.count, one.sure, one.readings) for one in of(gathered, name))

    assert told("animal") == [("pig", 40, False, 2), ("sheep", 40, False, 2)]
    assert told("many") == [("cattle", 30, True, 2), ("cattle", 50, False, 2)]
    assert told("finer") == [("sheep_goat", 40, True, 1)]


def test_of_what_several_say_of_one_mark_tooth_or_surface_only_what_all_say_is_taken(ledger, tablet):
    mark, tooth, taken = f"mark/{an_id('m')}", f"tooth/{an_id('t')}", f"measure/{an_id('l')}"
    first = {"reading": reading(), "burning": "charred", mark: {"kind": "cut"}, tooth: {"tooth": "M1"}, taken: None}

    def says(burning, tool, wear, mm):
        return {
            "burning": burning, mark: {"kind": "cut", "tool": tool},
            tooth: {"tooth": "M1", "scheme": "grant_1982", "wear": wear}, taken: {"code": "Bd", "mm": mm},
        }  # fmt: skip

    others = argued(
        tablet, "docket", "one", first, says("unburnt", "flint", "d", 55), says("calcined", "saw", "g", 55.2)
    )
    others += argued(tablet, "docket", "two", first, {mark: {"kind": "chop"}}, {mark: None})
    send(ledger, tablet, *others)
    (one,), (two,) = (of(Assemblage(ledger).now(), name) for name in ("one", "two"))
    assert one.surface == {}
    assert one.open == {"burning"}
    assert [(each.kind, each.tool) for each in one.marks] == [("cut", None)]
    assert [(each.tooth, each.scheme, each.wear) for each in one.teeth] == [("M1", "grant_1982", None)]
    assert sorted((each.code, each.mm) for each in one.measures) == [("Bd", 55), ("Bd", 55.2)]
    assert two.marks == ()
