"""The scene: made once, and a copy of it for each test."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.server.conftest import Clock
from tests.server.review.scene import Scene, copy, make


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Path]:
    folder = tmp_path_factory.mktemp("scene")
    scene = make(folder, lambda: datetime(2026, 6, 3, 8, 0, tzinfo=UTC))
    scene.cabin.close()
    return scene, folder


@pytest.fixture
def scene(made: tuple[Scene, Path], tmp_path: Path, clock: Clock) -> Iterator[Scene]:
    clock.forward(days=2)
    found = copy(*made, tmp_path, clock)
    yield found
    found.cabin.close()
