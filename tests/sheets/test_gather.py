"""Gathering: every version with who and when, holds on the cautious side, and no exact place."""

from __future__ import annotations

import random
from dataclasses import asdict
from typing import Any

from fieldapp.records.changes import canonical
from fieldapp.sheets.entries import ContextSheet, Docket
from tests.sheets.dig import PEOPLE, Dig, reading, sample


def _docket(sheet: ContextSheet, ends: str) -> Docket:
    return next(one for one in sheet.dockets if one.label.split()[1].startswith(ends))


def _dig() -> tuple[Dig, str, str]:
    dig = Dig()
    context = dig.context("7", type="layer")
    return dig, context, dig.bag(context, 1)


def test_both_versions_of_a_reading_stand_with_who_and_when() -> None:
    dig, context = sample()
    docket = _docket(dig.sheet(context), "A102")
    difference = next(one for one in docket.differences if one.path == "reading")
    assert not difference.precision
    assert [one.value["taxon"] for one in difference.versions] == ["cattle", "red_deer"]
    assert [(said.name, said.role) for one in difference.versions for said in one.said] == [
        PEOPLE["ada"],
        PEOPLE["dora"],
    ]
    assert all(said.at for one in difference.versions for said in one.said)
    assert difference.fields["taxon"] == "conflict"
    assert difference.fields["portions/capitulum"] == "conflict"
    assert difference.fields["portions/head"] == "precision"


def test_readings_that_differ_in_precision_count_at_the_coarser() -> None:
    dig, context = sample()
    docket = _docket(dig.sheet(context), "A103")
    (difference,) = docket.differences
    assert difference.precision
    assert docket.disagreements == ()
    assert docket.reading is not None
    assert (docket.reading.taxon, docket.reading.side) == ("sheep_goat", None)


def test_two_people_who_wrote_the_same_do_not_differ() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    for who in ("ada", "bo"):
        dig.set(who, "docket", docket, {"reading": reading("tibia", "pig", "left", most="lower_shaft")})
    (entry,) = dig.sheet(context).dockets
    assert entry.differences == ()
    assert [one.name for one in entry.read_by] == ["Ada Fennick", "Bo Halloran"]


def test_the_order_in_which_records_come_changes_nothing() -> None:
    dig, context = sample()
    first = dig.sheet(context)
    random.Random(4).shuffle(dig.changes)
    assert dig.sheet(context) == first


def test_dockets_stand_in_the_order_of_their_labels() -> None:
    dig, context, bag = _dig()
    for number in (10, 9, 100):
        dig.docket(bag, number)
    dig.set("ada", "docket", dig.new_id(), {"label": "no label at all", "bag": bag})
    numbers = [one.label.split()[1] for one in dig.sheet(context).dockets]
    assert [one.split("-")[0] for one in numbers] == ["A9", "A10", "A100", "label"]


def test_a_raise_whose_hold_has_not_come_is_on_hold_all_the_same() -> None:
    dig, context, bag = _dig()
    dig.ask("ada", dig.docket(bag, 2), "stop", in_place=True)
    sheet = dig.sheet(context)
    (docket,) = sheet.dockets
    assert docket.hold is not None
    assert (docket.hold.written, docket.hold.tier, docket.hold.state) == (False, "stop", "open")
    assert sheet.figures.holds_open == 1


def test_a_deleted_docket_keeps_its_raise() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    dig.ask("ada", docket, "query")
    dig.set("ada", "docket", docket, {"deleted": True}, dig.records()[docket].head_ids())
    sheet = dig.sheet(context)
    (entry,) = sheet.dockets
    assert entry.life == "deleted"
    assert entry.answer == "query"
    assert entry.hold is not None
    assert sheet.figures.holds_open == 1
    assert sheet.figures.answers == {"query": 1}
    assert sheet.figures.total.dockets.high == 0


def test_a_disputed_deletion_says_what_it_had_not_seen() -> None:
    dig, context = sample()
    docket = _docket(dig.sheet(context), "A108")
    assert docket.life == "disputed"
    assert [one.name for one in docket.deletions] == ["Ada Fennick"]
    assert [(path, said.name) for path, said in docket.unseen] == [("reading", "Bo Halloran")]


def test_a_docket_said_to_be_the_same_bone_takes_the_more_cautious_standing() -> None:
    dig, context, bag = _dig()
    mild, raised = dig.docket(bag, 2), dig.docket(bag, 3)
    dig.ask("ada", mild, "no_sign")
    dig.ask("bo", raised, "query")
    dig.set("bo", "docket", raised, {f"same_as/{mild}": True})
    entries = {one.id: one for one in dig.sheet(context).dockets}
    assert (entries[mild].own, entries[mild].answer) == ("no_sign", "query")
    assert entries[mild].hold is not None
    assert entries[mild].joined == (entries[raised].label,)


def test_of_differing_holds_the_more_cautious_stands() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    dig.ask("ada", docket, "query")
    dig.hold(docket, "query", "ada", in_place=False, zone="trench A")
    dig.hold(docket, "stop", "bo", in_place=True, zone="trenches A and B")
    hold = dig.sheet(context).dockets[0].hold
    assert hold is not None
    assert (hold.tier, hold.in_place) == ("stop", True)
    assert hold.zones == ("trench A", "trenches A and B")
    assert {one.path for one in hold.differences} == {"tier", "in_place", "zone"}


def test_a_hold_ends_by_assessment_and_is_released_by_the_directors_word() -> None:
    dig, context, bag = _dig()
    animal, human = dig.docket(bag, 2), dig.docket(bag, 3)
    first, second = dig.ask("ada", animal, "query"), dig.ask("ada", human, "stop")
    dig.hold(animal, "query")
    dig.hold(human, "stop")
    dig.assess(animal, "non_human", [first], taxon="pig", element="femur")
    found = dig.assess(human, "human", [second])
    dig.release(human, [second, found])
    sheet = dig.sheet(context)
    states = {one.id: one.hold.state for one in sheet.dockets if one.hold}
    assert states == {animal: "ended", human: "released"}
    assert sheet.figures.holds_open == 0
    assert sheet.figures.holds_released == 1
    assert {one.id: one.answer for one in sheet.dockets} == {animal: "non_human", human: "human"}


def test_an_unsigned_assessment_is_shown_and_counts_for_nothing() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2)
    seen = dig.ask("ada", docket, "query")
    value = {"verdict": "non_human", "taxon": "pig", "element": "rib", "seen": [seen], "bone_seen": "bone"}
    dig.set("bo", "docket", docket, {f"assessment/{dig.new_id()}": value})
    (entry,) = dig.sheet(context).dockets
    assert entry.answer == "query"
    assert [one.void for one in entry.assessments] == ["no_valid_signature"]


def test_no_exact_place_and_no_entry_of_a_newer_version_is_gathered() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2, **{"gps_position": "SECRET-1", "corner/x": "SECRET-2"})
    dig.set("bo", "docket", docket, {"gps_position": "SECRET-3"})
    dig.ask("ada", docket, "stop", in_place=True)
    hold = dig.hold(docket, "stop", zone="trench A", place_sealed="SECRET-4", grid="SECRET-5")
    step = {"what": "told", "whom": "the director", "how": "in person", "note": "SECRET-6", "ref": "SECRET-7"}
    dig.set("cem", "hold", hold, {f"step/{dig.new_id()}": step})
    dig.set("bo", "hold", hold, {"place_sealed": "SECRET-8"})
    sheet = dig.sheet(context)
    assert "SECRET" not in repr(asdict(sheet))
    (entry,) = sheet.dockets
    assert entry.unknown == 2
    assert [(one.path, one.versions) for one in entry.differences] == [("gps_position", ())]


def test_a_hold_whose_docket_has_not_come_is_not_lost() -> None:
    dig, context, _ = _dig()
    dig.hold(dig.new_id(), "stop", context=context)
    sheet = dig.sheet(context)
    assert [one.tier for one in sheet.loose_holds] == ["stop"]
    assert sheet.figures.holds_open == 1


def test_disputed_taxa_and_counts_give_ranges_and_precision_does_not() -> None:
    dig, context = sample()
    rows = {row.heading: row for row in dig.sheet(context).figures.rows}

    def fragments(*heading: Any) -> tuple[float, float]:
        return rows[heading].pieces.low, rows[heading].pieces.high

    assert fragments("taxon", "red_deer") == (0, 2)
    assert fragments("taxon", "cattle") == (1, 3)
    assert fragments("taxon", "sheep_goat") == (2, 2)
    assert ("taxon", "sheep") not in rows
    assert fragments("taxon", "pig") == (0, 1)
    assert fragments("apart", "possible_human") == (2, 2)
    assert fragments("material", "shell") == (5, 5)
    total = dig.sheet(context).figures.total
    # 1 tibia, 1 or 2 humeri, 1 radius, 14 ribs, 2 on hold, 1 femur, 5 shells, and a pig's tibia that may be deleted.
    assert (total.pieces.low, total.pieces.high) == (25, 27)


def test_what_is_impossible_is_left_out_of_the_taxa_unless_a_version_is_possible() -> None:
    dig, context, bag = _dig()
    sure, disputed = dig.docket(bag, 2), dig.docket(bag, 3)
    bird = reading("loose_tooth", "fowl", "left", most="crown")
    dig.set("ada", "docket", sure, {"reading": bird})
    dig.set("ada", "docket", disputed, {"reading": bird})
    dig.set("bo", "docket", disputed, {"reading": reading("loose_tooth", "pig", "left", most="crown")})
    sheet = dig.sheet(context)
    entries = {one.id: one for one in sheet.dockets}
    assert any(one.impossible for one in entries[sure].problems)
    assert [one.versions for one in entries[disputed].problems if one.level == "impossible"] == [(0,)]
    headings = {row.heading: row.dockets for row in sheet.figures.rows}
    assert ("apart", "impossible") in headings
    assert (headings["taxon", "pig"].low, headings["taxon", "pig"].high) == (0, 1)


def test_values_of_no_usual_shape_are_carried_as_they_came() -> None:
    dig, context, bag = _dig()
    docket = dig.docket(bag, 2, count="several", weight_g=None, material=["bone", 3], reading="just words")
    dig.set("ada", "docket", docket, {f"note/{dig.new_id()}": "a bare note", f"human/{dig.new_id()}": "unclear"})
    (entry,) = dig.sheet(context).dockets
    assert entry.count == "several"
    assert entry.material == ["bone", 3]
    assert entry.reading is not None
    assert entry.reading.rest == {"": "just words"}
    assert [one.text for one in entry.notes] == ["a bare note"]
    # An answer this version cannot read counts as a raise: unclear is not no.
    assert (entry.human[0].answer, entry.answer) == ("unclear", "query")


def test_an_empty_context_and_a_site_that_has_not_come_still_make_a_sheet() -> None:
    dig = Dig()
    context = dig.context("9")
    dig.changes = [one for one in dig.changes if one.kind == "context"]
    sheet = dig.sheet(context)
    assert (sheet.site_code, sheet.number, sheet.dockets) == ("", "9", ())
    assert canonical(asdict(sheet.figures.total))


def test_a_member_that_one_of_two_has_taken_away_is_still_named_whoever_wrote_it() -> None:
    """A link that anybody still holds to is one, as of dockets that are the same bone."""
    for takes_away in ("bo", "cem", "dora"):
        dig, context, bag = _dig()
        docket, group = dig.docket(bag, 2), dig.new_id()
        dig.set("ada", "group", group, {"label": "G7", "context": context, f"member/{docket}": True})
        dig.set(takes_away, "group", group, {f"member/{docket}": None})
        sheet = dig.sheet(context)
        (shown,) = [one for one in sheet.dockets if one.id == docket]
        assert shown.groups == ("G7",)
        assert len(sheet.groups[0].members) == 1
