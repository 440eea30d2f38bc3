"""Cards of everything that is no docket, the short form, the scan, and finding what was recorded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldapp.domain import human
from fieldapp.domain.steps import is_ticked
from fieldapp.records.schemas import problems_of
from fieldapp.ui.presenters import more, quick
from fieldapp.ui.presenters.cards import SLOTS, Card
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.fields import Room
from fieldapp.ui.presenters.finding import Finding
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.photographs import Photographs
from fieldapp.ui.presenters.scan import Scan
from tests.ui.conftest import save_as_other
from tests.ui.test_fields import bone
from tests.ui.test_form import new

ROOM = Room(5, 4)


def typed(card: Card, figure: str) -> None:
    """Types a figure into the slot that is open, and takes it."""
    for key in figure:
        card.tap(f"key.{key}")
    card.tap("key.=")


def fill(card: Card) -> None:
    """Puts something into every slot."""
    for slot in card.slots:
        card.open_slot(slot.path)
        if slot.how == "words":
            first = next(one.ident for row in card.body(ROOM).rows for one in row if one.ident.startswith("card.="))
            card.tap(first.removeprefix("card."))
        elif slot.how in ("number", "code"):
            typed(card, "12")
        elif slot.how == "text":
            card.write("wet")
        else:
            first = next((one.ident for row in card.body(ROOM).rows for one in row if one.ident), "")
            card.tap(first.removeprefix("card.")) if first else None


@pytest.mark.parametrize("kind", ["tally", "sample", "group"])
def test_a_card_is_filled_slot_by_slot_and_fits_its_shape(desk: Desk, kind: str) -> None:
    bone(desk).save()
    card = Card.new(desk, kind, desk.context or "")
    fill(card)
    label = card.save()
    record = desk.record(card.state.record)
    assert record is not None
    assert (record.kind, record.value("label"), record.value("context")) == (kind, label, desk.context)
    assert problems_of(kind, record.values()) == {}
    assert all(card.value(slot) for slot in card.slots)
    assert desk.draft("card") is None


@pytest.mark.parametrize("kind", ["bag", "context"])
def test_a_stored_record_is_opened_changed_and_only_the_change_written(desk: Desk, kind: str) -> None:
    record = desk.record((desk.bag if kind == "bag" else desk.context) or "")
    assert record is not None
    card = Card.of(desk, record)
    assert not card.is_changed()
    card.open_slot("state")
    card.tap("=closed")
    card.save()
    change = list(desk.notebook.changes())[-1]
    assert (change.kind, change.set, set(change.over)) == (kind, {"state": "closed"}, {"state"})


def test_a_card_is_there_after_a_flat_battery_with_its_undo(desk: Desk) -> None:
    card = Card.new(desk, "tally", desk.context or "")
    card.tap("=large_mammal")
    card.open_slot("count")
    card.tap("key.1")
    again = Card.resumed(desk)
    assert again is not None
    assert (again.state.values, again.state.typed, again.slot.path) == ({"taxon": "large_mammal"}, "1", "count")
    again.undo()
    assert (again.state.values, again.state.typed) == ({"taxon": "large_mammal"}, "")
    again.undo()
    assert again.state.values == {}


def test_a_sample_s_mesh_is_a_fraction_of_its_own_each_time(desk: Desk) -> None:
    card = Card.new(desk, "sample", desk.context or "")
    card.tap("=flotation")
    card.open_slot("fraction")
    typed(card, "0.5")
    card.save()
    record = desk.record(card.state.record)
    assert record is not None
    card = Card.of(desk, record)
    card.open_slot("fraction")
    typed(card, "4")
    card.save()
    found = sorted(one["mesh_mm"] for one in desk.record(card.state.record).items("fraction").values())  # type: ignore[union-attr]
    assert found == [0.5, 4.0]


def test_every_slot_of_every_card_shows_something(desk: Desk) -> None:
    for kind in SLOTS:
        card = Card.new(desk, kind, desk.context or "")
        for slot in card.slots:
            card.open_slot(slot.path)
            body = card.body(ROOM)
            assert body.asks
            assert body.rows or body.text is not None


# -- the short form --


def test_a_short_form_is_finished_later_without_retyping(desk: Desk) -> None:
    form = Form.new(desk, desk.context or "", desk.bag, depth="quick")
    quick.look(form, "long_bone")
    form.put("taxon", {"taxon": "large_mammal"})
    form.set_slot("ask", True)
    record = desk.record(form.save().docket)
    assert record is not None
    assert record.value("ask") is True
    again = Form.of(desk, record)
    assert again.state.depth == "full"
    assert again.answers["element"] == "long_bone"
    again.choose("element", "femur")
    again.choose("taxon", "cattle")
    again.save()
    reading = desk.record(record.id).value("reading")  # type: ignore[union-attr]
    assert (reading["element"], reading["taxon"]) == ("femur", "cattle")


def test_what_it_looks_like_is_a_material_and_an_element_that_exist(desk: Desk) -> None:
    from fieldapp.records.shapes import MATERIALS

    for material, element in quick.LOOKS.values():
        assert material in MATERIALS
        assert element in desk.knowledge.elements
    assert set(quick.SIZES) <= set(desk.knowledge.taxa)


def test_not_asked_opens_nothing_and_is_written(desk: Desk) -> None:
    form = Form.new(desk, desk.context or "", desk.bag, depth="quick")
    quick.look(form, "rib")
    form.answer_human(human.NOT_ASKED)
    saved = form.save()
    assert saved.hold == ""
    record = desk.record(saved.docket)
    assert record is not None
    assert [one["answer"] for one in record.added("human").values()] == ["not_asked"]


# -- the scan --


def test_a_scan_is_written_as_a_tally_for_each_animal_and_burning(desk: Desk) -> None:
    scan = Scan(desk)
    assert scan.begin()
    for taxon in ("cattle", "cattle", "pig"):
        scan.count(taxon)
    scan.burning = "burnt"
    scan.count("pig")
    scan.count("pig")
    scan.undo()
    assert scan.save() == 3
    found = {(one.value("taxon"), one.value("burning")): one.value("count") for one in desk.notebook.records("tally")}
    assert found == {("cattle", "unburnt"): 2, ("pig", "unburnt"): 1, ("pig", "burnt"): 1}
    assert all(problems_of("tally", one.values()) == {} for one in desk.notebook.records("tally"))
    assert {one.value("stage") for one in desk.notebook.records("tally")} == {"scan"}


def test_a_bulk_count_says_at_once_what_has_to_be_recorded_one_by_one(desk: Desk) -> None:
    card = Card.new(desk, "tally", desk.context or "")
    card.open_slot("taxon")
    card.tap("=large_mammal")
    assert card.cautions() == []
    card.open_slot("burning")
    card.tap("=calcined")
    assert [one.key for one in card.cautions()] == ["tally_burnt_unnamed"]
    grave = Card.new(desk, "tally", desk.make_context("2001", "grave", "yes"), {"taxon": "human"})
    assert [one.key for one in grave.cautions()] == ["tally_may_be_human", "tally_from_grave"]
    assert Card.new(desk, "sample", grave.state.context).cautions() == []


def test_a_scan_of_something_like_a_grave_says_that_bones_are_recorded_there(desk: Desk) -> None:
    scan = Scan(desk)
    scan.begin()
    assert not scan.is_of_grave()
    desk.go(context=desk.make_context("2001", "layer", "maybe"))
    again = Scan(desk)
    again.begin()
    assert again.is_of_grave()


def test_a_scan_that_is_not_saved_stays_with_its_context(desk: Desk) -> None:
    scan = Scan(desk)
    scan.begin()
    scan.count("cattle")
    first = scan.context
    desk.go(context=desk.make_context("2000", "layer", "no"))
    again = Scan(desk)
    assert not again.begin()
    assert (again.context, again.total()) == (first, 1)


# -- photographs --


def test_a_photo_is_kept_by_its_hash_and_named_by_the_docket(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"picture")
    (tmp_path / "b.txt").write_bytes(b"no picture")
    shots, form = Photographs(desk, [tmp_path, tmp_path / "not there"]), bone(desk)
    shots.begin(form)
    shots.toggle("scale")
    assert [one.name for one in shots.files()] == ["a.jpg"]
    shots.take(shots.files()[0])
    assert shots.count() == 1
    record = desk.record(form.save().docket)
    assert record is not None
    photo = desk.record(record.linked("photo")[0])
    assert photo is not None
    assert (photo.kind, photo.value("docket"), photo.value("scale"), photo.value("north")) == (
        "photo", record.id, True, False,
    )  # fmt: skip
    assert desk.photos.path(photo.value("sha256")).read_bytes() == b"picture"
    assert problems_of("photo", photo.values()) == {}


def test_a_photo_of_a_form_that_is_given_up_is_no_record(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(b"picture")
    shots, form = Photographs(desk, [tmp_path]), bone(desk)
    shots.begin(form)
    shots.take(shots.files()[0])
    form.leave()
    assert desk.notebook.records("photo") == []


def test_no_picture_is_taken_of_what_may_be_human(desk: Desk) -> None:
    shots, form = Photographs(desk, []), bone(desk)
    form.answer_human(human.QUERY)
    shots.begin(form)
    assert "director" in shots.refused()
    shots.begin(bone(desk))
    assert shots.refused() == ""


# -- finding --


def found(finding: Finding) -> list[str]:
    return [one.label for one in finding.found()]


def label(desk: Desk, form: Form) -> str:
    """Saves, and gives the label as it is read out."""
    return form.save().label.partition(" ")[2]


def test_records_are_found_by_number_context_animal_and_element(desk: Desk) -> None:
    cow, sheep = label(desk, bone(desk)), label(desk, bone(desk, "tibia", "sheep"))
    finding = Finding(desk)
    assert found(finding) == [sheep, cow]
    finding.text.press(cow)
    assert found(finding) == [cow]
    finding.clear()
    finding.text.press("1042")
    assert found(finding) == [sheep, cow]
    finding.choose("taxon", "sheep_goat")
    assert found(finding) == [sheep]
    finding.clear()
    finding.choose("element", "long_bone")
    assert set(found(finding)) == {sheep, cow}
    finding.choose("element", "humerus")
    assert found(finding) == [cow]


def test_records_are_found_by_what_wants_a_look(desk: Desk) -> None:
    plain = label(desk, bone(desk))
    asked, raised = bone(desk), bone(desk, "tibia")
    asked.set_slot("ask", True)
    raised.answer_human(human.QUERY)
    wrong = bone(desk, "antler", "fowl", "left")
    labels = {name: label(desk, form) for name, form in (("ask", asked), ("raised", raised), ("problem", wrong))}
    for mark, one in labels.items():
        finding = Finding(desk)
        finding.toggle(mark)
        for _ in finding.look():
            pass
        assert one in found(finding), mark
        assert plain not in found(finding)


def test_what_is_not_sent_and_what_is_mine_is_found(desk: Desk) -> None:
    mine = label(desk, bone(desk))
    save_as_other(desk, "docket", "theirs", {"label": "HLG26 C1-0", "context": desk.context, "material": "bone"}, {})
    finding = Finding(desk)
    assert len(found(finding)) == 2
    for mark in ("mine", "unsent"):
        finding.clear()
        finding.toggle(mark)
        assert found(finding) == [mine]


def test_a_deleted_docket_is_found_among_the_deleted_and_brought_back(desk: Desk) -> None:
    form = bone(desk)
    one = label(desk, form)
    desk.delete(form.state.docket)
    finding = Finding(desk)
    assert found(finding) == []
    finding.toggle("deleted")
    assert found(finding) == [one]
    desk.bring_back(form.state.docket)
    assert found(finding) == []
    finding.clear()
    assert found(finding) == [one]
    record = desk.record(form.state.docket)
    assert record is not None
    assert record.life() == "live"


def test_what_may_be_human_cannot_be_deleted_from_its_form(desk: Desk) -> None:
    form = bone(desk)
    form.answer_human(human.QUERY)
    record = desk.record(form.save().docket)
    assert record is not None
    assert not Form.of(desk, record).may_delete()
    assert not new(desk).may_delete()


def test_other_kinds_are_found_too(desk: Desk) -> None:
    card = Card.new(desk, "tally", desk.context or "")
    card.tap("=large_mammal")
    card.save()
    finding = Finding(desk)
    while finding.kind != "tally":
        finding.next_kind()
    row: Any = finding.row(finding.found()[0])
    assert row.text == "large mammal"
    finding.next_kind()
    assert finding.kind == "docket"


def test_the_menu_offers_a_bag_only_where_there_is_one(desk: Desk) -> None:
    assert next(one for one in more.here(desk) if one.ident == "more.bag").enabled
    desk.go(bag=None)
    assert not next(one for one in more.here(desk) if one.ident == "more.bag").enabled
    desk.go(context=None)
    assert more.here(desk) == []


def test_a_save_that_moves_nothing_keeps_what_was_found(desk: Desk) -> None:
    form = bone(desk)
    docket = form.save().docket
    finding = Finding(desk)
    before = finding.lines()[0]
    desk.save([Write(docket, "docket", {"weight_g": 3.5})])
    assert finding.lines()[0].record is not before.record


def test_a_context_that_is_numbered_anew_keeps_its_bones_and_its_old_number_makes_another(desk: Desk) -> None:
    old = desk.make_context("1042", "layer", "no")
    card = Card.of(desk, desk.record(old))
    card.open_slot("number")
    for key in "1042b":
        card.tap(f"key.{key}")
    assert card.save()
    assert desk.record(old).value("number") == "1042B"
    assert desk.context_called("1042 b") == old
    new = desk.make_context("1042", "pit_fill", "no")
    assert new != old
    assert desk.make_context("1042", "pit_fill", "no") == new
    assert desk.record(old).value("type") == "layer"
    # Both were given away once more.
    desk.save([Write(new, "context", {"number": "77"}, {"number": desk.record(new).head_ids()["number"]})])
    assert desk.context_called("1042") not in (old, new)


def test_a_step_of_a_bag_that_was_ticked_by_mistake_is_unticked(desk: Desk) -> None:
    desk.save([Write("bag", "bag", {"label": "HLG26 B9", "step/washed": True, "step/dried": True})])

    def tapped(step: str) -> set[str]:
        record = desk.record("bag")
        assert record is not None
        card = Card.of(desk, record)
        card.open_slot("step")
        card.tap(f"step.{step}")
        card.save()
        after = desk.record("bag")
        assert after is not None
        return {path for path in after.heads if path.startswith("step/") and is_ticked(after.heads[path])}

    assert tapped("washed") == {"step/dried"}
    assert tapped("washed") == {"step/washed", "step/dried"}
    assert tapped("washed") == {"step/dried"}
