"""How many pieces of which bones lie on which skeleton: what a map of a context is filled with.

For: counting pieces onto the skeletons that are drawn. Not for: any figure of an analysis; a piece is a piece here,
whole or not, and nothing is paired or left out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field

from fieldapp.domain.knowledge import Knowledge

UNTOLD = frozenset({"unknown", "mammal"})
"""Animals told so widely that no skeleton stands for them."""

Piece = tuple[str | None, str | None, int]
"""Element, taxon and how many alike."""


def piece(element: object, taxon: object, count: object) -> Piece:
    """The piece of a docket from its values as written: what is no term is untold, and what is no number is one."""
    return (
        element if isinstance(element, str) else None,
        taxon if isinstance(taxon, str) else None,
        count if isinstance(count, int) and count > 0 else 1,
    )


@dataclass
class OnSkeletons:
    """`numbers`: {form: {element of its skeleton: pieces}}; `elsewhere`: pieces that no skeleton shows."""

    numbers: dict[str, Counter[str]] = field(default_factory=dict)
    elsewhere: int = 0


def on_skeletons(
    known: Knowledge, maps: Mapping[str, Collection[str]], form_of: Callable[[str], str], pieces: Iterable[Piece]
) -> OnSkeletons:
    """The pieces by skeleton. `maps`: {form: elements drawn}; `form_of` says whose skeleton stands for a form.

    A bone that is not drawn by itself is shown as what it lies under (a radial carpal as a carpal), one grown together
    of two as both.
    """
    found = OnSkeletons()
    for element, taxon, number in pieces:
        animal = known.taxa.get(taxon or "")
        if animal is None or animal.key in UNTOLD or element is None:
            found.elsewhere += number
            continue
        form = form_of(animal.form)
        shown = drawn_as(known, maps[form], element)
        for one in shown:
            found.numbers.setdefault(form, Counter())[one] += number
        if not shown:
            found.elsewhere += number
    found.numbers = {form: found.numbers[form] for form in maps if form in found.numbers}
    return found


def drawn_as(known: Knowledge, drawn: Collection[str], element: str) -> list[str]:
    """The bones of a drawn skeleton that an element is shown as: itself, what it lies under, or what it is grown of."""
    entry = known.elements.get(element)
    for one in (element, *(entry.broader if entry else ())):
        if one in drawn:
            return [one]
    parts = dict.fromkeys(part.part_element for part in known.element_parts if part.element == element)
    return [part for part in parts if part in drawn]
