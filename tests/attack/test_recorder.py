"""Whatever a recorder's token pushes, and however often: the hold stands, and everybody is shown that it does."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldapp.domain import human
from fieldapp.records import changes, standing
from fieldapp.records.fold import fold
from fieldapp.store.notebook import Notebook
from server.ledger import Ledger
from tests.attack.changes import ATTACKS, HOLD, PATH, SHEEP, STOP, Attack
from tests.attack.people import Reader, Rogue
from tests.attack.standing import PIT, assert_stands, printed
from tests.server.review.scene import Scene
from tests.server.tablets import SITE, an_id, context_id, hold_of


def test_the_hold_stands_before_anything_is_done(scene: Scene, reader: Reader) -> None:
    assert_stands(scene, reader)


def test_what_is_asked_afterwards_can_fail(scene: Scene, reader: Reader, rogue: Rogue) -> None:
    rogue.write(
        "docket", STOP, {PATH: rogue.signed("human_osteologist", PATH, record=STOP, **SHEEP, seen=rogue.seen())}
    )
    assert rogue.push() == ["taken"]
    with pytest.raises(AssertionError):
        assert_stands(scene, reader)


@pytest.mark.parametrize("attack", ATTACKS.values(), ids=ATTACKS)
def test_the_hold_stands_after(attack: Attack, scene: Scene, reader: Reader, rogue: Rogue) -> None:
    attack(rogue)
    first, head = rogue.push(), scene.cabin.ledger.names().head
    assert set(first) <= {"taken", "known", "set_aside", "kept_unread"}
    assert set(rogue.push()) <= {"known", "set_aside", "kept_unread"}, "sent again, it is nothing new"
    assert scene.cabin.ledger.names().head == head
    assert_stands(scene, reader)


def test_after_all_of_it_together_the_desk_can_still_write_to_the_log_and_raise(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    for name, attack in ATTACKS.items():
        if name != "an_assessment_with_a_key_that_was_revoked":  # others sign with that key
            attack(rogue)
    rogue.push()
    assert_stands(scene, reader)
    visitor, page = scene.signed_in("supervisor"), f"/review/hold/{STOP}"
    form = {**visitor.form(page, page + "/step"), "what": "told", "whom": "somebody new"}
    assert visitor.post(page + "/step", form).status_code == 302
    assert "somebody new" in visitor.get(page).text
    rogue.tablet.human("rib", "query", "rib first")
    rogue.push()
    assert an_id("rib") in {one.docket for one in scene.cabin.ledger.holds() if one.raised}


@pytest.mark.parametrize("move", ["docket", "bag"])
def test_a_docket_moved_to_another_context_takes_its_hold_there(
    move: str, scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    there = context_id(SITE, "1042")
    values: dict[str, Any] = {"context": there} if move == "docket" else {"bag": an_id("bag")}
    rogue.write("docket", STOP, values, rogue.heads(STOP, *values))
    rogue.push()
    assert_stands(scene, reader, context=there)
    paper = printed(scene.signed_in("director"), f"/review/context/{PIT}/sheet.pdf")
    assert "STOP. POSSIBLE HUMAN REMAINS" in paper, "the sheet of where it was found says that a hold belongs there"


def test_the_bag_of_a_hold_deleted_or_sent_elsewhere_hides_nothing(scene: Scene, rogue: Rogue) -> None:
    for values in ({"deleted": True}, {"context": "no context"}):
        rogue.write("bag", an_id("bag"), values, rogue.heads(an_id("bag")))
        rogue.push()
        assert {an_id("query"), an_id("twin")} <= {one.docket for one in scene.cabin.ledger.holds() if one.raised}
        assert f'href="/review/hold/{an_id("query")}"' in scene.signed_in("director").get("/review/today").text


def test_a_bone_assessed_as_human_is_not_made_a_query_by_a_second_site(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    path = f"assessment/{an_id('human')}"
    verdict = {**SHEEP, "verdict": "human", "taxon": "human", "seen": rogue.seen()}
    signed = rogue.signed("human_osteologist", path, record=STOP, **verdict)
    scene.cabin.ledger.write("docket", STOP, {path: signed}, {}, scene.accounts["human_osteologist"][0].by)
    assert_stands(scene, reader, answer=human.HUMAN)
    ATTACKS["another_site_claimed"](rogue)
    assert_stands(scene, reader, answer=human.HUMAN)


def test_an_old_assessment_sent_again_does_not_bring_back_what_was_overturned(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    ledger, by = scene.cabin.ledger, scene.accounts["human_osteologist"][0].by
    old = rogue.signed("human_osteologist", PATH, record=STOP, **SHEEP, seen=rogue.seen())
    ledger.write("docket", STOP, {PATH: old}, {}, by)
    path = f"assessment/{an_id('second thought')}"
    seen = [*rogue.seen(), *rogue.record(STOP).added("assessment")]
    verdict = {**SHEEP, "verdict": "human", "taxon": "human", "seen": seen}
    ledger.write("docket", STOP, {path: rogue.signed("human_osteologist", path, record=STOP, **verdict)}, {}, by)
    for _ in range(3):
        rogue.write("docket", STOP, {PATH: old}, rogue.heads(STOP))
        rogue.push()
    assert_stands(scene, reader, answer=human.HUMAN)


def test_one_zooarchaeologists_assessment_sent_twice_is_not_two_readers(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    tansy = scene.accounts["zooarchaeologist"][0]
    policy = {"zooarchaeologists_may_assess": [tansy.person], "second_reader": True}
    ledger = scene.cabin.ledger
    ledger.write("site", SITE, {"policy": policy}, rogue.heads(SITE, "policy"), scene.accounts["director"][0].by)
    for path in (PATH, PATH, f"assessment/{an_id('again')}"):
        signed = rogue.signed("zooarchaeologist", path, record=STOP, **SHEEP, seen=rogue.seen())
        rogue.write("docket", STOP, {path: signed})
    rogue.push()
    assert_stands(scene, reader)


def test_a_release_does_not_cover_a_raise_that_came_after_it(scene: Scene, reader: Reader, rogue: Rogue) -> None:
    path = f"release/{an_id('real')}"
    signed = rogue.signed("director", path, record=HOLD, word_of="x", reference="y", seen=rogue.seen())
    scene.cabin.ledger.write("hold", HOLD, {path: signed}, {}, scene.accounts["director"][0].by)
    assert next(one for one in scene.cabin.ledger.holds() if one.docket == STOP).released
    scene.b.human("stop", "query", "more of it")
    scene.send()
    rogue.write("hold", HOLD, {path: {**signed, "seen": rogue.seen()}})
    rogue.write("hold", HOLD, {path: signed})
    rogue.push()
    assert_stands(scene, reader)


def test_a_withdrawn_tablet_pushes_nothing_more(scene: Scene, rogue: Rogue) -> None:
    letter = next(one.letter for one in scene.cabin.devices.all() if one.notebook == rogue.tablet.id)
    scene.cabin.devices.withdraw(letter)
    head = scene.cabin.ledger.names().head
    answer = rogue.client.post("/api/v1/push", json={"changes": []}, headers=rogue.headers)
    assert answer.status_code == 401
    assert scene.cabin.ledger.names().head == head


# -- in whatever order it comes


def _everything(scene: Scene, rogue: Rogue) -> list[changes.Change]:
    for name, attack in ATTACKS.items():
        if name != "an_assessment_with_a_key_that_was_revoked":
            attack(rogue)
    rogue.push()
    return [changes.read(body) for _, _, body in scene.cabin.ledger.pull(0, 10_000).rows]


def test_the_cautious_side_stands_whatever_the_order(scene: Scene, rogue: Rogue, tmp_path_factory: Any) -> None:
    written = _everything(scene, rogue)
    who, site = scene.cabin.ledger.authority(), scene.cabin.ledger.site()
    cabins = [one for one in written if one.kind in ("site", "person")]
    about = [one for one in written if one.record in (STOP, HOLD)]
    assert len(about) > 30

    @settings(max_examples=15, suppress_health_check=list(HealthCheck))
    @given(st.permutations(about), st.integers(0, len(about)))
    def check(order: list[changes.Change], cut: int) -> None:
        folded = fold(order).records[STOP]
        assert standing.standing_of(folded, who).answer == human.STOP
        folder = tmp_path_factory.mktemp("order")
        ledger = Ledger.create(folder / "ledger", code="TST26", name=str(site.value("name")), seal_key="")
        with ledger.database.writing() as connection:
            for one in cabins:
                if one.kind == "person":
                    ledger.write_in(connection, one.kind, one.record, one.set, one.over, one.by)
        with Notebook.open(folder / "notebook", scene.cabin.config.clock, lambda: an_id(str(folder))) as notebook:
            for batch in (order[:cut], order[cut:], order):
                ledger.accept([(one.id, one.body) for one in batch], "tablet")
                notebook.pull(batch)
            found = notebook.load().get(STOP)
            assert found is not None
            assert found.kind == "docket"
            assert standing.standing_of(found, who).answer == human.STOP
        (hold,) = [one for one in ledger.holds() if one.docket == STOP]
        assert (hold.answer, hold.raised, hold.released) == (human.STOP, True, False)
        assert hold.hold_record is not None
        assert hold.hold_record.id == hold_of("stop")
        ledger.close()

    check()
