"""Short codes for typing in the lab, a site's own and the trade's: which slots of a reading they answer, and how.

A code stands in the site's record at `short/<code>` as {"slot", "key"}. Not here: how a line is read (the lab).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from fieldapp.domain.cells import Tables, cells_of
from fieldapp.domain.knowledge import Knowledge

SLOTS: Mapping[str, str] = {
    "element": "",
    "side": "side",
    "taxon": "",
    "burning": "burning",
    "sex": "sex",
    "age": "age_class",
    "material": "material",
}
"""{slot: the list its words come from, "" for the tables of elements and taxa}, in the order they are looked for."""

NAMES = ("short_words",)
"""The table that is read here: what the trade writes short, or calls otherwise than the tables do."""


def read(tables: Tables, taxa: Collection[str], elements: Collection[str]) -> dict[str, tuple[str, str]]:
    """{what the trade writes: (slot, word)}; a site's own code goes before it. Raises TableFault."""
    found: dict[str, tuple[str, str]] = {}
    for cells in cells_of("short_words", tables):
        word, slot = cells.text("word"), cells.one_of("slot", "element", "taxon")
        if not word or word != word.lower() or word in found:
            raise cells.fault(f"`word` is {word!r}: it has to be small letters, and stand here once")
        found[word] = slot, cells.known("key", elements if slot == "element" else taxa)
    return found


def words_of(slot: str, know: Knowledge) -> tuple[str, ...]:
    """Every word that a slot can be answered with; none for a slot that takes no code."""
    if slot in ("element", "taxon"):
        return tuple(know.elements if slot == "element" else know.taxa)
    of = SLOTS.get(slot)
    return tuple(one.key for one in know.glossary if one.of == of) if of else ()


def meaning(value: Any, know: Knowledge) -> tuple[str, str] | None:
    """(slot, word) that a code of a site's record stands for; None for one that this version does not know."""
    if not isinstance(value, Mapping):
        return None
    slot, key = value.get("slot"), value.get("key")
    if not isinstance(slot, str) or not isinstance(key, str) or key not in words_of(slot, know):
        return None
    return slot, key
