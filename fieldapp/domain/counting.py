"""Counting bone: pieces, specimens (NSP), identified specimens (NISP) and weight.

For: the plain sums, each with its definition, over lots as they lie on the table. The sums that stand on sheets and
pages are these and no others. Not for: minimum numbers, or choosing which of several readings counts (the caller's).

Adopted here (common practice, no source, where nothing else is said):

- *Pieces*: everything that lies there, bone or not, as it was counted; a lot without a usable count is one piece.
- *NSP*: pieces of bone, tooth, antler and horn core, identified or not. Pieces that fit together are one specimen.
- *NISP*: those of the NSP whose element and animal are both named; the animal as a species, a pair such as sheep/goat,
  a genus or a family. Size classes and wider groups name no animal, fragments of no known bone no element.
- Two lots that are said to be one and the same bone are counted once, with what the first of them says.
- *Weight*: the sum of what was weighed; None, and not nought, where nothing was.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum

from fieldapp.domain.knowledge import Knowledge

NOT_BONE = frozenset({"shell", "eggshell", "not_bone"})
"""Materials that are no specimens of bone. What was not recorded, or is unsure, lies with the bone and counts."""

NAMED = frozenset({"species", "pair", "family"})
"""Kinds of taxa that name an animal."""


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces alike under one docket, or one line of a tally.

    bone    a word that lots share which are said to be one and the same bone; "" for a bone of its own
    fitted  a word that lots share whose pieces fit together; "" for pieces that fit nothing
    """

    count: int = 1
    weight_g: float | None = None
    material: str | None = None
    element: str | None = None
    taxon: str | None = None
    bone: str = ""
    fitted: str = ""


def usable(count: object) -> bool:
    """Whether a count can be counted with. No docket stands for a thousand million pieces."""
    return type(count) is int and 0 < count < 10**9


def is_specimen(lot: Lot) -> bool:
    """Whether it is of bone, tooth, antler or horn core."""
    return lot.material not in NOT_BONE


def is_identified(lot: Lot, knowledge: Knowledge) -> bool:
    """Whether its element and its animal are both named."""
    element, taxon = knowledge.elements.get(lot.element or ""), knowledge.taxa.get(lot.taxon or "")
    if element is None or taxon is None or not is_specimen(lot):
        return False
    return element.kind != "indeterminate" and taxon.kind in NAMED


def pieces(lots: Iterable[Lot]) -> int:
    """How many pieces lie there."""
    return sum(lot.count for lot in once(lots))


def specimens(lots: Iterable[Lot]) -> int:
    """How many specimens these lots are: their pieces, with those that fit together as one."""
    here = once(lots)
    together = Counter(lot.fitted for lot in here if lot.fitted)
    return sum(lot.count for lot in here) - sum(n - 1 for n in together.values())


def nsp(lots: Iterable[Lot]) -> int:
    """The number of specimens, identified or not."""
    return specimens(lot for lot in once(lots) if is_specimen(lot))


def nisp(lots: Iterable[Lot], knowledge: Knowledge) -> dict[str, int]:
    """{taxon: number of identified specimens}, in the order of the table of taxa. Taxa are never added up by this:
    sheep, goat and sheep/goat stand beside each other."""
    found: dict[str, list[Lot]] = {}
    for lot in once(lots):
        if is_identified(lot, knowledge):
            found.setdefault(lot.taxon or "", []).append(lot)
    return {taxon: specimens(found[taxon]) for taxon in knowledge.taxa if taxon in found}


def weight(lots: Iterable[Lot]) -> float | None:
    """Grams of what was weighed; None if nothing was."""
    known = [lot.weight_g for lot in once(lots) if lot.weight_g is not None]
    return fsum(known) if known else None


def once(lots: Iterable[Lot]) -> list[Lot]:
    """The lots without those that are said to be a bone which is there already."""
    seen: set[str] = set()
    kept = []
    for lot in lots:
        if lot.bone in seen:
            continue
        if lot.bone:
            seen.add(lot.bone)
        kept.append(lot)
    return kept
