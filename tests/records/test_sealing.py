"""What is sealed to the cabin opens there and nowhere else."""

from __future__ import annotations

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records.sealing import CannotOpen, seal, unseal

CABIN = X25519PrivateKey.generate()
PUBLIC = base64.b64encode(CABIN.public_key().public_bytes_raw()).decode()


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_the_cabin_reads_what_was_sealed_to_it(text):
    assert unseal(seal(text, PUBLIC, "hold-1"), CABIN, "hold-1") == text


def test_nobody_else_opens_it_and_it_cannot_be_moved_to_another_record():
    sealed = seal("4 m east of peg 12", PUBLIC, "hold-1")
    with pytest.raises(CannotOpen):
        unseal(sealed, X25519PrivateKey.generate(), "hold-1")
    with pytest.raises(CannotOpen):
        unseal(sealed, CABIN, "hold-2")


@given(st.binary(max_size=80))
def test_damage_is_noticed(noise):
    with pytest.raises(CannotOpen):
        unseal(base64.b64encode(noise).decode(), CABIN, "hold-1")
    with pytest.raises(CannotOpen):
        unseal("no base64 at all!", CABIN, "hold-1")


def test_the_same_text_is_sealed_differently_each_time():
    assert seal("here", PUBLIC, "h") != seal("here", PUBLIC, "h")
