"""A site's own standards of size, as they are typed or pasted from a table, and as the page shows them.

For: lines of animal, bone, measurement and millimetres to values at `standard/<id>` of the site's record. Not for: what
is compared with them (fieldapp.domain.assemblage.sizes), or who may set them.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from typing import Any

from fieldapp.domain.assemblage.size_tables import own_standards
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import Record

MOST = 500
LARGEST_MM = 10_000
_FIGURE = re.compile(r"[0-9]{1,5}([.,][0-9]{1,6})?")


class LineFault(ValueError):
    """A line that cannot be used. `line`: its number; `what`: "cells", "taxon", "element", "code", "mm" or "twice";
    "none" and "many" are of all of them."""

    def __init__(self, line: int, what: str) -> None:
        super().__init__(what)
        self.line, self.what = line, what


def read(
    site: str, name: str, source: str, text: str, knowledge: Knowledge, texts: Mapping[str, str]
) -> dict[str, dict[str, Any]]:
    """{path: value} of a standard. The same animal, bone and measurement has the same path each time, so that a list
    that is sent twice makes nothing a second time. Raises LineFault."""
    found: dict[str, dict[str, Any]] = {}
    for at, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        value = {"name": name, "source": source, "order": at, **_line(at, line, knowledge, texts)}
        words = "/".join(str(value.get(key) or "") for key in ("name", "taxon", "element", "position", "code"))
        path = f"standard/{uuid.uuid5(uuid.UUID(site), f'standard/{words}')}"
        if path in found:
            raise LineFault(at, "twice")
        found[path] = value
    if not found:
        raise LineFault(0, "none")
    if len(found) > MOST:
        raise LineFault(0, "many")
    return found


def _line(at: int, line: str, knowledge: Knowledge, texts: Mapping[str, str]) -> dict[str, Any]:
    """Animal, bone, measurement, millimetres and, of a foot with several, the ray; a tab, semicolon or comma between.
    A comma in a figure is a point where something else parts the cells."""
    cells = [one.strip() for one in re.split(r"[;\t]" if re.search(r"[;\t]", line) else ",", line)]
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) not in (4, 5):
        raise LineFault(at, "cells")
    taxon = _known("taxon", cells[0], knowledge.taxa, texts)
    element = _known("element", cells[1], knowledge.elements, texts)
    position = cells[4] if len(cells) == 5 else ""
    if not taxon or not element:
        raise LineFault(at, "element" if taxon else "taxon")
    row = knowledge.measures.one(element, cells[2], taxon, position or None)
    if row is None or row.position != position:
        raise LineFault(at, "code")
    mm = float(cells[3].replace(",", ".")) if _FIGURE.fullmatch(cells[3]) else 0.0
    if not 0 < mm < LARGEST_MM:
        raise LineFault(at, "mm")
    value = {"taxon": taxon, "element": element, "code": cells[2], "mm": mm}
    return {**value, "position": position} if position else value


def _known(of: str, word: str, among: Mapping[str, Any], texts: Mapping[str, str]) -> str:
    """The key that a word is, or that is called so; "" if there is none."""
    if word in among:
        return word
    return next((key for key in among if texts.get(f"{of}.{key}", "").casefold() == word.casefold()), "")


def of(site: Record) -> dict[str, Mapping[str, Any]]:
    """{path: value} of the standards that a site's record holds, those of an odd shape too."""
    found = site.items("standard")
    return {f"standard/{key}": one if isinstance(one, Mapping) else {} for key, one in found.items()}


def shown(site: Record) -> list[tuple[str, str, list[tuple[str, str, str, str, str]]]]:
    """(name, sources, lines of animal, bone, ray, measurement and figure) of each standard."""
    told: dict[str, list[Any]] = {}
    for one in own_standards({f"standard/{key}": value for key, value in site.items("standard").items()}):
        told.setdefault(one.name, []).append(one)
    return [
        (
            name,
            "; ".join(dict.fromkeys(one.source for one in those)),
            [(one.taxon, one.element, one.position, one.code, f"{one.mm:g}") for one in those],
        )
        for name, those in told.items()
    ]
