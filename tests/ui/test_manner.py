"""How the tablet is held and read, who has it, and what the system asks of the app."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldapp import assets
from fieldapp.store.own import written
from fieldapp.ui.device import Device, size_words, write_click
from fieldapp.ui.presenters import manner
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.people import People
from fieldapp.ui.theme import PALETTES, Theme, theme
from tests.ui.conftest import Tablet, save_as_other
from tests.ui.test_fields import bone


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    """Each test leaves the theme and the language as it found them."""
    yield
    theme.wear()
    assets.speak("en")


# -- the settings --


def test_every_toggle_is_kept_and_turned_back(desk: Desk) -> None:
    for name in manner.TOGGLES:
        before = getattr(manner.read(desk), name)
        manner.change(desk, f"manner.{name}")
        assert getattr(manner.read(desk), name) is not before
        manner.change(desk, f"manner.{name}")
        assert getattr(manner.read(desk), name) is before


@pytest.mark.parametrize("odd", [None, 5, [], {"gloves": "yes"}, {"language": "xx"}, {"newer": True}])
def test_settings_of_another_version_are_no_obstacle(desk: Desk, odd: Any) -> None:
    desk.notebook.set_setting(manner.SETTING, odd)
    assert manner.read(desk) == manner.Manner()


def test_gloves_and_dusk_and_the_left_hand_are_worn() -> None:
    theme.wear("dusk", gloves=True, left_handed=True)
    assert (theme.pad, theme.left_handed, theme.paper) == (20.0, True, PALETTES["dusk"]["paper"])
    theme.wear()
    assert (theme.pad, theme.left_handed, theme.paper) == (Theme.target, False, PALETTES["day"]["paper"])


@pytest.mark.ui
def test_the_actions_change_sides_for_a_left_hand(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new")
    middle = tablet.app.frame.width / 2
    assert tablet.hand.find("action.save")[0] > middle
    assert tablet.hand.find("field.human")[0] < middle
    tablet.press("action.leave", "go.more", "go.manner", "manner.left_handed", "manner.leave")
    assert tablet.hand.find("docket.new")[0] < middle
    tablet.press("docket.new")
    assert tablet.hand.find("action.save")[0] < middle
    assert tablet.hand.find("field.human")[0] > middle


@pytest.mark.ui
def test_buttons_of_the_form_are_larger_in_gloves(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press(
        "go.more", "go.manner", "manner.gloves", "manner.leave", "docket.new", "material.bone", "human.no_sign"
    )
    for ident, widget, _ in tablet.hand.things():
        if ident.startswith("element."):
            assert theme.in_mm(min(widget.width, widget.height)) >= Theme.glove_target - 0.2, ident


@pytest.mark.ui
def test_a_half_made_form_survives_another_light(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.tibia")
    before = dict(tablet.shell.form.answers)
    manner.change(tablet.app.desk, "manner.dusk")
    tablet.app.restyle()
    tablet.hand.frames(3)
    assert tablet.screen == "form"
    assert tablet.shell.form.answers == before
    tablet.press("taxon.cattle")
    assert tablet.shell.form.answers["taxon"] == "cattle"


# -- locked for wiping --


@pytest.mark.ui
def test_a_wipe_over_the_locked_screen_does_nothing(tablet: Tablet) -> None:
    tablet.begin()
    before = tablet.app.notebook.n
    tablet.press("go.more", "go.lock")
    width, height = tablet.app.frame.size
    for step in range(12):
        tablet.hand.tap(width * step / 12, height * (0.3 + 0.4 * (step % 2)))
        tablet.hand.key("back")
    assert tablet.screen == "lock"
    tablet.press("lock.first")
    tablet.hand.tap(width / 2, height / 2)
    # Something else was touched in between: from the beginning.
    assert not tablet.hand.sees("lock.second")
    tablet.press("lock.first", "lock.second")
    assert tablet.screen == "more"
    assert tablet.app.notebook.n == before


# -- the device --


class Body(Device):
    """A device that says what it is told to, and remembers what was asked of it."""

    def __init__(self) -> None:
        super().__init__(Path())
        self.acknowledged: list[tuple[bool, bool]] = []

    def battery(self) -> tuple[int, bool] | None:
        return 83, False

    def free_bytes(self) -> int | None:
        return 12_300_000_000

    def saved(self, sound: bool, buzz: bool) -> None:
        self.acknowledged.append((sound, buzz))


@pytest.mark.ui
def test_battery_room_and_what_is_not_sent_stand_on_every_screen(start: Callable[..., Tablet]) -> None:
    tablet = start(device=Body())
    tablet.begin()
    tells = dict(tablet.app.frame.ids.bar.tells)
    assert tells["battery"] == "83 %"
    assert tells["room"] == "12 GB"
    assert tells["sync"].startswith("2")
    tablet.press("docket.quick", "look.rib", "action.save")
    assert dict(tablet.app.frame.ids.bar.tells)["sync"].startswith("3")


@pytest.mark.ui
def test_a_save_is_heard_and_felt_and_a_tap_is_not(start: Callable[..., Tablet]) -> None:
    device = Body()
    tablet = start(device=device)
    tablet.begin()
    tablet.press("docket.quick", "look.rib")
    assert device.acknowledged == []
    tablet.press("action.save")
    assert device.acknowledged == [(True, True)]
    tablet.press("go.more", "go.manner", "manner.sound", "manner.leave", "docket.quick", "look.rib", "action.save")
    assert device.acknowledged[-1] == (False, True)


def test_the_click_is_a_sound_and_room_is_in_words(tmp_path: Path) -> None:
    write_click(tmp_path / "click.wav")
    with wave.open(str(tmp_path / "click.wav")) as made:
        assert 0.1 < made.getnframes() / made.getframerate() < 0.2
    assert [size_words(one) for one in (12_300_000_000, 950_000_000)] == ["12 GB", "950 MB"]


def test_a_device_that_tells_nothing_is_no_obstacle(tmp_path: Path) -> None:
    device = Device(tmp_path / "not there")
    assert device.free_bytes() is None
    assert device.camera() is None
    device.saved(sound=False, buzz=True)


# -- whose tablet it is --


def test_the_totals_of_the_day_are_mine(desk: Desk) -> None:
    people = People(desk)
    bone(desk).save()
    bone(desk, "tibia").save()
    save_as_other(desk, "docket", "theirs", {"label": "HLG26 C1-0", "context": desk.context}, {})
    assert "new dockets 2" in people.totals()
    desk.go(person=desk.make_person("Ben"))
    assert "new dockets 0" in people.totals()


def test_the_journal_tells_what_was_written_here_alone(desk: Desk) -> None:
    form = bone(desk)
    form.save()
    save_as_other(desk, "docket", "theirs", {"label": "HLG26 C1-0"}, {})
    found = list(written(desk.notebook))
    assert [one.by for one in found if one.record == form.state.docket] == ["Ana"]
    assert "theirs" not in {one.record for one in found}


@pytest.mark.ui
def test_handing_over_is_said_and_the_last_save_is_no_longer_undone(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.quick", "look.rib", "action.save")
    assert tablet.hand.sees("context.undo")
    tablet.press("go.more", "go.people", "people.new", "key.B", "key.E", "key.N", "people.add")
    assert "Handed over" in tablet.shell.said
    assert not tablet.hand.sees("context.undo")


# -- what the system asks --


@pytest.mark.ui
def test_the_app_pauses_and_comes_back_to_the_same_field(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign")
    assert tablet.app.on_pause() is True
    tablet.app.on_resume()
    tablet.hand.frames(3)
    assert tablet.shell.form.state.field == "element"
    tablet.press("element.tibia")


@pytest.mark.ui
def test_the_system_s_back_never_leaves_the_program_nor_a_form(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone")
    for _ in range(5):
        tablet.hand.key("back")
    assert tablet.screen == "form"
    tablet.leave()
    tablet.press("go.more", "go.find", "chip.text")
    for expected in ("find", "context", "contexts", "contexts"):
        tablet.hand.key("back")
        assert tablet.screen == expected
