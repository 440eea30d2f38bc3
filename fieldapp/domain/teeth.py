"""Teeth: which an animal has, when they come through, and the schemes by which wear is written down.

Ages in months. Not here: bones, and what is made of the ages.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldapp.domain.cells import Tables
from fieldapp.domain.entries import Element, Taxon

NAMES: tuple[str, ...] = ()
"""The tables that are read here."""


@dataclass(frozen=True)
class Teeth:
    """What is known of teeth."""


def read(tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Teeth:
    """Teeth from the tables named in NAMES. Raises TableFault."""
    return Teeth()
