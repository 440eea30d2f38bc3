"""Every screen as it is drawn: sizes, gaps, texts that fit, no property that kv made up."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from fieldapp.domain.plates import widest
from fieldapp.ui.presenters.manner import Manner
from fieldapp.ui.theme import theme
from tests.ui.conftest import Tablet
from tests.ui.tour import tour

pytestmark = pytest.mark.ui

Box = tuple[float, float, float, float]
ROUNDING_MM = 0.1
"""Two edges may each be rounded to a pixel, which is up to 0.17 mm."""


def touchables(tablet: Tablet) -> dict[str, Box]:
    """{ident: box in window pixels} of all that can be pressed, but for shapes in a picture."""
    found = {}
    for ident, widget, _ in tablet.hand.things():
        if not ident.startswith(("plate.", "region.", "bone.")):
            x, y = widget.to_window(*widget.pos)
            found[ident] = (x, y, x + widget.width, y + widget.height)
    return found


def least(tablet: Tablet) -> dict[str, float]:
    """{ident: millimetres}: lines of a list and text boxes may be lower than buttons, and nothing is under 12."""
    low = ("RowPad", "Box")
    return {ident: 12.0 if type(widget).__name__ in low else 15.0 for ident, widget, _ in tablet.hand.things()}


def apart(one: Box, other: Box) -> float:
    """Pixels between two boxes; negative where they overlap."""
    across = max(one[0], other[0]) - min(one[2], other[2])
    along = max(one[1], other[1]) - min(one[3], other[3])
    return max(across, along)


def drawn(tablet: Tablet) -> list[Any]:
    """Every widget in sight that sets type."""
    from kivy.core.window import Window

    found = []
    for child in Window.children:
        for widget in child.walk(restrict=True):
            at, seen = widget, True
            while at is not None and at is not at.parent:
                seen = seen and at.opacity > 0
                at = at.parent
            if seen and getattr(widget, "settings", None):
                found.append(widget)
    return found


def clipped(tablet: Tablet) -> list[str]:
    """Texts that do not fit their box, or run over their widget or the window."""
    from kivy.core.window import Window

    faults = []
    for widget in drawn(tablet):
        left, low = widget.to_window(*widget.pos)
        # A line of a list may be scrolled half out of sight; it is still whole in itself.
        scrolled = type(widget).__name__ == "RowPad"
        for setting, x, y in widget.settings:
            tx, ty = left + x - widget.x, low + y - widget.y
            within = (
                tx >= left - 1
                and ty >= low - 2
                and tx + setting.width <= left + widget.width + 1
                and ty + setting.height <= low + widget.height + 2
            )
            shown = scrolled or (
                tx >= 0 and ty >= 0 and tx + setting.width <= Window.width and ty + setting.height <= Window.height
            )
            if not (setting.fits and within and shown):
                faults.append(f"{type(widget).__name__} {getattr(widget, 'ident', '')}: {' / '.join(setting.lines)}")
    return faults


def covered(tablet: Tablet) -> list[str]:
    """What can be pressed but for a list that lies over it and takes the touch."""
    from kivy.core.window import Window

    lists = [one for child in Window.children for one in child.walk(restrict=True) if type(one).__name__ == "Lines"]
    boxes = [(*one.to_window(*one.pos), one.width, one.height) for one in lists]
    return [
        ident
        for ident, widget, (px, py) in tablet.hand.things()
        if type(widget).__name__ != "RowPad"
        and any(x <= px < x + wide and y <= py < y + high for x, y, wide, high in boxes)
    ]


@dataclass(frozen=True)
class Panel:
    """A tablet's glass, and how it is held and read. `often`: looked at in every run, not only in the long proof."""

    ppi: float
    size: tuple[int, int]
    manner: Manner | None = None
    often: bool = False


GERMAN, DUSK = Manner(language="de"), Manner(language="de", dusk=True)
PANELS = {
    "8 inch, 1280 by 800": Panel(189.0, (1280, 800), often=True),
    "8 inch standing, 800 by 1280, German at dusk": Panel(189.0, (800, 1280), DUSK),
    "8 inch, 1280 by 800, German": Panel(189.0, (1280, 800), GERMAN),
    "8 inch, 1280 by 800, gloves on a left hand": Panel(189.0, (1280, 800), Manner(gloves=True, left_handed=True)),
    "8 inch standing, 800 by 1280": Panel(189.0, (800, 1280)),
    "8 inch, 1920 by 1200": Panel(283.0, (1920, 1200)),
    "10 inch, 1920 by 1200": Panel(224.0, (1920, 1200)),
    "10 inch, 1920 by 1200, German at dusk": Panel(224.0, (1920, 1200), DUSK),
    "10 inch, 1280 by 800": Panel(149.0, (1280, 800)),
}


@pytest.mark.parametrize(
    "panel",
    [name if one.often else pytest.param(name, marks=pytest.mark.proof) for name, one in PANELS.items()],
)
def test_every_screen_keeps_to_the_sizes_and_clips_nothing(start: Callable[..., Tablet], panel: str) -> None:
    window = PANELS[panel].size
    tablet = start(ppi=PANELS[panel].ppi, size=window, manner=PANELS[panel].manner)
    faults: list[str] = []
    pictures = os.environ.get("BONEDOCKET_PICTURES")
    stops = 0
    for at, name in enumerate(tour(tablet)):
        stops += 1
        tablet.hand.frames(2)
        if pictures:
            tablet.hand.picture(Path(pictures) / f"{at:02d}-{name.replace(' ', '-').replace(',', '')}.png")
        boxes, smallest = touchables(tablet), least(tablet)
        assert boxes, name
        for ident, (x, y, right, top) in boxes.items():
            size = min(theme.in_mm(right - x), theme.in_mm(top - y))
            if size < smallest[ident] - 1e-6:
                faults.append(f"{name}: {ident} is {size:.2f} mm")
        for (one, a), (other, b) in combinations(boxes.items(), 2):
            gap = theme.in_mm(apart(a, b))
            if gap < theme.gap - ROUNDING_MM:
                faults.append(f"{name}: {one} and {other} are {gap:.2f} mm apart")
        faults += [f"{name}: {one}" for one in clipped(tablet)]
        faults += [f"{name}: {one} lies under a list" for one in covered(tablet)]
    assert stops > 45
    assert (tablet.app.frame.width, tablet.app.frame.height) == window
    assert not faults, "\n".join(faults)


def test_a_text_that_does_not_fit_is_noticed(tablet: Tablet) -> None:
    pad = tablet.hand.widget("setup.alone")
    assert not clipped(tablet)
    pad.note = "a note that goes on and on " * 40
    tablet.hand.until(lambda: bool(clipped(tablet)))


def test_kv_makes_up_no_property(start: Callable[..., Tablet], monkeypatch: pytest.MonkeyPatch) -> None:
    from kivy.uix.widget import Widget

    made: list[tuple[str, str]] = []
    create = Widget.create_property

    def spy(self: Any, name: str, *args: Any, **kwargs: Any) -> Any:
        made.append((type(self).__name__, name))
        return create(self, name, *args, **kwargs)

    monkeypatch.setattr(Widget, "create_property", spy)
    start()
    assert made == []


def test_every_portion_of_a_plate_is_large_enough_for_a_finger_as_it_is_or_enlarged(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone")
    from tests.ui.tour_form import PLATED

    for element in PLATED:
        tablet.press("field.element", f"element.{element}", "field.portions")
        view = next(widget for ident, widget, _ in tablet.hand.things() if ident.startswith("plate."))
        plate = view._fit()
        assert theme.in_mm(plate.height) >= 94.0
        for key, polygon in plate.portions.items():
            wide = theme.in_mm(2 * widest(polygon)[2])
            near = view._closer(key)
            # A portion narrower than a fingertip is shown larger by the first tap.
            assert wide >= theme.least_portion if near is None else wide * near[2] >= theme.least_portion, (
                element,
                key,
            )


def test_each_spot_of_a_plate_finds_its_own_portion(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.tibia", "taxon.sheep", "side.right")
    view = next(widget for ident, widget, _ in tablet.hand.things() if ident.startswith("plate."))
    spots = view.spots()
    assert len(spots) == 9
    for ident, (x, y) in spots.items():
        assert view.portion(x, y) == ident.removeprefix("plate.")


def test_left_and_right_are_mirrored(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.tibia", "taxon.sheep", "side.left")

    def medial_is_left() -> bool:
        medial, lateral = (tablet.hand.find(f"plate.distal_{one}")[0] for one in ("medial", "lateral"))
        return bool(medial < lateral)

    # A left bone seen from the front has its medial half to the left of the picture (as the plates say of themselves).
    assert medial_is_left()
    tablet.press("field.side", "side.right", "field.portions")
    assert not medial_is_left()


def test_a_plate_of_another_form_says_that_it_is_schematic(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.tibia", "taxon.horse", "side.left")
    caption = tablet.app.views["form"].ids.caption.text
    shown = tablet.app.views["form"].ids.plate.plate.form
    assert ("schematic" in caption) == (shown != "equid")


def test_a_bone_that_is_parted_otherwise_is_not_shown_on_the_plate_of_another_animal(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.scapula", "taxon.fowl", "side.left")
    assert tablet.app.views["form"].ids.plate.plate.form == "bird"
    form = tablet.app.shell.form
    form.choose("taxon", "frog")
    form.open_field("portions")
    tablet.app.show()
    tablet.hand.frames(3)
    assert tablet.app.views["form"].ids.plate.plate is None
    tablet.press("portion.upper_blade")
    assert form.answers["portion.upper_blade"] == "most"
