"""The carry-file as bytes: whole or refused, wherever it was cut or altered."""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import random
import struct
import tracemalloc
from dataclasses import replace

import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.records import carrying
from fieldapp.records.carrying import (
    CHUNK,
    LINE,
    CarryFault,
    CutShort,
    Damaged,
    Header,
    NewerFormat,
    NoCarryFile,
    NotSigned,
    Reader,
    Writer,
)
from fieldapp.records.signing import public_text

SIGN, OPEN = Ed25519PrivateKey.from_private_bytes(bytes(range(32))), X25519PrivateKey.from_private_bytes(b"k" * 32)
PUBLIC = base64.b64encode(OPEN.public_key().public_bytes_raw()).decode()
HEADER = Header("to_cabin", "file", "site", "TST26", "tablet", "cabin", "2026-06-01T10:00:00Z", public_text(SIGN))
SIGNED = carrying.signed_by_tablet(HEADER.signer)


def written(lines=(), blobs=(), header=HEADER, private=SIGN) -> bytes:
    file = io.BytesIO()
    writer = Writer(file, header, PUBLIC, carrying.tablets_sign(private))
    for line in lines:
        writer.line(**line)
    for line, data in blobs:
        writer.blob(line, len(data), io.BytesIO(data))
    writer.finish()
    return file.getvalue()


def read(data: bytes) -> list[tuple[dict, bytes | None]]:
    reader = Reader(io.BytesIO(data))
    reader.verify(OPEN, carrying.signed_by_tablet(reader.header.signer))
    return [(line, blob.read() if blob else None) for line, blob in reader.parts(OPEN)]


LINES = [{"what": "change", "id": "x", "body": "half \ud83d of a pair, and ½"}, {"what": "about", "n": 3}]
SMALL = written(LINES, [("photo", b"\x00\xff\n{}")])


def test_what_was_written_is_read_in_its_order():
    found = read(SMALL)
    assert [line for line, _ in found] == [*LINES, {"what": "photo", "size": 5}]
    assert found[-1][1] == b"\x00\xff\n{}"
    assert Reader(io.BytesIO(SMALL)).header == HEADER


def test_an_empty_file_and_files_about_the_size_of_a_chunk_come_through():
    noise = random.Random(1)
    assert read(written()) == []
    for size in (0, 1, CHUNK - 200, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK, 200_000):
        data = noise.randbytes(size)
        ((line, blob),) = read(written(blobs=[("photo", data)]))
        assert (line["size"], blob) == (size, data)


def test_a_file_cut_at_any_byte_is_noticed():
    for at in range(len(SMALL)):
        with pytest.raises(NoCarryFile if at == 0 else CutShort):
            read(SMALL[:at])


def test_a_file_with_any_byte_altered_is_noticed():
    for at in range(len(SMALL)):
        for flip in (0x01, 0x80, 0xFF):
            with pytest.raises(CarryFault):
                read(SMALL[:at] + bytes([SMALL[at] ^ flip]) + SMALL[at + 1 :])


def test_a_file_of_several_chunks_cut_between_them_or_with_chunks_moved_or_left_out_is_noticed():
    big = written(blobs=[("photo", random.Random(2).randbytes(4 * CHUNK))])
    frame = 4 + CHUNK + 16
    start = len(LINE) + 4 + struct.unpack(">I", big[len(LINE) : len(LINE) + 4])[0] + 32
    assert read(big)
    first, second = big[start : start + frame], big[start + frame : start + 2 * frame]
    rest = big[start + 2 * frame :]
    for other in (first + rest, second + first + rest, first + first + second + rest, first + second):
        with pytest.raises(CarryFault):
            read(big[:start] + other)
    # A chunk that calls itself the last, with the true signature behind it.
    told = struct.pack(">I", (1 << 31) | (CHUNK + 16)) + first[4:]
    with pytest.raises(Damaged):
        read(big[:start] + told + big[-66:])


def test_anything_behind_the_end_is_noticed():
    for more in (b"\x00", b"\n", SMALL):
        with pytest.raises(Damaged):
            read(SMALL + more)


@settings(max_examples=200)
@given(data=st.binary(max_size=400), at=st.integers(0, len(SMALL)), keep=st.booleans())
def test_any_bytes_are_refused_in_words_of_ours(data, at, keep):
    with pytest.raises(CarryFault):
        read(data)
    if keep and data != SMALL[at:]:
        with pytest.raises(CarryFault):
            read(SMALL[:at] + data)


def test_a_newer_format_is_called_so_and_other_files_are_none():
    with pytest.raises(NewerFormat) as fault:
        read(SMALL.replace(b"carry-file 1\n", b"carry-file 12\n", 1))
    assert fault.value.theirs == 12
    for other in (b"", b"PK\x03\x04" + bytes(100), b"bonedocket carry-file x\n", b"bonedocket carry-file 0\n"):
        with pytest.raises(NoCarryFile):
            read(other)


def test_a_file_signed_by_another_key_than_it_names_is_not_signed():
    with pytest.raises(NotSigned):
        read(written(LINES, private=Ed25519PrivateKey.generate()))


def test_the_outside_cannot_be_put_round_another_inside():
    """Somebody who can only write his own files makes one that says it is another's."""
    other = replace(HEADER, sender="another tablet")
    mine, theirs = written(LINES), written(LINES, header=other)
    end = len(mine) - len(theirs)
    size = len(LINE) + 4 + struct.unpack(">I", theirs[len(LINE) : len(LINE) + 4])[0] + 32
    with pytest.raises(Damaged):
        read(theirs[:size] + mine[size + end :])


def test_another_key_does_not_open_it():
    reader = Reader(io.BytesIO(SMALL))
    with pytest.raises(Damaged):
        reader.verify(X25519PrivateKey.generate(), SIGNED)


def test_two_files_of_the_same_lines_have_nothing_in_common_but_their_outside():
    other = written(LINES, [("photo", b"\x00\xff\n{}")])
    assert other[-200:] != SMALL[-200:]
    assert b"photo" not in SMALL


def test_a_line_that_is_too_long_or_no_line_is_damage():
    for inside in (
        b"x\n",
        b"[]\n",
        b'{"what":1}\n',
        b'{"what":"end","lines":1}\n',
        b'{"what":"end","lines":0}\nx',
        b"",
    ):
        with pytest.raises(Damaged):
            read(_around(gzip.compress(inside)))
    with pytest.raises(Damaged):
        read(_around(b"no gzip"))
    bomb = gzip.compress(b'{"what":"' + b"a" * 40_000_000)
    tracemalloc.start()
    with pytest.raises(Damaged):
        read(_around(bomb))
    assert tracemalloc.get_traced_memory()[1] < 80_000_000
    tracemalloc.stop()


def _around(inside: bytes) -> bytes:
    """A rightly sealed and signed file that holds any bytes: put together by the description, not by the writer."""
    once = X25519PrivateKey.from_private_bytes(b"o" * 32)
    ours, theirs = once.public_key().public_bytes_raw(), OPEN.public_key().public_bytes_raw()
    said = {name: getattr(HEADER, name) for name in Header.__slots__} | {"once": base64.b64encode(ours).decode()}
    text = json.dumps(said).encode()
    about = hashlib.sha256(text).digest()
    line = b"bonedocket carry-file 1\n"
    shared = once.exchange(X25519PublicKey.from_public_bytes(theirs))
    key = HKDF(hashes.SHA256(), 32, salt=ours + theirs, info=line).derive(shared)
    out = line + struct.pack(">I", len(text)) + text + about
    parts = [inside[at : at + 65_536] for at in range(0, len(inside), 65_536)] or [b""]
    for number, part in enumerate(parts):
        last = number == len(parts) - 1
        sealed = ChaCha20Poly1305(key).encrypt(number.to_bytes(11, "big") + bytes([last]), part, about)
        out += struct.pack(">I", len(sealed) | (last << 31)) + sealed
    signature = SIGN.sign(line + hashlib.sha256(out).digest())
    return out + struct.pack(">H", len(signature)) + signature


def test_a_file_made_by_the_description_alone_is_read_and_ours_is_read_by_it():
    """RFC 7748, 5869, 8439 and 8032 by the library; the order of the bytes is the module's own description."""
    inside = b'{"what":"a"}\n{"what":"b","size":3}\nxyz\n{"what":"end","lines":2}\n'
    assert read(_around(gzip.compress(inside))) == [({"what": "a"}, None), ({"what": "b", "size": 3}, b"xyz")]
    line, rest = SMALL[: len(LINE)], SMALL[len(LINE) :]
    size = struct.unpack(">I", rest[:4])[0]
    text, about, rest = rest[4 : 4 + size], rest[4 + size : 36 + size], rest[36 + size :]
    once = base64.b64decode(json.loads(text)["once"])
    shared = OPEN.exchange(X25519PublicKey.from_public_bytes(once))
    salt = once + OPEN.public_key().public_bytes_raw()
    key = HKDF(hashes.SHA256(), 32, salt=salt, info=b"bonedocket carry-file 1\n").derive(shared)
    told = struct.unpack(">I", rest[:4])[0]
    assert told >> 31 == 1
    length = told & 0x7FFFFFFF
    plain = ChaCha20Poly1305(key).decrypt(bytes(11) + b"\x01", rest[4 : 4 + length], about)
    assert json.loads(gzip.decompress(plain).split(b"\n")[0]) == LINES[0]
    signature = rest[6 + length :]
    assert len(signature) == struct.unpack(">H", rest[4 + length : 6 + length])[0] == 64
    before = SMALL[: -2 - len(signature)]
    Ed25519PublicKey.from_public_bytes(base64.b64decode(HEADER.signer)).verify(
        signature, line + hashlib.sha256(before).digest()
    )


def test_a_cabins_signature_holds_for_its_certificate_only(tmp_path):
    from server import keys

    for name in ("one", "other"):
        keys.make_certificate(tmp_path / f"{name}.crt", tmp_path / f"{name}.key")
    certificate, private = keys.certificate_and_key(tmp_path / "one.crt", tmp_path / "one.key")
    other, _ = keys.certificate_and_key(tmp_path / "other.crt", tmp_path / "other.key")
    signature = carrying.cabins_sign(private)(b"text")
    assert carrying.signed_by_cabin(certificate)(signature, b"text")
    assert not carrying.signed_by_cabin(certificate)(signature, b"texT")
    assert not carrying.signed_by_cabin(other)(signature, b"text")
    assert not carrying.signed_by_cabin(b"none")(signature, b"text")
    private.public_key().verify(signature, b"text", ec.ECDSA(hashes.SHA256()))


def test_a_large_picture_is_written_and_read_without_being_in_memory(tmp_path):
    picture, carried = tmp_path / "picture", tmp_path / "carried"
    picture.write_bytes(random.Random(3).randbytes(1_000_000) * 40)
    tracemalloc.start()
    with picture.open("rb") as data, carried.open("wb") as file:
        writer = Writer(file, HEADER, PUBLIC, carrying.tablets_sign(SIGN))
        writer.blob("photo", 40_000_000, data)
        writer.finish()
    digest = hashlib.sha256()
    with carried.open("rb") as file:
        reader = Reader(file)
        reader.verify(OPEN, SIGNED)
        for _, blob in reader.parts(OPEN):
            while part := blob.read(CHUNK):
                digest.update(part)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert digest.digest() == hashlib.sha256(picture.read_bytes()).digest()
    assert peak < 4_000_000


def test_a_key_is_spoken_in_ten_characters_that_differ_from_key_to_key():
    said = {carrying.spoken(public_text(Ed25519PrivateKey.generate())) for _ in range(50)}
    assert len(said) == 50
    assert all(len(one) == 11 and one[5] == "-" for one in said)
