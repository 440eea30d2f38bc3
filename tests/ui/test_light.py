"""Seen in sun, at dusk, and without colour: contrast from the pixels of a picture, and states that differ in grey.

Text: 7 to 1 or more (WCAG 2.2, success criterion 1.4.6; https://w3.org/WAI/WCAG20/Understanding/contrast-enhanced,
seen). Greys differ by at least 1.5 to 1 or in shape (project decision).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from fieldapp.ui.theme import PALETTES, contrast, theme
from tests.ui.conftest import Tablet
from tests.ui.test_screens import drawn

pytestmark = pytest.mark.ui

LEAST = 7.0
Box = tuple[int, int, int, int]


def luminance(pixel: tuple[int, ...]) -> float:
    """Relative luminance of a pixel, 0 to 1."""
    red, green, blue = (
        c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in pixel[:3]
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def shown_texts(tablet: Tablet) -> Iterator[tuple[str, Box]]:
    """(text, box in picture pixels) of every text in sight."""
    high = tablet.app.frame.height
    for widget in drawn(tablet):
        left, low = widget.to_window(*widget.pos)
        for setting, x, y in widget.settings:
            tx, ty = left + x - widget.x, low + y - widget.y
            box = (int(tx), int(high - ty - setting.height), int(tx + setting.width) + 1, int(high - ty) + 1)
            yield " ".join(setting.lines), box


def contrast_in(picture: Image.Image, box: Box) -> float:
    """The ratio between the lightest and the darkest pixel of a box."""
    part = picture.crop(box)
    values = [luminance(colour) for _, colour in part.getcolors(part.width * part.height)]
    return (max(values) + 0.05) / (min(values) + 0.05)


def stops(tablet: Tablet) -> Iterator[str]:
    """A few screens with every tone in them."""
    press = tablet.press
    press("docket.new", "material.bone", "human.no_sign", "element.astragalus", "taxon.fowl", "side.left")
    yield "portions with a problem"
    press("action.problems")
    yield "problems"
    press("field.human")
    yield "human"
    press("field.more")
    yield "note"
    press("field.measures") if tablet.hand.sees("field.measures") else None
    yield "measures"
    press("action.save", "docket.quick", "look.rib")
    yield "quick"
    tablet.leave()
    press("go.more", "go.find")
    yield "find"
    press("find.leave")
    yield "context"


@pytest.mark.parametrize(
    "palette", [pytest.param(one, marks=pytest.mark.proof if one == "dusk" else ()) for one in sorted(PALETTES)]
)
def test_every_text_stands_out_by_seven_to_one(tablet: Tablet, palette: str, tmp_path: Path) -> None:
    tablet.begin()
    if palette == "dusk":
        tablet.press("go.more", "go.manner", "manner.dusk", "manner.leave")
    weak = []
    seen = 0
    for name in stops(tablet):
        picture = Image.open(tablet.hand.picture(tmp_path / "screen.png")).convert("RGB")
        for text, box in shown_texts(tablet):
            seen += 1
            if (found := contrast_in(picture, box)) < LEAST:
                weak.append(f"{name}: {text!r} {found:.1f}")
    assert seen > 150
    assert weak == []
    theme.wear()


def test_a_weak_text_would_be_noticed() -> None:
    pale = Image.new("RGB", (10, 10), (240, 240, 240))
    pale.putpixel((5, 5), (150, 150, 150))
    assert contrast_in(pale, (0, 0, 10, 10)) < LEAST


def grey(tablet: Tablet, ident: str, path: Path) -> Image.Image:
    """A thing's picture in grey."""
    widget = tablet.hand.widget(ident)
    x, y = widget.to_window(*widget.pos)
    high = tablet.app.frame.height
    whole = Image.open(tablet.hand.picture(path)).convert("L")
    return whole.crop((int(x), int(high - y - widget.height), int(x + widget.width), int(high - y)))


def differs(one: Image.Image, other: Image.Image) -> float:
    """The share of pixels that differ by more than a fifth of the scale."""
    size = (min(one.width, other.width), min(one.height, other.height))
    pairs = zip(one.resize(size).tobytes(), other.resize(size).tobytes(), strict=True)
    return sum(abs(a - b) > 51 for a, b in pairs) / (size[0] * size[1])


@pytest.fixture(params=sorted(PALETTES))
def recording(request: pytest.FixtureRequest, start: Callable[..., Tablet]) -> Iterator[Tablet]:
    """A tablet in each light, with a docket's form open."""
    tablet = start()
    tablet.begin()
    if request.param == "dusk":
        tablet.press("go.more", "go.manner", "manner.dusk", "manner.leave")
    tablet.press("docket.new", "material.bone", "human.no_sign", "element.tibia", "taxon.sheep", "side.left")
    yield tablet
    theme.wear()


def test_states_differ_without_colour(recording: Tablet, tmp_path: Path) -> None:
    tablet, path = recording, tmp_path / "grey.png"
    states: dict[str, Any] = {}
    for state in ("not examined", "most", "part", "absent"):
        states[state] = grey(tablet, "portion.upper_shaft", path)
        tablet.press("portion.upper_shaft")
    for one in states:
        for other in states:
            if one < other:
                assert differs(states[one], states[other]) > 0.02, (one, other)
    tablet.press("field.side")
    plain = grey(tablet, "side.right", path)
    tablet.press("side.right", "field.side")
    assert differs(plain, grey(tablet, "side.right", path)) > 0.3
    # What wants a look says so in words, not by its colour alone.
    tablet.press("field.element", "element.astragalus", "field.taxon", "taxon.fowl")
    assert any(tab.mark for tab in tablet.app.views["form"].ids.tabs.pads())


def test_the_tokens_of_every_palette_keep_the_contrast() -> None:
    for palette in PALETTES:
        theme.wear(palette)
        for name, tone in theme.tones.items():
            assert contrast(tone.words, tone.ground) >= LEAST, (palette, name)
        for ink in (theme.ink, theme.faint, theme.clay):
            for ground in (theme.paper, theme.sheet):
                assert contrast(ink, ground) >= LEAST, palette
        for line in (theme.rule, theme.accent):
            assert contrast(line, theme.paper) >= 3, palette
    theme.wear()
