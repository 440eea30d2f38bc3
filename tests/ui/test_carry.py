"""The carry-file screen's presenter, against a cabin in this process."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldapp import assets
from fieldapp.store.notebook import Notebook
from fieldapp.ui.presenters.carry import Carry
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.shell import Shell
from server.cabin import set_up
from server.config import Config
from tests.server.conftest import Clock
from tests.server.tablets import CODE, an_id
from tests.sync.carrying import Stick
from tests.sync.conftest import BY, Site
from tests.ui.conftest import FakeCabin


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    config = Config(tmp_path / "cabin", clock=Clock(), testing=True)
    set_up(config, code=CODE, name="Test field")
    found = Site(config)
    yield found
    found.close()


@pytest.fixture
def carry(site: Site, tmp_path: Path) -> Iterator[Carry]:
    with Notebook.open(tmp_path / "tablet", Clock(), lambda: str(uuid.uuid4())) as notebook:
        site.enrolled(notebook)
        notebook.save("docket", an_id("a"), {"count": 1}, {}, BY)
        yield Carry(Desk(notebook, assets.knowledge()))


def done(carry: Carry, what: str, where: str = "") -> str:
    heard: list[str] = []
    assert carry.begin(what, where or carry.where)
    assert carry.running == what
    carry.run(lambda: heard.append(" ".join(carry.words())))
    carry.finished()
    assert carry.running == ""
    assert heard
    return "\n".join(carry.words())


def test_a_file_goes_to_the_notebooks_own_folder_and_the_newest_answer_for_this_tablet_is_loaded_from_it(
    carry: Carry, site: Site
) -> None:
    folder = carry.desk.notebook.folder / "carry"
    assert carry.where == str(folder)
    assert "Written: 1 changes" in done(carry, "write")
    (out,) = folder.iterdir()
    assert "no answer for this tablet" in done(carry, "load")
    assert carry.desk.unsent() == 1
    stick = Stick(folder, site)
    stick.answer(out)
    newest = stick.answer(out)
    (folder / "torn.carry").write_bytes(newest.read_bytes()[:40])
    told = done(carry, "load")
    assert newest.name in told
    assert carry.desk.unsent() == 0
    assert "Written: 0 changes" in done(carry, "write")


def test_a_typed_folder_is_kept_and_a_typed_file_is_loaded_where_it_lies(
    carry: Carry, site: Site, tmp_path: Path
) -> None:
    folder = tmp_path / "stick"
    done(carry, "write", f" {folder} ")
    assert carry.where == str(folder)
    (out,) = folder.iterdir()
    answer = Stick(tmp_path / "elsewhere", site).answer(out)
    assert answer.name in done(carry, "load", str(answer))
    assert carry.where == str(folder)
    done(carry, "write", str(answer))
    assert len(list(answer.parent.iterdir())) == 2
    assert carry.where == str(folder)


def test_what_goes_wrong_is_told_in_words_and_nothing_is_taken(carry: Carry, site: Site, tmp_path: Path) -> None:
    done(carry, "write", str(tmp_path / "stick"))
    (out,) = (tmp_path / "stick").iterdir()
    assert "for the cabin, and not the cabin's answer" in done(carry, "load", str(out))
    answer = Stick(tmp_path / "elsewhere", site).answer(out)
    answer.write_bytes(answer.read_bytes()[:-5])
    assert "not copied to its end" in done(carry, "load", str(answer))
    (tmp_path / "file").write_text("x")
    assert done(carry, "write", str(tmp_path / "file" / "below"))
    assert carry.desk.unsent() == 1


def test_while_it_runs_nothing_else_begins(carry: Carry) -> None:
    assert carry.begin("write", carry.where)
    assert not carry.begin("load", carry.where)
    assert carry.words() == ["Writing … 0"]


def test_a_tablet_that_is_not_enrolled_is_told_so(desk: Desk) -> None:
    carry = Carry(desk)
    assert "not enrolled" in done(carry, "write")
    assert "not enrolled" in done(carry, "load", __file__)


def test_the_way_to_it_is_on_the_sync_screen_and_back(desk: Desk) -> None:
    shell = Shell(desk, FakeCabin(desk))
    shell.show("sync")
    shell.show_carry()
    assert shell.screen == "carry"
    assert "stick" in shell.carry.words()[0]
