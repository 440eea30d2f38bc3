"""At a tablet's own store: what came from others, or was done to its tables, takes nothing off a hold there."""

from __future__ import annotations

import pytest

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.store.errors import TableIsAView
from fieldapp.store.notebook import Notebook
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.hold import Hold
from tests.attack.changes import HOLD, STOP
from tests.attack.people import Reader, Rogue
from tests.server.conftest import Clock
from tests.server.review.scene import Scene
from tests.server.tablets import an_id


def test_the_tables_of_the_store_take_no_hold_away(scene: Scene, reader: Reader) -> None:
    desk = reader.pulled()
    for table, record in (("dockets", STOP), ("holds", HOLD)):
        for spoil in (
            lambda one, record=record: one.remove(doc_ids=[record]),
            lambda one, record=record: one.update({"human": {}, "deleted": True}, doc_ids=[record]),
            lambda one: one.truncate(),
        ):
            with pytest.raises(TableIsAView):
                spoil(desk.notebook.db.table(table))
    with pytest.raises(TableIsAView):
        desk.notebook.db.drop_tables()
    assert desk.standing(desk.record(STOP)) == human.STOP  # type: ignore[arg-type]


def test_a_raise_deleted_and_undone_on_a_tablet_stands_there_and_after_it_was_opened_again(
    scene: Scene, reader: Reader, clock: Clock
) -> None:
    desk = reader.pulled()
    desk.delete(STOP)
    desk.delete(HOLD)
    folder = reader.notebook.folder
    reader.notebook.close()
    with Notebook.open(folder, clock, lambda: an_id("again")) as again:
        desk = Desk(again, knowledge())
        record = desk.record(STOP)
        assert record is not None
        assert record.life() == "deleted"
        assert desk.is_raised(record)
        assert STOP in {one.id for one in desk.dockets(desk.context_of(record) or "")}


def test_a_milder_tier_from_elsewhere_leaves_the_steps_of_the_stop_on_the_tablet(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    rogue.write("hold", HOLD, {"tier": "query"}, rogue.heads(HOLD, "tier"))
    rogue.push()
    assert Hold(reader.pulled(), STOP).in_place


def test_a_bone_that_was_only_ever_assessed_as_human_is_among_the_raised(
    scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    docket, path = an_id("worn"), f"assessment/{an_id('worn human')}"
    verdict = {"verdict": "human", "taxon": "human", "seen": rogue.seen("worn"), "bone_seen": "bone"}
    signed = rogue.signed("human_osteologist", path, record=docket, **verdict)
    scene.cabin.ledger.write("docket", docket, {path: signed}, {}, scene.accounts["human_osteologist"][0].by)
    desk = reader.pulled()
    record = desk.record(docket)
    assert record is not None
    assert desk.standing(record) == human.HUMAN
    assert desk.is_raised(record)
