"""Guessing: passwords of one person, one password on everybody, codes; and that a guess tells nothing.

The limits are the project's own; that hashing is what takes the time, and that it is done alike for people who are not
there, is common practice, no source.
"""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from argon2 import PasswordHasher

from server.errors import PlaceLocked, SignInLocked, SignInRefused
from server.ledger import Ledger, guessing
from server.ledger.accounts import Accounts
from server.ledger.place import Place
from tests.attack.people import Rogue
from tests.server.apps import QUICK
from tests.server.conftest import Clock, ledger
from tests.server.review.scene import BASE, PEOPLE, Scene
from tests.server.tablets import an_id

__all__ = ["ledger"]

HERE, THERE = "192.0.2.7", "192.0.2.8"
"""Documentation addresses (RFC 5737, from memory)."""


@pytest.fixture
def accounts(ledger: Ledger) -> Accounts:
    return Accounts(ledger, QUICK)


def spray(accounts: Accounts, times: int, address: str) -> None:
    """One wrong password after another, each for somebody else."""
    for number in range(times):
        with pytest.raises(SignInRefused):
            accounts.sign_in(an_id(f"somebody {number}"), "director", "Summer2026", address)


def test_a_password_tried_on_everybody_is_stopped_by_where_it_comes_from(accounts: Accounts, clock: Clock) -> None:
    one, password = accounts.add("B. Bone", "director")
    spray(accounts, guessing.FROM_ONE_PLACE, HERE)
    with pytest.raises(PlaceLocked) as caught:
        accounts.sign_in(one.person, one.role, password, HERE)
    assert accounts.sign_in(one.person, one.role, password, THERE) == one, "others go on"
    until = re.search(r"\d\d:\d\d:\d\d", str(caught.value))
    assert until
    told = datetime.combine(clock.now, datetime.strptime(until[0], "%H:%M:%S").time(), UTC)
    clock.now = told - timedelta(seconds=2)
    with pytest.raises(PlaceLocked):
        accounts.sign_in(one.person, one.role, password, HERE)
    clock.now = told
    assert accounts.sign_in(one.person, one.role, password, HERE) == one


def test_a_right_password_in_between_forgives_no_other_guess(accounts: Accounts) -> None:
    one, password = accounts.add("B. Bone", "director")
    for _ in range(guessing.FROM_ONE_PLACE // 5 - 1):
        spray(accounts, 5, HERE)
        accounts.sign_in(one.person, one.role, password, HERE)
    spray(accounts, 5, HERE)
    with pytest.raises(PlaceLocked):
        accounts.sign_in(one.person, one.role, password, HERE)


def test_right_passwords_alone_never_lock_an_address(accounts: Accounts) -> None:
    one, password = accounts.add("B. Bone", "director")
    for _ in range(guessing.FROM_ONE_PLACE + 5):
        accounts.sign_in(one.person, one.role, password, HERE)


def test_many_guesses_at_once_gain_nothing(accounts: Accounts) -> None:
    def guess(number: int) -> type[Exception]:
        with pytest.raises((SignInRefused, SignInLocked)) as caught:
            accounts.sign_in(an_id(f"somebody {number}"), "director", "Summer2026", HERE)
        return caught.type

    with ThreadPoolExecutor(8) as crowd:
        found = list(crowd.map(guess, range(60)))
    assert found.count(SignInRefused) == guessing.FROM_ONE_PLACE


def test_several_workers_count_together(accounts: Accounts, ledger: Ledger, place: Place) -> None:
    beside = Ledger.open(place, clock=ledger.clock)
    spray(accounts, guessing.FROM_ONE_PLACE // 2, HERE)
    spray(Accounts(beside, QUICK), guessing.FROM_ONE_PLACE // 2, HERE)
    with pytest.raises(PlaceLocked):
        accounts.sign_in(an_id("x"), "director", "x", HERE)
    beside.close()


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8::1", "2001:db8::ffff", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("::ffff:192.0.2.7", "192.0.2.7", True),
        ("fe80::1%wlan0", "fe80::1%eth0", True),
        ("192.0.2.7", "192.0.2.8", False),
    ],
)
def test_an_address_counts_with_those_that_one_machine_can_take(
    one: str, other: str, same: bool, accounts: Accounts
) -> None:
    spray(accounts, guessing.FROM_ONE_PLACE, one)
    with pytest.raises(PlaceLocked if same else SignInRefused):
        accounts.sign_in(an_id("x"), "director", "x", other)


def test_old_guesses_are_swept_out(accounts: Accounts, ledger: Ledger, clock: Clock) -> None:
    spray(accounts, 5, HERE)
    clock.forward(hours=1)
    spray(accounts, 1, HERE)
    with ledger.database.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM guess").scalar() == 1


# -- a guess tells nothing


class Watched(PasswordHasher):
    """Remembers what it was asked."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.asked: list[str] = []

    def verify(self, hash: str | bytes, password: str | bytes) -> Any:
        self.asked.append(str(hash))
        return super().verify(hash, password)


def test_somebody_unknown_withdrawn_or_in_another_role_costs_one_hash_of_the_same_kind(ledger: Ledger) -> None:
    hasher = Watched()
    accounts = Accounts(ledger, hasher)
    known, _ = accounts.add("B. Bone", "director")
    gone, password = accounts.add("C. Skull", "director")
    accounts.withdraw(gone.person, gone.role, revoke_keys=False)
    said = set()
    for person, role, tried in (
        (known.person, "director", "x"), (an_id("nobody"), "director", "x"), ("", "", "x"),
        (known.person, "supervisor", "x"), (gone.person, "director", password), (gone.person, "director", "x"),
    ):  # fmt: skip
        hasher.asked.clear()
        with pytest.raises(SignInRefused) as caught:
            accounts.sign_in(person, role, tried, HERE)
        said.add(str(caught.value))
        (asked,) = hasher.asked
        # The kind and the cost are in the hash.
        assert asked.split("$")[:4] == hasher.hash("x").split("$")[:4]
    assert len(said) == 1


def test_the_pages_say_the_same_of_who_is_not_there(scene: Scene) -> None:
    def tried(account: str) -> tuple[int, str]:
        visitor = scene.visitor()
        form = {**visitor.form("/review/sign-in", "/review/sign-in"), "account": account, "password": "wrong"}
        answer = visitor.post("/review/sign-in", form)
        return answer.status_code, re.sub(r'value="[^"]*"( selected)?', "", answer.text)

    assert tried(an_id("nobody")) == tried(scene.accounts["director"][0].id) == tried("")


def test_the_desk_and_the_tablets_say_when_to_try_again(scene: Scene, rogue: Rogue, clock: Clock) -> None:
    visitor = scene.visitor()
    form = visitor.form("/review/sign-in", "/review/sign-in")
    answers = [
        visitor.post("/review/sign-in", {**form, "account": scene.accounts[role][0].id, "password": "wrong"})
        for _ in range(4)
        for role in PEOPLE
    ]
    assert [one.status_code for one in answers] == [401] * 20 + [429] * 4
    until = (clock.now + timedelta(minutes=10, seconds=1)).strftime("%H:%M:%S")
    assert until in answers[-1].text
    asked = {"person": "x", "role": "x", "password": "x"}
    told = rogue.client.post("/api/v1/key", json=asked, headers=rogue.headers, base_url=BASE)
    assert told.status_code == 429
    assert until in told.json["message"]  # type: ignore[index]
    # What a header says of where a request comes from is not believed.
    spoofed = {"X-Forwarded-For": "198.51.100.1", "Forwarded": "for=198.51.100.1", "X-Real-IP": "198.51.100.1"}
    data = {**form, "account": "x", "password": "x"}
    assert visitor.client.post("/review/sign-in", data=data, headers=spoofed, base_url=BASE).status_code == 429


# -- nothing that anybody could know


def test_nobody_has_a_password_before_one_was_made_and_none_is_guessable(ledger: Ledger, accounts: Accounts) -> None:
    assert accounts.all() == []
    made = {accounts.add(f"person {number}", "recorder")[1] for number in range(50)}
    assert len(made) == 50
    assert all(re.fullmatch(r"[0-9a-hjkmnp-tv-z]{4}(-[0-9a-hjkmnp-tv-z]{4}){3}", one) for one in made)
    for common in ("", "admin", "password", "bonedocket", "changeme", "director", ledger.site().value("code")):
        for account in accounts.all()[:3]:
            with pytest.raises((SignInRefused, SignInLocked)):
                accounts.sign_in(account.person, account.role, common)
