"""What a tablet with nothing to send is told, and what comes with the answer to one that sends."""

from __future__ import annotations

from email.utils import parsedate_to_datetime

import pytest

from fieldapp.records import wire
from tests.server.tablets import Tablet, an_id
from tests.server.test_api import let_in, push, tell

__all__ = ["let_in"]


@pytest.fixture
def tablet(client, let_in):
    """A tablet that has sent what it wrote, with its headers."""
    tablet = Tablet()
    headers = let_in(tablet)
    tablet.docket("a")
    push(client, tablet, headers)
    return tablet, headers


def known(cabin, own: int) -> str:
    names = cabin.ledger.names()
    (_, last, _) = cabin.ledger.pull(names.head - 1, 1).rows[0]
    return f'"{wire.tag(names.epoch, names.head, last, own)}"'


def news(client, headers, tag: str = ""):
    return client.get("/api/v1/news", headers={**headers, **({"If-None-Match": tag} if tag else {})})


def test_who_knows_everything_is_told_so_in_a_few_bytes_and_with_the_cabins_time(client, cabin, tablet, clock):
    _, headers = tablet
    answer = news(client, headers, known(cabin, 1))
    assert (answer.status_code, answer.data) == (304, b"")
    assert parsedate_to_datetime(answer.headers["Date"]) == clock()
    assert sum(len(name) + len(value) + 4 for name, value in answer.headers) < 150


def test_whatever_is_new_is_told(client, cabin, tablet, let_in):
    _, headers = tablet
    tag = known(cabin, 1)
    assert news(client, headers).json["head"] == 2
    assert news(client, headers, '"' + "0" * 16 + '"').status_code == 200
    # An old copy of it knows of fewer changes of its own.
    assert news(client, headers, known(cabin, 0)).status_code == 200
    other = Tablet("another")
    others = let_in(other)
    other.docket("b")
    push(client, other, others)
    assert news(client, headers, tag).status_code == 200
    assert news(client, headers, known(cabin, 1)).status_code == 304
    cabin.ledger.renew("put back")
    assert news(client, headers, tag).status_code == 200


def test_a_tablet_that_was_copied_is_never_told_that_there_is_nothing(client, cabin, tablet):
    one, headers = tablet
    copy = Tablet()
    copy.docket("c", count=9)
    push(client, copy, headers)
    assert cabin.ledger.forked(one.id)
    for tag in (known(cabin, 1), '""', "*"):
        assert news(client, headers, tag).status_code == 200


def test_a_tablet_that_asks_for_news_was_here(client, cabin, tablet, clock):
    _, headers = tablet
    clock.now = clock.now.replace(hour=clock.now.hour + 2)
    news(client, headers, known(cabin, 1))
    (device,) = cabin.devices.all()
    assert device.seen_at == cabin.ledger.now()


def test_the_page_that_is_asked_for_with_a_batch_is_what_a_pull_would_answer(client, cabin, tablet, let_in):
    one, headers = tablet
    other = Tablet("another")
    others = let_in(other)
    other.docket("b")
    push(client, other, others)
    one.docket("d")
    then = {"since": 1, "limit": 1, "lean": 1, "epoch": cabin.ledger.names().epoch}
    changes = [{"id": change, "body": body} for change, body in one.entries(1)]
    answer = tell(client, "/api/v1/push", {"changes": changes, "then": then}, headers=headers).json
    pulled = client.get("/api/v1/pull", query_string=then, headers=headers).json
    assert answer["page"] == pulled
    # What it has just sent is counted, and is not sent back.
    assert (answer["page"]["cursor"], answer["page"]["own"]) == (4, 2)
    assert other.entries()[0][1] in answer["page"]["batch"]["bodies"]
    assert cabin.ledger.record(an_id("d")) is not None
    wrong = tell(client, "/api/v1/push", {"changes": [], "then": {"limit": 0}}, headers=headers)
    assert wrong.status_code == 422
