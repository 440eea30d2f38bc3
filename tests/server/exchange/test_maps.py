"""A map of somebody's columns and words: what it may say, and everything that is wrong with one told at once."""

from __future__ import annotations

import pytest

from fieldapp.assets import texts
from server.commands.importing import SHIPPED, shipped
from server.exchange import maps
from server.exchange.maps import MapWrong
from tests.server.exchange.made import HEAD, KNOW, MAP


def faults(text: str) -> list[tuple[str, dict[str, str]]]:
    with pytest.raises(MapWrong) as told:
        maps.read(text, KNOW)
    for one in told.value.faults:
        assert texts()[f"import.map.{one.key}"].format(**one.fields)
    return [(one.key, dict(one.fields)) for one in told.value.faults]


def test_a_map_says_what_columns_and_words_mean() -> None:
    found = maps.read(MAP, KNOW)
    animal = next(one for one in found.columns if one.heading == "Animal")
    assert animal.words == {
        "Rd": {"taxon": "cattle"},
        "Rd?": {"taxon": "cattle", "certainty": "cf"},
        "Mensch": {"taxon": "human"},
        "?": {},
    }
    assert next(one for one in found.columns if one.heading == "Weight").unit == 1000
    assert (found.every, found.halves, found.decimal) == ({"recovery": "hand"}, "up", ".")


def test_the_maps_that_are_shipped_can_be_read() -> None:
    assert shipped() == ["barcin", "mentese"]
    for name in shipped():
        assert maps.read((SHIPPED / f"{name}.toml").read_text(encoding="utf-8"), KNOW).columns


def test_toml_that_is_none_is_told_with_line_and_column() -> None:
    assert faults('format = 1\nname = "x\n') == [("toml", {"why": "Illegal character '\\n' (at line 2, column 10)"})]


@pytest.mark.parametrize(
    ("text", "key", "fields"),
    [
        (HEAD.replace("format = 1", "format = 9"), "format", {"given": "9"}),
        (HEAD.replace('prefix = "LB"', ""), "wanting", {"given": "prefix"}),
        (HEAD + 'colour = "red"', "unknown_key", {"given": "colour"}),
        (HEAD + '[file]\ndelimeter = ";"', "unknown_key", {"given": "delimeter", "near": "delimiter, decimal"}),
        (HEAD + '[file]\nencoding = "klingon"', "encoding", {"given": "klingon"}),
        (HEAD + '[file]\ndelimiter = "::"', "delimiter", {"given": "::"}),
        (HEAD + '[file]\ndecimal = ";"', "word", {"where": "file.decimal"}),
        *((HEAD + f'[file]\nencoding = "{one}"', "encoding", {"given": one}) for one in ("hex", "idna", "undefined")),
        (HEAD + '[file]\nnothing = "-"', "wrong_sort", {"where": "file.nothing"}),
        (HEAD + '[file]\nexact = ["E"]\n[column.E]\nto = "note"', "exact_read", {"given": "E"}),
        (HEAD + '[count]\nhalves = "away"', "word", {"where": "count.halves"}),
        (HEAD + '[column.A]\nto = "taxxon"', "slot", {"given": "taxxon", "near": "taxon"}),
        (HEAD + '[column.A]\nto = "measure.Zz"', "slot", {"given": "measure.Zz"}),
        (HEAD + '[column.A]\nto = "assessment"', "slot", {"given": "assessment"}),
        (HEAD + '[column.A]\nto = "taxon"\nwords = { x = "catle" }', "word", {"given": "catle"}),
        (HEAD + '[column.A]\nwords = { x = "cattle" }', "no_slot_for_word", {"where": 'column."A".words."x"'}),
        (HEAD + "[column.A]\n", "column_empty", {"where": 'column."A"'}),
        (HEAD + "[column.A]\nto = 7", "wrong_sort", {"where": 'column."A".to'}),
        (HEAD + '[column.A]\nto = "weight_g"\nunit = "stone"', "word", {"given": "stone"}),
        (HEAD + '[column.A]\nto = "weight_g"\nwords = { x = -3 }', "figure", {"given": "-3"}),
        (HEAD + '[column.A]\nto = "human"\nwords = { x = "no_sign" }', "word", {"given": "no_sign"}),
        (HEAD + '[end.proximal]\nfemur = "top"', "word", {"given": "top"}),
        (HEAD + '[[case]]\nwhen = { A = "x" }', "case_empty", {"where": "case 1"}),
        (HEAD + '[[case]]\nwhen = { A = 3 }\nset = { side = "left" }', "wrong_sort", {"where": 'case 1.when."A"'}),
        (HEAD + "[every]\nweight_g = nan", "figure", {"given": "nan"}),
        (HEAD + "[every]\ncount = inf", "figure", {"given": "inf"}),
        (HEAD + f"[every]\ncount = {'9' * 400}", "figure", {"where": "every.count"}),
        (HEAD + f'[every]\nfinder = "{"x" * 201}"', "text", {"where": "every.finder"}),
        (HEAD.replace('"LB"', f'"{"x" * 41}"'), "text", {"where": "prefix"}),
        (HEAD.replace('"LB"', '"\\u202eLB"'), "text", {"where": "prefix"}),
        (HEAD.replace('"invented"', f'"{"x" * 2001}"'), "text", {"where": "credit"}),
        (HEAD + f"x = {'[' * 3000}{']' * 3000}", "toml", {}),
        (HEAD + f'[every]\n{".".join("a" * 3000)} = "x"', "toml", {}),
        (
            HEAD + '[file]\nexact = ["E"]\n[[case]]\nwhen = { E = "*" }\nset = { note = true }',
            "exact_read",
            {"given": "E"},
        ),
        (HEAD + 'every = "hand"', "wrong_sort", {"where": "every"}),
        (HEAD + '[column.A]\nto = "wear.grant_1982"\nwords = { x = "zz" }', "word", {"given": "zz"}),
    ],
)
def test_what_a_map_cannot_say_is_told(text: str, key: str, fields: dict[str, str]) -> None:
    assert any(one == key and fields.items() <= told.items() for one, told in faults(text)), faults(text)


def test_everything_that_is_wrong_is_told_at_once() -> None:
    assert [key for key, _ in faults(HEAD + 'x = 1\n[file]\ny = 2\n[column.A]\nto = "z"')] == [
        "unknown_key",
        "unknown_key",
        "slot",
        "column_empty",
    ]


def test_no_map_can_answer_the_human_question_mildly_or_assess_anything() -> None:
    for word in ("no_sign", "not_asked", "stop"):
        assert faults(HEAD + f'[every]\nhuman = "{word}"')[0][0] == "word"
    for slot in ("assessment/x", "release", "verdict", "same_as"):
        assert faults(HEAD + f'[column.A]\nto = "{slot}"')[0][0] == "slot"
