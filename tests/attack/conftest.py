"""The invented cabin of the pages' tests, a copy for each attack, and the two who stand around it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.attack.people import Reader, Rogue
from tests.server.conftest import Clock, cluster, place
from tests.server.review.conftest import made, scene
from tests.server.review.scene import Scene

__all__ = ["cluster", "made", "place", "scene"]


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def rogue(scene: Scene) -> Rogue:
    return Rogue(scene)


@pytest.fixture
def reader(scene: Scene, tmp_path: Path, clock: Clock) -> Iterator[Reader]:
    found = Reader(scene, tmp_path / "reader", clock)
    yield found
    found.notebook.close()
