"""A word too long for its box is parted by a hyphen, and only as a last resort."""

from __future__ import annotations

import pytest

LONG = ("hyomandibular", "supracleithrum", "branchiostegal ray", "basipterygium", "naviculocuboid")


@pytest.mark.parametrize("name", LONG)
def test_a_long_word_is_parted_so_that_it_can_be_read(name: str) -> None:
    from fieldapp.ui.widgets.type import extent, set_type

    em_mm = 2.6
    one = set_type(name, 10_000, 1000, em_mm)
    assert one.lines == (name,)
    narrow = 0.8 * extent(max(name.split(), key=len), one.em, False)[0]
    found = set_type(name, narrow, 1000, em_mm, least_mm=em_mm)
    assert found.fits
    assert len(found.lines) > 1
    assert "".join(found.lines).replace("-", "").replace(" ", "") == name.replace(" ", "")
    assert all(line.endswith("-") for line in found.lines if line != found.lines[-1] and " " not in name)


def test_short_words_and_words_that_cannot_be_parted_stay_as_they_are() -> None:
    from fieldapp.ui.widgets.type import set_type

    assert set_type("left tibia", 10_000, 1000, 2.6).lines == ("left tibia",)
    whole = set_type("xxxxxxxxxxxx", 10, 1000, 2.6)
    assert not whole.fits
    assert whole.lines == ("xxxxxxxxxxxx",)


def test_a_fingerprint_is_parted_between_its_pairs_and_gets_no_hyphen() -> None:
    from fieldapp.ui.widgets.type import extent, set_type

    print_ = ":".join(["AB", "09"] * 16)
    em_mm = 2.6
    one = set_type(print_, 10_000, 1000, em_mm)
    assert one.lines == (print_,)
    found = set_type(
        f"Known:\n{print_}\nCompare it.", 0.4 * extent(print_, one.em, False)[0], 1000, em_mm, least_mm=em_mm
    )
    assert found.fits
    first, *lines, last = found.lines
    assert (first, "".join(lines), last) == ("Known:", print_, "Compare it.")
    assert all(line.endswith(":") for line in lines[:-1])


def test_an_address_and_a_time_stay_whole() -> None:
    from fieldapp.ui.widgets.type import set_type

    for whole in ("192.168.20.5:8443", "2026-06-01T10:10:00+02:00"):
        assert set_type(whole, 10, 1000, 2.6, least_mm=2.6).lines == (whole,)
