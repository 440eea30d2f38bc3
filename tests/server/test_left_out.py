"""A batch from which is left out what the cabin has: put together again to the byte, or refused and sent whole."""

from __future__ import annotations

import pytest
from sqlalchemy import update

from fieldapp.records import batches
from server.ledger import tables
from tests.server.tablets import Tablet, an_id, entries
from tests.server.test_api import let_in, push, tell

__all__ = ["let_in"]


@pytest.fixture
def edited(client, let_in):
    """(a tablet that has sent two dockets and edited both, its headers, the edits)."""
    tablet = Tablet()
    headers = let_in(tablet)
    first = [tablet.docket("a", count=1), tablet.docket("b", count=1, note="~3 cm")]
    push(client, tablet, headers)
    edits = [tablet.write("docket", one.record, {"count": 2}, {"count": [one.id]}) for one in first]
    return tablet, headers, edits


def send(client, headers, batch):
    return tell(client, "/api/v1/push", {"epoch": "", "batch": batch}, headers=headers)


def test_edits_arrive_to_the_byte_though_neither_record_nor_ids_are_sent(client, cabin, edited):
    _, headers, edits = edited
    batch = batches.packed(entries(edits), known=True)
    sent = "".join(batch["bodies"])
    assert not any(one.record in sent for one in edits)
    answer = send(client, headers, batch)
    assert (answer.status_code, answer.json["answers"]) == (200, [])
    assert answer.json["check"] == batches.check(one.id for one in edits)
    assert [one.change.body for one in cabin.ledger.history(an_id("b"))][-1] == edits[1].body
    assert [cabin.ledger.record(an_id(name)).value("count") for name in "ab"] == [2, 2]


def test_what_two_changes_could_be_meant_by_is_refused_and_nothing_is_kept(client, cabin, edited):
    tablet, headers, edits = edited
    other = Tablet("another")
    other.docket("c")
    cabin.ledger.accept(other.entries(), other.id)
    twin = tablet.changes[0].id[:8] + "f" * 56
    with cabin.ledger.database.writing() as connection:
        connection.execute(update(tables.change).where(tables.change.c.notebook == other.id).values(id=twin))
        connection.execute(update(tables.record).where(tables.record.c.id == an_id("c")).values(state=twin))
    assert cabin.ledger.beginning_with({tablet.changes[0].id[:8], tablet.changes[1].id[:8], "00000000"}) == {
        tablet.changes[1].id[:8]: (tablet.changes[1].id, an_id("b"))
    }
    head = cabin.ledger.names().head
    refused = send(client, headers, batches.packed(entries(edits), known=True))
    assert refused.status_code == 422
    assert refused.json["errors"]["json"]["batch"]
    assert cabin.ledger.names().head == head
    # As the tablet then does.
    whole = tell(
        client, "/api/v1/push", {"changes": [{"id": one.id, "body": one.body} for one in edits]}, headers=headers
    )
    assert [one["answer"] for one in whole.json["answers"]] == ["taken", "taken"]


def test_what_would_grow_out_of_all_measure_is_refused(client, edited):
    _, headers, _ = edited
    batch = {"bodies": ['"~00000000"' * (batches.MOST_LEFT_OUT + 1)], "check": ""}
    assert send(client, headers, batch).status_code == 422
