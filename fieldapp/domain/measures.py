"""Measurements of bones and teeth: what each is, what must be there for it, and between what limits it is plausible.

Millimetres. Not here: what is made of them (size, sex).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldapp.domain.cells import Tables
from fieldapp.domain.entries import Centre, Element, Portion, Taxon

NAMES: tuple[str, ...] = ()
"""The tables that are read here."""


@dataclass(frozen=True)
class Measures:
    """What is known of measurements."""


def read(
    tables: Tables,
    taxa: Mapping[str, Taxon],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
    portions: Mapping[str, tuple[Portion, ...]],
) -> Measures:
    """Measures from the tables named in NAMES. Raises TableFault."""
    return Measures()
