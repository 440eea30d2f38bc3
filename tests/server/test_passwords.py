"""Passwords people think up. What is refused is common practice, from memory, no source."""

from __future__ import annotations

import pytest

from server.ledger import passwords


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("", "short"),
        ("nine char", "short"),
        ("x" * 501, "long"),
        ("Bryony Vetch", "name"),
        ("bryonyvetch", "name"),
        ("Bryony-Vetch-2026!", "name"),
        ("bryonyvetchbryonyvetch", "name"),
        ("password123", "common"),
        ("Password2026!", "common"),
        ("passwordpassword", "common"),
        ("P@ssw0rd2026", "common"),
        ("1234567890", "common"),
        ("qwertyuiop", "common"),
        ("administrator", "common"),
        ("aaaaaaaaaaaa", "common"),
        ("ababababab12", ""),
        ("ten chars!", ""),
        ("the third spoil heap leans", ""),
        ("Bryony Vetch digs at noon", ""),
        ("عظام في الخندق", ""),
    ],
)
def test_a_password_is_long_enough_and_not_the_first_that_is_guessed(password: str, why: str) -> None:
    assert passwords.fault(password, "Bryony Vetch") == why


def test_a_person_without_a_name_in_letters_is_not_in_the_way() -> None:
    assert passwords.fault("the third spoil heap leans", "-") == ""
