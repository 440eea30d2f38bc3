"""Field labels: `HLG26 B417-K`. Unique without a network, and a misread character shows.

Site code, tablet letter, running number, check character after ISO 7064 MOD 37,36 over the rest without the space.
Handing numbers out, and never twice, is the notebook's work.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LABEL = re.compile(r"\s*([A-Z0-9]{2,10})\s+([A-Z]{1,2})\s*([0-9]{1,7})\s*-?\s*([A-Z0-9])\s*", re.IGNORECASE | re.ASCII)

_NEXT = [{one: ((carry + value) % 36 or 36) * 2 % 37 for value, one in enumerate(ALPHABET)} for carry in range(37)]
"""[carry]{character: next carry}: the standard's step. Every docket's label is checked again and again."""


class LabelError(ValueError):
    """A text that is no label, or whose check character does not fit. `reason` is "shape" or "check"."""

    def __init__(self, text: str, reason: str) -> None:
        super().__init__(f"{text!r}: {reason}")
        self.text = text
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Label:
    """A label's parts. `str` gives the printed form."""

    site: str
    letter: str
    number: int

    def __str__(self) -> str:
        return f"{self.site} {self.letter}{self.number}-{check_character(self.site + self.letter + str(self.number))}"


def check_character(text: str) -> str:
    """The ISO 7064 MOD 37,36 check character of `text` (digits and A-Z). Raises LabelError on other characters."""
    carry = 36
    try:
        for one in text.upper():
            carry = _NEXT[carry][one]
    except KeyError:
        raise LabelError(text, "shape") from None
    return ALPHABET[(37 - carry) % 36]


def letter_in(text: str) -> str:
    """The tablet's letter of what has a label's shape, whatever its check character; else ""."""
    match = _LABEL.fullmatch(text)
    return match[2].upper() if match else ""


def read(text: str) -> Label:
    """The label in `text`, however spaced or cased. Raises LabelError."""
    match = _LABEL.fullmatch(text)
    if match is None:
        raise LabelError(text, "shape")
    site, letter, digits, check = [part.upper() for part in match.groups()]
    number = int(digits)
    if check_character(f"{site}{letter}{number}") != check:
        raise LabelError(text, "check")
    return Label(site, letter, number)
