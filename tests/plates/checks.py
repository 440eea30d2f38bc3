"""What a plate must be: portions of the vocabulary, room for a fingertip, the right way round.

For: the tests of the plates and the drawing bench, which both ask `faults`. Not for: whether a drawing looks like the
bone; people say that (tests/plates_blind).
"""

from __future__ import annotations

from functools import cache

import shapely
from shapely.geometry import Polygon

from fieldapp.assets import knowledge
from tests.plates.draft import Drawn

TALL, WIDE = (52.0, 95.0), (95.0, 38.0)
"""Boxes in millimetres that an 8-inch tablet has for a plate: beside its buttons, or above them."""
FINGER = 9.0
"""The least width of a portion as shown, in millimetres; a smaller one is reached through the enlarged inset."""
ENLARGED = 4.0
"""How much larger the inset shows it at most."""
LARGEST = (520, 950), (950, 560)
"""Sizes of a drawing in units: one of them it fills in one direction."""


@cache
def vocabulary(form: str, element: str) -> tuple[str, ...]:
    """The portions of an element as the animals of the form have it; () where none has it. They must agree."""
    known = knowledge()
    # One animal of the form may have an element parted as in another class; the most usual parting is the plate's.
    found: dict[tuple[str, ...], int] = {}
    for taxon in known.taxa.values():
        if taxon.form == form and known.occurs(element, taxon.key):
            keys = tuple(known.portion_map(element, taxon.key))
            if keys:
                found[keys] = found.get(keys, 0) + 1
    return max(found, key=lambda keys: found[keys]) if found else ()


def scale(width: float, height: float) -> float:
    """Millimetres to the unit at full plate size."""
    return max(min(box[0] / width, box[1] / height) for box in (TALL, WIDE))


def finger(shape: Polygon, mm: float) -> float:
    """Diameter in millimetres of the largest circle within the portion."""
    return 2 * shapely.maximum_inscribed_circle(shape, tolerance=0.5).length * mm


def faults(plate: Drawn) -> list[str]:
    """What is wrong with a drawn plate, in words."""
    draft = plate.draft
    out = []
    known = vocabulary(draft.form, draft.element)
    if not known:
        out.append(f"no animal of the form {draft.form} has a {draft.element} with portions")
    side_keys = {key.replace("right_", "left_", 1) if draft.side == "left" else key for key in known}
    strange = [key for key in plate.portions if key not in known and key not in side_keys]
    if strange:
        out.append(f"not portions of it: {', '.join(strange)}; it has {', '.join(known)}")
    if not any(0.97 <= max(draft.width / wide, draft.height / high) <= 1.0 for wide, high in LARGEST):
        out.append(f"{draft.width:g} x {draft.height:g} fills none of {LARGEST} in one direction")
    mm = scale(draft.width, draft.height)
    for key, shape in plate.portions.items():
        if not shape.is_valid:
            out.append(f"{key} is not a simple polygon")
        wide = finger(shape, mm)
        if wide * ENLARGED < FINGER:
            out.append(f"{key} is {wide:.1f} mm wide: under {FINGER} mm even enlarged {ENLARGED:g} times")
    if len(plate.landmarks) < 3:
        out.append("fewer than three landmarks are drawn")
    return out


def small(plate: Drawn) -> list[str]:
    """Portions narrower than a fingertip at full size, which need the inset: better avoided."""
    mm = scale(plate.draft.width, plate.draft.height)
    found = [(key, finger(shape, mm)) for key, shape in plate.portions.items()]
    return [f"{key} {wide:.1f} mm" for key, wide in found if wide < FINGER]
