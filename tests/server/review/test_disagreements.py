"""Settling a disagreement, losing nothing over it, and opening it again."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fieldapp.assets import knowledge, texts
from fieldapp.domain.readings import coarser
from fieldapp.records.fold import Record
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, seen
from tests.server.review.test_pages import text_of
from tests.server.tablets import SITE, an_id, context_id

pytestmark = BOTH
READING = f"/review/disagreement/{an_id('disputed')}/reading"
PRECISE = f"/review/disagreement/{an_id('precise')}/reading"
DELETED = f"/review/disagreement/{an_id('deleted')}/deleted"
PHASE = f"/review/disagreement/{context_id(SITE, '1057')}/phase"


def choice_of(record: Record, path: str, value: Any) -> str:
    """The id of the head that holds a value."""
    return next(one for one, held in record.heads[path].items() if held == value)


def settle(visitor: Visitor, page: str, choice: str, reason: str = "seen on the bone", **more: Any) -> Any:
    form = {**visitor.form(page, page), "choice": choice, "reason": reason, **more}
    return visitor.post(page, form)


def test_the_versions_stand_side_by_side_with_who_when_and_what_differs(scene: Scene) -> None:
    page = text_of(scene.signed_in("zooarchaeologist"), READING)
    for words in ("Version A", "Version B", "Wren, recorder", "Moss, recorder", "stage trench"):
        assert words in page
    assert "left ≠ in conflict" in page
    assert "sheep ≠ in conflict" in page
    assert "tibia ≠" not in page
    assert "Record the coarser one" not in page, "only where nothing conflicts"


def test_taking_a_version_settles_it_and_the_other_stays_in_the_history(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("disputed")
    sheep = choice_of(before, "reading", seen("sheep"))
    answer = settle(visitor, READING, sheep, "the distal end is a sheep's")
    assert answer.status_code == 302
    after = scene.record("disputed")
    assert after.disagreements() == {}
    assert after.value("reading") == seen("sheep")
    change = scene.cabin.ledger.history(after.id)[-1].change
    assert sorted(change.over["reading"]) == sorted(before.heads["reading"])
    assert change.notebook == scene.cabin.ledger.names().notebook
    assert change.by["name"] == "Tansy"
    assert change.by["role"] == "zooarchaeologist"
    assert any(value["text"].endswith("the distal end is a sheep's") for value in after.items("note").values())
    page = text_of(visitor, answer.location)
    assert "Settled. What lost stays readable" in page
    assert "right tibia, pig" in page
    assert "the distal end is a sheep's" in page
    assert "right tibia, pig" in text_of(visitor, f"/review/docket/{an_id('disputed')}")
    assert scene.cabin.ledger.rebuild_matches()


def test_the_coarser_one_is_offered_for_precision_alone_and_recorded_as_the_domain_gives_it(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assert "Record the coarser one that all support: left femur, sheep/goat" in text_of(visitor, PRECISE)
    heads = list(scene.record("precise").heads["reading"].values())
    assert settle(visitor, PRECISE, "coarser").status_code == 302
    after = scene.record("precise")
    assert after.disagreements() == {}
    assert after.value("reading") == coarser(heads[0], heads[1], knowledge())
    assert after.value("reading")["taxon"] == "sheep_goat"
    assert settle(scene.signed_in("zooarchaeologist"), READING, "coarser").status_code == 400
    assert "reading" in scene.record("disputed").disagreements()


def test_a_head_that_came_meanwhile_keeps_it_open_and_the_page_says_so(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("disputed")
    form = visitor.form(READING, READING)
    late = scene.b.write("docket", an_id("disputed"), {"reading": seen("goat")}, {"reading": [scene.b.changes[2].id]})
    scene.send()
    chosen = choice_of(before, "reading", seen("sheep"))
    answer = visitor.post(READING, {**form, "choice": chosen, "reason": "seen on the bone"})
    assert answer.status_code == 302
    heads = scene.record("disputed").heads["reading"]
    assert late.id in heads, "the late one is not lost"
    assert seen("sheep") in heads.values(), "nor the settlement"
    assert len(heads) == 2
    page = text_of(visitor, answer.location)
    assert "the disagreement stays open and nothing is lost" in page
    assert "left tibia, goat" in page


def test_two_people_who_settle_the_same_form_differently_disagree(scene: Scene) -> None:
    one, other = scene.signed_in("zooarchaeologist"), scene.signed_in("human_osteologist")
    first, second = one.form(READING, READING), other.form(READING, READING)
    sheep, pig = sorted(scene.record("disputed").heads["reading"])
    one.post(READING, {**first, "choice": sheep, "reason": "x"})
    answer = other.post(READING, {**second, "choice": pig, "reason": "y"})
    assert len(scene.record("disputed").heads["reading"]) == 2
    assert "stays open and nothing is lost" in text_of(other, answer.location)


def test_two_people_who_settle_it_alike_agree(scene: Scene) -> None:
    one, other = scene.signed_in("zooarchaeologist"), scene.signed_in("human_osteologist")
    first, second = one.form(READING, READING), other.form(READING, READING)
    sheep = min(scene.record("disputed").heads["reading"])
    one.post(READING, {**first, "choice": sheep, "reason": "x"})
    other.post(READING, {**second, "choice": sheep, "reason": "y"})
    assert scene.record("disputed").disagreements() == {}


def test_a_form_that_is_sent_twice_settles_and_opens_again_once(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = {**visitor.form(READING, READING), "choice": min(scene.record("disputed").heads["reading"]), "reason": "x"}
    for where, sent, stand in ((READING, form, 1), (f"{READING}/open", None, 2)):
        sent = sent or {**visitor.form(READING, where), "reason": "y"}
        for _ in range(2):
            assert visitor.post(where, sent).status_code == 302
        assert len(scene.record("disputed").heads["reading"]) == stand
    assert [one["text"].rpartition(" ")[2] for one in scene.record("disputed").items("note").values()].count("x") == 1
    assert [one.what for one in scene.cabin.ledger.events(2)] == ["opened_again", "settled"]
    # Whoever says the same for another reason is heard, too.
    again = {**visitor.form(READING, READING), "choice": min(scene.record("disputed").heads["reading"])}
    for reason in ("seen again", "and once more"):
        visitor.post(READING, {**again, "reason": reason})
    told = [one["text"] for one in scene.record("disputed").items("note").values()]
    assert all(any(reason in one for one in told) for reason in ("seen again", "and once more"))


def test_opening_it_again_puts_the_versions_back_and_keeps_the_settlement(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("disputed")
    settle(visitor, READING, min(before.heads["reading"]))
    settled = scene.record("disputed")
    form = {**visitor.form(READING, READING + "/open"), "reason": "I was wrong"}
    answer = visitor.post(READING + "/open", form)
    assert answer.status_code == 302
    after = scene.record("disputed")
    assert len(after.heads["reading"]) == 2
    wanted = sorted(map(json.dumps, before.heads["reading"].values()))
    assert sorted(map(json.dumps, after.heads["reading"].values())) == wanted
    assert set(after.heads["reading"]).isdisjoint(settled.heads["reading"])
    page = text_of(visitor, answer.location)
    assert "Open again" in page
    assert "Said before by: Wren, recorder" in page, "whose reading it was is not lost"
    assert "Said before by: Moss, recorder" in page
    assert scene.cabin.ledger.rebuild_matches()
    settle(visitor, READING, choice_of(after, "reading", seen("sheep")))
    assert scene.record("disputed").disagreements() == {}, "and it can be settled again"


def test_opening_again_what_was_settled_to_the_coarser_one_restores_both(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("precise").heads["reading"]
    settle(visitor, PRECISE, "coarser")
    visitor.post(PRECISE + "/open", {**visitor.form(PRECISE, PRECISE + "/open"), "reason": "compared again"})
    after = scene.record("precise").heads["reading"]
    assert sorted(map(json.dumps, before.values())) == sorted(map(json.dumps, after.values()))


def test_what_was_never_in_dispute_cannot_be_opened(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    page = f"/review/disagreement/{an_id('rib')}/count"
    head = next(iter(scene.record("rib").heads["count"]))
    token = visitor.form("/review/today", "/review/sign-out")["csrf"]
    form = {"csrf": token, "heads": json.dumps({"count": [head]}), "reason": "x"}
    assert visitor.post(page + "/open", form).status_code == 409


def test_a_disputed_deletion_is_kept_or_done_by_somebody_who_has_seen_everything(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    assert "What the deletion had not seen Deleted by Wren, recorder" in text_of(visitor, DELETED)
    assert "weight: 3 g" in text_of(visitor, DELETED)
    assert scene.record("deleted").life() == "disputed"
    settle(visitor, DELETED, "delete")
    assert scene.record("deleted").life() == "deleted"
    assert "Keep it after all" in text_of(visitor, DELETED)
    form = {**visitor.form(DELETED, DELETED), "reason": "found again"}
    visitor.post(DELETED, {**form, "choice": "keep"})
    assert scene.record("deleted").life() == "live"


def test_keeping_a_record_whose_deletion_is_disputed(scene: Scene) -> None:
    settle(scene.signed_in("zooarchaeologist"), DELETED, "keep")
    record = scene.record("deleted")
    assert record.life() == "live"
    assert record.value("weight_g") == 3.0


def test_a_deletion_settled_against_a_change_that_came_meanwhile_stays_disputed(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = visitor.form(DELETED, DELETED)
    scene.b.write("docket", an_id("deleted"), {"count": 2})
    scene.send()
    answer = visitor.post(DELETED, {**form, "choice": "delete", "reason": "a twin"})
    assert scene.record("deleted").life() == "disputed"
    assert "stays open and nothing is lost" in text_of(visitor, answer.location)


@pytest.mark.parametrize("missing", ["choice", "reason"])
def test_nothing_is_settled_without_a_choice_and_a_reason_and_the_form_keeps_what_was_typed(
    scene: Scene, missing: str
) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    form = {**visitor.form(READING, READING), "choice": min(scene.record("disputed").heads["reading"])}
    answer = visitor.post(READING, {**form, "reason": "a long thought", missing: " "})
    body = answer.get_data(as_text=True)
    assert answer.status_code == 400
    assert "Nothing was changed" in body
    assert ("a long thought" in body) is (missing == "choice")
    assert (" checked" in body) is (missing == "reason")
    assert scene.cabin.ledger.names().head == head


def test_heads_that_no_form_showed_are_refused(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    wrong = ("", "[]", "{}", "{" * 5000, '{"weight_g": ["x"]}')
    for heads in (*wrong, *(f'{{"reading": {one}}}' for one in ("[]", '["' + "0" * 64 + '"]', "[1]", '"x"', "null"))):
        assert settle(visitor, READING, "coarser", heads=heads).status_code == 400, heads
    assert scene.cabin.ledger.names().head == head


def test_a_choice_that_was_no_version_is_refused(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    for choice in ("keep", "delete", "0" * 64, next(iter(scene.record("precise").heads["reading"]))):
        assert settle(visitor, READING, choice).status_code == 400


@pytest.mark.parametrize(
    ("role", "docket", "context"),
    [
        ("recorder", False, False),
        ("supervisor", False, True),
        ("director", False, True),
        ("administrator", False, False),
        ("zooarchaeologist", True, True),
        ("human_osteologist", True, True),
    ],
)
def test_who_may_not_settle_is_not_offered_it_and_is_refused(
    scene: Scene, role: str, docket: bool, context: bool
) -> None:
    visitor = scene.signed_in(role)
    token = visitor.form("/review/today", "/review/sign-out")["csrf"]
    for page, allowed, record, path in (
        (READING, docket, scene.record("disputed"), "reading"),
        (PHASE, context, scene.cabin.ledger.record(context_id(SITE, "1057")), "phase"),
    ):
        assert record is not None
        assert ("Record what stands" in text_of(visitor, page)) is allowed
        heads = sorted(record.heads[path])
        form = {"csrf": token, "heads": json.dumps({path: heads}), "choice": heads[0], "reason": "x"}
        answer = visitor.post(page, form)
        assert answer.status_code == (302 if allowed else 403)
        if not allowed:
            assert "does not give this to your role" in answer.get_data(as_text=True)
            assert visitor.post(page + "/open", form).status_code == 403


def test_settling_a_reading_leaves_the_human_question_where_it_was(scene: Scene) -> None:
    scene.b.write("docket", an_id("query"), {"reading": seen("sheep", "humerus")})
    scene.send()
    page = f"/review/disagreement/{an_id('query')}/reading"
    visitor = scene.signed_in("zooarchaeologist")
    answers = {one.docket: one.answer for one in scene.cabin.ledger.holds()}
    scene.a.write("docket", an_id("query"), {"reading": seen("cattle", "humerus")})
    scene.send()
    settle(visitor, page, choice_of(scene.record("query"), "reading", seen("cattle", "humerus")))
    assert {one.docket: one.answer for one in scene.cabin.ledger.holds()} == answers


def test_what_the_pages_write_is_looked_at_by_the_rules(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    settle(visitor, READING, min(scene.record("disputed").heads["reading"]))
    assert scene.cabin.ledger.counts()["due"] == 0


def test_whose_role_settles_nothing_is_told_before_the_versions(scene: Scene) -> None:
    words = texts()["review.settle.not_you"].replace("'", "&#39;")
    page = scene.signed_in("director").get(READING).text
    assert page.count(words) == 1
    assert page.index(words) < page.index('class="versions')
    assert words not in scene.signed_in("zooarchaeologist").get(READING).text
