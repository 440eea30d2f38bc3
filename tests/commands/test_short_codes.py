"""The site's own short codes: set at the cabin, listed, taken away; words that are none are refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldapp import cli
from fieldapp.assets import knowledge
from fieldapp.domain import short_codes
from fieldapp.domain.cells import TableFault


@pytest.fixture
def cabin(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The beginning of a command line for a new cabin."""
    command = ["cabin", "--data", str(tmp_path / "cabin")]
    assert cli.main([*command, "init", "--code", "HLG26", "--name", "Hollow Gate"]) == 0
    capsys.readouterr()
    return command


def test_a_code_is_set_listed_and_taken_away(cabin: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([*cabin, "code", "SG", "taxon", "sheep_goat"]) == 0
    capsys.readouterr()
    assert cli.main([*cabin, "code"]) == 0
    assert capsys.readouterr().out == "sg taxon sheep_goat\n"
    assert cli.main([*cabin, "code", "sg", "--drop"]) == 0
    capsys.readouterr()
    assert cli.main([*cabin, "code"]) == 0
    assert capsys.readouterr().out == ""


def test_a_word_that_is_none_is_refused_and_nothing_changes(
    cabin: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main([*cabin, "code", "x", "taxon", "unicorn"]) != 0
    assert "unicorn" in capsys.readouterr().err
    assert cli.main([*cabin, "code"]) == 0
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    "value", [None, 5, [], {}, {"slot": "taxon"}, {"slot": ["taxon"], "key": {}}, {"slot": "x", "key": "y"}]
)
def test_a_code_of_a_newer_version_stands_for_nothing(value: object) -> None:
    assert short_codes.meaning(value, knowledge()) is None


def test_every_slot_has_words() -> None:
    assert all(short_codes.words_of(slot, knowledge()) for slot in short_codes.SLOTS)


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("MT,element,metatarsal", "small letters"),
        ("mc,element,metatarsal", "stand here once"),
        ("mc2,element,unicorn", "not in its table"),
        ("mc2,side,left", "not one of"),
    ],
)
def test_a_short_word_of_the_trade_that_means_nothing_or_two_things_is_named(row: str, what: str) -> None:
    rows = [dict(zip(("word", "slot", "key"), one.split(","), strict=True)) for one in ("mc,element,metacarpal", row)]
    tables = {"short_words": [("short_words.csv", n, one) for n, one in enumerate(rows, 2)]}
    with pytest.raises(TableFault, match=what):
        short_codes.read(tables, knowledge().taxa, knowledge().elements)
