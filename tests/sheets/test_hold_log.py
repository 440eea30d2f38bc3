"""The hold log as it comes out of the printer: every step and reading, room for a pencil, and never the exact place."""

from __future__ import annotations

import pytest

from fieldapp import assets
from fieldapp.domain import ids
from fieldapp.sheets.entries import Docket
from fieldapp.sheets.hold_log import render_hold
from tests.sheets.dig import PRINTED, SITE, Dig
from tests.sheets.test_context_sheet import _pages

PLACE = "2.4 m east of peg 7"
STEP = {
    "what": "handed_over",
    "whom": "osteologist",
    "how": "in_person",
    "ref": "K 17",
    "note": "in the blue crate",
    "received_by": "Eve Tarn, human osteologist",
    "purpose": "to be assessed",
    "seal": "0042",
    "kept": "locked cupboard, key with the director",
}


def dug() -> tuple[Dig, str, str]:
    """(dig, context, docket) with a stop in the ground and a hand-over."""
    dig = Dig()
    context = dig.context("7", type="layer")
    docket = dig.docket(dig.bag(context, 1), 2)
    dig.set("ada", "docket", docket, {"human/h1": {"answer": "stop", "why": "", "in_place": True, "by_rule": None}})
    hold = ids.hold_id(docket)
    values = {"docket": docket, "context": context, "tier": "stop", "zone": "the north half", "in_place": True}
    dig.set(
        "ada", "hold", hold, {**values, "place_sealed": "sealed", "step/s1": {"what": "told", "whom": "supervisor"}}
    )
    dig.set("cem", "hold", hold, {"step/s2": STEP})
    return dig, context, docket


def printed(dig: Dig, context: str, *, with_words: bool, lang: str = "en") -> str:
    sheet = dig.sheet(context, hold_words=with_words)
    (docket,) = (one for one in sheet.dockets if one.hold)
    return " ".join(_pages(render_hold(sheet, docket, assets.texts(lang), PRINTED)))


def test_it_says_what_was_done_by_whom_and_what_binds() -> None:
    dig, context, _ = dug()
    text = printed(dig, context, with_words=True)
    for words in (
        "Hold log", "STOP. POSSIBLE HUMAN REMAINS", "the north half", "Told", "supervisor", "Ada Fennick, recorder",
        "Handed over", "Cem", "received by: Eve Tarn", "for: to be assessed", "seal: 0042", "K 17", "blue crate",
        "Local law", "Not legal advice", "possible human, in the ground: stop", "The exact place is not printed",
        "given by: name, role, signature",
    ):  # fmt: skip
        assert words.lower() in text.lower(), words


def test_without_words_nothing_that_may_name_the_place_is_on_it_and_that_is_said() -> None:
    dig, context, _ = dug()
    text = printed(dig, context, with_words=False)
    for words in ("K 17", "blue crate", "Eve Tarn", "0042", "locked cupboard", PLACE):
        assert words not in text
    assert "may name the place" in text
    assert "Handed over" in text


def test_a_hold_without_a_line_asks_who_was_told() -> None:
    dig = Dig()
    context = dig.context("7", type="layer")
    docket = dig.docket(dig.bag(context, 1), 2)
    dig.set("ada", "docket", docket, {"human/h1": {"answer": "query", "why": "", "in_place": False, "by_rule": None}})
    text = printed(dig, context, with_words=True)
    assert "Write who was told" in text
    assert "The hold record itself has not come" in text


def test_under_a_licence_its_conditions_and_the_skeleton_are_on_it() -> None:
    dig, context, docket = dug()
    dig.license("Screen the work.\nKeep apart.")
    assert "Skeleton not recorded" in " ".join(printed(dig, context, with_words=False).split())
    dig.set("ada", "hold", ids.hold_id(docket), {"skeleton": "SK 104"})
    dig.set("bo", "hold", ids.hold_id(docket), {"charnel": True})
    text = printed(dig, context, with_words=False)
    for words in ("licence L-77", "Screen the work.", "Keep apart.", "SK 104", "Charnel"):
        assert words in text, words


def test_a_long_log_goes_over_pages_and_each_says_which() -> None:
    dig, context, docket = dug()
    for at in range(60):
        dig.set("cem", "hold", ids.hold_id(docket), {f"step/n{at}": {"what": "note", "note": f"watched, round {at}"}})
    text = printed(dig, context, with_words=True)
    assert "round 0" in text
    assert "round 59" in text
    assert "Page 2 of" in text or "page 2 of" in text


def test_it_speaks_german_too() -> None:
    dig, context, _ = dug()
    assert "Sperrprotokoll" in printed(dig, context, with_words=True, lang="de")


def test_a_docket_without_a_hold_has_no_log() -> None:
    dig = Dig()
    context = dig.context("7", type="layer")
    dig.docket(dig.bag(context, 1), 2)
    sheet = dig.sheet(context)
    docket: Docket = sheet.dockets[0]
    with pytest.raises(ValueError, match="no hold"):
        render_hold(sheet, docket, assets.texts("en"), PRINTED)


def test_the_rules_of_the_place_are_on_it_with_their_source_and_only_where_set() -> None:
    dig, context, _ = dug()
    assert "Rules of this place" not in printed(dig, context, with_words=False)
    words = {"place_text": "Tell the district officer.\nNobody lifts.", "place_source": "letter 12, invented"}
    dig.set("eve", "site", SITE, {**words, "place_checked": "2026-03-01, E. Tarn"})
    text = printed(dig, context, with_words=False)
    for one in (
        "Rules of this place",
        "Tell the district officer.",
        "Nobody lifts.",
        "letter 12",
        "2026-03-01, E. Tarn",
    ):
        assert one in text, one
