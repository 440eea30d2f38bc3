"""The typed code and its proofs, against the standard library's scrypt, HMAC, SHA-256 and base 32 (RFC 4648)."""

from __future__ import annotations

import base64
import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records import enrolment

DER = b"a certificate, as far as this is concerned"
FULL = hashlib.sha256(DER).hexdigest()
RFC4648 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
SECRETS = st.binary(min_size=8, max_size=8).map(enrolment.secret_from)


def test_a_fingerprint_is_the_sha_256_of_the_certificate():
    assert enrolment.fingerprint(DER) == FULL
    assert enrolment.in_pairs(FULL).replace(":", "").lower() == FULL


@given(st.binary(min_size=32, max_size=32))
def test_the_short_fingerprint_is_the_first_thirty_bits_in_base_32(digest):
    expected = base64.b32encode(digest).decode()[:6].translate(str.maketrans(RFC4648, enrolment.ALPHABET))
    assert enrolment.short(digest.hex()) == expected


def test_the_alphabet_leaves_out_what_is_misread():
    # Crockford's base 32 (memory): digits and letters without I, L, O, U.
    assert len(set(enrolment.ALPHABET)) == 32
    assert not set("ILOU") & set(enrolment.ALPHABET)


@given(SECRETS)
def test_a_code_is_read_as_it_was_shown_however_it_is_typed(secret):
    shown = enrolment.code(secret, FULL)
    expected = (secret, enrolment.short(FULL))
    assert len(shown) == 16
    for typed in (shown, shown.lower(), shown.replace("-", " "), shown.replace("0", "O").replace("1", "l")):
        assert enrolment.parse(typed) == expected


@pytest.mark.parametrize(
    "typed", ["", "4K7M-92XD", "4K7M-92XD-AB3C5E-1", "4K7M-92XD-AB3C5U", "4K7M-92XD-AB3C5é", "?" * 14]
)
def test_what_is_no_code_is_refused(typed):
    with pytest.raises(enrolment.CodeError):
        enrolment.parse(typed)


@given(st.text(max_size=20))
def test_any_text_is_a_code_or_refused(typed):
    try:
        secret, short = enrolment.parse(typed)
    except enrolment.CodeError:
        return
    assert len(secret) == 8
    assert len(short) == 6


def test_the_key_is_scrypt_over_the_secret_salted_with_the_certificate():
    salt = b"bonedocket enrolment 1 " + bytes.fromhex(FULL)
    expected = hashlib.scrypt(b"4K7M92XD", salt=salt, n=2**14, r=8, p=1, dklen=32)
    assert enrolment.key("4K7M92XD", FULL) == expected
    assert enrolment.key("4K7M92XD", hashlib.sha256(b"other").hexdigest()) != expected


def test_proofs_are_hmacs_that_bind_every_part_and_their_side():
    shared = bytes(range(32))
    expected = hmac.new(shared, b"bonedocket\ntablet\nnotebook", hashlib.sha256).hexdigest()
    assert enrolment.tablets_proof(shared, "notebook") == expected
    parts = ["notebook", "token", "A", "site", "TST26", "key", "cabin"]
    proofs = {enrolment.cabins_proof(shared, *parts)}
    for at in range(len(parts)):
        proofs.add(enrolment.cabins_proof(shared, *parts[:at], "other", *parts[at + 1 :]))
    assert len(proofs) == 8
    assert expected not in proofs
