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
        ("tibia q:u right", Wrong("no_centre", "q:u", ("proximal", "tuberosity", "distal"))),
        ("tibia -* d:u right", Wrong("nothing_joins", "d:u")),
        ("d:u tibia right", Wrong("no_bone", "d:u")),
        ("+shaft tibia right", Wrong("no_bone", "+shaft")),
        ("tibia left-over right", Wrong("unknown", "left-over")),
        ("tibia sheep pig right", Wrong("twice", "pig", ("sheep",))),
        ("tibia sheep or goat right", Wrong("unknown", "or")),
        ("tibia w0 right", Wrong("no_figure", "0")),
        ("tibia = right", Wrong("nothing_before", "=")),
        ("tibia w right", Wrong("left", "w")),
    ],
)
def test_what_is_not_taken_is_said_and_the_rest_is(line: str, wrong: Wrong) -> None:
    answers, told = taken(line)
    assert told.wrong[0] == wrong
    assert (answers["element"], answers["side"]) == ("tibia", "right")


@pytest.mark.parametrize(
    ("line", "taxon", "wrong"),
    [
        ("rib cattle human", "human", []),
        ("rib human cattle", "human", [Wrong("twice", "cattle", ("human",))]),
        ("rib sheep mammal_or_human", "mammal_or_human", []),
        ("rib mammal_or_human human sheep", "human", [Wrong("twice", "sheep", ("human",))]),
    ],
)
def test_what_may_be_human_is_heard_whatever_else_the_line_says(line: str, taxon: str, wrong: list[Wrong]) -> None:
    answers, told = taken(line)
    assert answers["taxon"] == taxon
    assert told.wrong == wrong


def test_a_portion_that_is_not_there_is_answered_with_those_that_are() -> None:
    (wrong,) = taken("tibia +trochlea")[1].wrong
    assert wrong[:2] == ("no_portion", "+trochlea")
    assert {"lower shaft", "medial condyle"} < {*wrong.names}


@pytest.mark.parametrize(
    ("line", "element", "taxon"),
    [
        ("tib l red deer", "tibia", "red_deer"),
        ("tibia roe d r", "tibia", "roe_deer"),
        ("rib medium mammal", "rib", "medium_mammal"),
        ("long bone large m x3", "long_bone", "large_mammal"),
        ("first phalanx pig r", "phalanx_1", "pig"),
        ("cervical v sheep/goat", "cervical_vertebra", "sheep_goat"),
        ("horn core goat", "horn_core", "goat"),
        ("mc r ox", "metacarpal", "cattle"),
        ("PH1 S/G", "phalanx_1", "sheep_goat"),
        ("horse r pelvis", "pelvis", "horse"),
    ],
)
def test_a_name_of_several_words_is_one_name(line: str, element: str, taxon: str) -> None:
    answers, told = taken(line)
    assert told == Told()
    assert (answers["element"], answers["taxon"]) == (element, taxon)


@pytest.mark.parametrize("slot", ["taxon", "element"])
def test_every_name_written_out_is_that_animal_or_that_bone(slot: str) -> None:
    """Whatever it is called: nothing else is ever saved in its place without a word."""
    other = {}
    for key in knowledge().taxa if slot == "taxon" else knowledge().elements:
        answers, told = taken(word(slot, key))
        if answers.get(slot) != key and not told.wrong:
            other[word(slot, key)] = answers
    assert other == {}


def test_capitals_are_taken_as_they_are_meant() -> None:
    answers, told = taken("HUM L CATTLE D:F bd80.5 W12 X3 ?Q")
    assert told == Told()
    assert (answers["element"], answers["side"], answers["count"], answers["weight_g"]) == ("humerus", "left", 3, 12.0)
    assert answers["measure/id-Bd"] == {"code": "Bd", "mm": 80.5}
    assert answers["human"] == human.QUERY
    assert taken("femur ?S")[0]["human"] == human.STOP


def test_a_later_line_mends_what_an_earlier_one_said() -> None:
    piece = slip()
    READER.take(piece, "tibia sheep")
    assert READER.take(piece, "pig") == Told()
    assert piece.answers["taxon"] == "pig"


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
