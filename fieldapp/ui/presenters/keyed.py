"""Text entered by big keys or a keyboard: a short code, a number, an address. Pure."""

from __future__ import annotations

from collections.abc import Callable


class Entry:
    """A line of text that grows and shrinks at its end.

    allowed  which characters it takes, after `upper` has been applied
    limit    how many
    """

    def __init__(self, allowed: str, limit: int, upper: bool = True, heard: Callable[[], None] | None = None) -> None:
        self.allowed = allowed
        self.limit = limit
        self.upper = upper
        self.text = ""
        self.heard = heard or (lambda: None)

    def press(self, characters: str) -> bool:
        """Adds characters; those it does not take are passed over. Whether anything was added."""
        before = self.text
        for one in characters.upper() if self.upper else characters:
            if one in self.allowed and len(self.text) < self.limit:
                self.text += one
        if self.text != before:
            self.heard()
        return self.text != before

    def rub(self) -> None:
        """Takes the last character away."""
        if self.text:
            self.text = self.text[:-1]
            self.heard()

    def clear(self) -> None:
        """Empties it."""
        self.text = ""
        self.heard()


DIGITS = "0123456789"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CROCKFORD = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
ADDRESS = "0123456789abcdefghijklmnopqrstuvwxyz.:-/[]"
NAME = LETTERS + DIGITS + " .-'"


def grouped_code(text: str) -> str:
    """An enrolment code as it is printed: SSSS-SSSS-FFFFFF."""
    return "-".join(part for part in (text[:4], text[4:8], text[8:14]) if part)
