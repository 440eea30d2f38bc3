"""The scene: made once, and a copy of it for each test."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.postgres import Cluster
from tests.server.conftest import Clock
from tests.server.review.scene import Scene, copy, make

_copies = itertools.count(1)
BOTH = pytest.mark.parametrize("scene", ["sqlite", "postgresql"], indirect=True)
"""Put on what is to run on both databases."""


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Path]:
    folder = tmp_path_factory.mktemp("scene")
    scene = make(folder, lambda: datetime(2026, 6, 3, 8, 0, tzinfo=UTC))
    scene.cabin.close()
    return scene, folder


@pytest.fixture(scope="session")
def made_on_server(cluster: Cluster, tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Path]:
    folder = tmp_path_factory.mktemp("scene_on_server")
    cluster.do("CREATE DATABASE scene")
    scene = make(folder, lambda: datetime(2026, 6, 3, 8, 0, tzinfo=UTC), ledger=cluster.url("scene"))
    scene.cabin.close()
    return scene, folder


@pytest.fixture
def scene(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Scene]:
    """On SQLite; a module may ask for `BOTH`."""
    clock.forward(days=2)
    if getattr(request, "param", "sqlite") == "sqlite":
        found = copy(*request.getfixturevalue("made"), tmp_path, clock)
    else:
        made = request.getfixturevalue("made_on_server")
        cluster, name = request.getfixturevalue("cluster"), f"scene_{next(_copies)}"
        cluster.do(f"CREATE DATABASE {name} TEMPLATE scene")
        found = copy(*made, tmp_path, clock, ledger=cluster.url(name))
    yield found
    found.cabin.close()
