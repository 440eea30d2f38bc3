"""The second page of the docket form: what a tap does, and what is written down of it."""

from __future__ import annotations

from typing import Any

import pytest

from fieldapp.domain import human
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.fields import Room, find, marks, measures, number_of, paged, teeth, words
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.writing import is_path
from tests.ui.test_form import new

ROOM = Room(5, 4)


def bone(desk: Desk, element: str = "humerus", taxon: str = "cattle", side: str = "left") -> Form:
    """A form over a whole bone."""
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", element)
    form.choose("taxon", taxon)
    if form.applies("side"):
        form.choose("side", side)
    form.fill_portions("most")
    return form


def saved(desk: Desk, form: Form) -> Any:
    """The record that a save of the form makes."""
    return desk.record(form.save().docket)


def idents(form: Form) -> list[str]:
    return [one.ident for row in form_fields.further(form, ROOM).rows for one in row if one.ident]


# -- measures --


def test_a_figure_typed_by_keypad_is_written_as_a_measurement(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("measures")
    measures.tap(form, "code.Bd")
    for key in ("8", "0", ".", "5"):
        measures.tap(form, f"key.{key}")
    assert form_fields.further(form, ROOM).typed == "80.5"
    measures.tap(form, "key.=")
    record = saved(desk, form)
    assert list(record.items("measure").values()) == [{"code": "Bd", "mm": 80.5}]


def test_what_is_typed_on_the_keypad_is_there_after_a_flat_battery(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("measures")
    measures.tap(form, "code.Bd")
    measures.tap(form, "key.8")
    again = Form.resumed(desk)
    assert again is not None
    assert (again.state.shelf, again.state.typed) == ("code:Bd", "8")


def test_a_figure_out_of_range_is_said_at_once_and_kept(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("measures")
    measures.tap(form, "code.Bd")
    measures.tap(form, "key.9")
    assert "9 lies outside" in form_fields.further(form, ROOM).definition
    measures.tap(form, "key.=")
    assert any(one.problem.path.startswith("measure/") for one in form.found())
    assert form_fields.tabs(form)[1].mark
    assert saved(desk, form).items("measure")


def test_a_second_figure_of_one_code_replaces_the_first(desk: Desk) -> None:
    form = bone(desk)
    for figure in ("80", "81"):
        measures.take(form, "Bd", figure)
    assert [one["mm"] for _, one in measures.taken(form).values()] == [81.0]
    form.undo()
    assert [one["mm"] for _, one in measures.taken(form).values()] == [80.0]


@pytest.mark.parametrize("typed", ["", ".", "0", "-3", "1.2.3", "x"])
def test_what_is_no_figure_is_not_taken(desk: Desk, typed: str) -> None:
    form = bone(desk)
    assert not measures.take(form, "Bd", typed)
    assert measures.taken(form) == {}


def test_measurements_that_need_a_missing_part_come_last_and_can_be_taken_all_the_same(desk: Desk) -> None:
    form = new(desk)
    form.choose("material", "bone")
    form.choose("element", "humerus")
    form.choose("taxon", "cattle")
    for key in ("trochlea", "capitulum", "distal_metaphysis"):
        form.cycle_portion(key)
    found = measures.takings(form)
    lacking = [bool(one.lacking) for one in found]
    assert lacking == sorted(lacking)
    assert not next(one for one in found if one.measurement.code == "Bd").lacking
    assert next(one for one in found if one.measurement.code == "GL").lacking
    form.open_field("measures")
    pads = {one.ident: one for row in form_fields.further(form, ROOM).rows for one in row}
    assert pads["measures.code.GL"].tone == "off"
    assert pads["measures.code.GL"].enabled


def test_a_measurement_of_the_bone_before_is_shown_and_can_be_removed(desk: Desk) -> None:
    form = bone(desk)
    measures.take(form, "BT", "70")
    form.choose("element", "tibia")
    form.open_field("measures")
    assert "measures.drop.BT" in idents(form)
    measures.tap(form, "drop.BT")
    assert measures.taken(form) == {}


def test_the_callipers_are_shown_over_the_portions_that_are_measured(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("measures")
    for code, way in (("Bd", "across"), ("GL", "along"), ("SD", "across")):
        measures.tap(form, f"code.{code}")
        body = form_fields.further(form, ROOM)
        assert body.plate is not None
        assert body.way == way, code
        assert set(body.marked) & body.plate.portions.keys()
        form.open_shelf("")


# -- teeth --


def test_a_tooth_is_written_where_it_stands_with_its_wear(desk: Desk) -> None:
    form = bone(desk, "mandible", "sheep")
    form.open_field("teeth")
    for key in ("at.lower.M1", "stage.in_wear", "wear.grant_1982", "worn.g"):
        teeth.tap(form, key)
    found = list(saved(desk, form).items("tooth").values())
    assert found == [
        {
            "tooth": "M1",
            "jaw": "lower",
            "seat": "in_jaw",
            "side": "left",
            "stage": "in_wear",
            "scheme": "grant_1982",
            "wear": "g",
        }
    ]


def test_a_crown_is_measured_by_keypad(desk: Desk) -> None:
    form = bone(desk, "mandible", "sheep")
    form.open_field("teeth")
    for key in ("at.lower.M3", "wear.crown", "key.3", "key.1", "key.="):
        teeth.tap(form, key)
    assert next(iter(teeth.teeth(form).values()))["crown_height_mm"] == 31.0


def test_a_wear_of_number_and_letter_is_typed(desk: Desk) -> None:
    form = bone(desk, "mandible", "sheep")
    form.open_field("teeth")
    for key in ("at.lower.M1", "wear.payne_1987", "key.9", "key.A", "key.="):
        teeth.tap(form, key)
    assert next(iter(teeth.teeth(form).values()))["wear"] == "9A"


def test_the_same_tooth_is_one_tooth_and_can_be_removed(desk: Desk) -> None:
    form = bone(desk, "mandible", "sheep")
    form.open_field("teeth")
    for key in ("at.lower.P4", "row", "at.lower.P4"):
        teeth.tap(form, key)
    assert len(teeth.teeth(form)) == 1
    teeth.tap(form, "drop")
    assert teeth.teeth(form) == {}


def test_only_the_teeth_of_the_animal_are_offered(desk: Desk) -> None:
    form = bone(desk, "mandible", "sheep")
    form.open_field("teeth")
    own = {one.split(".")[-1] for one in idents(form) if one.startswith("teeth.at.")}
    assert own == {*(desk.knowledge.teeth.teeth_of("sheep", "lower") or ()), "tooth"}
    form.choose("taxon", "large_mammal")
    form.open_field("teeth")
    assert {"teeth.at.lower.cheek", "teeth.at.lower.M1_2"} <= set(idents(form))


def test_a_bone_without_teeth_has_no_such_field(desk: Desk) -> None:
    form = bone(desk)
    assert not form_fields.applies(form, "teeth")
    assert form_fields.applies(bone(desk, "mandible", "pig"), "teeth")


# -- marks --


def test_a_mark_is_put_where_the_plate_is_tapped(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("marks")
    marks.tap(form, "kind.cut")
    marks.tap(form, "on.trochlea,cranial,0.250,0.125")
    marks.tap(form, "on.trochlea,cranial,0.260,0.130")
    marks.tap(form, "on.lower_shaft,cranial,0.5,0.4")
    found = list(saved(desk, form).items("mark").values())
    assert {(one["kind"], one["portion"], one["aspect"], one["number"]) for one in found} == {
        ("cut", "trochlea", "cranial", 2),
        ("cut", "lower_shaft", "cranial", 1),
    }
    assert next(one for one in found if one["portion"] == "trochlea")["x"] == 0.25


def test_nothing_is_put_before_a_kind_is_in_hand(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("marks")
    marks.tap(form, "on.trochlea,cranial,0.2,0.1")
    assert marks.marks(form) == []
    assert not form_fields.further(form, ROOM).touched


def test_a_mark_gets_a_direction_and_a_tool_and_is_undone_step_by_step(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("marks")
    marks.tap(form, "kind.cut")
    marks.tap(form, "on.trochlea,cranial,0.2,0.1")
    one = marks.marks(form)[0][0].removeprefix("mark/")
    marks.tap(form, f"mark.{one}")
    marks.tap(form, "direction.transverse")
    marks.tap(form, "more")
    assert marks.marks(form)[0][1] | {"x": 0, "y": 0} == {
        "kind": "cut", "number": 2, "portion": "trochlea", "aspect": "cranial", "view": "cranial",
        "direction": "transverse", "x": 0, "y": 0,
    }  # fmt: skip
    form.undo()
    form.undo()
    assert "direction" not in marks.marks(form)[0][1]


# -- words --


def test_a_word_of_the_surface_is_taken_and_taken_away_by_a_second_tap(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("surface")
    words.surface.tap(form, "slot.roots")
    words.surface.tap(form, "roots=some")
    assert form.answers["roots"] == "some"
    words.surface.tap(form, "slot.roots")
    words.surface.tap(form, "roots=some")
    assert "roots" not in form.answers


def test_stages_and_scores_are_numbers(desk: Desk) -> None:
    form = bone(desk)
    for key in ("weathering=stage_2", "fracture.angle=score_1", "fracture.outline=score_0"):
        words.surface.tap(form, key)
    record = saved(desk, form)
    assert record.value("weathering") == 2
    assert record.value("fracture") == {"angle": 1, "outline": 0}
    again = Form.of(desk, record)
    assert words.now("fracture.angle", again.answers) == "score_1"


def test_every_word_of_the_lists_can_be_reached_and_fits_its_shape(desk: Desk) -> None:
    from fieldapp.records.schemas import problems_of

    for field in (words.surface, words.age):
        for slot in field.slots:
            form = bone(desk, "antler", "red_deer") if slot == "antler_base" else bone(desk, "pelvis")
            for key in words.keys_of(slot, form):
                changes = words.put(slot, key, form)
                if slot in words.SURFACE:
                    assert problems_of("docket", changes) == {}, (slot, key)


def test_sex_is_asked_where_it_can_be_told(desk: Desk) -> None:
    assert words.wanted("sex", bone(desk, "pelvis", "cattle"))
    assert not words.wanted("sex", bone(desk, "rib", "cattle"))


def test_age_and_sex_are_of_the_reading(desk: Desk) -> None:
    form = bone(desk, "pelvis", "cattle")
    words.age.tap(form, "sex=female")
    words.age.tap(form, "age=adult")
    reading = saved(desk, form).value("reading")
    assert (reading["sex"], reading["age"]) == ("female", "adult")


# -- the find --


def test_weight_number_and_place_are_written(desk: Desk) -> None:
    form = bone(desk)
    form.open_field("find")
    for slot, keys in (("weight_g", "12.5"), ("find_no", "77"), ("east", "101.5")):
        find.tap(form, f"keys.{slot}")
        for key in keys:
            find.tap(form, f"key.{key}")
        find.tap(form, "key.=")
    # After east, north is asked for.
    assert form.state.shelf == "keys:north"
    for key in "200":
        find.tap(form, f"key.{key}")
    find.tap(form, "key.=")
    record = saved(desk, form)
    assert (record.value("weight_g"), record.value("find_no")) == (12.5, "77")
    assert record.value("place") == {"east": 101.5, "north": 200.0}


def test_the_place_of_what_may_be_human_is_not_asked_here(desk: Desk) -> None:
    form = bone(desk)
    form.answer_human(human.QUERY)
    form.open_field("find")
    body = form_fields.further(form, ROOM)
    assert "find.keys.east" not in idents(form)
    assert "sealed" in body.asks


def test_a_piece_is_joined_to_another_across_an_old_break_then_a_fresh_one(desk: Desk) -> None:
    other = bone(desk).save().docket
    form = bone(desk)
    form.open_field("find")
    find.tap(form, "joins")
    assert f"find.join.{other}" in idents(form)
    find.tap(form, f"join.{other}")
    assert form.answers[f"joins/{other}"] == {"break": "old"}
    find.tap(form, f"join.{other}")
    assert form.answers[f"joins/{other}"] == {"break": "fresh"}
    find.tap(form, f"join.{other}")
    assert f"joins/{other}" not in form.answers


def test_the_finder_can_be_another_than_the_recorder(desk: Desk) -> None:
    form = bone(desk)
    find.tap(form, "finder.Ben")
    assert saved(desk, form).value("finder") == "Ben"
    assert saved(desk, bone(desk)).value("finder") == "Ana"


# -- what is there already --


def test_what_was_written_opens_again_and_only_what_changed_is_written(desk: Desk) -> None:
    form = bone(desk)
    measures.take(form, "Bd", "80")
    find.tap(form, "more")
    words.surface.tap(form, "roots=some")
    record = saved(desk, form)
    again = Form.of(desk, record)
    assert {slot for slot in again.answers if is_path(slot)} == {
        "material", "count", "roots", "finder", *(f"measure/{one}" for one in record.items("measure")),
    }  # fmt: skip
    words.surface.tap(again, "roots=none")
    before = desk.notebook.n
    again.save()
    change = list(desk.notebook.changes())[-1]
    assert desk.notebook.n == before + 1
    assert set(change.set) == {"roots"}
    assert set(change.over) == {"roots"}


def test_what_is_removed_is_written_as_null(desk: Desk) -> None:
    form = bone(desk)
    measures.take(form, "Bd", "80")
    record = saved(desk, form)
    again = Form.of(desk, record)
    measures.tap(again, "drop.Bd")
    assert saved(desk, again).items("measure") == {}


def test_numbers_are_read_as_people_write_them() -> None:
    assert [number_of(one) for one in ("3,5", "3.5", " 4", "", "1e99", "nan")] == [3.5, 3.5, 4.0, None, None, None]


def test_pages_hold_everything_once() -> None:
    pads = [Choice(f"x.{n}", str(n)) for n in range(37)]
    seen: list[str] = []
    for page in range(2):
        rows = paged("x", pads, [], ROOM, page)
        assert len(rows) <= ROOM.down
        assert all(len(row) <= ROOM.across for row in rows)
        seen += [one.ident for row in rows for one in row if one.ident and "page" not in one.ident]
    assert sorted(seen) == sorted(one.ident for one in pads)
