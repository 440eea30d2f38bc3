"""The tablet's own hand to a real cabin over TLS: what the screens are told when it moves, or the tablet was copied."""

from __future__ import annotations

import shutil
import socket
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import segno
from PIL import Image

from fieldapp import assets
from fieldapp.records import enrolment
from fieldapp.store.notebook import Notebook
from fieldapp.sync import finding
from fieldapp.sync.enrol import letter_changed
from fieldapp.ui import scanning
from fieldapp.ui.cabin import RealCabin
from fieldapp.ui.presenters.cabin import Setup, Sync
from fieldapp.ui.presenters.desk import Desk
from server.announcing import Site, announced
from server.cabin import set_up
from server.config import Config
from server.serving import Serving
from tests.server.apps import QUICK
from tests.ui.conftest import CODE, Clock

HERE = ["127.0.0.1"]


@pytest.fixture
def serving(tmp_path: Path) -> Iterator[Serving]:
    """A cabin over TLS on this machine."""
    config = Config(tmp_path / "cabin", host="127.0.0.1", port=0, clock=Clock())
    set_up(config, code=CODE, name="Test field")
    with Serving(config, QUICK) as found:
        yield found


@pytest.fixture
def open_desk(tmp_path: Path) -> Iterator[Callable[[str], Desk]]:
    """Opens desks over notebooks by name."""
    opened: list[Notebook] = []

    def new(name: str) -> Desk:
        opened.append(Notebook.open(tmp_path / name, Clock(), lambda: str(uuid.uuid4())))
        return Desk(opened[-1], assets.knowledge())

    yield new
    for one in opened:
        one.close()


def code_of(serving: Serving) -> str:
    return serving.cabin.devices.open_code().text


def sync(desk: Desk) -> Sync:
    found = Sync(desk, RealCabin(desk))
    assert found.begin()
    found.run(lambda: None)
    found.finished()
    return found


def test_a_picture_of_the_cabins_code_is_all_that_enrolment_needs(
    serving: Serving, open_desk: Callable[[str], Desk], tmp_path: Path
) -> None:
    desk = open_desk("one")
    with socket.create_server(("127.0.0.1", 0)) as gone:
        nobody = f"127.0.0.1:{gone.getsockname()[1]}"
    # Two networks: at the first address nobody answers any more.
    text = enrolment.qr_text([nobody, f"127.0.0.1:{serving.port}"], code_of(serving))
    segno.make(text, error="m", micro=False).save(str(tmp_path / "qr.png"), scale=5)
    with Image.open(tmp_path / "qr.png") as drawn:
        # As a hand holds it: small in a larger picture, and turned a little.
        photo = Image.new("L", (1800, 1300), 210)
        photo.paste(drawn.convert("L").rotate(4, expand=True, fillcolor=255), (500, 300))
    photo.save(tmp_path / "photo.jpg", quality=80)
    setup = Setup(desk, RealCabin(desk))
    setup.scan = scanning.read
    assert setup.scanned(tmp_path / "photo.jpg")
    assert setup.enrol(), setup.error
    assert (desk.code, desk.letter) == (CODE, "A")
    assert desk.cabin["address"] == f"127.0.0.1:{serving.port}"


def test_what_is_no_picture_holds_no_code(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"no picture")
    assert scanning.read(tmp_path / "x.jpg") == []
    assert scanning.read(tmp_path / "none.jpg") == []


def test_a_cabin_that_moved_is_found_and_synced_with_without_a_word(
    serving: Serving, open_desk: Callable[[str], Desk], monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = open_desk("one")
    assert RealCabin(desk).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    with socket.create_server(("127.0.0.1", 0)) as gone:
        old = f"127.0.0.1:{gone.getsockname()[1]}"
    desk.notebook.set_setting("cabin", {**desk.cabin, "address": old})
    desk.make_context("1042", "pit_fill", "no")
    look = finding.look
    monkeypatch.setattr(finding, "look", lambda *args, **more: look(15, interfaces=HERE, enough=more["enough"]))
    with announced([Site(CODE, serving.cabin.fingerprint)], serving.port, HERE, interfaces=HERE):
        assert sync(desk).result.trouble == ""  # type: ignore[union-attr]
    assert desk.unsent() == 0
    assert desk.cabin["address"] == f"127.0.0.1:{serving.port}"


def test_a_cabin_that_is_nowhere_is_told_as_not_reachable_soon(
    serving: Serving, open_desk: Callable[[str], Desk], monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = open_desk("one")
    assert RealCabin(desk).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    with socket.create_server(("127.0.0.1", 0)) as gone:
        desk.notebook.set_setting("cabin", {**desk.cabin, "address": f"127.0.0.1:{gone.getsockname()[1]}"})
    looks: list[Any] = []
    monkeypatch.setattr(finding, "look", lambda *args, **more: looks.append(1) or [])
    assert "does not answer" in sync(desk).result.trouble  # type: ignore[union-attr]
    assert len(looks) == 1


def test_a_tablet_that_is_let_in_no_more_is_enrolled_again_with_a_new_code(
    serving: Serving, open_desk: Callable[[str], Desk]
) -> None:
    desk = open_desk("one")
    assert RealCabin(desk).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    assert not sync(desk).wants_code
    serving.cabin.devices.withdraw("A", reason="lost")
    desk.make_context("1042", "pit_fill", "no")
    screen = sync(desk)
    assert "ask at the cabin for a code" in " ".join(screen.words())
    assert screen.wants_code
    setup = Setup(desk, screen.cabin)
    setup.begin("cabin")
    setup.entries["address"].press(f"127.0.0.1:{serving.port}")
    setup.entries["code"].press(serving.cabin.devices.open_code().text)
    assert setup.enrol(), setup.error
    assert (desk.letter, desk.unsent()) == ("A", 0)
    assert not sync(desk).wants_code


def test_a_cabin_set_up_anew_wants_a_code_and_one_that_is_silent_does_not(
    serving: Serving, open_desk: Callable[[str], Desk], monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = open_desk("one")
    assert RealCabin(desk).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    known = desk.cabin
    monkeypatch.setattr(finding, "look", lambda *args, **more: [])
    with socket.create_server(("127.0.0.1", 0)) as gone:
        desk.notebook.set_setting("cabin", {**known, "address": f"127.0.0.1:{gone.getsockname()[1]}"})
    assert not sync(desk).wants_code
    desk.notebook.set_setting("cabin", {**known, "fingerprint": "0" * 64})
    assert sync(desk).wants_code


def test_a_tablet_set_up_alone_with_anothers_letter_reads_of_it_after_enrolling(
    serving: Serving, open_desk: Callable[[str], Desk]
) -> None:
    first, alone = open_desk("first"), open_desk("alone")
    assert RealCabin(first).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    setup = Setup(alone, RealCabin(alone))
    setup.begin("alone")
    setup.entries["site"].press(CODE)
    setup.entries["letter"].press("A")
    assert setup.start_alone()
    alone.make_context("7", "pit_fill", "no")
    setup.begin("cabin")
    setup.entries["address"].press(f"127.0.0.1:{serving.port}")
    setup.entries["code"].press(code_of(serving))
    assert setup.enrol(), setup.error
    told = Sync(alone, RealCabin(alone)).told()
    assert told == [letter_changed(alone.notebook)]
    assert "writes B" in told[0]


def test_a_copied_tablet_goes_on_as_a_new_one_from_the_sync_screen(
    serving: Serving, open_desk: Callable[[str], Desk], tmp_path: Path
) -> None:
    desk = open_desk("one")
    assert RealCabin(desk).enrol([f"127.0.0.1:{serving.port}"], code_of(serving)) == ""
    desk.notebook.close()
    shutil.copytree(tmp_path / "one", tmp_path / "two", ignore=shutil.ignore_patterns("lock"))
    one, two = open_desk("one"), open_desk("two")
    one.make_context("1", "pit_fill", "no")
    two.make_context("2", "pit_fill", "no")
    sync(one)
    screen = sync(two)
    assert screen.copied
    screen.renew()
    assert not screen.copied
    assert "letter B" in " ".join(screen.told())
    assert sync(two).result.trouble == ""  # type: ignore[union-attr]
    assert sync(one).copied
    assert (one.letter, two.letter) == ("A", "B")
    numbers = {record.value("number") for record in serving.cabin.ledger.records("context")}
    assert numbers == {"1", "2"}
