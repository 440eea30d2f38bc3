"""Plates for the pages: the drawing of a reading's portions as SVG within the page.

Not here: the geometry (fieldapp.domain.plates) and the files (fieldapp.assets).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from typing import Any, NamedTuple

from markupsafe import Markup

from fieldapp import assets
from fieldapp.assets import knowledge, plates_of
from fieldapp.domain.bodies import Piece, on_skeletons
from fieldapp.domain.gallery import PlateRow
from fieldapp.domain.plates import PLAIN, STATES, Plate, map_svg, mirrored, svg, telling
from server.review import words

LARGE, SMALL = 80.0, 18.0
"""Heights in millimetres as shown, which set the pitch of the patterns."""


class Drawing(NamedTuple):
    """One view of a bone, and what it is in words."""

    picture: Markup
    caption: str


def views(reading: Any, size: float = LARGE) -> list[Drawing]:
    """The first view of the reading's bone and each that shows more of what is there; none where none is drawn."""
    found = _found(reading)
    written = reading.get("portions") if found else None
    return [
        Drawing(_svg(plate, _states(plate, reading), size, words.title(reading)), _caption(plate, reading))
        for plate in telling(found, written if isinstance(written, Mapping) else {})
    ]


def plate(reading: Any, size: float = LARGE) -> Markup | None:
    """The first view alone."""
    found = _found(reading)[:1]
    return _svg(found[0], _states(found[0], reading), size, words.title(reading)) if found else None


def plain(row: PlateRow) -> Markup:
    """A plate that shows no record."""
    drawn = assets.plate(row.form, row.element, row.view)
    title = f"{words.word('element', row.element)}, {words.word('form', row.form)}"
    return _svg(drawn, tuple((key, PLAIN) for key in drawn.portions), LARGE, title)


def bodies(pieces: Iterable[Piece]) -> tuple[list[Drawing], int]:
    """The skeletons that show the pieces, each with its number in words, and how many pieces have no place there."""
    found = on_skeletons(knowledge(), assets.skeleton_elements(), assets.skeleton_form, pieces)
    drawn = []
    for form, numbers in found.numbers.items():
        said = words.say("skeletons.of", form=words.word("form", form), n=sum(numbers.values()))
        drawn.append(Drawing(_skeleton(form, tuple(sorted(numbers.items())), said), said))
    return drawn, found.elsewhere


@lru_cache(maxsize=128)
def _skeleton(form: str, numbers: tuple[tuple[str, int], ...], title: str) -> Markup:
    whole = assets.skeleton(form)
    names = {element: words.word("element", element) for element in assets.skeleton_elements()[form]}
    # The drawing escapes what it is given; its text is ours.
    return Markup(map_svg(whole, dict(numbers), names, title=title))


def comparable(element: object) -> bool:
    """Whether a human plate of the element is drawn, to hold it against."""
    return isinstance(element, str) and ("human", element) in knowledge().gallery.plates


def _caption(plate: Plate, reading: Any) -> str:
    """Form, side and view. A bone without a side is drawn as a left one, and that is said; so is a borrowed plate."""
    side, view = reading.get("side"), words.word("view", plate.view)
    sided = plate.side == "midline" or side in (plate.side, "midline")
    form = words.word("form", plate.form)
    said = words.say(
        "plate.sided" if sided else "plate.unsided", form=form, side=words.word("side", plate.side), view=view
    )
    taxon = knowledge().taxa.get(_word(reading, "taxon") or "")
    return words.say("plate.schematic", said=said) if taxon and taxon.form != plate.form else said


def _states(plate: Plate, reading: Any) -> tuple[tuple[str, str], ...]:
    written = reading.get("portions")
    written = written if isinstance(written, Mapping) else {}
    # A state or portion of a newer version is in the words beside the plate; the drawing shows it as not examined.
    found = ((key, written.get(key)) for key in plate.portions)
    return tuple((key, state) for key, state in found if isinstance(state, str) and state in STATES)


def _found(reading: Any) -> tuple[Plate, ...]:
    if not isinstance(reading, Mapping) or not isinstance(reading.get("element"), str):
        return ()
    return plates_of(reading["element"], _word(reading, "taxon"), _word(reading, "side"))


def _word(reading: Mapping[str, Any], name: str) -> str | None:
    """A word of the reading; None where something else stands."""
    return value if isinstance(value := reading.get(name), str) else None


def legend() -> list[tuple[Markup, str]]:
    """A sample of each state's pattern, with its words."""
    return [(_sample(state), words.word("portion_state", state)) for state in STATES]


def _svg(plate: Plate, states: tuple[tuple[str, str], ...], size: float, title: str) -> Markup:
    return _drawn(plate.form, plate.element, plate.view, plate.side, states, size, title)


@lru_cache(maxsize=512)
def _drawn(
    form: str, element: str, view: str, side: str, states: tuple[tuple[str, str], ...], size: float, title: str
) -> Markup:
    drawn = assets.plate(form, element, view)
    if side != drawn.side:
        drawn = mirrored(drawn)
    # The drawing escapes what it is given; its text is ours.
    return Markup(svg(drawn, dict(states), title=title, shown_mm=size))


def _sample(state: str) -> Markup:
    return _sampled(state, words.word("portion_state", state))


@cache
def _sampled(state: str, title: str) -> Markup:
    corners = ((10.0, 10.0), (170.0, 10.0), (170.0, 90.0), (10.0, 90.0))
    square = Plate("", "", "left", "", 180.0, 100.0, {"sample": corners})
    return Markup(svg(square, {"sample": state}, title=title, shown_mm=10))
