"""Every tap is on disk before its frame is painted: the files as they lie after the tap open at the same field.

The files are copied the moment the finger has left the glass, before anything is drawn, as a flat battery would leave
them; a second tablet opens the copy. (That a killed process leaves no more than that is shown with SIGKILL elsewhere.)
"""

from __future__ import annotations

import os
import random
import shutil
import uuid
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from fieldapp import assets
from fieldapp.store.notebook import Notebook
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.shell import Shell
from tests.ui.conftest import Clock, FakeCabin, Tablet

pytestmark = pytest.mark.ui

NEVER = ("stop.confirm", "sync.now", "sync.enrol", "setup.", "go.lock", "lock.")
"""Not tapped at random: what leads away from recording for good."""


def reopened(folder: Path, copy: Path) -> tuple[Any, Any, Any]:
    """(form, card, place) of a tablet that opens a copy of the files as they are now."""
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns("lock"))
    with Notebook.open(copy, Clock(), lambda: str(uuid.uuid4())) as notebook:
        desk = Desk(notebook, assets.knowledge())
        shell = Shell(desk, FakeCabin(desk))
        form = asdict(shell.form.state) if shell.form is not None else None
        card = asdict(shell.card.state) if shell.card is not None else None
        return form, card, (desk.context, desk.bag, desk.by["name"])


def tap(tablet: Tablet, x: float, y: float) -> None:
    """A whole tap without a frame between its end and what follows."""
    from server.demo.touch import FingerTouch

    touch = FingerTouch(x, y)
    tablet.hand.before_tap()
    tablet.hand.down(touch)
    tablet.hand.up(touch)


def taps_at_random(tablet: Tablet, copy: Path, count: int, seed: int) -> int:
    """Taps at random what there is, and looks at the files each time; how many taps changed a form or card."""
    rng, changed = random.Random(seed), 0
    before: Any = None
    for _ in range(count):
        there = [one for one in tablet.hand.things() if not one[0].startswith(NEVER)]
        ident, _, (x, y) = rng.choice(there)
        tap(tablet, x, y)
        shell = tablet.shell
        form = asdict(shell.form.state) if shell.form is not None else None
        card = asdict(shell.card.state) if shell.card is not None else None
        now = form, card, (shell.desk.context, shell.desk.bag, shell.desk.by["name"])
        # What is plain JSON in memory is the same read back; tuples and the like would show here.
        assert reopened(tablet.folder, copy) == now, ident
        changed += now != before
        before = now
        tablet.hand.frames(2)
    return changed


def test_what_is_on_the_screen_is_on_the_disk(tablet: Tablet, tmp_path: Path) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone")
    assert taps_at_random(tablet, tmp_path / "copy", 60, seed=int(os.environ.get("PROOF_SEED", "7"))) > 20


@pytest.mark.proof
def test_what_is_on_the_screen_is_on_the_disk_after_any_of_two_hundred_taps(tablet: Tablet, tmp_path: Path) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone")
    assert taps_at_random(tablet, tmp_path / "copy", 200, seed=int(os.environ.get("PROOF_SEED", "11"))) > 60
