"""Words in a table as CSV that no spreadsheet takes for a formula. Pure.

For: every table that the cabin writes of words that came from somebody else. Not for: which cells there are, or
figures, which stay as they are.
"""

from __future__ import annotations

import re

_BEGINS = re.compile(r"^(?=[\t\r])|(?:^|(?<=[;\t\r\n]))(?=\s*[=+\-@＝＋－＠])")  # noqa: RUF001
"""Where a formula could begin: in front, and where a program that parts cells by something else than a comma, as those
of many countries do, begins another cell. The wide signs are the same signs to some."""


def plain(word: str) -> str:
    """The word with an apostrophe wherever a formula could begin."""
    return _BEGINS.sub("'", word)
