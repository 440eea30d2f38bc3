"""The text in a QR code for enrolment, there and back, and what is none."""

from __future__ import annotations

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records import enrolment

CODE = "4K7M-92XD-AB3C5E"


def test_it_reads_as_it_is_described():
    text = enrolment.qr_text(["192.168.20.5:8443/HLG26", "[fe80::1]:8443"], CODE)
    assert text == "bonedocket:enrol?at=192.168.20.5:8443/HLG26&at=[fe80::1]:8443&code=4K7M-92XD-AB3C5E"
    assert enrolment.parse_qr(f" {text}\n") == (("192.168.20.5:8443/HLG26", "[fe80::1]:8443"), CODE)


@given(st.lists(st.text(min_size=1, max_size=30).filter(lambda one: one == one.strip()), min_size=1, max_size=4))
def test_any_addresses_come_back_as_they_were(addresses):
    try:
        text = enrolment.qr_text(addresses, CODE)
        text.encode()
    except UnicodeEncodeError:
        return  # half of a character pair: no address
    if len(text) <= enrolment.LONGEST_QR:
        assert enrolment.parse_qr(text) == (tuple(addresses), CODE)


@pytest.mark.parametrize(
    "text",
    [
        "", "https://example.org/", "bonedocket:enrol?", "bonedocket:enrol?at=a", f"bonedocket:enrol?code={CODE}",
        "bonedocket:enrol?at=a&code=XYZ", f"bonedocket:enrol?at=a&code={CODE}&code={CODE}", f"WIFI:at=a&code={CODE}",
        "bonedocket:enrol?at=" + "a" * 2000 + f"&code={CODE}", "bonedocket:enrol?" + "at=a&" * 100 + f"code={CODE}",
    ],
)  # fmt: skip
def test_what_is_no_such_text_is_refused(text):
    with pytest.raises(enrolment.CodeError):
        enrolment.parse_qr(text)


def test_what_a_later_version_adds_is_passed_over():
    assert enrolment.parse_qr(f"bonedocket:enrol?at=a&photo=yes&code={CODE}") == (("a",), CODE)


def test_another_library_reads_from_the_drawn_code_what_was_written(tmp_path):
    """zbar is the outside here: it knows nothing of how segno draws."""
    from PIL import Image
    from pyzbar import pyzbar as zbar

    text = enrolment.qr_text(["192.168.20.5:8443/HLG26", "10.0.0.5:8443/HLG26"], CODE)
    segno.make(text, error="m", micro=False).save(str(tmp_path / "qr.png"), scale=6)
    with Image.open(tmp_path / "qr.png") as drawn:
        (found,) = zbar.decode(drawn.convert("L"))
    assert found.data.decode() == text
