"""A stick: a notebook's file to the cabin, the answer back, and what tests of it ask of a notebook."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry, carry_answer
from fieldapp.sync.errors import CarryRefused
from fieldapp.sync.exchange import Report
from server import carry as cabin_carry
from tests.sync.conftest import Site
from tests.sync.test_exchange import known_to


class Stick:
    """Files in a folder, each with a name of its own."""

    def __init__(self, folder: Path, site: Site) -> None:
        self.folder, self.site, self.number = folder, site, 0
        folder.mkdir(exist_ok=True)

    def _next(self, what: str) -> Path:
        self.number += 1
        return self.folder / f"{self.number:03d}-{what}.carry"

    def packed(self, notebook: Notebook, **how) -> Path:
        return carry.pack(notebook, self._next("tablet"), **how).path

    def loaded(self, path: Path, **how) -> cabin_carry.Loaded:
        with path.open("rb") as file:
            return cabin_carry.load(self.site.cabin, file, "S. Visor", **how)

    def answer(self, path: Path, **how) -> Path:
        """The answer to a file that is loaded now."""
        answer = self._next("answer")
        cabin_carry.write_answer(self.site.cabin, self.loaded(path, **how), answer)
        return answer

    def round(self, notebook: Notebook, **how) -> Report:
        """There and back."""
        return carry_answer.load(notebook, self.answer(self.packed(notebook, **how)))


def cursor_of(notebook: Notebook, site: Site):
    return notebook.cursor(site.cabin.fingerprint)


def unsent(notebook: Notebook, site: Site) -> int:
    return notebook.unsent_count(site.cabin.fingerprint)


def refusing(notebook: Notebook, path, kind: type[CarryRefused]) -> None:
    before = known_to(notebook), notebook.settings(), notebook.unsent_count("x")
    with pytest.raises(kind) as fault:
        carry_answer.load(notebook, path)
    assert type(fault.value) is kind
    assert "{" not in str(fault.value)
    assert (known_to(notebook), notebook.settings(), notebook.unsent_count("x")) == before
