"""A ledger with a clock that the test moves, for every test of the cabin: in a file, and in a PostgreSQL database."""

from __future__ import annotations

import base64
import itertools
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from server.cabin import Cabin, set_up
from server.config import Config
from server.ledger import CABIN, Ledger
from server.ledger.place import Place
from tests.postgres import Cluster
from tests.server.apps import opened
from tests.server.tablets import CODE, Osteologist, ids

QUICKLY = (
    "exchange", "photos", "review", "test_accounts", "test_api", "test_carry", "test_carry_command", "test_doctor",
    "test_health", "test_ledger_human", "test_left_out", "test_logs", "test_news", "test_together", "test_unit",
)  # fmt: skip
"""What stands on the ledger's promises and not on its database: tried on PostgreSQL in the proof only."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks what is a matter for the proof."""
    for item in items:
        told = getattr(item, "callspec", None)
        on_server = told is not None and "postgresql" in told.params.values()
        if on_server and (item.path.stem in QUICKLY or item.path.parent.name in QUICKLY):
            item.add_marker(pytest.mark.proof)


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


_schemas = itertools.count(1)


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL of this test process's own."""
    made = Cluster()
    yield made
    made.stop()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    """Where a ledger may be made: every test that uses it, or a fixture made of it, runs on both databases."""
    if request.param == "sqlite":
        return Place(path=tmp_path / "ledger.sqlite")
    return Place.of(request.getfixturevalue("cluster").url(), f"test_{next(_schemas)}")


def address_of(place: Place) -> str:
    """A place as it is typed."""
    return place.url.render_as_string(hide_password=False) if place.url else str(place.path)


@pytest.fixture
def ledger(place: Place, clock: Clock) -> Iterator[Ledger]:
    made = ids()
    seal = base64.b64encode(bytes(32)).decode()
    ledger = Ledger.create(place, code=CODE, name="Test field", seal_key=seal, clock=clock, new_id=lambda: next(made))
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


@pytest.fixture
def config(tmp_path: Path, place: Place, clock: Clock) -> Config:
    """A cabin that has been set up."""
    made = ids()
    config = Config(tmp_path / "cabin", clock=clock, new_id=lambda: next(made), testing=True)
    set_up(config, code=CODE, name="Test field", ledger=address_of(place) if place.url else "", schema=place.schema)
    return config


@pytest.fixture
def app(config: Config) -> Iterator[Flask]:
    app = opened(config)
    yield app
    app.extensions["bonedocket.cabin"].close()


@pytest.fixture
def cabin(app: Flask) -> Cabin:
    return app.extensions["bonedocket.cabin"]


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()
