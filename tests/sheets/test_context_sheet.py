"""The context sheet as it comes out of the printer: what it says, what it never says, and that nothing is cut."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest
from pypdf import PdfReader

from fieldapp import assets
from fieldapp.domain.plates import Plate
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.plate_drawing import PlateBook, bundled_plates
from tests.sheets.dig import PRINTED, Dig, reading, sample

PLATES = bundled_plates()


def _pages(pdf: bytes) -> list[str]:
    """The text of each page, as pypdf reads it; runs of blanks made one."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def _printed(dig: Dig, context: str, plates: PlateBook = PLATES) -> list[str]:
    return _pages(render(dig.sheet(context), plates, assets.texts(), PRINTED))


@pytest.fixture(scope="module")
def sampled() -> list[str]:
    dig, context = sample()
    return _printed(dig, context)


def _dig() -> tuple[Dig, str, str]:
    dig = Dig()
    context = dig.context("7", type="layer")
    return dig, context, dig.bag(context, 1)


def test_every_docket_is_on_the_sheet_by_its_label(sampled: list[str]) -> None:
    dig, context = sample()
    whole = " ".join(sampled)
    for docket in dig.sheet(context).dockets:
        assert docket.label in whole


def test_the_head_says_site_context_and_summary(sampled: list[str]) -> None:
    for words in ("IVS26", "an invented site", "Context 1042", "pit fill", "3 (late)", "disagreements open 3"):
        assert words in sampled[0]
    assert "human question not asked 4" in sampled[0]
    assert "human not excluded 1" in sampled[0]


def test_both_versions_of_a_disagreement_stand_in_full(sampled: list[str]) -> None:
    (page,) = (text for text in sampled if "DISAGREEMENT: reading" in text)
    for words in (
        "Version A", "Ada Fennick, recorder", "cattle",
        "Version B", "Dóra Wiśniewska-Παπαδοπούλου, zooarchaeologist", "red deer", "reference skeleton of red deer",
    ):  # fmt: skip
        assert words in page
    assert "DISAGREEMENT: count, 2 versions" in page


def test_a_difference_in_precision_is_named_as_such(sampled: list[str]) -> None:
    (page,) = (text for text in sampled if "DIFFERENCE IN PRECISION: reading" in text)
    assert "The coarser one counts until settled." in page
    assert "DISAGREEMENT" not in page


def test_three_versions_stand_side_by_side() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    for who, taxon in (("ada", "cattle"), ("bo", "pig"), ("dora", "red_deer")):
        dig.set(who, "docket", docket, {"reading": reading("tibia", taxon, "left", most="lower_shaft")})
    whole = " ".join(_printed(dig, context))
    for words in ("Version A", "Version B", "Version C", "cattle", "pig", "red deer"):
        assert words in whole


def test_a_hold_is_on_the_first_page_and_at_its_docket(sampled: list[str]) -> None:
    assert "STOP. POSSIBLE HUMAN REMAINS — HOLD" in sampled[0]
    assert "Told: the director (by telephone) – noted by Cem Yıldızoğlu, supervisor" in sampled[0]  # noqa: RUF001
    assert "Local law and the site's licence come first" in sampled[0]
    assert "Nobody is recorded as having been told." in sampled[0]
    (page,) = (text for text in sampled[1:] if "STOP. POSSIBLE HUMAN REMAINS — HOLD" in text)
    assert "IVS26 A104-" in page
    assert all("ON HOLD: possible human remains, see page 1" in text for text in sampled[1:])


def _has_yellow(pdf: bytes) -> list[bool]:
    """For each page, whether anything on it is filled with the hazard yellow."""
    yellow = re.compile(rb"\b1(?:\.0+)? (?:0?\.8\d*) 0(?:\.0+)? rg")
    return [bool(yellow.search(page.get_contents().get_data())) for page in PdfReader(io.BytesIO(pdf)).pages]


def test_hazard_stripes_mark_the_stop_in_the_ground_and_nothing_else() -> None:
    def printed(answer: str, tier: str, licensed: bool = False) -> list[bool]:
        dig, context, bag = _dig()
        if licensed:
            dig.license()
        docket = dig.docket(bag, 2)
        dig.ask("ada", docket, answer)
        dig.hold(docket, tier)
        return _has_yellow(render(dig.sheet(context), PLATES, assets.texts(), PRINTED))

    assert all(printed("stop", "stop"))
    assert not any(printed("query", "query"))
    assert not any(printed("stop", "stop", licensed=True))


def test_under_a_licence_its_conditions_stand_in_place_of_the_stop() -> None:
    dig, context, bag = _dig()
    dig.license()
    dig.ask("ada", dig.docket(bag, 2), "stop")
    first = _printed(dig, context)[0]
    assert "Human remains are expected here under licence L-77" in first
    assert "Stop digging here" not in first


def test_a_reading_that_a_rule_added_says_so() -> None:
    dig, context, bag = _dig()
    dig.ask("ada", dig.docket(bag, 2), "query", why="rule.grave_without_answer", by_rule="grave_without_answer")
    whole = " ".join(_printed(dig, context))
    assert "(added by rule: its context is like a grave) – Ada Fennick" in whole  # noqa: RUF001


def test_a_sheet_without_a_hold_says_nothing_of_one() -> None:
    dig, context, bag = _dig()
    dig.ask("ada", dig.docket(bag, 2), "no_sign")
    whole = " ".join(_printed(dig, context))
    assert "HOLD" not in whole
    assert "nothing here points to human; a specialist must confirm" in whole


def test_the_exact_place_is_never_printed(sampled: list[str]) -> None:
    assert "SEALED-PLACE" not in " ".join(sampled)
    assert "The exact place is not printed." in sampled[0]


def test_every_page_says_what_it_is_and_by_whom_it_was_printed(sampled: list[str]) -> None:
    for n, text in enumerate(sampled, 1):
        assert f"Page {n} of {len(sampled)}" in text
        assert "Printed 2026-07-14 16:20 +03:00 from the cabin ledger of an invented site. Format 1." in text
        assert "Readings are by non-specialists unless the stage says analysis." in text


def test_the_legend_is_on_every_page_with_a_plate_and_on_no_other(sampled: list[str]) -> None:
    views = [("left, cranial view" in text or "caudal view" in text or "right, cranial" in text) for text in sampled]
    assert any(views)
    assert [("Plates, proximal end up:" in text) for text in sampled] == [
        view or "drawn as left" in text for view, text in zip(views, sampled, strict=True)
    ]


def test_a_deleted_docket_is_listed_and_its_raise_still_shows() -> None:
    dig, context, bag = _dig()
    plain, raised = dig.docket(bag, 2), dig.docket(bag, 3)
    dig.ask("bo", raised, "query")
    for docket in (plain, raised):
        dig.set("ada", "docket", docket, {"deleted": True}, dig.records()[docket].head_ids())
    whole = " ".join(_printed(dig, context))
    assert "Deleted dockets" in whole
    assert "DELETED by Ada Fennick, recorder" in whole
    assert "POSSIBLE HUMAN REMAINS — HOLD" in whole


def test_a_disputed_deletion_is_said_to_be_one(sampled: list[str]) -> None:
    assert "DELETION DISPUTED: deleted by Ada Fennick" in " ".join(sampled)


def test_an_unknown_word_is_printed_as_it_came() -> None:
    dig, context, bag = _dig()
    dig.set("cem", "context", context, {"type": "drove_way"}, dig.records()[context].head_ids())
    docket = dig.docket(bag, 2, material="ivory_like", burning="scorched_blue")
    strange = reading("tibia", "quagga", "left_ish", most="lower_shaft", fusion={"distal": "melting"}, season="winter")
    strange["portions"] |= {"upper_shaft": "three_quarters", "inner_bump": "most"}
    dig.set("ada", "docket", docket, {"reading": strange})
    dig.ask("ada", docket, "wondering")
    whole = " ".join(_printed(dig, context))
    for word in (
        "drove_way", "ivory_like", "scorched_blue", "quagga", "left_ish", "melting", "three_quarters", "inner_bump",
        "winter", "wondering",
    ):  # fmt: skip
        assert word in whole


def test_long_notes_and_many_scripts_are_printed_whole() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    words = [f"tekst{n}" for n in range(3000)]
    dig.note("ada", docket, " ".join(words))
    other = "İğdır höyüğü – ıslak çamur; Ελληνικό οστό; Łódź, kość śródręcza; Příbram; 骨; \U0001f9b4; עצם"  # noqa: RUF001
    dig.note("bo", docket, other)
    dig.note("bo", docket, "x" * 4000)
    pages = _printed(dig, context)
    whole = " ".join(pages)
    # pypdf gives the lines in order; the foot and head of the pages between are passed over.
    assert [one for one in whole.split() if re.fullmatch(r"tekst\d+", one)] == words
    for part in ("İğdır höyüğü – ıslak çamur", "Ελληνικό οστό", "Łódź, kość śródręcza", "Příbram"):  # noqa: RUF001
        assert part in whole
    for part in ("[U+9AA8]", "[U+1F9B4]"):
        assert part in whole
    assert whole.count("x") >= 4000
    assert ", continued" in whole


def test_two_hundred_dockets_paginate_and_none_is_cut_through() -> None:
    dig, context, bag = _dig()
    for number in range(2, 202):
        docket = dig.docket(bag, number, material="bone", count=1, weight_g=float(number))
        if number % 3 == 0:
            value = reading("tibia", "sheep", "left", most="lower_shaft", fusion={"distal": "fused"})
            dig.set("ada", "docket", docket, {"reading": value})
        dig.note("ada", docket, f"End of docket number {number}.")
    pages = _printed(dig, context)
    labels = [one.label for one in dig.sheet(context).dockets]
    assert len(labels) == 200
    body = [re.sub(r"Disagreements open at.*?Bags", "", text) for text in pages]
    for number, label in enumerate(labels, 2):
        (page,) = (n for n, text in enumerate(body) if label in text)
        assert f"End of docket number {number}." in body[page]
    assert ", continued" not in " ".join(pages)


def test_more_dockets_make_more_pages() -> None:
    counts = []
    for dockets in (1, 10, 40):
        dig, context, bag = _dig()
        for number in range(dockets):
            value = reading("femur", "cattle", "right", most="upper_shaft")
            dig.set("ada", "docket", dig.docket(bag, number + 2), {"reading": value})
        counts.append(len(_printed(dig, context)))
    assert counts == sorted(set(counts))


def test_three_dockets_with_all_that_was_seen_stand_on_a_page() -> None:
    dig, context, bag = _dig()
    for number in range(2, 14):
        value = reading("calcaneum", "sheep_goat", "left", most="body", fusion={"tuber": "fused"})
        seen = {"weathering": 2, "burning": "unburnt", "preservation": "good", "roots": "none", "breaks": "old"}
        docket = dig.docket(bag, number, material="bone", count=1, weight_g=number / 2, reading=value, **seen)
        found = {"code": "GL", "mm": 50.5 + number, "state": "exact"}
        asked = {"answer": "no_sign", "why": "", "stage": "trench"}
        dig.set("ada", "docket", docket, {"measure/1": found, "human/1": asked})
    pages = _printed(dig, context)[1:]
    assert [page.count("weathering (0 to 5) 2") for page in pages[:3]] == [3, 3, 3]
    assert [len(re.findall(r"GL, \d+\.5 mm", page)) for page in pages[:3]] == [3, 3, 3]


def test_the_state_of_a_new_bag_is_in_the_language_of_the_sheet() -> None:
    dig, context, _ = _dig()
    dig.bag(context, 2, state="open")
    dig.bag(context, 3, state="dry, in the shade")
    whole = " ".join(_pages(render(dig.sheet(context), PLATES, assets.texts("de"), PRINTED)))
    assert "offen" in whole.partition("Beutel Bergung")[2]
    assert "dry, in the shade" in whole


def test_the_plates_asked_for_are_those_of_element_animal_and_side() -> None:
    asked: list[tuple[str, str | None, str | None]] = []

    def find(element: str, taxon: str | None, side: str | None) -> tuple[Plate, ...]:
        asked.append((element, taxon, side))
        return ()

    dig, context, bag = _dig()
    for number, (element, taxon) in enumerate([("tibia", "cattle"), ("tibia", "human"), ("rib", None)], 2):
        dig.set("ada", "docket", dig.docket(bag, number), {"reading": reading(element, taxon, most="")})
    _printed(dig, context, PlateBook(find))
    assert [one[:2] for one in asked] == [("tibia", "cattle"), ("tibia", "human"), ("rib", None)]


def test_a_borrowed_plate_says_that_it_is_schematic() -> None:
    dig, context, bag = _dig()
    dig.set("ada", "docket", dig.docket(bag, 2), {"reading": reading("tibia", "seal", most="tuberosity")})
    dig.set("ada", "docket", dig.docket(bag, 3), {"reading": reading("tibia", "cattle", most="tuberosity")})
    text = " ".join(_printed(dig, context))
    assert text.count("schematic (") == 1


def test_an_empty_context_says_that_this_is_not_the_same_as_no_bone() -> None:
    dig = Dig()
    assert "That is not the same as no bone." in _printed(dig, dig.context("9"))[0]


def test_printed_again_it_is_the_same_file_to_the_byte_in_another_run_too(tmp_path: Path) -> None:
    dig, context = sample()
    sheet = dig.sheet(context)
    first = render(sheet, PLATES, assets.texts(), PRINTED)
    assert render(sheet, bundled_plates(), assets.texts(), PRINTED) == first
    # Another process with other hash seeds: no set or dictionary order may show.
    script = (
        "import sys\nfrom fieldapp import assets\nfrom fieldapp.sheets.context_sheet import render\n"
        "from fieldapp.sheets.plate_drawing import bundled_plates\nfrom tests.sheets.dig import PRINTED, sample\n"
        "dig, context = sample()\n"
        "open(sys.argv[1], 'wb').write(render(dig.sheet(context), bundled_plates(), assets.texts(), PRINTED))\n"
    )
    out = tmp_path / "again.pdf"
    root = Path(__file__).resolve().parents[2]
    subprocess.run([sys.executable, "-c", script, str(out)], check=True, cwd=root, env={"PYTHONHASHSEED": "4711"})
    assert out.read_bytes() == first


def test_a_context_number_of_odd_characters_still_makes_a_sound_file() -> None:
    dig = Dig()
    context = dig.context("1042\x07 <&> Ş")
    pdf = render(dig.sheet(context), PLATES, assets.texts(), PRINTED)
    about = PdfReader(io.BytesIO(pdf)).xmp_metadata
    assert about is not None
    assert about.dc_title == {"x-default": "IVS26 Context 1042[U+0007] <&> Ş: Context bone sheet"}


def test_a_value_of_no_usual_shape_is_named_as_a_problem() -> None:
    dig, context, bag = _dig()
    dig.docket(bag, 2, count="several")
    whole = " ".join(_printed(dig, context))
    assert "Not of the usual shape: count" in whole
    assert "several" in whole


def test_a_bag_in_dispute_is_named_in_the_summary_and_shown_in_both_versions() -> None:
    dig, context, bag = _dig()
    for who, recovery in (("ada", "hand"), ("bo", "sieve")):
        dig.set(who, "bag", bag, {"recovery": recovery})
    whole = " ".join(_printed(dig, context))
    label = dig.sheet(context).bags[0].label
    assert f"Disagreements open at: Bag {label}" in whole
    assert "DISAGREEMENT: recovery, 2 versions" in whole
    assert f"{label} ≠ by hand / by sieve" in whole


def test_a_docket_whose_bag_is_in_dispute_is_on_both_sheets_by_the_bags_labels() -> None:
    dig, context, bag = _dig()
    other = dig.context("8")
    there = dig.bag(other, 5, "bo")
    docket = dig.docket(bag, 2)
    dig.set("bo", "docket", docket, {"bag": there})
    names = [sheet.bags[0].label for sheet in map(dig.sheet, (context, other))]
    for one in (context, other):
        whole = " ".join(_printed(dig, one))
        assert "DISAGREEMENT: bag, 2 versions" in whole
        assert "bag in dispute material not recorded" in whole
        assert all(name in whole for name in names)


def test_a_context_in_dispute_shows_both_versions_in_its_head() -> None:
    dig, context, _ = _dig()
    for who, trench in (("ada", "A"), ("bo", "B")):
        dig.set(who, "context", context, {"trench": trench})
    first = _printed(dig, context)[0]
    assert "trench ≠ A / B" in first
    assert "Disagreements open at: the context itself" in first


def test_what_was_not_weighed_is_not_nought_grams() -> None:
    dig, context, bag = _dig()
    dig.docket(bag, 2, material="bone", count=1)
    assert "taxon not examined 1 1 – not weighed" in _printed(dig, context)[0]  # noqa: RUF001


def test_a_time_without_a_zone_is_refused() -> None:
    dig, context, _ = _dig()
    with pytest.raises(ValueError, match="zone"):
        render(dig.sheet(context), PLATES, assets.texts(), PRINTED.replace(tzinfo=None))


def test_every_rule_that_asks_the_human_question_says_why_in_words() -> None:
    asking = [one["key"] for one in assets.table("rules") if one["raises"]]
    assert asking
    assert [key for key in asking if f"asked_by_rule.{key}" not in assets.texts_in("en")] == []
