"""A cabin, notebooks beside it, and ways from one to the other: by test client, and over TLS on this machine."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import Enrolment, enrol
from fieldapp.sync.patience import Means
from fieldapp.sync.transport import ClientTransport
from server.cabin import Cabin, set_up
from server.config import Config
from server.serving import Serving
from tests.server.apps import QUICK, opened
from tests.server.conftest import Clock
from tests.server.tablets import CODE, an_id

AT_ONCE = Means(sleep=lambda seconds: None)
"""For tests that need not wait between two tries."""

BY = {"person": "p1", "name": "A. Digger", "role": "recorder"}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def config(tmp_path: Path, clock: Clock) -> Config:
    config = Config(tmp_path / "cabin", host="127.0.0.1", port=0, clock=clock, testing=True)
    set_up(config, code=CODE, name="Test field")
    return config


@pytest.fixture
def new_notebook(tmp_path: Path, clock: Clock) -> Iterator[Callable[[str], Notebook]]:
    opened: list[Notebook] = []

    def new(name: str) -> Notebook:
        notebook = Notebook.open(tmp_path / name, clock, lambda: str(uuid.uuid4()))
        opened.append(notebook)
        return notebook

    yield new
    for notebook in opened:
        notebook.close()


class Site:
    """A cabin in this process. `enrolled(notebook)` lets one in; `way(notebook)` is its transport."""

    def __init__(self, config: Config) -> None:
        self.config = config
        self.open()

    def open(self) -> None:
        self.app = opened(self.config)
        self.cabin: Cabin = self.app.extensions["bonedocket.cabin"]
        self.ledger = self.cabin.ledger
        self.client = self.app.test_client()

    def close(self) -> None:
        self.cabin.close()

    def connect(self, address: str, fingerprint: str, *, notebook: str, token: str = "") -> ClientTransport:
        return ClientTransport(self.client, fingerprint, notebook=notebook, token=token)

    def enrolled(self, notebook: Notebook) -> Enrolment:
        code = self.cabin.devices.open_code(notebook.folder.name)
        return enrol(notebook, "cabin", code.text, meet=lambda _: self.cabin.fingerprint, connect=self.connect)

    def way(self, notebook: Notebook) -> ClientTransport:
        from fieldapp.sync.enrol import enrolled

        found = enrolled(notebook)
        assert found is not None
        return self.connect("", found.fingerprint, notebook=notebook.id, token=found.token)


@pytest.fixture
def site(config: Config) -> Iterator[Site]:
    site = Site(config)
    yield site
    site.close()


@pytest.fixture
def serving(config: Config) -> Iterator[Serving]:
    """A cabin over TLS at 127.0.0.1, on a free port."""
    with Serving(replace(config, testing=False), QUICK) as serving:
        yield serving


def docket(notebook: Notebook, name: str, over=None, **values):
    return notebook.save("docket", an_id(name), values, over or {}, BY)


def known_to(notebook: Notebook) -> set[str]:
    return {one for _, one, _ in notebook.bodies()}


@pytest.fixture
def pair(site, new_notebook):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    return one, other
