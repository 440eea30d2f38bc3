"""A ledger with a clock that the test moves, for every test of the cabin."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from server.ledger import CABIN, Ledger
from tests.server.tablets import CODE, Osteologist, ids


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **by: float) -> None:
        self.now += timedelta(**by)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ledger(tmp_path: Path, clock: Clock) -> Iterator[Ledger]:
    made = ids()
    seal = base64.b64encode(bytes(32)).decode()
    ledger = Ledger.create(
        tmp_path / "ledger.sqlite", code=CODE, name="Test field", seal_key=seal, clock=clock, new_id=lambda: next(made)
    )
    yield ledger
    ledger.close()


@pytest.fixture
def osteologist(ledger: Ledger) -> Osteologist:
    """A human osteologist whose key the cabin has granted."""
    return granted(ledger, Osteologist())


def granted(ledger: Ledger, person: Osteologist) -> Osteologist:
    ledger.write(
        "person",
        person.id,
        {"name": "B. Osteologist", "role": person.role, f"key/{person.key}": person.grant},
        {},
        CABIN,
    )
    return person
