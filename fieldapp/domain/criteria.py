"""Published signs that tell human from other bone, and which bones of which animals to hold a human one against.

For: the table `human_criteria` and the comparison of human with animal plates. Not for: the answer. A weak sign never
adds up, no sign here clears a bone, and who may settle the question is said elsewhere (domain.human, records.standing).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldapp.domain.cells import Cells, Tables, by_key, cells_of
from fieldapp.domain.entries import Element
from fieldapp.domain.gallery import Gallery, PlateRow

NAMES = ("human_criteria", "human_circumstances", "child_lengths")
ANIMALS = ("ruminant", "pig", "carnivore", "equid", "lagomorph", "bird")
"""The forms a human bone is held against, those first that lie on most sites."""
AT_ONCE = 3
POINTS = ("human", "non_human", "none")
STRENGTHS = ("strong", "moderate", "weak")
JUDGES = ("digger", "specialist", "laboratory")


@dataclass(frozen=True)
class Criterion:
    """One question to ask of a bone.

    elements       the elements it is asked of, () for any fragment;  on  the bone or tissue in the source's words
    points_to      what a yes points to: human, non_human, or none (it says nothing either way)
    strength       strong, moderate or weak;  judge  who can answer it: digger, specialist or laboratory
    raises         what a yes alone raises to: stop, cannot_tell, or "" for nothing (see domain.aid)
    complete       a yes can only be given of a complete end or a whole feature
    confused_with  animals that show the same;  pitfall  how it misleads
    """

    key: str
    elements: tuple[str, ...]
    on: str
    question: str
    points_to: str
    strength: str
    judge: str
    raises: str
    complete: bool
    confused_with: str
    pitfall: str
    source: str
    seen: str


@dataclass(frozen=True)
class Beside:
    """A human bone beside up to three animals': their plates, and the signs in words, the strongest first."""

    element: str
    human: PlateRow
    animals: tuple[PlateRow, ...]
    criteria: tuple[Criterion, ...]


def read(tables: Tables, elements: Mapping[str, Element]) -> dict[str, Criterion]:
    """{key: criterion}. Raises TableFault."""

    def make(cells: Cells) -> Criterion:
        named = cells.several("elements")
        for one in named:
            if one not in elements:
                raise cells.fault(f"`elements` names {one!r}, which is not in its table")
        return Criterion(
            key=cells.key(),
            elements=named,
            on=cells.key("on"),
            question=cells.text("question"),
            points_to=cells.one_of("points_to", *POINTS),
            strength=cells.one_of("strength", *STRENGTHS),
            judge=cells.one_of("judge", *JUDGES),
            raises=cells.one_of("raises", "stop", "cannot_tell", ""),
            complete=cells.yes("complete"),
            confused_with=cells.text("confused_with"),
            pitfall=cells.text("pitfall"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    return by_key("human_criteria", tables, make)


@dataclass(frozen=True)
class Circumstance:
    """What lies round a bone, or what has become of it, and what that alone raises to: stop or cannot_tell.

    words  parts of the names by which a kind of context tells it, () for one that is no kind of context
    """

    key: str
    words: tuple[str, ...]
    raises: str
    name: str
    source: str
    seen: str


def read_circumstances(tables: Tables) -> dict[str, Circumstance]:
    """{key: circumstance}. Raises TableFault."""

    def make(cells: Cells) -> Circumstance:
        return Circumstance(
            key=cells.key(),
            words=cells.several("words"),
            raises=cells.one_of("raises", "stop", "cannot_tell"),
            name=cells.text("name"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    return by_key("human_circumstances", tables, make)


def read_child_lengths(tables: Tables, elements: Mapping[str, Element]) -> dict[str, tuple[float, float]]:
    """{element: (shortest, longest)} in mm of a human bone from birth to full growth. Raises TableFault."""
    found = {}
    for cells in cells_of("child_lengths", tables):
        low, high = cells.number("from_mm"), cells.number("to_mm")
        if cells.key("element") not in elements or low is None or high is None or low >= high:
            raise cells.fault("an element of its table, and two lengths, the shorter first, are wanted")
        found[cells.key("element")] = (low, high)
    return found


def of_element(criteria: Mapping[str, Criterion], element: str) -> tuple[Criterion, ...]:
    """The signs asked of an element: strong ones first, those that point nowhere last."""
    found = [one for one in criteria.values() if element in one.elements]
    return tuple(sorted(found, key=lambda one: (one.points_to == "none", STRENGTHS.index(one.strength))))


def beside_human(gallery: Gallery, criteria: Mapping[str, Criterion], element: str, first: str = "") -> Beside | None:
    """The human bone beside up to three animals', the form `first` before others; None if no human one is drawn.

    Of each the view that the human plate has, or its first one.
    """
    human = gallery.plates.get(("human", element))
    if not human:
        return None
    animals = []
    for form in dict.fromkeys((first, *ANIMALS)):
        views = gallery.plates.get((form, element), ()) if form != "human" else ()
        if views:
            animals.append(next((row for row in views if row.view == human[0].view), views[0]))
    return Beside(element, human[0], tuple(animals[:AT_ONCE]), of_element(criteria, element))
