"""The form of a journal's line."""

from __future__ import annotations

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.store.lines import BadLine, Entry, decode, encode, pieces

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
entries = st.builds(Entry, st.from_regex(r"[a-z_]{1,32}", fullmatch=True).filter(lambda kind: kind != "batch"), texts)


@given(st.lists(entries, min_size=1, max_size=4))
def test_what_is_written_is_read_back_from_one_line(written):
    line = encode(written)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    assert decode(line[:-1]) == written


def test_a_line_is_the_checksum_the_kind_and_the_payload():
    # CRC-32 as in zlib, gzip and PNG: the published check value of "123456789" is cbf43926.
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert encode([Entry("draft", '{"x":1}')]) == b'%08x draft {"x":1}\n' % zlib.crc32(b'draft {"x":1}')


@given(st.lists(entries, min_size=1, max_size=3), st.data())
def test_any_altered_byte_is_noticed(written, data):
    raw = bytearray(encode(written)[:-1])
    at = data.draw(st.integers(0, len(raw) - 1))
    raw[at] ^= data.draw(st.integers(1, 255))
    with pytest.raises(BadLine):
        decode(bytes(raw))


@given(st.lists(entries, min_size=1, max_size=3), st.data())
def test_any_shortened_line_is_noticed(written, data):
    raw = encode(written)[:-1]
    with pytest.raises(BadLine):
        decode(raw[: data.draw(st.integers(0, len(raw) - 1))])


@pytest.mark.parametrize("kind", ["", "Draft", "two words", "batch", "a" * 33, "zu\n"])
def test_a_kind_that_is_no_word_is_not_written(kind):
    with pytest.raises(ValueError, match="kind"):
        encode([Entry(kind, "x")])


def test_a_text_that_no_file_can_hold_is_refused_before_anything_is_written():
    with pytest.raises(ValueError, match="surrogates"):
        encode([Entry("draft", "\ud800")])


@pytest.mark.parametrize("payload", ["1", "[]", '[["draft"]]', '[["batch","x"]]', '[["Bad","x"]]', "[[1,2]]", "["])
def test_a_list_that_holds_no_entries_is_no_line(payload):
    content = f"batch {payload}".encode()
    with pytest.raises(BadLine):
        decode(b"%08x %b" % (zlib.crc32(content), content))


def test_pieces_know_their_number_and_place():
    one, two, rest = pieces(b"ab\ncd\nef", offset=100, number=7)
    assert (one.number, one.offset, one.raw, one.ended, one.end) == (7, 100, b"ab", True, 103)
    assert (two.number, two.offset, two.raw, two.ended) == (8, 103, b"cd", True)
    assert (rest.number, rest.offset, rest.raw, rest.ended, rest.end) == (9, 106, b"ef", False, 108)
