"""What the ledger makes of the human question, and of who may decide it."""

from __future__ import annotations

from fieldapp.domain.ids import context_id
from server.ledger import CABIN
from tests.server.conftest import granted
from tests.server.tablets import SITE, Osteologist, Tablet, an_id, hold_of
from tests.server.test_ledger import answers, push

# -- who decides is written at the cabin


def test_a_pushed_person_or_site_has_no_effect(ledger):
    tablet, person = Tablet(), Osteologist()
    before = ledger.authority()
    tablet.write("person", person.id, {"name": "C", "role": person.role, f"key/{person.key}": person.grant})
    tablet.write("site", SITE, {"policy": {"zooarchaeologists_may_assess": [person.id], "second_reader": False}})
    # Under another kind, too.
    tablet.write("docket", SITE, {"policy": {"zooarchaeologists_may_assess": [person.id], "second_reader": False}})
    accepted = ledger.accept(tablet.entries(), tablet.id)
    assert answers(accepted) == ["set_aside"] * 3
    assert ledger.authority() == before
    assert ledger.record(person.id) is None
    assert ledger.counts()["set_aside"] == 3
    assert answers(ledger.accept(tablet.entries(), tablet.id)) == ["set_aside"] * 3
    assert ledger.counts()["set_aside"] == 3
    assert ledger.pull(1, 10).rows == []


def test_a_pushed_change_cannot_take_a_key_from_a_person(ledger, osteologist):
    tablet = Tablet()
    tablet.write("bag", osteologist.id, {f"key/{osteologist.key}": None})
    assert answers(ledger.accept(tablet.entries(), tablet.id)) == ["set_aside"]
    assert (osteologist.id, osteologist.key) in ledger.authority().grants


def test_a_change_that_claims_the_cabins_notebook_grants_nothing(ledger):
    person = Osteologist()
    cabin = Tablet()
    cabin.id = ledger.names().notebook
    cabin.write("person", person.id, {f"key/{person.key}": person.grant}, n=2)
    assert answers(ledger.accept(cabin.entries(), "tablet")) == ["set_aside"]
    assert ledger.authority().grants == {}


# -- the human question


def seen(ledger, name: str) -> list[str]:
    return sorted(ledger.record(an_id(name)).added("human"))


def test_a_granted_assessment_clears_and_a_late_reading_raises_again(ledger, osteologist):
    tablet = Tablet()
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    ledger.write("docket", an_id("a"), osteologist.assess(an_id("a"), seen(ledger, "a")), {}, CABIN)
    assert ledger.holds() == []
    tablet.human("a", "query", "second")
    push(ledger, tablet)
    assert [(one.docket, one.answer) for one in ledger.holds()] == [(an_id("a"), "query")]


def test_an_assessment_by_an_ungranted_key_clears_nothing(ledger):
    tablet, stranger = Tablet(), Osteologist("stranger")
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    tablet.write("docket", an_id("a"), stranger.assess(an_id("a"), seen(ledger, "a")))
    push(ledger, tablet)
    (hold,) = ledger.holds()
    assert hold.answer == "stop"
    assert list(hold.standing.void.values()) == ["no_valid_signature"]


def test_granting_and_revoking_a_key_moves_the_dockets_that_hang_on_it(ledger):
    tablet, person = Tablet(), Osteologist()
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    tablet.write("docket", an_id("a"), person.assess(an_id("a"), seen(ledger, "a")))
    push(ledger, tablet)
    assert ledger.counts()["answers"] == {"stop": 1}
    granted(ledger, person)
    assert ledger.counts()["answers"] == {"non_human": 1}
    record = ledger.record(person.id)
    path = f"key/{person.key}"
    ledger.write("person", person.id, {path: {**person.grant, "revoked": True}}, {path: record.head_ids()[path]}, CABIN)
    assert ledger.counts()["answers"] == {"stop": 1}
    assert ledger.rebuild_matches()


def test_dockets_of_one_bone_are_on_hold_together_whoever_says_so(ledger):
    tablet = Tablet()
    for name in "abc":
        tablet.docket(name)
    tablet.human("a", "stop")
    tablet.human("c", "no_sign")
    tablet.write("docket", an_id("b"), {f"same_as/{an_id('a')}": True})
    tablet.write("docket", an_id("b"), {f"same_as/{an_id('c')}": True})
    push(ledger, tablet)
    found = ledger.holds()
    assert {one.docket for one in found} == {an_id(name) for name in "abc"}
    assert {one.answer for one in found} == {"stop"}
    assert {one.joined for one in found} == {tuple(sorted(an_id(name) for name in "abc"))}
    link = f"same_as/{an_id('a')}"
    tablet.write("docket", an_id("b"), {link: None}, {link: ledger.record(an_id("b")).head_ids()[link]})
    push(ledger, tablet)
    assert [one.docket for one in ledger.holds()] == [an_id("a")]


def test_a_hold_is_listed_before_its_docket_and_a_docket_before_its_hold(ledger):
    tablet = Tablet()
    values = {"docket": an_id("a"), "context": context_id(SITE, "1042"), "tier": "stop", "zone": "trench 3"}
    tablet.write("hold", hold_of("a"), values)
    push(ledger, tablet)
    (hold,) = ledger.holds()
    assert (hold.docket, hold.docket_record, hold.context) == (an_id("a"), None, context_id(SITE, "1042"))
    assert (hold.answer, hold.raised) == ("not_asked", False)
    tablet.docket("a")
    tablet.human("a", "stop")
    tablet.docket("b")
    tablet.human("b", "query")
    push(ledger, tablet)
    first, second = ledger.holds()
    assert (first.docket, first.answer, first.hold_record.id) == (an_id("a"), "stop", hold_of("a"))
    assert (second.docket, second.answer, second.hold_record) == (an_id("b"), "query", None)


def test_deleting_a_docket_or_claiming_another_kind_hides_no_raise(ledger):
    tablet = Tablet()
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    heads = ledger.record(an_id("a")).head_ids()
    tablet.write("docket", an_id("a"), {"deleted": True}, heads)
    tablet.write("bag", an_id("a"), {"label": "x"})
    push(ledger, tablet)
    assert [one.docket for one in ledger.holds()] == [an_id("a")]


def test_a_directors_word_releases_until_the_next_reading(ledger):
    tablet = Tablet()
    director = granted(ledger, Osteologist("director", "director"))
    tablet.docket("a")
    tablet.human("a", "stop")
    tablet.write("hold", hold_of("a"), {"docket": an_id("a")})
    push(ledger, tablet)
    ledger.write("hold", hold_of("a"), director.release(hold_of("a"), seen(ledger, "a")), {}, CABIN)
    assert [one.released for one in ledger.holds()] == [True]
    tablet.human("a", "stop", "second")
    push(ledger, tablet)
    assert [one.released for one in ledger.holds()] == [False]
