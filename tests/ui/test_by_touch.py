"""The tablet as a recorder uses it: every act is a real touch at window coordinates."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.store.notebook import Notebook
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.shell import Shell
from server.demo.touch import FingerTouch, NotOnScreen
from tests.ui.conftest import Clock, FakeCabin, Tablet, id_maker, save_as_other

pytestmark = pytest.mark.ui

TIBIA = ("human.no_sign", "element.tibia", "taxon.sheep_goat", "side.right")
LOWER_END = ("plate.distal_medial", "plate.distal_lateral", "plate.distal_metaphysis", "portion.rest_absent")


def newest(tablet: Tablet) -> Any:
    """The docket saved last."""
    return tablet.app.notebook.records("docket")[-1]


def test_a_whole_record_by_touch(tablet: Tablet, capsys: pytest.CaptureFixture[str]) -> None:
    tablet.begin()
    before = tablet.hand.taps
    tablet.press("docket.new", "material.bone", *TIBIA, *LOWER_END, "fusion.distal.fused", "action.save_again")
    first = tablet.hand.taps - before
    record = newest(tablet)
    reading = record.value("reading")
    assert (reading["element"], reading["taxon"], reading["side"]) == ("tibia", "sheep_goat", "right")
    assert {key for key, state in reading["portions"].items() if state == "most"} == {
        "distal_medial",
        "distal_lateral",
        "distal_metaphysis",
    }
    assert reading["fusion"]["distal"] == "fused"
    assert tablet.app.desk.problems(record) == [] or all(
        one.level == "note" for one in tablet.app.desk.problems(record)
    )
    before = tablet.hand.taps
    tablet.press("human.no_sign", "again.bone", "side.left", *LOWER_END, "fusion.distal.unfused", "action.save_again")
    again = tablet.hand.taps - before
    before = tablet.hand.taps
    tablet.press("human.no_sign", "element.rib", "taxon.medium_mammal", "action.save")
    quick = tablet.hand.taps - before
    assert len(tablet.app.notebook.records("docket")) == 3
    assert (first, again, quick) == (12, 9, 4)
    with capsys.disabled():
        print(f"\ntaps: a whole record {first}, same again {again}, a rib {quick}")


def test_no_tap_of_the_usual_record_wants_a_keyboard(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA, *LOWER_END, "fusion.distal.fused", "action.save")
    assert not tablet.app._typing()


def test_the_form_says_what_is_missing_and_saves_nothing_without_material(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "field.element", "element.tibia", "action.save")
    assert tablet.screen == "form"
    assert tablet.app.views["form"].ids.strip.text
    assert tablet.shell.form.state.field == "material"
    tablet.press("material.bone", "action.save")
    assert tablet.screen == "context"


def test_every_way_of_portions_gives_the_same(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA)
    tablet.press("plate.upper_shaft", "portion.upper_shaft", "plate.upper_shaft", "portion.lower_shaft")
    assert tablet.shell.form.answers["portion.upper_shaft"] == "absent"
    assert tablet.shell.form.answers["portion.lower_shaft"] == "most"
    pad = tablet.hand.widget("portion.lower_shaft")
    assert (pad.note, pad.sign) == ("most", "portion.most")


def test_undo_by_touch_goes_back_to_the_start(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA, *LOWER_END)
    for _ in range(9):
        tablet.press("action.undo")
    assert tablet.shell.form.answers == {}
    assert tablet.shell.form.state.field == "material"
    tablet.press("action.undo")
    assert tablet.screen == "form"


def test_a_save_can_be_undone_from_the_context(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "action.save", "context.undo")
    assert newest_or_none(tablet) is None
    with pytest.raises(NotOnScreen):
        tablet.press("context.undo")


def newest_or_none(tablet: Tablet) -> Any:
    """The live docket saved last, or None."""
    found = tablet.app.notebook.records("docket")
    return found[-1] if found else None


def test_a_save_can_be_undone_from_the_next_form(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "action.save_again", "action.undo")
    assert newest_or_none(tablet) is None
    assert tablet.screen == "form"


def test_a_stored_docket_is_opened_from_its_row_and_changed(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA, *LOWER_END, "fusion.distal.fused", "action.save")
    label = newest(tablet).value("label")
    tablet.press(f"docket.{label}", "field.side", "side.left", "action.save")
    record = newest(tablet)
    assert record.value("reading")["side"] == "left"
    assert record.disagreements() == {}
    assert len(record.added("human")) == 1


def test_a_disagreement_is_shown_before_anything_else(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA, *LOWER_END, "action.save")
    record = newest(tablet)
    theirs = {**record.value("reading"), "taxon": "goat"}
    save_as_other(tablet.app.desk, "docket", record.id, {"reading": theirs}, {})
    tablet.app.show()
    tablet.hand.frames(2)
    row = tablet.hand.widget(f"docket.{record.value('label')}")
    assert ["differ"] == [sign for sign, _ in row.signs]
    tablet.press(f"docket.{record.value('label')}")
    pads = tablet.app.views["form"].ids.problems.pads()
    texts = " ".join(pad.text for pad in pads)
    assert "goat tibia" in texts
    assert "sheep/goat tibia" in texts
    # A recorder may look and not settle.
    assert not any(pad.enabled for pad in pads if pad.ident.startswith("take."))


def test_a_zooarchaeologist_settles_it_by_touch(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA, "action.save")
    record = newest(tablet)
    save_as_other(tablet.app.desk, "docket", record.id, {"reading": {**record.value("reading"), "taxon": "goat"}}, {})
    save_as_other(tablet.app.desk, "person", "z", {"name": "Zoe", "role": "zooarchaeologist", "active": True}, {})
    tablet.press("go.more", "go.people", "person.z", f"docket.{record.value('label')}")
    for pad in tablet.app.views["form"].ids.problems.pads():
        if "goat tibia" in pad.text and "sheep" not in pad.text:
            tablet.press(pad.ident)
            break
    tablet.press("action.save")
    found = newest(tablet)
    assert found.disagreements() == {}
    assert found.value("reading")["taxon"] == "goat"


# -- the stop --


def to_the_stop(tablet: Tablet) -> str:
    """Goes to the stop screen; the docket's id."""
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.stop")
    assert tablet.screen == "stop"
    return str(tablet.shell.form.state.docket)


def test_the_stop_fills_the_window_and_leaves_only_two_ways(tablet: Tablet) -> None:
    to_the_stop(tablet)
    assert sorted(tablet.hand.idents()) == ["stop.confirm", "stop.take_back"]
    assert tablet.app.frame.ids.bar.height == 0


def test_neither_back_nor_keys_nor_taps_elsewhere_leave_the_stop(tablet: Tablet) -> None:
    docket = to_the_stop(tablet)
    for key in ("back", "enter", "backspace"):
        tablet.hand.key(key)
    tablet.hand.type("x")
    for x in range(20, 1280, 120):
        for y in (20, 300, 500, 780):
            tablet.hand.tap(x, y)
    assert tablet.screen == "stop"
    assert tablet.app.desk.record(docket) is None
    assert tablet.shell.form.state.stop


def test_a_mis_tap_is_taken_back_and_leaves_nothing(tablet: Tablet) -> None:
    docket = to_the_stop(tablet)
    tablet.press("stop.take_back")
    assert tablet.screen == "form"
    assert "human" not in tablet.shell.form.answers
    tablet.leave()
    assert tablet.app.desk.record(docket) is None
    assert tablet.app.notebook.records("hold") == []


def test_a_confirmed_stop_opens_its_hold_and_cannot_be_taken_back(tablet: Tablet) -> None:
    docket = to_the_stop(tablet)
    tablet.press("stop.confirm")
    assert tablet.screen == "hold"
    record = tablet.app.desk.record(docket)
    assert tablet.app.desk.standing(record) == human.STOP
    tablet.press("step.what.told", "step.whom.supervisor", "step.how.radio", "hold.add")
    hold = tablet.app.desk.record(hold_id(docket))
    (step,) = hold.added("step").values()
    assert (step["what"], step["whom"], step["how"]) == ("told", "supervisor", "radio")
    tablet.press("hold.leave")
    assert not tablet.hand.sees("context.undo")
    assert "stop" in [sign for sign, _ in tablet.hand.widget(f"docket.{record.value('label')}").signs]
    tablet.press(f"docket.{record.value('label')}")
    assert tablet.screen == "hold", "a row on hold opens the hold"
    tablet.press("hold.more", "hold.docket", "field.human", "go.hold")
    assert tablet.screen == "hold"


def test_the_words_of_the_place_are_one_tap_from_the_stop_with_their_source(tablet: Tablet) -> None:
    tablet.begin()
    site = tablet.app.desk.site
    values = {"place_text": "Call the invented office.\n\nCover it.", "place_source": "an invented leaflet"}
    save_as_other(tablet.app.desk, "site", site, {**values, "place_checked": "2026-06-01, Cleo Example"}, {})
    tablet.press("docket.new", "material.bone", "human.stop")
    before = list(tablet.app.views["stop"].ids.left.texts)
    tablet.press("stop.place")
    ids = tablet.app.views["stop"].ids
    shown = [text for _, text in (*ids.left.texts, *ids.right.texts)]
    assert shown[:2] == ["Call the invented office.", "Cover it."]
    assert "an invented leaflet" in shown[2]
    assert "Not legal advice" in shown[2]
    tablet.press("stop.place")
    assert list(ids.left.texts) == before
    assert tablet.screen == "stop"


def test_without_words_of_the_place_only_the_default_ones_are_shown(tablet: Tablet) -> None:
    to_the_stop(tablet)
    assert not tablet.hand.sees("stop.place")


def test_without_a_key_the_place_cannot_be_kept_and_it_says_so(tablet: Tablet) -> None:
    docket = to_the_stop(tablet)
    tablet.press("stop.confirm", "hold.more", "hold.place", "hold.note")
    tablet.hand.type("E412 N208")
    assert "key" in tablet.app.views["hold"].ids.step_name.text
    assert not tablet.hand.sees("hold.seal")
    assert "place_sealed" not in tablet.app.desk.record(hold_id(docket)).heads


def test_back_is_one_step_and_never_out_of_the_program(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("contexts.new") if tablet.hand.sees("contexts.new") else tablet.press("go.contexts", "contexts.new")
    tablet.hand.key("back")
    assert tablet.screen == "contexts"
    assert not tablet.shell.contexts.making
    tablet.press("context.1042", "docket.new", "material.bone", "action.problems")
    tablet.hand.key("back")
    assert tablet.screen == "form"
    tablet.hand.key("back")
    assert tablet.screen == "form"
    assert tablet.shell.form.answers == {"material": "bone"}


# -- other ways in --


def test_a_keyboard_that_is_plugged_in_writes_too(tablet: Tablet) -> None:
    tablet.press("setup.alone")
    tablet.hand.type("hlx")
    tablet.hand.key("backspace")
    tablet.hand.type("g26")
    tablet.press("entry.letter")
    tablet.hand.type("b")
    tablet.hand.key("enter")
    assert tablet.screen == "people"
    assert (tablet.app.desk.code, tablet.app.desk.letter) == ("HLG26", "B")
    tablet.press("people.new")
    tablet.hand.type("Ana")
    tablet.hand.key("enter")
    assert tablet.app.desk.by["name"] == "Ana"


def test_words_are_typed_into_the_note_and_kept(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "field.more", "note.text")
    tablet.hand.type("by the hearth")
    tablet.press("note.worked", "find.more", "burning.charred", "action.save")
    record = newest(tablet)
    (note,) = record.items("note").values()
    assert note == {"text": "by the hearth; may be worked", "stage": "trench"}
    assert (record.value("count"), record.value("burning")) == (2, "charred")


def test_a_hand_on_the_screen_presses_nothing(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new")
    points = [tablet.hand.find(f"material.{one}") for one in ("bone", "tooth", "antler")]
    contacts = [FingerTouch(*point) for point in points]
    for contact in contacts:
        tablet.hand.down(contact)
    tablet.hand.frames(1)
    for contact in contacts:
        tablet.hand.up(contact)
    tablet.hand.frames(2)
    assert tablet.shell.form.answers == {}
    tablet.press("material.bone")
    assert tablet.shell.form.answers == {"material": "bone"}


def test_a_bouncing_finger_presses_once(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", *TIBIA)
    point = tablet.hand.find("portion.upper_shaft")
    tablet.hand.tap(*point)
    tablet.hand.before_tap = lambda: None  # the clock stands still
    tablet.hand.tap(*point)
    assert tablet.shell.form.answers["portion.upper_shaft"] == "most"


def test_a_finger_that_slides_off_presses_nothing(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new")
    x, y = tablet.hand.find("material.bone")
    touch = FingerTouch(x, y)
    tablet.hand.down(touch)
    touch.move({"x": 0.5, "y": 0.02})
    tablet.hand.up(touch)
    tablet.hand.frames(2)
    assert tablet.shell.form.answers == {}


CHILD = """
import itertools, json, os, signal, sys, uuid
from pathlib import Path
from fieldapp.ui.environment import prepare
prepare(1280, 800, Path(sys.argv[1]).parent / "kivy")
from kivy.clock import Clock
from fieldapp.ui.app import TabletApp
from server.demo import touch
Clock._max_fps = 0
ticks = itertools.count()
app = TabletApp(Path(sys.argv[1]), monotonic=lambda: float(next(ticks)))
touch.start(app)
hand = touch.Hand()
for ident in json.loads(sys.argv[2]):
    hand.press(ident)
form = app.shell.form
print(json.dumps([app.shell.screen, form.state.field if form else "", form.answers if form else {}]), flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""

SETUP = ["setup.alone", "key.H", "key.L", "entry.letter", "key.B", "setup.go", "people.new", "key.A", "people.add"]
CONTEXT = ["contexts.new", "key.7", "type.layer", "grave.no", "contexts.make", "bag.new", "recovery.hand.0"]
FORM = ["docket.new", "material.bone", *TIBIA, "plate.upper_shaft"]


@pytest.mark.parametrize(
    ("taps", "screen", "field"),
    [
        pytest.param(FORM, "form", "portions", marks=pytest.mark.proof),
        pytest.param([*FORM, "field.more", "note.worked"], "form", "note", marks=pytest.mark.proof),
        (["docket.new", "material.bone", "human.stop"], "stop", "human"),
    ],
    ids=["in the portions", "in the note", "at the stop"],
)
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="a system without SIGKILL cannot kill like a flat battery")
def test_a_killed_tablet_opens_where_it_was(
    start: Callable[..., Tablet], tmp_path: Path, taps: list[str], screen: str, field: str
) -> None:
    folder = tmp_path / "killed"
    command = [sys.executable, "-c", CHILD, str(folder), json.dumps([*SETUP, *CONTEXT, *taps])]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, env=os.environ, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    was = json.loads(done.stdout.splitlines()[-1])
    tablet = start(folder)
    form = tablet.shell.form
    assert [tablet.screen, form.state.field, form.answers] == was
    assert [tablet.screen, form.state.field] == [screen, field]
    assert tablet.app.frame.ids.screens.current == screen
    tablet.press("action.undo" if screen == "form" else "stop.take_back")
    assert form.answers != was[2]


def test_every_tap_is_on_disk_before_its_frame(tablet: Tablet, tmp_path: Path) -> None:
    tablet.begin()
    taps = ["docket.new", "material.bone", *TIBIA, *LOWER_END, "fusion.distal.fused", "field.more", "burning.charred"]
    for at, ident in enumerate(taps):
        tablet.press(ident)
        copy = tmp_path / f"copy-{at}"
        copy.mkdir()
        # What a power cut right now would leave, as the system holds it.
        (copy / "journal").write_bytes((tablet.folder / "journal").read_bytes())
        with Notebook.open(copy, Clock(), id_maker()) as notebook:
            desk = Desk(notebook, assets.knowledge())
            found = Shell(desk, FakeCabin(desk))
            assert found.screen == tablet.screen
            assert found.form is not None
            assert found.form.state == tablet.shell.form.state
