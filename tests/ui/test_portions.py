"""Plates under a finger: turned to another view, looked at closer, and the buttons that do the same with cold hands."""

from __future__ import annotations

import random
from typing import Any

import pytest

from fieldapp import assets
from fieldapp.domain.plates import widest
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.pad import Pad
from tests.plates.shelf import ROWS
from tests.ui.conftest import Tablet

pytestmark = pytest.mark.ui

FINGER_SD = 3.0
"""Millimetres a cold finger strays, one standard deviation each way: a project decision."""
BONES = sorted({(row.element, row.after) for row in ROWS})


@pytest.fixture
def recording(tablet: Tablet) -> Tablet:
    """A docket's form is open."""
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign")
    return tablet


def show(tablet: Tablet, element: str, taxon: str) -> Any:
    """Opens the portions of a bone and gives the plate's widget. Which taps lead there is another test's business."""
    form = tablet.shell.form
    form.choose("taxon", taxon)
    form.choose("element", element)
    form.open_field("portions")
    tablet.app.show()
    tablet.hand.frames(3)
    return screen(tablet).ids.plate


def screen(tablet: Tablet) -> Any:
    return tablet.app.frame.ids.screens.current_screen


def pads(tablet: Tablet) -> list[Pad]:
    return [one for one in screen(tablet).ids.portions.pads() if one.ident]


MANY = pytest.mark.parametrize("step", [9, pytest.param(1, marks=pytest.mark.proof)])
"""One plate in so many in the usual run, all of them in the proof."""


@MANY
def test_a_jittered_finger_hits_the_button_it_meant(recording: Tablet, step: int) -> None:
    """For every bone that has a plate; least share of hits 0.97 (project decision)."""
    chance = random.Random(97)
    hits = tried = 0
    least = 1.0
    for element, taxon in BONES[::step]:
        show(recording, element, taxon)
        shown = pads(recording)
        assert shown
        for pad in shown:
            own = 0
            for _ in range(200):
                x = chance.gauss(pad.center_x, theme.mm(FINGER_SD))
                y = chance.gauss(pad.center_y, theme.mm(FINGER_SD))
                own += next((one for one in shown if one.collide_point(x, y)), None) is pad
            hits, tried, least = hits + own, tried + 200, min(least, own / 200)
    assert hits / tried >= 0.97
    assert least >= 0.9, "a single button, over 200 taps"


@MANY
def test_every_portion_of_every_plated_bone_has_a_button_of_full_size(recording: Tablet, step: int) -> None:
    for element, taxon in BONES[::step]:
        show(recording, element, taxon)
        wanted = {f"portion.{key}" for key in assets.knowledge().portion_map(element, taxon)}
        seen: set[str] = set()
        for _ in range(6):
            shown = pads(recording)
            for pad in shown:
                size = min(theme.in_mm(pad.width), theme.in_mm(pad.height))
                assert size >= theme.target - 0.1, f"{taxon} {element}: {pad.ident} is {size:.1f} mm"
            seen |= {pad.ident for pad in shown}
            if wanted <= seen:
                break
            recording.press("view.more")
        assert wanted <= seen, f"{taxon} {element}"


def test_the_other_view_is_a_tap_away_and_changes_nothing(recording: Tablet) -> None:
    plate = show(recording, "atlas", "horse")
    first = plate.plate.view
    before = dict(recording.shell.form.answers)
    recording.press("view.next")
    assert plate.plate.view != first
    assert recording.shell.form.answers == before
    recording.press("view.next")
    assert plate.plate.view == first


def test_a_midline_bone_drawn_from_one_side_can_be_looked_at_from_both(recording: Tablet) -> None:
    plate = show(recording, "axis", "cattle")
    assert plate.plate.side == "left"
    recording.press("view.next")
    assert plate.plate.side == "right"
    assert any(key.startswith("right_") for key in plate.plate.portions)


def narrow(tablet: Tablet) -> tuple[Any, str]:
    """A plate with a portion narrower than a fingertip, and the portion."""
    for element, taxon in BONES:
        plate = show(tablet, element, taxon)
        fitted = plate._fit()
        for key, polygon in fitted.portions.items():
            if 2 * widest(polygon)[2] < theme.mm(9.0) and f"plate.{key}" in plate.spots():
                return plate, key
    raise AssertionError("no plate has a narrow portion: then the inset is not needed")


def test_a_tap_on_a_narrow_portion_looks_closer_and_the_next_one_records_it(recording: Tablet) -> None:
    plate, key = narrow(recording)
    slot = f"portion.{key}"
    before = recording.shell.form.answers.get(slot)
    recording.press(f"plate.{key}")
    assert plate.near is not None
    assert recording.shell.form.answers.get(slot) == before, "the first tap only looks closer"
    wide = 2 * widest(plate._fit().portions[key])[2]
    assert wide >= theme.mm(9.0) or plate.near[2] == 4.0
    recording.press(f"plate.{key}")
    assert recording.shell.form.answers.get(slot) == "most"
    assert plate.near is not None, "neighbours can be tapped too"
    recording.press("view.whole")
    assert plate.near is None
    assert recording.shell.form.answers.get(slot) == "most"


def test_a_borrowed_plate_says_that_it_is_schematic(recording: Tablet) -> None:
    show(recording, "femur", "seal")
    assert "schematic" in screen(recording).ids.caption.text
    show(recording, "femur", "horse")
    assert "schematic" not in screen(recording).ids.caption.text
