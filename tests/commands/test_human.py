"""`bonedocket human`: what it reads, what it prints, and what it never prints."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fieldapp import assets, cli


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Runs the command over a value; (exit code, standard output, standard error)."""

    def run(told: Any, *options: str) -> tuple[int, str, str]:
        path = tmp_path / "answers.json"
        path.write_text(told if isinstance(told, str) else json.dumps(told), encoding="utf-8")
        code = cli.main(["human", "--answers", str(path), *options])
        return code, *capsys.readouterr()

    return run


@pytest.mark.parametrize(
    ("told", "outcome"),
    [
        ({"answers": {}}, "cannot_tell"),
        ({"answers": None}, "cannot_tell"),
        ({"answers": {"HA09": "yes"}}, "confirm"),
        ({"element": "metacarpal", "context": {"kind": "ditch_fill"}, "answers": {"ha09": "Yes"}}, "confirm"),
        ({"element": None, "context": None, "answers": {"HA09": "yes"}, "size_mm": None, "pieces": ""}, "confirm"),
        ({"answers": {"HA09": "yes", "AN09": "yes"}}, "stop"),
        ({"answers": {"HA09": "yes"}, "context": {"kind": "grave"}}, "stop"),
        ({"answers": {"HA09": "yes"}, "context": {"kind": "fill", "grave_like": "yes"}}, "stop"),
        ({"answers": {"HA09": "yes"}, "seen": "photo"}, "cannot_tell"),
        ({"answers": {"HA09": "yes"}, "size_mm": 24}, "cannot_tell"),
        ({"answers": {"SH07": "yes"}, "pieces": 40}, "stop"),
        ({"answers": {"HA09": "yes", "CV02": "not looked at"}}, "cannot_tell"),
        ({"answers": {"HA09": "yes", "CV02": None}}, "confirm"),
    ],
)
def test_answers_come_to_their_outcome(ask: Any, told: Any, outcome: str) -> None:
    code, out, _ = ask(told, "--json")
    found = json.loads(out)
    assert (code, found["outcome"]) == (0, outcome)
    assert found["reasons"]
    assert found["criteria_version"] == assets.criteria_version()
    assert found["says"]


def test_without_json_it_says_it_in_words(ask: Any) -> None:
    code, out, _ = ask({"answers": {"HA09": "yes"}})
    assert code == 0
    assert out.startswith("Nothing here points to human; a specialist must confirm.")
    assert "the aid has not seen the bone" in out


def test_sources_are_shown_where_they_are_asked_for(ask: Any) -> None:
    _, out, _ = ask({"answers": {"CV02": "yes"}}, "--sources")
    assert assets.knowledge().criteria["cv02"].source in out


@pytest.mark.parametrize("answer", ["yes", "no", "unclear"])
def test_no_answer_makes_it_say_animal(ask: Any, answer: str) -> None:
    for key in assets.knowledge().criteria:
        _, out, _ = ask({"answers": {key: answer}})
        assert "animal" not in out.lower(), key
        assert "not human" not in out.lower(), key
        _, out, _ = ask({"answers": {key: answer}}, "--json")
        assert "animal" not in out.lower(), key


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ("{", "could not be read"),
        ([1], "one JSON object"),
        ({"answers": {"XX99": "yes"}}, "no criterion"),
        ({"answers": {"HA09": "perhaps"}}, "yes, no, unclear"),
        ({"answers": {"HA09": "yes", "ha09": "no"}}, "twice"),
        ({"answers": {}, "size_mm": "big"}, "size_mm"),
        ({"answers": {}, "pieces": 1.5}, "whole number"),
        ({"answers": {}, "seen": "rumour"}, "bone or photo"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(ask: Any, told: Any, words: str) -> None:
    code, out, err = ask(told)
    assert (code, out) == (2, "")
    assert words in err
