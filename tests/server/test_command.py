"""`bonedocket cabin` as it is typed."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldapp.cli import main
from fieldapp.records import enrolment
from fieldapp.records.place import place_of
from fieldapp.sync.transport import certificate_at
from server.ledger import Ledger
from tests.server.tablets import Tablet, an_id


@pytest.fixture
def data(tmp_path: Path, capsys) -> Path:
    folder = tmp_path / "cabin"
    assert main(["cabin", "init", "--data", str(folder), "--code", "tst 26", "--name", "Test field"]) == 0
    capsys.readouterr()
    return folder


def run(data: Path, *words: str) -> int:
    return main(["cabin", *words, "--data", str(data)])


def ledger_of(data: Path) -> Ledger:
    return Ledger.open(data / "ledger.sqlite")


def test_init_makes_a_cabin_once_and_says_what_to_do_next(tmp_path, capsys):
    words = ["cabin", "init", "--data", str(tmp_path / "c"), "--code", "TST26", "--name", "Test", "--licence", "L 17"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "TST26" in said
    assert re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", said)
    assert "person add" in said
    ledger = ledger_of(tmp_path / "c")
    assert (ledger.site().value("mode"), ledger.site().value("licence")) == ("licensed", "L 17")
    ledger.close()
    assert main(words) == 2
    assert "There is a ledger already" in capsys.readouterr().err


def test_everything_else_says_when_there_is_no_cabin_yet(tmp_path, capsys):
    for words in (["person", "list"], ["enrol"], ["mend"], ["devices"]):
        assert run(tmp_path, *words) == 2
        assert "bonedocket cabin init" in capsys.readouterr().err


def test_a_lost_key_file_is_told_and_no_new_one_made(data, capsys):
    (data / "cabin.key").unlink()
    assert run(data, "enrol") == 2
    assert "cabin.key" in capsys.readouterr().err
    assert not (data / "cabin.key").exists()


def test_a_person_is_added_listed_given_a_new_password_and_switched_off(data, capsys):
    assert run(data, "person", "add", "B. Bone", "zooarchaeologist") == 0
    first = re.search(r"this once: (\S+)", capsys.readouterr().out)
    assert run(data, "person", "password", "B. Bone", "zooarchaeologist") == 0
    second = re.search(r"this once: (\S+)", capsys.readouterr().out)
    assert first
    assert second
    assert first[1] != second[1]
    assert run(data, "person", "may-assess", "B. Bone") == 0
    ledger = ledger_of(data)
    (person,) = ledger.records("person")
    assert ledger.authority().policy.zooarchaeologists == {person.id}
    assert run(data, "person", "may-assess", person.id, "--no") == 0
    assert ledger.authority().policy.zooarchaeologists == frozenset()
    assert len(ledger.authority().grants) == 2
    assert run(data, "person", "withdraw", "B. Bone", "zooarchaeologist", "--revoke-keys") == 0
    assert ledger.authority().grants == {}
    ledger.close()
    capsys.readouterr()
    assert run(data, "person", "list") == 0
    assert "switched off" in capsys.readouterr().out
    assert run(data, "person", "password", "nobody", "director") == 2
    with pytest.raises(SystemExit):
        run(data, "person", "add", "C", "king")


def test_a_code_is_shown_with_its_letter_and_fits_the_certificate(data, capsys):
    assert run(data, "enrol", "--name", "tablet one") == 0
    said = capsys.readouterr().out
    code = re.search(r"Code: (\S+)", said)
    assert code
    assert "letter A" in said
    full = re.search(r"((?:[0-9A-F]{2}:){31}[0-9A-F]{2})", said)
    assert full
    assert enrolment.parse(code[1])[1] == enrolment.short(full[1].replace(":", "").lower())
    assert run(data, "withdraw", "A") == 2


def test_what_was_altered_is_mended(data, capsys):
    ledger = ledger_of(data)
    tablet = Tablet()
    tablet.docket("a")
    ledger.accept(tablet.entries(), tablet.id)
    assert main(["verify", "--data", str(data)]) == 0
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("UPDATE record SET label = 'other' WHERE kind = 'docket'")
    capsys.readouterr()
    assert main(["verify", "--data", str(data)]) == 1
    said = capsys.readouterr().out
    assert an_id("a") in said
    assert "bonedocket cabin mend" in said
    assert run(data, "mend") == 0
    assert main(["verify", "--data", str(data)]) == 0
    ledger.close()


def test_a_folder_that_was_put_back_by_hand_starts_a_new_epoch_when_told(data, tmp_path, capsys):
    copy = tmp_path / "copy"
    shutil.copytree(data, copy)
    epoch = ledger_of(data).names().epoch
    assert run(copy, "restored") == 0
    assert "new epoch" in capsys.readouterr().out
    found = ledger_of(copy)
    assert found.names().epoch != epoch
    found.close()


def test_the_words_of_the_place_want_a_source_and_are_set_shown_and_taken_away(data, tmp_path, capsys):
    text = tmp_path / "place.txt"
    text.write_text("Tell the district officer.\n\nNobody lifts.\n", encoding="utf-8")
    assert run(data, "place", str(text)) == 2
    assert "Nothing was changed" in capsys.readouterr().err
    assert run(data, "place", str(text), "--source", "letter 12, invented", "--checked", "2026-03-01, E. Tarn") == 0
    assert run(data, "place", "--zone", "the trench", "--zone-source", "project design, invented") == 0
    capsys.readouterr()
    ledger = ledger_of(data)
    place = place_of(ledger.site())
    assert place is not None
    assert place.rules == ("Tell the district officer.", "Nobody lifts.")
    assert (place.source, place.checked) == ("letter 12, invented", "2026-03-01, E. Tarn")
    assert ledger.site().value("zone_text") == "the trench"
    ledger.close()
    assert run(data, "place") == 0
    assert "zone_source: project design, invented" in capsys.readouterr().out
    assert run(data, "place", "--drop") == 0
    ledger = ledger_of(data)
    assert place_of(ledger.site()) is None
    assert ledger.site().value("zone_text") == "the trench"
    ledger.close()


def test_policy_and_licence_are_set_shown_and_dropped(data, tmp_path, capsys):
    assert run(data, "policy") == 0
    assert capsys.readouterr().out.split() == ["second_reader:", "yes", "groups:", "no", "hold_photos:", "no"]
    assert run(data, "policy", "--groups", "yes", "--hold-photos", "yes", "--second-reader", "no") == 0
    ledger = ledger_of(data)
    assert ledger.site().value("policy") == {
        "zooarchaeologists_may_assess": [],
        "second_reader": False,
        "groups": True,
    }
    assert ledger.authority().policy.groups
    ledger.close()
    text = tmp_path / "conditions.txt"
    text.write_text("# a comment\nScreen the work from view.\n", encoding="utf-8")
    assert run(data, "licence", "--conditions", str(text)) == 2
    assert "no licence set" in capsys.readouterr().err
    assert run(data, "licence", "L 17", "--conditions", str(text)) == 0
    capsys.readouterr()
    assert run(data, "licence") == 0
    assert "licence_conditions: Screen the work from view." in capsys.readouterr().out
    assert run(data, "licence", "--drop") == 0
    ledger = ledger_of(data)
    assert [ledger.site().value(one) for one in ("mode", "licence", "licence_conditions")] == ["excavation", None, None]
    ledger.close()


def test_a_place_text_that_is_no_text_is_told_and_nothing_changed(data, tmp_path, capsys):
    for file in (tmp_path / "none.txt", tmp_path / "bytes.txt", tmp_path / "empty.txt"):
        if file.name == "bytes.txt":
            file.write_bytes(b"\xff\xfe\x00")
        if file.name == "empty.txt":
            file.write_text(" \n", encoding="utf-8")
        assert run(data, "place", str(file), "--source", "x", "--checked", "y") == 2
        assert file.name in capsys.readouterr().err
    ledger = ledger_of(data)
    assert place_of(ledger.site()) is None
    ledger.close()


def test_the_log_reads_as_sentences(data, capsys):
    run(data, "enrol")
    run(data, "person", "add", "B. Bone", "director")
    run(data, "restored")
    capsys.readouterr()
    assert run(data, "log") == 0
    said = capsys.readouterr().out
    assert "cabin added B. Bone as director." in said
    assert "with the letter A" in said
    assert "{" not in said


def test_the_cabin_serves_says_where_and_ends_when_told(data):
    process = subprocess.Popen(
        [sys.executable, "-m", "fieldapp", "cabin", "--data", str(data), "--host", "127.0.0.1", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    try:
        assert process.stdout
        lines = []
        while "Ctrl+C" not in (line := process.stdout.readline()):
            lines.append(line)
            assert line, lines
        said = "".join(lines)
        port = re.search(r"https://127\.0\.0\.1:(\d+)/", said)
        full = re.search(r"((?:[0-9A-F]{2}:){31}[0-9A-F]{2})", said)
        assert port
        assert full
        end = time.monotonic() + 10
        assert enrolment.in_pairs(certificate_at(f"127.0.0.1:{port[1]}")) == full[1]
        assert time.monotonic() < end
        # A command beside the running cabin.
        assert run(data, "enrol") == 0
        process.send_signal(signal.SIGTERM)
        rest, _ = process.communicate(timeout=20)
        assert "The cabin has stopped" in rest
        assert process.returncode == 0
        assert "Traceback" not in rest
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def test_whoever_reads_may_stop_in_the_middle(tmp_path: Path) -> None:
    """As `bonedocket cabin place --drafts | head -1` does."""
    command = [sys.executable, "-m", "fieldapp", "cabin", "place", "--drafts", "--data", str(tmp_path)]
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as closed:
        found = subprocess.run(
            command, stdout=closed, stderr=subprocess.PIPE, env={**os.environ, "PYTHONUNBUFFERED": "1"}
        )
    assert (found.returncode, found.stderr) == (0, b"")
