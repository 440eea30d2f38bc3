"""Whether a password that somebody has thought up will do: long enough, and not the first one that is guessed.

The shortest length and the list are common practice, from memory, no source. Not here: how passwords are kept
(accounts), nor those that the cabin makes itself.
"""

from __future__ import annotations

import string

SHORTEST, LONGEST = 10, 500

COMMON = frozenset(
    """
    password passwort password1 changeme letmein welcome admin administrator qwerty
    qwertyuiop qwertz qwertzuiop asdfghjkl asdfghjkl1 zxcvbnm iloveyou sunshine princess football baseball basketball
    superman batman dragon monkey master trustno1 starwars whatever computer internet 1q2w3e4r 1q2w3e4r5t 1qaz2wsx
    1qaz2wsx3edc q1w2e3r4 q1w2e3r4t5 abcdefghij abcd1234 a1b2c3d4e5 abc123 12345 123456 1234567 12345678 123456789
    1234567890 0123456789 0987654321 9876543210 987654321 12345678910 1234512345 123123 123123123 1212121212 112233
    1122334455 147258369 159753 hallo hello secret default guest test testing login bonedocket
    """.split()
)
"""The first ones anybody tries, without anything but letters and digits."""

_LOOKS_LIKE = str.maketrans("@0$31", "aosel")


def fault(password: str, name: str) -> str:
    """Why it will not do: "short", "long", "name" or "common"; "" if it will. `name`: of the person."""
    if len(password) < SHORTEST:
        return "short"
    if len(password) > LONGEST:
        return "long"
    plain, own = _plain(password.casefold()), _plain(name.casefold())
    # A year or an exclamation mark behind it makes none of them better, nor do signs that look like letters.
    bare = password.casefold().rstrip("0123456789" + string.punctuation)
    said = {_once(one) for one in (plain, _plain(bare), _plain(bare.translate(_LOOKS_LIKE))) if one}
    if own and own in said:
        return "name"
    return "common" if said & COMMON or len(set(plain)) < 4 else ""


def _plain(text: str) -> str:
    return "".join(one for one in text if one.isalnum())


def _once(text: str) -> str:
    """What was said twice, once."""
    half = text[: len(text) // 2]
    return half if half * 2 == text else text
