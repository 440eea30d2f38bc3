"""Typed lines: what words mean, what is not taken and why, and that no line breaks anything."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge, texts
from fieldapp.domain import human
from fieldapp.records.typed import Reader, Slip, Told, Wrong, is_figure

ALIKE = {"element": "humerus", "taxon": "cattle", "material": "bone"}


def word(of: str, key: str) -> str:
    return texts().get(f"{of}.{key}", key)


READER = Reader(knowledge(), {}, word)


def slip(before: dict[str, str] | None = None) -> Slip:
    return Slip(knowledge(), before or {}, lambda code: f"id-{code}")


def taken(line: str, before: dict[str, str] | None = None, reader: Reader = READER) -> tuple[dict, Told]:
    piece = slip(before)
    told = reader.take(piece, line)
    return piece.answers, told


def test_a_line_of_words_is_a_whole_fragment() -> None:
    answers, told = taken('hum l cattle +d -* d:f Bd80.5 w120 x2 ?n "gnawed')
    assert told == Told()
    assert {slot: value for slot, value in answers.items() if "." not in slot} == {
        "material": "bone", "element": "humerus", "side": "left", "taxon": "cattle", "weight_g": 120.0, "count": 2,
        "measure/id-Bd": {"code": "Bd", "mm": 80.5}, "human": human.NO_SIGN, "note": "gnawed",
    }  # fmt: skip
    assert answers["portion.trochlea"] == answers["portion.distal_metaphysis"] == "most"
    assert answers["portion.head"] == "absent"
    assert answers["fusion.distal"] == "fused"


def test_what_may_be_two_things_is_said_and_not_taken() -> None:
    answers, told = taken("meta l")
    assert told.wrong[0].why == "several"
    assert "metacarpal" in told.wrong[0].names
    assert answers == {"side": "left"}


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("tibia xyzzy right", Wrong("unknown", "xyzzy")),
        ("tibia +trochlea right", Wrong("no_portion", "+trochlea")),
        ("tibia q:u right", Wrong("no_centre", "q:u")),
        ("tibia w0 right", Wrong("no_figure", "0")),
        ("tibia = right", Wrong("nothing_before", "=")),
        ("tibia w right", Wrong("left", "w")),
    ],
)
def test_what_is_not_taken_is_said_and_the_rest_is(line: str, wrong: Wrong) -> None:
    answers, told = taken(line)
    assert told.wrong == [wrong]
    assert (answers["element"], answers["side"]) == ("tibia", "right")


def test_a_word_is_looked_for_among_what_is_still_open() -> None:
    assert taken("radius r")[0]["side"] == "right"


@pytest.mark.parametrize("typed", ["80.5", "80,5", "80.5mm"])
def test_figures_come_as_instruments_write_them(typed: str) -> None:
    piece = slip()
    told = READER.take(piece, "humerus Bd")
    assert (told.waits, is_figure(typed)) == ("Bd", True)
    assert READER.take(piece, typed, told.waits) == Told()
    assert piece.answers["measure/id-Bd"]["mm"] == 80.5


def test_the_site_s_own_code_goes_before_everything() -> None:
    own = Reader(knowledge(), {"L": {"slot": "taxon", "key": "sheep"}, "odd": 3}, word)
    answers, _ = taken("tibia l", reader=own)
    assert answers["taxon"] == "sheep"
    assert "side" not in answers


def test_the_same_again_takes_bone_and_animal_and_nothing_else() -> None:
    answers, told = taken("= r +d", {**ALIKE, "side": "left", "certainty": "cf", "human": "query"})
    assert told.wrong == []
    assert {one: answers[one] for one in answers if "." not in one} == {**ALIKE, "side": "right", "certainty": "cf"}
    answers, _ = taken("l =", {"element": "atlas", "taxon": "pig"})
    assert answers["side"] == "midline"


def test_of_several_answers_in_a_line_the_most_cautious_counts() -> None:
    assert taken("femur ?s ?n")[0]["human"] == human.STOP
    assert taken("femur ?n ?q ??")[0]["human"] == human.QUERY


@pytest.mark.parametrize(
    "line", ["+x", "~", ":", "d:", "?", "?z", "x", "x0", "Bd-3", "+*", '"', "  ", "=", "\u202e", "w0", "x²", "w٣"]
)
def test_no_line_breaks_it(line: str) -> None:
    taken(line)
    taken(f"humerus {line}")


@given(st.lists(st.sampled_from([*'+~-:?=xw"*', "hum", "l", "d", "Bd", "80.5", "0", "meta", "e9", "."]), max_size=12))
def test_nor_does_any_heap_of_its_signs(parts: list[str]) -> None:
    for glue in ("", " "):
        answers, told = taken(glue.join(parts), ALIKE)
        assert None not in answers.values()
        assert all(one.why for one in told.wrong)
