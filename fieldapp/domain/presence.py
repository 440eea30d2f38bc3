"""Where and when an animal is to be expected. A site can change it for itself.

Years are whole numbers, negative before the common era. Not here: what a rule says about it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldapp.domain.cells import Tables
from fieldapp.domain.entries import Taxon

NAMES: tuple[str, ...] = ()
"""The tables that are read here."""


@dataclass(frozen=True)
class Presence:
    """What is known of where and when animals lived."""


def read(tables: Tables, taxa: Mapping[str, Taxon]) -> Presence:
    """Presence from the tables named in NAMES. Raises TableFault."""
    return Presence()
