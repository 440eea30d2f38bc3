"""The tablet side's commands, run as a person runs them: what they print, what they write, how they fail."""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import uuid
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from demo_data.site import CODE, earlier_weeks
from fieldapp import assets, cli
from fieldapp.domain import ids
from fieldapp.store.notebook import Notebook

COMMANDS = (
    "tablet",
    "sheet",
    "check",
    "rules",
    "terms",
    "plates",
    "human",
    "cabin",
    "demo",
    "backup",
    "restore",
    "verify",
    "doctor",
)


def run(capsys, *argv: str) -> tuple[int, str, str]:
    code = cli.main(argv)
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def notebook(tmp_path) -> Path:
    """A notebook folder that holds the invented site's earlier weeks and one record that cannot be."""
    folder = tmp_path / "tablet"
    with Notebook.open(folder, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4())) as book:
        book.identify(site=ids.site_id(CODE), code=CODE, letter="A")
        book.pull([change.body for change in earlier_weeks(assets.knowledge(), 12)])
        book.save("docket", str(uuid.uuid4()), {"label": str(book.next_label()), "count": 0}, {}, {"name": "Wren"})
    return folder


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command, capsys):
    with pytest.raises(SystemExit) as done:
        cli.main([command, "--help"])
    assert done.value.code == 0
    assert command in capsys.readouterr().out


def test_an_unknown_command_is_refused_with_the_known_ones(capsys):
    with pytest.raises(SystemExit) as done:
        cli.main(["dig"])
    assert done.value.code == 2
    assert all(command in capsys.readouterr().err for command in ("tablet",))


def test_rules_lists_each_with_its_source(capsys):
    code, out, _ = run(capsys, "rules")
    assert code == 0
    assert out.count("source: ") == len(assets.knowledge().rules) >= 20
    _, out, _ = run(capsys, "rules", "--json", "--level", "impossible")
    rows = json.loads(out)
    assert rows
    assert all(row["level"] == "impossible" and row["source"] and row["sentence"] for row in rows)


def test_check_names_what_cannot_be_and_says_so_by_its_exit_code(capsys, notebook):
    code, out, _ = run(capsys, "check", str(notebook))
    assert code == 1
    assert "impossible" in out
    assert "HLG26 A1-" in out
    code, out, _ = run(capsys, "check", str(notebook), "--json", "--level", "note")
    assert code == 0
    assert {row["level"] for row in json.loads(out)["problems"]} <= {"note"}


def test_check_reads_a_notebook_and_changes_nothing_in_its_journal(capsys, notebook):
    before = (notebook / "journal").read_bytes()
    run(capsys, "check", str(notebook))
    assert (notebook / "journal").read_bytes() == before


def test_check_and_sheet_read_a_cabin_s_ledger_too(capsys, tmp_path):
    ledger = tmp_path / "cabin"
    ledger.mkdir()
    with sqlite3.connect(ledger / "ledger.sqlite") as file:
        file.execute("create table change (seq integer primary key, id text, body text)")
        file.executemany(
            "insert into change (id, body) values (?, ?)",
            [(change.id, change.body) for change in earlier_weeks(assets.knowledge(), 5)],
        )
    file.close()
    code, out, _ = run(capsys, "check", str(ledger))
    assert (code, "ledger in cabin: 11 records" in out) == (0, True)
    code, out, _ = run(capsys, "sheet", str(ledger), "--out", str(tmp_path / "out"))
    assert code == 0
    assert len(out.splitlines()) == 3


def test_a_text_in_the_ledger_that_was_altered_is_told(capsys, tmp_path):
    change = next(iter(earlier_weeks(assets.knowledge(), 1)))
    with sqlite3.connect(tmp_path / "ledger.sqlite") as file:
        file.execute("create table change (seq integer primary key, id text, body text)")
        file.execute("insert into change (id, body) values (?, ?)", (change.id, change.body.replace("1038", "1039")))
    file.close()
    code, out, _ = run(capsys, "check", str(tmp_path))
    assert code == 1
    assert "does not match its hash" in out


def test_sheet_prints_the_context_that_was_asked_for(capsys, notebook, tmp_path):
    code, out, _ = run(capsys, "sheet", str(notebook), "--context", "10 42", "--out", str(tmp_path / "pdf"))
    assert (code, out.strip()) == (0, str(tmp_path / "pdf" / "1042.pdf"))
    text = "".join(page.extract_text() for page in PdfReader(tmp_path / "pdf" / "1042.pdf").pages)
    assert "1042" in text


def test_sheet_prints_every_kind_and_a_trench_with_its_summary(capsys, notebook, tmp_path):
    def printed(*options: str) -> dict[str, str]:
        code, out, err = run(capsys, "sheet", str(notebook), "--out", str(tmp_path / "pdf"), *options)
        assert code == 0, err
        files = [Path(line) for line in out.splitlines()]
        return {one.name: " ".join(page.extract_text() for page in PdfReader(one).pages) for one in files}

    assert "Compact bone list" in printed("--context", "1042", "--compact")["1042-compact.pdf"]
    labels = printed("--context", "1042", "--labels", "3x8")
    assert "Context 1042" in labels["labels-bags.pdf"]
    assert printed("--blank", "3")["blank.pdf"].count("Any long bone") == 3
    assert "Context 1042" in printed("--blank", "1", "--context", "1042")["blank-1042.pdf"]
    trench = printed("--trench", "A", "--together")
    assert set(trench) == {"sheets-A.pdf", "summary-A.pdf"}
    bookmarks = [one.title for one in PdfReader(tmp_path / "pdf" / "sheets-A.pdf").outline]
    assert bookmarks
    assert all(one.partition("Context ")[2] in trench["summary-A.pdf"] for one in bookmarks)


def test_spare_labels_take_numbers_that_are_never_given_again(capsys, notebook, tmp_path):
    def spare(n: int) -> list[str]:
        code, out, err = run(capsys, "sheet", str(notebook), "--spare", str(n), "--out", str(tmp_path / "pdf"))
        assert code == 0, err
        text = " ".join(page.extract_text() for page in PdfReader(out.strip()).pages)
        return re.findall(r"A\d+-[0-9A-Z]", text)

    taken = [*spare(3), *spare(2)]
    with Notebook.open(notebook, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4())) as book:
        after = str(book.next_label()).partition(" ")[2]
    assert len({*taken, after}) == 6
    code, _, err = run(capsys, "sheet", str(notebook), "--spare", "0", "--out", str(tmp_path / "pdf"))
    assert (code, "--spare 1 to" in err) == (2, True)


def test_sheet_prints_photographs_from_a_folder_and_believes_no_name(capsys, notebook, tmp_path):
    def picture(colour: str) -> bytes:
        out = BytesIO()
        Image.new("RGB", (60, 40), colour).save(out, "JPEG")
        return out.getvalue()

    pictures = {hashlib.sha256(data).hexdigest(): data for data in map(picture, ("red", "green", "blue"))}
    _, closed, wrong = pictures
    with Notebook.open(notebook, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4())) as book:
        for sha256 in pictures:
            values = {
                "context": ids.context_id(ids.site_id(CODE), "1042"),
                "sha256": sha256,
                "closed": sha256 == closed,
            }
            book.save("photo", str(uuid.uuid4()), values, {}, {"name": "Wren"})
    folder = tmp_path / "pictures" / "ab"
    folder.mkdir(parents=True)
    for sha256, data in pictures.items():
        (folder / sha256).write_bytes(b"another" if sha256 == wrong else data)
    options = ("--context", "1042", "--photos", str(tmp_path / "pictures"), "--grey", "--out", str(tmp_path / "pdf"))
    assert run(capsys, "sheet", str(notebook), *options)[0] == 0
    pages = PdfReader(tmp_path / "pdf" / "1042.pdf").pages
    assert [one.image.mode for page in pages for one in page.images] == ["L"]
    text = " ".join(page.extract_text() for page in pages)
    assert text.count("The picture has not come") == 1
    assert "Closed, and never printed: 1." in text


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (["check", "{tmp}/nowhere"], "there is no folder"),
        (["check", "{tmp}"], "neither a tablet's notebook"),
        (["sheet", "{notebook}", "--context", "9999", "--out", "{tmp}/x"], "no context 9999"),
        (["sheet", "{notebook}", "--trench", "Q", "--out", "{tmp}/x"], "no context in the trench Q"),
        (["sheet", "{notebook}", "--blank", "0", "--out", "{tmp}/x"], "--blank 1"),
        (["sheet", "{notebook}", "--photos", "{tmp}/none", "--out", "{tmp}/x"], "there is no folder"),
    ],
)
def test_what_cannot_be_done_is_said_in_words_with_exit_code_2(capsys, tmp_path, notebook, argv, words):
    code, _, err = run(capsys, *(one.format(tmp=tmp_path, notebook=notebook) for one in argv))
    assert code == 2
    assert words in err
    assert "Traceback" not in err


def test_a_notebook_that_the_app_has_open_is_refused_in_words(capsys, notebook):
    with Notebook.open(notebook, lambda: datetime.now(UTC), lambda: str(uuid.uuid4())):
        code, _, err = run(capsys, "check", str(notebook))
    assert code == 2
    assert err.startswith("bonedocket check: ")


def test_a_command_whose_packages_are_missing_says_what_to_install(capsys, monkeypatch):
    def missing(*_):
        raise ModuleNotFoundError("No module named 'flask'", name="flask")

    monkeypatch.setattr("importlib.metadata.EntryPoint.load", missing)
    code, _, err = run(capsys, "cabin", "--data", "x")
    assert code == 2
    assert 'pip install "bonedocket[server]"' in err


def test_hold_logs_are_printed_without_the_words_that_may_name_the_place(tmp_path, capsys):
    folder = tmp_path / "tablet"
    docket, context = str(uuid.uuid4()), ids.context_id(ids.site_id(CODE), "7")
    by = {"person": "", "name": "Wren", "role": "recorder"}
    with Notebook.open(folder, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4())) as book:
        book.identify(site=ids.site_id(CODE), code=CODE, letter="A")
        book.save("context", context, {"number": "7", "type": "layer"}, {}, by)
        stop = {"answer": "stop", "why": "", "in_place": True, "by_rule": None}
        book.save("docket", docket, {"label": str(book.next_label()), "context": context, "human/h": stop}, {}, by)
        step = {"what": "told", "whom": "supervisor", "note": "by the old well"}
        book.save("hold", ids.hold_id(docket), {"docket": docket, "tier": "stop", "step/s": step}, {}, by)
    for options, told in (((), False), (("--words",), True)):
        code, out, _ = run(capsys, "sheet", str(folder), "--holds", *options, "--out", str(tmp_path / "out"))
        assert code == 0
        text = " ".join(page.extract_text() for page in PdfReader(out.strip()).pages)
        assert "Hold log" in text
        assert ("by the old well" in " ".join(text.split())) is told


def test_a_command_within_a_request_in_another_language_leaves_no_language_behind(capsys):
    with assets.speaking("de"):
        assert run(capsys, "rules")[0] == 0
    assert assets.spoken() == "en"


def test_a_language_before_the_command_is_that_of_what_it_prints(notebook, tmp_path, capsys):
    for named in (("--language", "de"), ("--language=de",)):
        code, _, err = run(
            capsys, *named, "sheet", str(notebook), "--context", "1042", "--compact", "--out", str(tmp_path)
        )
        assert (code, err) == (0, "")
        text = PdfReader(tmp_path / "1042-compact.pdf").pages[0].extract_text()
        assert "Befund 1042" in text
        assert assets.spoken() == "en", "and no longer than that"
    with pytest.raises(SystemExit):
        cli.main(["--language", "xx", "sheet", str(notebook), "--out", str(tmp_path)])
