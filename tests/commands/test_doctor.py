"""`bonedocket doctor` on any machine and over a tablet's notebook. The cabin's checks: tests/server/test_doctor.py.

Lists of mounts are written as Linux and macOS print them, from memory; no such machine was asked.
"""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from demo_data.site import CODE
from fieldapp import cli
from fieldapp.doctor import machine, notebook
from fieldapp.domain import ids
from fieldapp.findings import GOOD, NOTE, WRONG
from fieldapp.store.notebook import Notebook

MOUNTS = """\
/dev/sda1 / ext4 rw,relatime 0 0
tmpfs /tmp tmpfs rw 0 0
finds:/export /srv/finds nfs4 rw 0 0
//office/unit /mnt/unit\\040share cifs rw 0 0
/dev/sdb1 /srv/finds/disk ext4 rw 0 0
"""
MAC = """\
/dev/disk3s1 on / (apfs, sealed, local, read-only)
/dev/disk4 on /Volumes/Cabin Stick (exfat, local, nodev)
//unit@office/share on /Volumes/share (smbfs, nodev)
"""


def names(findings) -> dict[str, str]:
    found = {}
    for one in findings:
        assert "{" not in str(one)
        found[one.key.rpartition(".")[2]] = one.level
    return found


def opened(folder: Path) -> Notebook:
    return Notebook.open(folder, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4()))


@pytest.fixture
def tablet(tmp_path) -> Path:
    """A notebook folder with two changes that no cabin has."""
    folder = tmp_path / "tablet"
    with opened(folder) as book:
        book.identify(site=ids.site_id(CODE), code=CODE, letter="A")
        for _ in range(2):
            book.save("docket", str(uuid.uuid4()), {"count": 1}, {}, {"name": "Wren"})
    return folder


@pytest.mark.parametrize(
    ("version", "level"), [((3, 10, 9), WRONG), ((3, 11, 0), GOOD), ((3, 13, 7), GOOD), ((3, 14, 0), WRONG)]
)
def test_a_python_that_the_program_is_not_made_for_is_wrong(version, level):
    (found,) = machine.python(version)
    assert found.level == level


def test_packages_that_are_missing_are_named():
    assert names(machine.packages("no-such-thing-of-ours")) == {"not_installed": WRONG}
    # pytest is installed with all it needs, whatever that is.
    assert names(machine.packages("pytest")) == {"packages": GOOD}


def test_a_package_that_an_install_has_lost_is_named(monkeypatch):
    wanted = ["kivy>=2", "gone-bone<3", 'extra-thing>=1; extra == "server"']
    monkeypatch.setattr(machine.importlib.metadata, "requires", lambda _: wanted)
    (found,) = machine.packages("pytest")
    assert (found.level, found.fields["names"]) == (WRONG, "gone-bone")


def test_what_is_shipped_is_looked_at(monkeypatch, tmp_path):
    assert names(machine.shipped()) == {"shipped": GOOD}
    monkeypatch.setattr(machine.assets, "font", lambda bold=False: tmp_path / "none.ttf")
    assert names(machine.shipped()) == {"shipped_damaged": WRONG}


@pytest.mark.parametrize(
    ("free", "level"), [(100, WRONG), (499_999_999, WRONG), (500_000_000, NOTE), (2_000_000_000, GOOD)]
)
def test_a_disk_that_is_nearly_full_is_told_before_it_is(tmp_path, free, level):
    (found,) = machine.room(tmp_path, lambda _: free)
    assert found.level == level


def test_a_folder_in_which_nothing_can_be_written_is_wrong(tmp_path):
    assert names(machine.writable(tmp_path)) == {"writable": GOOD}
    assert list(tmp_path.iterdir()) == []
    assert names(machine.writable(tmp_path / "none")) == {"not_writable": WRONG}


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/cabin", "ext4"), ("/srv/finds/cabin", "nfs4"), ("/srv/finds/disk/cabin", "ext4"),
        ("/srv/findsother", "ext4"), ("/mnt/unit share/x", "cifs"), ("/tmp/x", "tmpfs"),
    ],
)  # fmt: skip
def test_the_disk_under_a_folder_is_found_in_the_list_of_mounts(path, kind):
    assert machine.kind_in(MOUNTS, Path(path)) == kind


def test_the_same_on_a_mac():
    kinds = {
        path: machine.kind_in_mac(MAC, Path(path))
        for path in ("/Users/x", "/Volumes/Cabin Stick/x", "/Volumes/share/x")
    }
    assert kinds == {"/Users/x": "apfs", "/Volumes/Cabin Stick/x": "exfat", "/Volumes/share/x": "smbfs"}


@pytest.mark.parametrize(
    ("kind", "level"),
    [("ext4", GOOD), ("apfs", GOOD), ("fixed", GOOD), ("nfs4", WRONG), ("cifs", WRONG), ("smbfs", WRONG), ("", NOTE)],
)
def test_a_network_drive_is_wrong_and_an_unknown_one_noted(tmp_path, kind, level):
    (found,) = machine.local(tmp_path, kind=lambda _: kind)
    assert found.level == level


@pytest.mark.parametrize("system", ["Windows", "Darwin", "Linux", "Plan9"])
def test_every_system_s_way_of_asking_ends_in_an_answer_wherever_it_is_tried(tmp_path, system):
    (found,) = machine.local(tmp_path, system)
    assert found.level in (GOOD, NOTE)


def test_a_share_of_windows_is_known_by_its_name():
    assert machine._windows(Path("\\\\office\\unit\\cabin")) == "smb"


def test_the_zone_is_said_with_its_distance():
    now = datetime(2026, 6, 9, 8, 30, tzinfo=timezone(timedelta(hours=3)))
    (found,) = machine.zone(now)
    assert "2026-06-09 08:30" in str(found)
    assert "+0300" in str(found)


def test_a_notebook_says_what_is_only_here(tablet):
    found = names(notebook.examine(tablet, 8443))
    assert found["notebook"] == GOOD
    assert found["not_enrolled"] == NOTE
    assert WRONG not in found.values()


def test_a_notebook_that_is_open_in_the_app_is_left_alone(tablet):
    with opened(tablet):
        assert names(notebook.examine(tablet, 8443))["notebook_in_use"] == NOTE


def test_a_damaged_journal_is_wrong_and_left_as_it_is(tablet):
    journal = tablet / "journal"
    damaged = bytearray(journal.read_bytes())
    damaged[len(damaged) // 3] ^= 1
    journal.write_bytes(damaged)
    assert names(notebook.examine(tablet, 8443))["notebook_shut"] == WRONG
    assert journal.read_bytes() == damaged


def test_the_command_finds_out_by_itself_what_kind_of_folder_it_is(tablet, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["doctor", "--data", str(tablet)]) == 0
    assert "The notebook is whole" in capsys.readouterr().out
    assert cli.main(["doctor"]) == 0
    assert "notebook" not in capsys.readouterr().out
    (tmp_path / "empty").mkdir()
    assert cli.main(["doctor", "--data", "empty"]) == 1
    assert "neither" in capsys.readouterr().out
    assert cli.main(["doctor", "--data", "none"]) == 1


def test_a_tablet_without_the_cabin_s_packages_is_examined_all_the_same(tablet, capsys, monkeypatch):
    from importlib.metadata import EntryPoint

    load = EntryPoint.load

    def bare(entry: EntryPoint):
        if entry.value.startswith("server") and entry.group == "bonedocket.doctor":
            raise ModuleNotFoundError("No module named 'flask'", name="flask")
        return load(entry)

    monkeypatch.setattr(EntryPoint, "load", bare)
    assert cli.main(["doctor", "--data", str(tablet)]) == 0
    said = capsys.readouterr().out
    assert "flask" in said
    assert "The notebook is whole" in said
