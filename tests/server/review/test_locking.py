"""A locked context is not altered in any other way either: settling, pairs, groups; a raise always goes through."""

from __future__ import annotations

import json

import pytest

from tests.server.review.scene import Scene, Visitor, label
from tests.server.review.test_settling import sent_back
from tests.server.tablets import SITE, an_id, context_id

DITCH = context_id(SITE, "1042")


@pytest.fixture
def locked(scene: Scene) -> Visitor:
    """A specialist at a site whose context 1042 is locked."""
    scene.a.write("context", DITCH, {"locked": True})
    scene.send()
    return scene.signed_in("zooarchaeologist")


def heads(scene: Scene, name: str, path: str) -> str:
    return json.dumps({path: sorted(scene.record(name).heads[path])})


def changes(scene: Scene) -> int:
    return scene.cabin.ledger.names().head


def test_a_disagreement_is_not_settled_and_what_was_typed_stays(scene: Scene, locked: Visitor) -> None:
    page, before = f"/review/disagreement/{an_id('disputed')}/reading", changes(scene)
    choice = sorted(scene.record("disputed").heads["reading"])[0]
    form = {"heads": heads(scene, "disputed", "reading"), "choice": choice, "reason": "seen again, twice"}
    answer = locked.post(page, {**locked.form(page, page), **form})
    assert answer.status_code == 409
    assert "locked" in answer.text
    assert "seen again, twice" in answer.text
    assert changes(scene) == before


def test_nothing_in_it_is_among_what_is_settled_together(scene: Scene, locked: Visitor) -> None:
    causes = locked.get("/review/disagreements/causes").text
    assert "sheep / sheep/goat" not in causes
    assert "phase" in causes, "what lies elsewhere is"


def test_neither_pairs_nor_groups_nor_third_readings_are_written_in_it(scene: Scene, locked: Visitor) -> None:
    before = changes(scene)
    pair = f"/review/pair/{an_id('rib')}/{an_id('heavy')}"
    answer = locked.post(pair, {**locked.form(pair, pair), "said": "two_bones", "reason": "held side by side"})
    assert (answer.status_code, "held side by side" in answer.text) == (409, True)
    new = "/review/groups/new"
    form = {"labels": f"{label('A', 3)}\n{label('A', 4)}", "relation": "associated", "reason": "found together"}
    answer = locked.post(new, {**locked.form(new, new), **form})
    assert (answer.status_code, "found together" in answer.text) == (409, True)
    third = f"/review/third-reading/{an_id('precise')}"
    looked = sent_back(locked.get(third).text)
    answer = locked.post(third, {**looked, "reason": "against the collection"})
    assert (answer.status_code, "against the collection" in answer.text) == (409, True)
    assert changes(scene) == before


def test_a_raise_goes_through_all_the_same(scene: Scene, locked: Visitor) -> None:
    page = f"/review/docket/{an_id('rib')}"
    form = locked.form(page, f"{page}/raise")
    assert locked.post(f"{page}/raise", {**form, "answer": "query", "why": "a rib like ours"}).status_code == 302
    assert any(one.docket == an_id("rib") and one.raised for one in scene.cabin.ledger.holds())
