"""Ends and stretches of a bone as many tables name them, in our centres and portions. Pure.

A long bone is often recorded by fifths of its length (near end, near shaft, middle, far shaft, far end); ours is parted
into steps of its own. A stretch is laid over the portions of the steps that it covers; whether it covers over half of
them nobody can tell from the stretch alone, so the map says it. Not here: what an analyst meant by a word (maps).
"""

from __future__ import annotations

from collections.abc import Mapping

from fieldapp.domain.knowledge import Knowledge

SPANS = ("proximal_end", "proximal_shaft", "mid_shaft", "distal_shaft", "distal_end")
_ALSO = frozenset({"phalanx_1", "phalanx_2", "metapodial"})
"""Bones of the foot that are built like long bones, whatever their kind."""


def spans(element: str, taxon: str | None, knowledge: Knowledge) -> dict[str, list[str]]:
    """{stretch: our portions in it}; {} of a bone that is no long one. The ends are the first and the last step, with
    the epiphyses beside them."""
    row = knowledge.elements.get(element)
    if row is None or not (row.kind == "long_bone" or element in _ALSO):
        return {}
    own = knowledge.portions_of(element, taxon)
    last = max((portion.step for portion in own), default=0)
    found: dict[str, list[str]] = {span: [] for span in SPANS}
    for portion in own:
        if portion.step in (1, last) or portion.kind == "epiphysis":
            where = ["proximal_end" if portion.step * 2 <= last else "distal_end"]
        else:
            where = [span for span, at in (("proximal_shaft", 2), ("distal_shaft", last - 1)) if portion.step == at]
            # A bone of few steps has no portion for the middle alone.
            where = [*where, "mid_shaft"] if not where or last <= 4 else where
        for span in where:
            found[span].append(portion.key)
    return found if own else {}


def centre_at(end: str, element: str, taxon: str | None, knowledge: Knowledge, called: Mapping[str, str]) -> str | None:
    """The fusion centre that stands for an end, None where the bone has none. `called`: {element: centre} by a map."""
    own = {one.key for one in knowledge.centres_of(element, taxon)}
    wanted = called.get(element, end)
    return wanted if wanted in own else None
