"""The forms that batches travel in, and what a copied tablet is told of its copy. Without sockets."""

from __future__ import annotations

import shutil

import pytest
from sqlalchemy import delete

from fieldapp.sync.errors import NotUnderstood, Refused
from fieldapp.sync.exchange import exchange
from server.ledger import tables
from tests.server.tablets import an_id
from tests.sync.conftest import BY
from tests.sync.test_exchange import docket, known_to


@pytest.fixture
def pair(site, new_notebook):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    return one, other


def test_a_cabin_that_knows_no_batches_without_hashes_gets_them_plain(site, pair):
    one, other = pair
    for number in range(3):
        docket(one, f"a{number}", count=number)
    way, forms = site.way(one), []
    ask = way.ask

    def older(method, path, *, body=None, query=None):
        if path.endswith("push"):
            forms.append(sorted(body))
            if "batch" in body:
                raise Refused(status=422, message="Missing data for required field.")
        query = {name: value for name, value in query.items() if name != "lean"} if query else None
        return ask(method, path, body=body, query=query)

    way.ask = older
    assert exchange(one, way).sent == 3
    assert forms == [["batch", "epoch", "then"], ["changes", "epoch"]]
    way = site.way(other)
    ask = way.ask
    way.ask = older
    assert exchange(other, way).received == 4
    assert known_to(other) == known_to(one)


def test_what_is_answered_for_without_having_been_sent_is_not_believed(site, pair):
    one, _ = pair
    docket(one, "a", count=1)
    way = site.way(one)
    ask = way.ask
    way.ask = lambda method, path, **more: (
        {**ask(method, path, **more), "answers": [{"at": 1, "answer": "known", "why": ""}]}
        if path.endswith("push")
        else ask(method, path, **more)
    )
    with pytest.raises(NotUnderstood):
        exchange(one, way)
    assert one.unsent_count(site.cabin.fingerprint) == 1


def test_what_a_copy_brought_under_numbers_given_twice_reaches_the_other_copy(site, pair, new_notebook, tmp_path):
    """The other copy had sent its own before and sends nothing any more: it is the cabin that must tell."""
    one, _ = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    one.close()
    shutil.copytree(tmp_path / "one", tmp_path / "copy", ignore=shutil.ignore_patterns("lock"))
    one, copy = new_notebook("one"), new_notebook("copy")
    docket(one, "b", count=2)
    exchange(one, site.way(one))
    theirs = docket(copy, "b", count=3)
    assert exchange(copy, site.way(copy)).forks
    report = exchange(one, site.way(one))
    assert report.forks
    assert theirs.id in known_to(one)
    assert [record.id for record in one.disputed()] == [an_id("b")]
    asked = []
    way = site.way(one)
    ask = way.ask
    way.ask = lambda *args, **more: (asked.append(args), ask(*args, **more))[1]
    report = exchange(one, way)
    assert (report.received, report.forks) == (0, True)
    assert len(asked) <= 3, "fetched once, it is not fetched again"


def test_an_edit_of_what_the_cabin_has_is_sent_in_a_few_bytes(site, pair):
    one, other = pair
    for number in range(50):
        docket(one, f"a{number}", count=number)
    exchange(one, site.way(one))
    exchange(other, site.way(other))
    for record in other.records("docket"):
        other.save("docket", record.id, {"count": 99}, {"count": record.head_ids()["count"]}, BY)
    report = exchange(other, site.way(other))
    assert report.sent == 50
    assert report.bytes_sent / 50 < 30
    exchange(one, site.way(one))
    assert {record.value("count") for record in one.records("docket")} == {99}
    assert known_to(one) == known_to(other)


def test_a_cabin_that_has_lost_what_an_edit_is_written_over_gets_it_whole(site, pair):
    one, _ = pair
    change = docket(one, "a", count=1)
    exchange(one, site.way(one))
    docket(one, "a", {"count": [change.id]}, count=2)
    with site.ledger.database.writing() as connection:
        connection.execute(delete(tables.change).where(tables.change.c.id == change.id))
        connection.execute(delete(tables.problem).where(tables.problem.c.record == an_id("a")))
        connection.execute(delete(tables.record).where(tables.record.c.id == an_id("a")))
    report = exchange(one, site.way(one))
    # What it has lost comes again too: another change stands at the cursor than the tablet's.
    assert (report.sent, report.epoch_changed) == (2, True)
    assert site.ledger.record(an_id("a")).value("count") == 2
    assert site.ledger.rebuild_matches()
