"""The rules at the cabin: run after the fold, over what changed and what hangs on it; they only ever raise."""

from __future__ import annotations

from fieldapp.domain.ids import context_id
from server.ledger.beside import neighbours
from server.ledger.folding import records_of
from tests.server.tablets import CODE, SITE, Tablet, an_id, reading

HERE = context_id(SITE, "1042")


def check(ledger) -> None:
    while ledger.check_due(3):
        pass


def is_the_same_worked_out_anew(ledger) -> None:
    """A rebuild, after which the rules look at everything, finds the same problems."""
    before = sorted((one.record, one.rule, one.path) for one in ledger.problems())
    ledger.rebuild()
    check(ledger)
    assert sorted((one.record, one.rule, one.path) for one in ledger.problems()) == before


def found(ledger, name: str) -> set[str]:
    return {one.rule for one in ledger.problems(record=an_id(name))}


def push(ledger, tablet: Tablet) -> None:
    ledger.accept(tablet.entries(), tablet.id)


def test_what_was_folded_is_due_until_the_rules_have_looked(ledger):
    tablet = Tablet()
    tablet.docket("a", material="bone", reading=reading("humerus", "fowl"), weight_g=9000)
    push(ledger, tablet)
    assert ledger.counts()["due"] == 2
    check(ledger)
    assert ledger.counts()["due"] == 0
    assert "question_not_asked" in found(ledger, "a")
    assert ledger.counts()["problems"]["note"] >= 1


def test_a_value_of_the_wrong_shape_is_kept_and_named(ledger):
    tablet = Tablet()
    tablet.docket("a", count="many")
    push(ledger, tablet)
    check(ledger)
    (problem,) = [one for one in ledger.problems("check") if one.rule == "shape"]
    assert (problem.record, problem.path, problem.fields["path"]) == (an_id("a"), "count", "count")
    assert ledger.record(an_id("a")).value("count") == "many"


def test_a_mended_record_loses_its_problem(ledger):
    tablet = Tablet()
    first = tablet.docket("a", count="many")
    push(ledger, tablet)
    check(ledger)
    tablet.write("docket", an_id("a"), {"count": 1}, {"count": [first.id]})
    push(ledger, tablet)
    check(ledger)
    assert "shape" not in found(ledger, "a")


def test_a_second_reader_s_human_is_raised_on_the_docket_whatever_was_answered_before(ledger):
    tablet = Tablet()
    tablet.docket("a", reading=reading("femur", "pig"), **{f"human/{an_id('q')}": {"answer": "no_sign"}})
    again = {"docket": an_id("a"), "sample": an_id("draw"), "reading": reading("femur", "human")}
    tablet.write("second_reading", an_id("again"), again)
    early = {**again, "docket": an_id("not come")}
    tablet.write("second_reading", an_id("early"), early)
    push(ledger, tablet)
    check(ledger)
    assert {hold.docket for hold in ledger.holds()} == {an_id("a"), an_id("not come")}
    answers = ledger.record(an_id("a")).added("human")
    assert {"no_sign", "query"} <= {value["answer"] for value in answers.values()}
    assert ledger.record(an_id("a")).value("reading")["taxon"] == "pig"
    # The docket itself is as it was for the rules, and looked at again it is not raised again.
    tablet.write("docket", an_id("a"), {"count": 2})
    tablet.write("second_reading", an_id("again"), {"count": 2})
    push(ledger, tablet)
    check(ledger)
    assert ledger.record(an_id("a")).added("human") == answers
    is_the_same_worked_out_anew(ledger)


def test_a_second_reading_has_problems_of_its_own_and_none_of_its_docket(ledger):
    tablet = Tablet()
    tablet.docket("a", label="nonsense", reading=reading("femur", "sheep"), weight_g=12.0)
    again = {"docket": an_id("a"), "reading": reading("astragalus", "fowl"), "count": "many"}
    tablet.write("second_reading", an_id("again"), again)
    push(ledger, tablet)
    check(ledger)
    own = {"shape", "count_below_one"}
    assert own <= found(ledger, "again")
    assert not found(ledger, "again") & {"label_check_wrong", "question_not_asked"}
    assert not own & found(ledger, "a")
    assert ledger.holds() == []


def test_a_bone_read_as_human_is_raised_by_rule_once(ledger):
    tablet = Tablet()
    tablet.docket("a", reading=reading(taxon="human"))
    push(ledger, tablet)
    assert ledger.holds() == []
    check(ledger)
    (hold,) = ledger.holds()
    assert (hold.docket, hold.answer) == (an_id("a"), "query")
    (value,) = ledger.record(an_id("a")).added("human").values()
    assert value["by_rule"] == "human_without_answer"
    tablet.write("docket", an_id("a"), {"count": 2})
    push(ledger, tablet)
    check(ledger)
    assert len(ledger.record(an_id("a")).added("human")) == 1


def test_what_hangs_on_an_answer_that_a_rule_gave_is_looked_at_again_in_the_same_go(ledger):
    tablet = Tablet()
    tablet.docket("a", reading=reading(taxon="human"), **{f"same_as/{an_id('b')}": True})
    tablet.docket("b", reading=reading())
    tablet.write("photo", an_id("p"), {"docket": an_id("b"), "closed": False})
    tablet.write("transfer", an_id("t"), {"docket": an_id("a"), "kind": "loan", "to": "a museum (invented)"})
    push(ledger, tablet)
    assert ledger.check_due() == 0
    assert "human_without_answer" not in found(ledger, "a")
    assert "photo_open_of_possible_human" in found(ledger, "p")
    assert "transfer_of_possible_human" in found(ledger, "t")
    is_the_same_worked_out_anew(ledger)


def test_a_docket_raised_as_another_s_neighbour_stays_due_until_its_own_neighbours_are_looked_at(ledger):
    tablet = Tablet()
    tablet.write("context", HERE, {"number": "1042", "grave_like": "no"})
    tablet.docket("a", context=HERE, material="bone")
    tablet.write("photo", an_id("p"), {"docket": an_id("a"), "closed": False})
    push(ledger, tablet)
    check(ledger)
    assert "photo_open_of_possible_human" not in found(ledger, "p")
    heads = ledger.record(HERE).head_ids()
    tablet.write("context", HERE, {"grave_like": "yes"}, {"grave_like": heads["grave_like"]})
    push(ledger, tablet)
    assert ledger.check_due() == 1
    assert ledger.check_due() == 0
    assert "photo_open_of_possible_human" in found(ledger, "p")


def test_a_disputed_reading_is_looked_at_in_every_version(ledger):
    one, other = Tablet("one"), Tablet("other")
    one.docket("a", reading=reading(taxon="sheep"))
    other.write("docket", an_id("a"), {"reading": reading(taxon="human")})
    push(ledger, one)
    push(ledger, other)
    check(ledger)
    assert [hold.answer for hold in ledger.holds()] == ["query"]


def test_a_context_that_turns_into_a_grave_raises_the_dockets_of_its_bags(ledger):
    tablet = Tablet()
    tablet.write("context", HERE, {"number": "1042", "grave_like": "no"})
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE})
    tablet.write("docket", an_id("a"), {"label": f"{CODE} A3", "bag": an_id("bag"), "material": "bone"})
    push(ledger, tablet)
    check(ledger)
    assert ledger.holds() == []
    heads = ledger.record(HERE).head_ids()
    tablet.write("context", HERE, {"grave_like": "yes"}, {"grave_like": heads["grave_like"]})
    push(ledger, tablet)
    check(ledger)
    assert [(hold.docket, hold.context) for hold in ledger.holds()] == [(an_id("a"), HERE)]


def test_what_fits_a_bone_that_may_be_human_is_raised_with_it_from_whichever_end_it_is_said(ledger):
    tablet = Tablet()
    for n, name in enumerate(("piece", "bone", "beyond")):
        tablet.write("docket", an_id(name), {"label": f"{CODE} A{n}", "context": HERE, "reading": reading()})
    tablet.write("docket", an_id("piece"), {f"joins/{an_id('bone')}": {"break": "old"}})
    tablet.write("docket", an_id("bone"), {f"joins/{an_id('beyond')}": {"break": "old"}})
    push(ledger, tablet)
    check(ledger)
    assert ledger.holds() == []
    tablet.write("docket", an_id("bone"), {f"human/{an_id('h')}": {"answer": "query"}})
    push(ledger, tablet)
    check(ledger)
    assert {hold.docket for hold in ledger.holds()} == {an_id(one) for one in ("piece", "bone", "beyond")}
    is_the_same_worked_out_anew(ledger)


def test_a_context_that_turns_into_a_grave_says_so_of_what_was_counted_there(ledger):
    tablet = Tablet()
    tablet.write("context", HERE, {"number": "1042", "grave_like": "no"})
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE})
    tablet.write("tally", an_id("bagged"), {"bag": an_id("bag"), "taxon": "large_mammal", "count": 9})
    tablet.write("tally", an_id("loose"), {"context": HERE, "taxon": "human", "count": 2})
    push(ledger, tablet)
    check(ledger)
    assert found(ledger, "bagged") == set()
    assert found(ledger, "loose") == {"tally_may_be_human"}
    assert ledger.problems()[0].kind == "tally"
    heads = ledger.record(HERE).head_ids()
    tablet.write("context", HERE, {"grave_like": "yes"}, {"grave_like": heads["grave_like"]})
    push(ledger, tablet)
    check(ledger)
    assert found(ledger, "bagged") == {"tally_from_grave"}
    assert found(ledger, "loose") == {"tally_may_be_human", "tally_from_grave"}
    # A bulk count has no place for an answer: nothing is raised on it.
    assert ledger.holds() == []
    is_the_same_worked_out_anew(ledger)


def test_a_docket_that_changes_lets_its_groups_be_looked_at_again(ledger):
    tablet = Tablet()
    tablet.docket("a", reading=reading("tibia", "sheep"))
    tablet.docket("b", reading=reading("femur", "sheep"))
    members = {f"member/{an_id(name)}": True for name in "ab"}
    tablet.write("group", an_id("group"), {"relation": "articulated_observed", "context": HERE, **members})
    push(ledger, tablet)
    check(ledger)
    assert "group_taxa_differ" not in found(ledger, "group")
    heads = ledger.record(an_id("b")).head_ids()["reading"]
    tablet.write("docket", an_id("b"), {"reading": reading("femur", "pig")}, {"reading": heads})
    push(ledger, tablet)
    check(ledger)
    assert "group_taxa_differ" in found(ledger, "group")


def test_two_records_of_one_label_are_both_named(ledger):
    tablet = Tablet()
    tablet.docket("a", label=f"{CODE} A1-X")
    push(ledger, tablet)
    check(ledger)
    tablet.docket("b", label=f"{CODE} A1-X")
    push(ledger, tablet)
    check(ledger)
    assert "label_repeated" in found(ledger, "a")
    assert "label_repeated" in found(ledger, "b")


def test_a_record_is_free_of_a_problem_when_the_other_one_is_mended(ledger):
    tablet = Tablet()
    first = tablet.docket("a", label=f"{CODE} A1-X")
    tablet.docket("b", label=f"{CODE} A1-X")
    push(ledger, tablet)
    check(ledger)
    assert "label_repeated" in found(ledger, "b")
    tablet.write("docket", an_id("a"), {"label": f"{CODE} A2-X"}, {"label": [first.id]})
    push(ledger, tablet)
    check(ledger)
    assert "label_repeated" not in found(ledger, "b")


def test_rules_run_again_after_a_rebuild_and_find_the_same(ledger):
    tablet = Tablet()
    tablet.docket("a", count="many", reading=reading(taxon="human"))
    push(ledger, tablet)
    check(ledger)
    before = ledger.problems()
    ledger.rebuild()
    assert ledger.problems() == []
    check(ledger)
    assert ledger.problems() == before
    assert ledger.rebuild_matches()


def test_a_transfer_is_looked_at_again_when_its_bone_may_be_human(ledger):
    tablet = Tablet()
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE})
    tablet.docket("a", bag=an_id("bag"))
    tablet.docket("b")
    tablet.write("transfer", an_id("one"), {"docket": an_id("a"), "kind": "loan"})
    tablet.write("transfer", an_id("all"), {"bag": an_id("bag"), "kind": "loan"})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" not in found(ledger, "one") | found(ledger, "all")
    tablet.write("docket", an_id("b"), {"human/1": {"answer": "query"}})
    link = tablet.write("docket", an_id("b"), {f"same_as/{an_id('a')}": True})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" in found(ledger, "one")
    tablet.write("docket", an_id("b"), {f"same_as/{an_id('a')}": None}, {f"same_as/{an_id('a')}": [link.id]})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" not in found(ledger, "one") | found(ledger, "all")
    tablet.write("docket", an_id("a"), {"human/2": {"answer": "query"}})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" in found(ledger, "one") & found(ledger, "all")
    assert ledger.rebuild_matches()


def test_a_photo_that_arrives_after_its_docket_is_not_missing_any_more(ledger):
    tablet = Tablet()
    tablet.docket("a", **{f"photo/{an_id('p')}": True})
    push(ledger, tablet)
    check(ledger)
    assert "photo_missing" in found(ledger, "a")
    tablet.write("photo", an_id("p"), {"context": HERE, "sha256": "0" * 64})
    push(ledger, tablet)
    check(ledger)
    assert "photo_missing" not in found(ledger, "a")


def test_a_bag_is_weighed_against_what_lies_in_it(ledger):
    tablet = Tablet()
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE, "weight_g": 100})
    tablet.docket("a", bag=an_id("bag"), weight_g=60)
    push(ledger, tablet)
    check(ledger)
    assert "bag_lighter_than_bones" not in found(ledger, "bag")
    moved = tablet.docket("b", bag=an_id("bag"), weight_g=60)
    push(ledger, tablet)
    check(ledger)
    assert "bag_lighter_than_bones" in found(ledger, "bag")
    tablet.write("docket", an_id("b"), {"bag": an_id("elsewhere")}, {"bag": [moved.id]})
    push(ledger, tablet)
    check(ledger)
    assert "bag_lighter_than_bones" not in found(ledger, "bag")


def test_a_sample_that_turns_into_a_cremation_raises_the_bones_from_it(ledger):
    tablet = Tablet()
    first = tablet.write("sample", an_id("s"), {"label": f"{CODE} A5", "context": HERE, "type": "bulk"})
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE, "sample": an_id("s")})
    tablet.docket("a", bag=an_id("bag"), material="bone")
    push(ledger, tablet)
    check(ledger)
    assert ledger.holds() == []
    tablet.write("sample", an_id("s"), {"type": "cremation"}, {"type": [first.id]})
    push(ledger, tablet)
    check(ledger)
    assert [hold.docket for hold in ledger.holds()] == [an_id("a")]


def test_a_problem_ends_however_many_others_have_the_same(ledger):
    tablet = Tablet()
    firsts = [tablet.docket(f"a{at}", label=f"{CODE} A{at}") for at in range(260)]
    for at in range(260):
        tablet.docket(f"b{at}", label=f"{CODE} A{at}")
    push(ledger, tablet)
    while ledger.check_due():
        pass
    assert sum(one.rule == "label_repeated" for one in ledger.problems()) == 520
    for at, first in enumerate(firsts):
        tablet.write("docket", an_id(f"a{at}"), {"label": f"{CODE} B{at}"}, {"label": [first.id]})
    push(ledger, tablet)
    assert ledger.check_due() == 0
    assert not any(one.rule == "label_repeated" for one in ledger.problems())


def test_a_record_that_is_beside_nothing_lets_nothing_else_be_looked_at(ledger):
    tablet = Tablet()
    for name in ("a", "b"):
        tablet.docket(name, label=f"{CODE} A1", bag=an_id("bag"))
    tablet.docket("alone", label=f"{CODE} B1", context=None)
    push(ledger, tablet)
    check(ledger)
    with ledger.database.reading() as connection:
        (alone,) = records_of(connection, [an_id("alone")])
        assert neighbours(connection, [alone]) <= {an_id("alone")}
        (a,) = records_of(connection, [an_id("a")])
        assert neighbours(connection, [a]) == {an_id("a"), an_id("b"), an_id("bag")}


def test_a_double_that_is_put_into_another_bag_leaves_none_behind(ledger):
    tablet = Tablet()
    same = {"reading": reading(portions={"head": "most"}), "weight_g": 12.5}
    tablet.docket("a", bag=an_id("bag"), **same)
    moved = tablet.docket("b", bag=an_id("bag"), **same)
    push(ledger, tablet)
    check(ledger)
    assert "possible_double" in found(ledger, "a")
    tablet.write("docket", an_id("b"), {"bag": an_id("elsewhere")}, {"bag": [moved.id]})
    push(ledger, tablet)
    check(ledger)
    assert "possible_double" not in found(ledger, "a") | found(ledger, "b")


def test_a_bag_that_is_sent_is_free_of_what_was_taken_out_of_it(ledger):
    tablet = Tablet()
    tablet.docket("a", bag=an_id("bag"))
    tablet.docket("b", **{"human/1": {"answer": "query"}})
    tablet.write("transfer", an_id("t"), {"bag": an_id("bag"), "kind": "loan"})
    moved = tablet.write("docket", an_id("b"), {"bag": an_id("bag")})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" in found(ledger, "t")
    tablet.write("docket", an_id("b"), {"bag": None}, {"bag": [moved.id]})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" not in found(ledger, "t")


def test_what_is_one_bone_with_something_sent_or_shown_is_seen_from_wherever_it_lies(ledger):
    tablet = Tablet()
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": HERE})
    tablet.docket("a", bag=an_id("bag"), **{f"photo/{an_id('p')}": True})
    tablet.docket("b", **{f"same_as/{an_id('a')}": True})
    tablet.write("transfer", an_id("t"), {"bag": an_id("bag"), "kind": "loan"})
    tablet.write("photo", an_id("p"), {"context": HERE, "closed": False})
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" not in found(ledger, "t")
    tablet.human("b", "query")
    push(ledger, tablet)
    check(ledger)
    assert "transfer_of_possible_human" in found(ledger, "t")
    assert "photo_open_of_possible_human" in found(ledger, "p")
    is_the_same_worked_out_anew(ledger)


def test_what_the_site_agrees_to_record_is_looked_for_in_what_is_there_already(ledger):
    tablet = Tablet()
    tablet.docket("a", reading={**reading(taxon="cattle"), "stage": "analysis"})
    push(ledger, tablet)
    check(ledger)
    assert "agreed_not_recorded" not in found(ledger, "a")
    by = {"person": "", "name": "Tansy", "role": "zooarchaeologist"}
    agreed = {"countable": "all", "always": ["weathering"], "note": None}
    ledger.write("site", ledger.names().site, {"protocol": agreed}, {}, by)
    check(ledger)
    assert "agreed_not_recorded" in found(ledger, "a")
    ledger.write("site", ledger.names().site, {"zone_text": "the trench"}, {}, by)
    assert ledger.due() <= 1, "what the rules do not look at lets them rest"
