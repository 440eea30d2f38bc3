"""Plates for the pages: the drawing of a reading's portions as SVG within the page.

Not here: the geometry (fieldapp.domain.plates) and the files (fieldapp.assets).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any

from markupsafe import Markup

from fieldapp.assets import has_plate, knowledge, plate_svg
from fieldapp.domain.plates import STATES, Plate, mirrored, read_plate, svg
from server.review import words

LARGE, SMALL = 80.0, 18.0
"""Heights in millimetres as shown, which set the pitch of the patterns."""


def plate(reading: Any, size: float = LARGE) -> Markup | None:
    """The plate with the reading's portions, or None where none is drawn for the bone."""
    found = _found(reading)
    if found is None:
        return None
    form, element = found
    side = reading.get("side")
    written = reading.get("portions")
    written = written if isinstance(written, Mapping) else {}
    drawn = _plate(form, element)
    # A state or portion of a newer version is in the words beside the plate; the drawing shows it as not examined.
    states = tuple((key, state) for key in drawn.portions if (state := written.get(key)) in STATES)
    return _svg(form, element, side == "right", states, size, words.title(reading))


def caption(reading: Any) -> str:
    """What is drawn: form, side and view. A bone without a side is drawn as a left one, and that is said."""
    found = _found(reading)
    if found is None:
        return ""
    form, element = found
    side, view = reading.get("side"), words.text(f"sheets.view.{_plate(form, element).view}")
    key = "plate.sided" if side in ("left", "right") else "plate.unsided"
    return words.say(key, form=words.text(f"review.form.{form}"), side=words.word("side", side), view=view)


def legend() -> list[tuple[Markup, str]]:
    """A sample of each state's pattern, with its words."""
    return [(_sample(state), words.word("portion_state", state)) for state in STATES]


def _found(reading: Any) -> tuple[str, str] | None:
    if not isinstance(reading, Mapping):
        return None
    element, taxon = reading.get("element"), reading.get("taxon")
    known = knowledge().taxa.get(taxon if isinstance(taxon, str) else "unknown")
    if known is None or not isinstance(element, str) or not has_plate(known.form, element):
        return None
    return known.form, element


@cache
def _plate(form: str, element: str) -> Plate:
    return read_plate(plate_svg(form, element))


@lru_cache(maxsize=512)
def _svg(form: str, element: str, right: bool, states: tuple[tuple[str, str], ...], size: float, title: str) -> Markup:
    drawn = _plate(form, element)
    if right and drawn.side == "left":
        drawn = mirrored(drawn)
    # The drawing escapes what it is given; its text is ours.
    return Markup(svg(drawn, dict(states), title=title, shown_mm=size))


@cache
def _sample(state: str) -> Markup:
    corners = ((10.0, 10.0), (170.0, 10.0), (170.0, 90.0), (10.0, 90.0))
    square = Plate("", "", "left", "", 180.0, 100.0, {"sample": corners})
    return Markup(svg(square, {"sample": state}, title=words.word("portion_state", state), shown_mm=10))
