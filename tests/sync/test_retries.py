"""How an exchange bears cuts, slow answers and somebody who cancels; how much goes at once. Without sockets."""

from __future__ import annotations

import pytest

from fieldapp.records import batches
from fieldapp.sync.errors import Cancelled, ConnectionCut, NotReachable
from fieldapp.sync.exchange import BATCH, exchange
from fieldapp.sync.patience import ATTEMPTS, LEAST, LONGEST_WAIT, MOST, Means, Portion
from tests.sync.conftest import AT_ONCE, docket, known_to


class Cut:
    """A way that breaks: request number `at` never arrives, or its answer never comes back, nor any after it."""

    def __init__(self, way, at: int, arrives: bool, lasts: int = 10**6) -> None:
        self.way, self.at, self.arrives, self.lasts, self.asked = way, at, arrives, lasts, 0
        self.fingerprint = way.fingerprint

    def ask(self, method, path, **more):
        self.asked += 1
        if self.at <= self.asked < self.at + self.lasts:
            if self.arrives:
                self.way.ask(method, path, **more)
            raise ConnectionCut(address="cabin", cause="cut")
        return self.way.ask(method, path, **more)


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr("fieldapp.sync.exchange.BATCH", 3)
    monkeypatch.setattr("fieldapp.sync.exchange.PAGE", 4)


def test_a_cut_anywhere_that_lasts_loses_nothing_and_doubles_nothing(site, pair, small):
    one, other = pair
    for number in range(10):
        docket(other, f"o{number}", count=number)
    exchange(other, site.way(other))
    at = cuts = 0
    done = False
    while not done:
        at += 1
        for arrives in (True, False):
            for number in range(7):
                docket(one, f"{at} {arrives} {number}", count=number)
            way = Cut(site.way(one), at, arrives)
            try:
                exchange(one, way, means=AT_ONCE)
                done = True
            except ConnectionCut:
                cuts += 1
            again = exchange(one, site.way(one))
            assert again.sent + again.known <= 7
    assert cuts > 5
    assert known_to(one) == {row[1] for row in site.ledger.pull(0, 10_000).rows}
    assert site.ledger.names().head == len(known_to(one))
    assert site.ledger.rebuild_matches()


@pytest.mark.parametrize("arrives", [True, False])
@pytest.mark.parametrize("at", range(1, 8))
def test_a_cut_that_passes_is_got_over_within_the_exchange(site, pair, small, at, arrives):
    one, other = pair
    for number in range(9):
        docket(other, f"o{number}", count=number)
    exchange(other, site.way(other))
    for number in range(9):
        docket(one, f"n{number}", count=number)
    report = exchange(one, Cut(site.way(one), at, arrives, lasts=3), means=AT_ONCE)
    assert report.sent + report.known >= 9
    assert report.received == 10
    assert known_to(one) == {row[1] for row in site.ledger.pull(0, 10_000).rows}
    assert site.ledger.names().head == 19


def test_a_retry_asks_for_nothing_that_was_answered(site, pair, small):
    one, _ = pair
    for number in range(9):
        docket(one, f"n{number}", count=number)
    sent = []

    class Counting(Cut):
        def ask(self, method, path, *, body=None, **more):
            answer = super().ask(method, path, body=body, **more)
            sent.extend(one for one, _ in batches.unpacked(body["batch"])) if body and "batch" in body else None
            return answer

    exchange(one, Counting(site.way(one), 3, arrives=False, lasts=4), means=AT_ONCE)
    assert len(sent) == len(set(sent)) == 9


def test_an_exchange_ends_although_the_recorder_goes_on_saving(site, pair):
    one, _ = pair
    made = []

    class Saving(Cut):
        def ask(self, method, path, **more):
            made.append(docket(one, f"while {len(made)}", count=1).id)
            assert len(made) < 50
            return super().ask(method, path, **more)

    docket(one, "a", count=1)
    exchange(one, Saving(site.way(one), 10**6, arrives=True))
    exchange(one, site.way(one))
    assert set(made) <= {row[1] for row in site.ledger.pull(0, 1000).rows}


def test_waits_grow_are_jittered_and_end(site, pair):
    one, _ = pair

    def waits(jitter):
        slept, steps = [], []
        means = Means(sleep=slept.append, jitter=lambda: jitter)
        with pytest.raises(ConnectionCut) as caught:
            exchange(one, Cut(site.way(one), 1, arrives=False), steps.append, means=means)
        assert caught.value.report is not None
        told = [one.wait for one in steps if one.wait]
        assert len(told) == ATTEMPTS - 1
        assert sum(slept) == pytest.approx(sum(told))
        return told

    least, most = waits(0.0), waits(1.0)
    assert most == sorted(most)
    assert max(most) <= LONGEST_WAIT
    assert [one * 2 for one in least] == most
    assert sum(most) < 60


def test_what_nobody_answers_at_all_is_told_soon(site, pair):
    one, _ = pair
    tries = []

    class Nobody:
        fingerprint = site.cabin.fingerprint

        def ask(self, method, path, **more):
            tries.append(path)
            raise NotReachable(address="cabin", cause="nobody")

    with pytest.raises(NotReachable):
        exchange(one, Nobody(), means=AT_ONCE)
    assert len(tries) == 2


@pytest.mark.parametrize("where", ["wait", "push", "pull", "hello"])
def test_an_exchange_is_cancelled_during_a_wait_and_during_a_request(site, pair, small, where):
    one, other = pair
    for number in range(6):  # more than comes with the answer to what is sent
        docket(other, f"o{number}", count=1)
    exchange(other, site.way(other))
    docket(one, "a", count=1)
    had_enough = []

    def heard(step):
        if step.stage == where or (where == "wait" and step.wait):
            had_enough.append(True)

    way = Cut(site.way(one), 2, arrives=False, lasts=2) if where == "wait" else site.way(one)
    with pytest.raises(Cancelled) as caught:
        exchange(one, way, heard, cancelled=lambda: bool(had_enough), means=AT_ONCE)
    assert caught.value.report is not None
    report = exchange(one, site.way(one))
    assert known_to(one) == {row[1] for row in site.ledger.pull(0, 100).rows}
    assert report.sent + report.known <= 1


def test_what_is_recorded_during_an_exchange_is_sent_by_it_or_waits(site, pair, small):
    one, _ = pair
    for number in range(7):
        docket(one, f"n{number}", count=number)
    made = []

    def heard(step):
        if len(made) < 30:
            made.append(docket(one, f"while {len(made)}", count=1).id)

    exchange(one, site.way(one), heard)
    waiting = {change.id for change in one.unsent(site.cabin.fingerprint)}
    arrived = {row[1] for row in site.ledger.pull(0, 1000).rows}
    assert len(made) > 5
    assert set(made) <= arrived | waiting
    assert not arrived & waiting
    exchange(one, site.way(one))
    assert known_to(one) == {row[1] for row in site.ledger.pull(0, 1000).rows}


# -- portions


def taken(portion, entries):
    """All portions of `entries`, one after the other."""
    found, at = [], 0
    while at < len(entries):
        found.append(portion.take(entries, at))
        at += len(found[-1])
    return found


def test_portions_keep_order_and_stay_below_both_limits():
    small = [(str(number), "x") for number in range(BATCH + 1)]
    portion = Portion(BATCH, MOST)
    assert [len(one) for one in taken(portion, small)] == [BATCH, 1]
    large = [(str(number), "x" * (MOST // 2 + 1)) for number in range(3)]
    assert [len(one) for one in taken(portion, large)] == [1, 1, 1]
    assert [one for batch in taken(portion, small) for one in batch] == small
    # A single one goes alone, however small a portion has become.
    assert [len(one) for one in taken(Portion(BATCH, LEAST), [("a", "x"), ("b", "x" * 10 * LEAST), ("c", "x")])] == [
        1,
        1,
        1,
    ]


def test_a_portion_is_halved_after_a_slow_answer_or_a_cut_and_grows_after_a_quick_one():
    portion = Portion(BATCH)
    began = portion.characters
    assert 20_000 < began < MOST / 5
    portion.answered(0.1)
    assert portion.characters == 2 * began
    portion.answered(5.0)
    assert portion.characters == 2 * began
    portion.answered(30.0)
    assert portion.characters == began
    portion.failed()
    assert portion.characters == began // 2
    for _ in range(30):
        portion.failed()
    assert portion.characters == LEAST
    assert portion.changes >= 1
    for _ in range(30):
        portion.answered(0.1)
    assert (portion.characters, portion.changes) == (MOST, BATCH)


def test_a_page_holds_no_more_than_the_tablet_can_fetch_at_a_time(site, pair, monkeypatch):
    monkeypatch.setattr("fieldapp.sync.exchange.Portion", lambda most: Portion(most, 250_000))
    one, other = pair
    for number in range(6):
        docket(other, f"o{number}", note="x" * (900_000 if number == 3 else 30_000))
    exchange(other, site.way(other))
    sizes = []
    way = site.way(one)
    ask = way.ask

    def asking(method, path, **more):
        answer = ask(method, path, **more)
        if path.endswith("pull"):
            sizes.append([len(text) for _, text in batches.unpacked(answer["batch"])] if "batch" in answer else [])
        return answer

    way.ask = asking
    exchange(one, way)
    assert all(len(page) <= 1 or sum(page) <= 1_000_000 for page in sizes)
    assert len(sizes) > 2
    assert known_to(one) == {row[1] for row in site.ledger.pull(0, 100).rows}


def test_progress_is_told_in_changes_and_bytes(site, pair):
    one, _ = pair
    docket(one, "a", count=1)
    heard = []
    report = exchange(one, site.way(one), heard.append)
    assert any((one.stage, one.done, one.total) == ("push", 1, 1) for one in heard)
    assert heard[-1].stage == "pull"
    assert 0 < heard[-1].sent == report.bytes_sent < heard[-1].received == report.bytes_received
