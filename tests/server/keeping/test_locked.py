"""A backup under a passphrase opens with it and with nothing else, and no piece of it can be moved."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.errors import BackupDamaged, NeedsPassphrase, NoPassphrase, WrongPassphrase
from server.keeping.locked import PIECE, TAG, Locking, Opened, passphrase_in
from server.keeping.pictures import PictureFolder
from tests.server.keeping.conftest import contents, restored
from tests.server.keeping.test_backup import LINES
from tests.server.keeping.test_verify import quicker

WORDS = b"invented words of nobody"
HEAD = 8 + 16 + 7 + 16


def locked(data: bytes) -> bytes:
    file = io.BytesIO()
    locking = Locking(file, WORDS)
    for start in range(0, len(data), 50_001):
        locking.write(data[start : start + 50_001])
    locking.finish()
    return file.getvalue()


@pytest.fixture(scope="module")
def three() -> tuple[bytes, bytes]:
    """Plain bytes of three pieces and a bit, and the same locked."""
    plain = bytes(range(256)) * (PIECE // 256) * 3 + b"a bit"
    return plain, locked(plain)


def test_with_the_words_it_goes_back_and_without_them_it_does_not(cabin, tablet, tmp_path, opened):
    path = tmp_path / "b.zip"
    back_up(cabin.config, cabin.ledger, path, pictures=PictureFolder(cabin.config.data), passphrase=WORDS)
    config = replace(cabin.config, data=tmp_path / "again")
    with pytest.raises(NeedsPassphrase):
        restored(path, config)
    with pytest.raises(WrongPassphrase):
        restored(path, config, WORDS + b"x")
    assert not config.data.exists()
    assert not zipfile.is_zipfile(path)
    data = path.read_bytes()
    for secret in (cabin.config.seal_key.read_bytes().strip(), b"TST26", b"tables/change", b"B. Bone"):
        assert secret not in data
    restored(path, config, WORDS)
    lasting = ("meta", "event", "problem", *LINES)
    assert contents(opened(config), *lasting) == contents(cabin.ledger, *lasting)


@pytest.mark.parametrize("length", [0, 1, PIECE - 1, PIECE, PIECE + 1, 2 * PIECE, 2 * PIECE + 7])
def test_what_goes_in_comes_out_from_any_place(length):
    data = (b"invented " * (length // 9 + 1))[:length]
    opened = io.BufferedReader(Opened(io.BytesIO(locked(data)), WORDS), 1000)
    assert opened.read() == data
    for at in {0, length // 2, max(0, length - 3), length}:
        opened.seek(at)
        assert opened.read() == data[at:]


def test_another_program_can_open_it_by_what_the_module_says(three):
    # Against the library's own primitives, put together here by the description at the head of the module.
    plain, file = three
    made = Scrypt(salt=file[8:24], length=48, n=2**16, r=8, p=1).derive(WORDS)
    assert made[32:] == file[31:HEAD]
    found, rest, number = b"", file[HEAD:], 0
    while rest:
        piece, rest = rest[: PIECE + TAG], rest[PIECE + TAG :]
        nonce = file[24:31] + number.to_bytes(4, "big") + bytes([not rest])
        found += ChaCha20Poly1305(made[:32]).decrypt(nonce, piece, file[:HEAD])
        number += 1
    assert found == plain


def test_pieces_that_are_cut_off_moved_or_doubled_are_noticed(three, monkeypatch):
    quicker(monkeypatch)
    _, file = three
    head, pieces = file[:HEAD], [file[at : at + PIECE + TAG] for at in range(HEAD, len(file), PIECE + TAG)]
    assert len(pieces) == 4
    orders = ([0, 1, 2], [0, 1], [0], [], [1, 0, 2, 3], [0, 0, 1, 2, 3], [0, 2, 3], [0, 1, 2, 3, 3], [3])
    for order in orders:
        with pytest.raises(BackupDamaged):
            io.BufferedReader(Opened(io.BytesIO(head + b"".join(pieces[one] for one in order)), WORDS)).read()
    for length in (0, 8, HEAD - 1):
        with pytest.raises(BackupDamaged):
            Opened(io.BytesIO(file[:length]), WORDS)


def test_two_backups_share_neither_salt_nor_nonce():
    one, two = locked(b"x"), locked(b"x")
    assert one[8:24] != two[8:24]
    assert one[24:31] != two[24:31]


def test_an_empty_passphrase_is_no_passphrase(tmp_path: Path):
    (tmp_path / "words").write_bytes(b"\nsecond line\n")
    with pytest.raises(NoPassphrase):
        passphrase_in(tmp_path / "words")
    (tmp_path / "words").write_bytes(b"  the words \r\nrest")
    assert passphrase_in(tmp_path / "words") == b"the words"


def test_a_plain_backup_does_not_mind_a_passphrase(backup):
    with archive.reading(backup, WORDS) as found:
        assert found.manifest.code == "TST26"
