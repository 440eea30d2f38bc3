"""Drafts of the words of a place: sourced line by line, and nothing of them shown until a director has set it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldapp import assets
from fieldapp.assets import AssetError
from fieldapp.cli import main
from fieldapp.domain.places import PlaceLine
from fieldapp.records.place import place_of
from server.ledger import Ledger

PLACES = assets.places()
LINES = [line for lines in PLACES.values() for line in lines]
LIMIT = re.compile(
    r"\b(\d+|two|three|four(?:th)?|five|six|seven|eight|nine|ten|"
    r"zwei|drei|vier(?:ten)?|fünf|sechs|sieben|acht|neun|zehn)\s+"
    r"(working |business )?(hours?|days?|weeks?|months?|m|metres?|km|ft|feet|"
    r"Stunden?|Tagen?|Tage|Wochen?|Monaten?|Monate|Metern?|Arbeitstagen?|Arbeitstage|Werktage?|Werktagen|Werktags)\b"
)
"""A deadline or a distance, in figures or in words."""
LANGUAGES = assets.languages()


@pytest.fixture(params=LANGUAGES)
def lang(request: pytest.FixtureRequest) -> Iterator[str]:
    """Each language in turn, spoken while the test runs."""
    with assets.speaking(request.param):
        yield str(request.param)


def limits(text: str) -> list[str]:
    return [found.group() for found in LIMIT.finditer(text)]


@pytest.mark.parametrize("line", LINES, ids=lambda line: line.text)
def test_every_line_has_words_a_source_and_says_whether_it_was_seen(line: PlaceLine) -> None:
    assert assets.texts_at(assets.root(), "en")[line.text].strip()
    assert line.source
    assert (line.seen == "memory") != line.address.startswith(("http://", "https://"))
    assert line.source.endswith("(recalled)") == (line.seen == "memory")
    assert not re.search(r"\s", line.address)


def test_no_text_of_a_place_is_left_without_its_line() -> None:
    texts = {key for key in assets.texts_at(assets.root(), "en") if key.startswith("place.")}
    assert texts == {line.text for line in LINES} | {f"place.{place}" for place in PLACES}


def test_a_place_has_a_handful_of_lines_short_enough_for_the_stop() -> None:
    """Lengths are common practice, no source: about two lines of a tablet's half."""
    for place, lines in PLACES.items():
        assert 3 <= len(lines) <= 8, place
        assert [line.at for line in lines] == list(range(1, len(lines) + 1))
    assert max(len(assets.texts_in("en")[line.text]) for line in LINES) < 170


def test_a_deadline_or_distance_was_seen_and_is_told_as_what_somebody_says(lang: str) -> None:
    says = {"en": "says", "de": "sagt"}[lang]
    found = {line.text for line in LINES if limits(assets.texts()[line.text])}
    for line in LINES:
        if line.text in found:
            assert line.address, line.text
            assert says in assets.texts()[line.text], line.text
    # The same lines in each language: no limit is lost or made on the way.
    assert found == {line.text for line in LINES if limits(assets.texts_in("en")[line.text])}
    assert len(found) >= 8


@pytest.mark.parametrize("said", ["within 48 hours", "five working days", "20 m around", "innerhalb von 30 Tagen"])
def test_a_limit_would_be_noticed(said: str) -> None:
    assert limits(said)


def test_where_nothing_is_chosen_the_stop_and_the_hold_name_no_deadline_and_no_distance(lang: str) -> None:
    shown = ("ui.stop.", "ui.hold.", "sheets.hold", "sheets.cautions", "review.hold", "aid.outcome", "aid.says")
    texts = {key: text for key, text in assets.texts().items() if key.startswith(shown)}
    assert {key.split(".")[0] for key in texts} == {"ui", "sheets", "review", "aid"}
    assert {key: limits(text) for key, text in texts.items() if limits(text)} == {}
    assert place_of(None) is None


def test_the_drafts_are_listed_and_one_is_printed_without_a_cabin(lang: str, tmp_path: Path, capsys) -> None:
    nowhere = ["--data", str(tmp_path / "none")]
    assert main(["cabin", "place", "--drafts", *nowhere]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in listed] == list(PLACES)
    for place, line in zip(PLACES, listed, strict=True):
        assert assets.texts()[f"place.{place}"] in line
        assert main(["cabin", "place", "--draft", place, *nowhere]) == 0
        printed = capsys.readouterr().out.splitlines()
        rules = [one for one in printed if not one.startswith("#")]
        assert len(rules) == len(PLACES[place])
        for one, rule in zip(PLACES[place], rules, strict=True):
            mark = {"en": "[from memory: check]", "de": "[aus dem Gedächtnis: prüfen]"}[lang]
            assert rule.startswith(assets.texts()[one.text])
            assert rule.endswith(f": {one.address}]" if one.address else mark)
    assert not (tmp_path / "none").exists()


def test_a_draft_says_first_that_it_is_one_and_how_many_lines_nobody_has_seen(capsys) -> None:
    for place, lines in PLACES.items():
        assert main(["cabin", "place", "--draft", place]) == 0
        head = capsys.readouterr().out.splitlines()[:6]
        assert all(line.startswith("# ") for line in head)
        for word in ("draft", "not legal advice", "Law changes", "authority", "edited", "bonedocket cabin place FILE"):
            assert word in "\n".join(head)
        seen = sum(line.seen != "memory" for line in lines)
        assert f"{seen} of {len(lines)} lines were seen" in "\n".join(head)


def test_a_draft_of_nowhere_is_told_with_those_there_are(capsys) -> None:
    assert main(["cabin", "place", "--draft", "atlantis"]) == 2
    said = capsys.readouterr().err
    assert "atlantis" in said
    assert "new_zealand" in said


def test_a_draft_and_a_file_to_be_set_are_not_asked_for_at_once(capsys) -> None:
    for words in (["words.txt", "--draft", "france"], ["--drop", "--drafts"]):
        with pytest.raises(SystemExit) as ended:
            main(["cabin", "place", *words])
        assert ended.value.code == 2
    assert "not allowed with" in capsys.readouterr().err


@pytest.fixture
def data(tmp_path: Path, capsys) -> Path:
    folder = tmp_path / "cabin"
    assert main(["cabin", "init", "--data", str(folder), "--code", "TST26", "--name", "Test field, invented"]) == 0
    capsys.readouterr()
    return folder


def rules_set(data: Path) -> tuple[str, ...]:
    ledger = Ledger.open(data / "ledger.sqlite")
    try:
        place = place_of(ledger.site())
        return place.rules if place is not None else ()
    finally:
        ledger.close()


def set_file(data: Path, file: Path) -> int:
    sourced = ["--source", "invented letter", "--checked", "2026-05-04, D. Invented"]
    return main(["cabin", "place", str(file), *sourced, "--data", str(data)])


@pytest.mark.parametrize("place", PLACES)
def test_a_draft_set_as_it_is_written_leaves_its_rules_and_no_comment(
    place: str, lang: str, data: Path, tmp_path: Path
) -> None:
    file = tmp_path / "draft.txt"
    assert main(["cabin", "place", "--draft", place, "--out", str(file), "--data", str(data)]) == 0
    assert rules_set(data) == ()
    assert set_file(data, file) == 0
    rules = rules_set(data)
    assert [rule.rpartition(" [")[0] for rule in rules] == [assets.texts()[line.text] for line in PLACES[place]]
    assert not any(rule.startswith("#") for rule in rules)


def test_an_editor_s_byte_order_mark_and_indented_comments_are_no_rules(data: Path, tmp_path: Path) -> None:
    file = tmp_path / "edited.txt"
    file.write_bytes("\ufeff# a draft\r\n\t# an afterthought\r\nCall the invented office.\r\n".encode())
    assert set_file(data, file) == 0
    assert rules_set(data) == ("Call the invented office.",)


def test_a_draft_that_somebody_has_edited_is_not_written_over(tmp_path: Path, capsys) -> None:
    file = tmp_path / "mine.txt"
    file.write_text("edited", encoding="utf-8")
    assert main(["cabin", "place", "--draft", "france", "--out", str(file)]) == 2
    assert file.read_text(encoding="utf-8") == "edited"
    assert "was left as it is" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        ("atlantis,2,somebody,memory", "the next line of atlantis is 1"),
        ("atlantis,1,project decision,-", "no decision of this project"),
        ("atlantis,1,somebody,memory\natlantis,2,somebody,memory", "no text 'place.atlantis.2'"),
        ("lemuria,1,somebody,memory", "no text 'place.lemuria'"),
        ("atlantis,1,,memory", "no source"),
        ("atlantis,1,somebody,surely", "`seen`"),
    ],
)
def test_a_table_of_places_that_does_not_hold_together_is_refused(rows: str, what: str, tmp_path: Path) -> None:
    (tmp_path / "reference").mkdir()
    (tmp_path / "texts" / "en").mkdir(parents=True)
    (tmp_path / "texts" / "en" / "a.json").write_text('{"place.atlantis": "Atlantis", "place.atlantis.1": "Swim."}')
    (tmp_path / "reference" / "places.csv").write_text(f"place,at,source,seen\n{rows}\n")
    with pytest.raises(AssetError, match=what) as caught:
        assets.places_at(tmp_path)
    assert caught.value.line == rows.count("\n") + 2
