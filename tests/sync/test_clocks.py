"""Clocks that are wrong: it is told, and nothing else comes of it. With tablets years off, and a cabin put back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from fieldapp.store.notebook import Notebook
from fieldapp.sync import clocks
from fieldapp.sync.enrol import enrol
from fieldapp.sync.errors import CodeRefused
from fieldapp.sync.exchange import exchange
from server.errors import CodeRefused as CabinRefuses
from server.errors import SignInLocked, TooManyCodes
from server.ledger.devices import WRONG_CODES
from tests.server.conftest import Clock
from tests.server.tablets import an_id
from tests.sync.conftest import BY

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
YEARS = [-3650, -365, 365, 3650]


@pytest.mark.parametrize(
    ("off", "said"),
    [
        (timedelta(minutes=1), ""),
        (timedelta(minutes=-1), ""),
        (timedelta(minutes=3), "3 minutes ahead"),
        (timedelta(hours=-2), "2 hours behind"),
        (timedelta(days=1), "1 day ahead"),
        (timedelta(days=-365), "1 year behind"),
        (timedelta(days=3650), "10 years ahead"),
    ],
)
def test_a_difference_is_told_from_two_minutes_on(off, said):
    found = clocks.difference(NOON + off, NOON + off + timedelta(seconds=1), NOON.isoformat())
    sentence = clocks.sentence(found)
    assert said in sentence
    assert bool(said) == bool(sentence)
    if said:
        assert "Nothing is lost" in sentence


def test_how_long_an_answer_took_is_not_taken_for_a_wrong_clock():
    told = (NOON + timedelta(minutes=10)).isoformat()
    assert clocks.difference(NOON, NOON + timedelta(minutes=12), told) == timedelta(0)


@pytest.mark.parametrize("theirs", [None, 7, "", "yesterday", "2026-06-01T12:00:00", "9999-12-31T23:59:59+00:00x"])
def test_a_time_that_is_none_says_nothing(theirs):
    assert clocks.difference(NOON, NOON, theirs) is None
    assert clocks.sentence(None) == ""


@pytest.fixture
def wrong(tmp_path):
    """Opens notebooks whose clock is off by so many days."""
    opened: list[Notebook] = []

    def new(days: int) -> Notebook:
        clock, made = Clock(), iter(range(10**6))
        clock.now += timedelta(days=days)
        name = f"off by {days}"
        opened.append(Notebook.open(tmp_path / name, clock, lambda: an_id(f"{name} {next(made)}")))
        return opened[-1]

    yield new
    for notebook in opened:
        notebook.close()


def test_tablets_years_off_are_enrolled_merge_rightly_and_are_told(site, wrong):
    tablets = [wrong(days) for days in YEARS]
    for notebook in tablets:
        site.enrolled(notebook)
    first = tablets[0]
    first.save("docket", an_id("a"), {"count": 1}, {}, BY)
    exchange(first, site.way(first))
    # Each replaces what the one before it wrote, whatever their clocks say of the order.
    for count, notebook in enumerate(tablets[1:], 2):
        exchange(notebook, site.way(notebook))
        heads = notebook.record("docket", an_id("a")).head_ids()
        notebook.save("docket", an_id("a"), {"count": count}, {"count": heads["count"]}, BY)
        report = exchange(notebook, site.way(notebook))
        assert report.sent == 1
    for days, notebook in zip(YEARS, tablets, strict=True):
        report = exchange(notebook, site.way(notebook))
        assert report.clock.days == days
        assert ("behind" if days < 0 else "ahead") in clocks.sentence(report.clock)
        assert notebook.record("docket", an_id("a")).value("count") == len(YEARS)
        assert notebook.disputed() == []
    assert site.ledger.disagreements() == []


def test_two_who_did_not_see_each_other_disagree_whatever_the_clocks_say(site, wrong):
    early, late = wrong(-3650), wrong(3650)
    for count, notebook in enumerate((late, early)):
        site.enrolled(notebook)
        notebook.save("docket", an_id("a"), {"count": count}, {}, BY)
        exchange(notebook, site.way(notebook))
    assert [one.path for one in site.ledger.disagreements()] == ["count"]


# -- the cabin's own clock


@pytest.mark.parametrize("back", [{"hours": 3}, {"days": 400}])
def test_a_code_does_not_live_longer_because_the_cabins_clock_is_put_back(site, new_notebook, clock, back):
    notebook = new_notebook("one")
    old = site.cabin.devices.open_code().text
    clock.forward(**{unit: -number for unit, number in back.items()})

    def let_in(code):
        return enrol(notebook, "cabin", code, meet=lambda _: site.cabin.fingerprint, connect=site.connect)

    with pytest.raises(CodeRefused):
        let_in(old)
    assert let_in(site.cabin.devices.open_code().text).letter
    clock.forward(**back)
    assert exchange(notebook, site.way(notebook)).sent == 0


def test_wrong_codes_of_a_future_that_never_came_keep_nobody_out(site, clock):
    devices = site.cabin.devices
    for _ in range(WRONG_CODES):
        with pytest.raises(CabinRefuses):
            devices.enrol("wrong", "n", "x")
    with pytest.raises(TooManyCodes):
        devices.enrol("wrong", "n", "x")
    clock.forward(days=-365)
    with pytest.raises(CabinRefuses):
        devices.enrol("wrong", "n", "x")


def test_a_locked_account_is_not_locked_for_a_year_because_the_clock_is_put_back(site, clock):
    account, password = site.cabin.accounts.add("B. Bone", "human_osteologist")
    for _ in range(30):
        try:
            site.cabin.accounts.sign_in(account.person, account.role, "wrong")
        except SignInLocked:
            break
        except Exception:  # refused: on to the next wrong one
            continue
    with pytest.raises(SignInLocked):
        site.cabin.accounts.sign_in(account.person, account.role, password)
    clock.forward(days=-365)
    assert site.cabin.accounts.sign_in(account.person, account.role, password).person == account.person


def test_exchange_goes_on_when_the_cabins_clock_is_put_back(site, new_notebook, clock):
    notebook = new_notebook("one")
    site.enrolled(notebook)
    notebook.save("docket", an_id("a"), {"count": 1}, {}, BY)
    exchange(notebook, site.way(notebook))
    clock.forward(days=-365)
    notebook.save("docket", an_id("b"), {"count": 1}, {}, BY)
    report = exchange(notebook, site.way(notebook))
    assert report.sent == 1
    assert site.ledger.rebuild_matches()


def test_a_sign_in_of_a_future_that_never_came_does_not_last_for_a_year(site, clock):
    account, password = site.cabin.accounts.add("B. Bone", "supervisor")
    client = site.app.test_client()
    base = "https://cabin.test"

    def signed_in() -> bool:
        return client.get("/review/today", base_url=base).status_code == 200

    page = client.get("/review/sign-in", base_url=base).get_data(as_text=True)
    token = page.partition('name="csrf" value="')[2].partition('"')[0]
    form = {"account": account.id, "password": password, "csrf": token}
    client.post("/review/sign-in", data=form, base_url=base, headers={"Origin": base})
    assert signed_in()
    clock.forward(seconds=-30)
    assert signed_in()
    clock.forward(days=-365)
    assert not signed_in()
