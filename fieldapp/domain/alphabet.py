"""Where a word stands in a list that people read by the alphabet, in any language: ä beside a, capitals beside small.

For: lists without an order of their own. Not for: what has one (bones along the body, animals by their group, stages,
contexts and labels by number), nor what other programs read, which stands by its key.
"""

from __future__ import annotations

import unicodedata

_LETTERS = str.maketrans(
    {"æ": "ae", "œ": "oe", "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "\N{LATIN SMALL LETTER DOTLESS I}": "i"}
)
"""Letters that Unicode does not take apart into one of the alphabet and a mark."""


def bare(text: str) -> str:
    """Small letters without marks: "Große Wühlmäuse" is "grosse wuhlmause"."""
    parted = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in parted if not unicodedata.combining(one)).translate(_LETTERS)


def alphabetical(word: str) -> tuple[str, str]:
    """What words are sorted by. Of two that differ in marks or capitals alone, always the same one comes first."""
    return bare(word), word
