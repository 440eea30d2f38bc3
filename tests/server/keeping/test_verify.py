"""What is not as it was written is found and named; what is, is not complained of."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import text

from fieldapp.findings import NOTE, WRONG, Finding
from server import keys
from server.cabin import Cabin
from server.config import Config
from server.errors import LedgerDamaged
from server.keeping import archive
from server.keeping.backing_up import back_up
from server.keeping.errors import BackupDamaged
from server.keeping.pictures import PictureFolder
from server.keeping.verifying import verify, verify_backup
from tests.server.keeping.conftest import SHA, replaced
from tests.server.tablets import Tablet, an_id


def found(cabin: Cabin) -> list[Finding]:
    return list(verify(cabin.config, cabin.ledger, PictureFolder(cabin.config.data)))


def named(findings: list[Finding], level: str) -> set[str]:
    return {one.key.rpartition(".")[2] for one in findings if one.level == level}


def alter(cabin: Cabin, *statements: str) -> None:
    """As only somebody with the file in hand can."""
    with cabin.ledger.database.writing() as connection:
        for one in statements:
            connection.execute(text(one))


def test_a_cabin_that_is_as_it_was_written_has_nothing_wrong_and_every_sentence_can_be_said(cabin, tablet):
    findings = found(cabin)
    assert named(findings, WRONG) == set()
    assert {"database", "changes", "records", "photos", "keys"} <= {one.key.rpartition(".")[2] for one in findings}
    # Tablet two gave the number 1 twice; that came so.
    assert named(findings, NOTE) == {"fork"}
    assert all("{" not in str(one) for one in findings)


@pytest.mark.parametrize(
    ("statement", "name"),
    [
        ("update change set body = replace(body, 'Übergröße 3', 'Übergröße 4') where n = 4", "altered"),
        ("update change set record = 'x' where n = 4", "altered"),
        ("update change set kind = 'bag' where n = 4", "altered"),
        ("update change set n = 9 where n = 6", "altered"),
        ("delete from change where n = 3 and body like '%bergr%'", "lost"),
        ("delete from change where n = 6 and body like '%human%'", "lost"),
        ("delete from change where n = 6", "count"),
        ("update record set label = 'other' where kind = 'docket'", "records_differ"),
        ("insert into link (record, sort, other) values ('ghost', 'about', 'x')", "records_differ"),
        ("update unread set body = x'00'", "unread_altered"),
        ("update meta set value = '400' where key = 'head'", "count"),
    ],
)
def test_what_was_altered_in_the_ledger_is_found(cabin, tablet, statement, name):
    alter(cabin, statement)
    findings = found(cabin)
    assert name in named(findings, WRONG)
    assert all("{" not in str(one) for one in findings)


def test_a_notebook_whose_every_change_is_gone_is_missed(cabin, tablet):
    alter(cabin, f"delete from change where notebook = '{tablet.id}'")
    findings = found(cabin)
    assert [dict(one.fields) for one in findings if one.key.endswith(".lost")] == [
        {"notebook": tablet.id, "first": 1, "last": 6}
    ]


def test_a_gap_that_never_came_is_noted_and_one_of_the_cabin_s_own_is_a_loss(cabin, tablet):
    other = Tablet("tablet three")
    other.docket("g1")
    other.docket("g2", n=None)
    other.docket("g3")
    cabin.ledger.accept([other.entries()[0], other.entries()[2]], other.id)
    findings = found(cabin)
    assert named(findings, WRONG) == set()
    (gap,) = [one for one in findings if one.key.endswith(".gap")]
    assert (gap.fields["notebook"], gap.fields["first"], gap.fields["last"]) == (other.id, 2, 2)
    own = cabin.ledger.names().notebook
    alter(cabin, f"delete from change where notebook = '{own}' and n = 1")
    assert "lost" in named(found(cabin), WRONG)


def test_a_lost_change_is_named_by_whoever_opens_its_record_and_keeps_nothing_else_from_being_looked_through(
    cabin, tablet
):
    other = Tablet("tablet four")
    other.docket("l1")
    cabin.ledger.accept(other.entries(), other.id)
    alter(cabin, f"delete from change where notebook = '{other.id}'")
    with pytest.raises(LedgerDamaged, match=other.changes[0].id):
        cabin.ledger.record(an_id("l1"))
    assert {"lost", "records_differ"} <= named(found(cabin), WRONG)


def test_a_change_that_does_not_follow_from_the_one_before_is_noted(cabin, tablet):
    other = Tablet("tablet four")
    other.docket("b1")
    other.write("docket", an_id("b2"), {"count": 1}, prev="0" * 64)
    cabin.ledger.accept(other.entries(), other.id)
    assert "broken_chain" in named(found(cabin), NOTE)


def test_a_database_with_damaged_pages_is_found(cabin, tablet, tmp_path):
    data = tmp_path / "copy"
    alter(cabin, "pragma user_version = 1")
    back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    cabin.close()
    shutil.copytree(cabin.config.data, data)
    file = data / "ledger.sqlite"
    whole = bytearray(file.read_bytes())
    # An index's page: its rows no longer fit the table's.
    at = whole.find(an_id("d1").encode() + b"docket") if b"docket" in whole else -1
    at = whole.rfind(tablet.id.encode()) if at < 0 else at
    whole[at : at + 4] = b"zzzz"
    file.write_bytes(whole)
    broken = Cabin(Config(data))
    assert named(found(broken), WRONG)
    broken.close()


@pytest.mark.parametrize("name", ["cabin.crt", "cabin.key", "seal.key"])
def test_keys_that_are_gone_damaged_or_another_s_are_found(cabin, tablet, tmp_path, name):
    path = cabin.config.data / name
    path.unlink()
    assert named(found(cabin), WRONG) == {"keys_missing"}
    path.write_bytes(b"no key at all")
    assert named(found(cabin), WRONG) == {"keys_damaged"}
    for other in ("x.crt", "x.key", "x.seal"):
        (tmp_path / other).unlink(missing_ok=True)
    keys.make_certificate(tmp_path / "x.crt", tmp_path / "x.key")
    keys.make_seal_key(tmp_path / "x.seal")
    source = {"cabin.crt": "x.crt", "cabin.key": "x.key", "seal.key": "x.seal"}[name]
    path.write_bytes((tmp_path / source).read_bytes())
    assert named(found(cabin), WRONG) == {
        "seal_key_not_of_site" if name == "seal.key" else "certificate_not_of_key",
    }


def test_a_photograph_that_is_not_what_its_name_says_is_found(cabin, tablet):
    (cabin.config.data / "photos" / SHA).write_bytes(b"another picture")
    (one,) = [one for one in found(cabin) if one.level == WRONG]
    assert SHA in str(one)


def test_a_backup_is_proved_by_restoring_it_aside(cabin, backup):
    with archive.reading(backup) as file:
        findings = list(verify_backup(file, cabin.config))
    assert named(findings, WRONG) == set()
    assert {one.key.rpartition(".")[2] for one in findings} >= {"parts", "changes", "records", "photos", "keys"}


def test_a_backup_of_a_cabin_that_was_not_whole_says_so(cabin, tablet, tmp_path):
    alter(cabin, "update change set body = replace(body, 'Übergröße 3', 'Übergröße 4') where n = 4")
    back_up(cabin.config, cabin.ledger, tmp_path / "b.zip", pictures=None)
    with archive.reading(tmp_path / "b.zip") as file:
        assert "altered" in named(list(verify_backup(file, cabin.config)), WRONG)


@pytest.fixture(params=[None, b"invented words"], ids=["plain", "locked"])
def small(request: pytest.FixtureRequest, cabin: Cabin, tmp_path: Path) -> tuple[Path, bytes | None]:
    """A small backup, and its passphrase."""
    path = tmp_path / "small.zip"
    back_up(cabin.config, cabin.ledger, path, pictures=None, passphrase=request.param)
    return path, request.param


@pytest.mark.parametrize("step", [11, pytest.param(1, marks=pytest.mark.proof)])
def test_every_byte_of_a_backup_that_turns_is_noticed(small, tmp_path, monkeypatch, step):
    """The usual run turns one in so many, and the proof all of them."""
    path, passphrase = small
    if passphrase is not None:
        quicker(monkeypatch)
    whole = path.read_bytes()
    turned = tmp_path / "turned.zip"
    unnoticed = []
    for at in range(0, len(whole), step):
        data = bytearray(whole)
        data[at] ^= 1 << at % 8
        turned.write_bytes(data)
        if is_whole(turned, passphrase):
            unnoticed.append(at)
    assert is_whole(path, passphrase)
    assert unnoticed == []


def is_whole(path: Path, passphrase: bytes | None) -> bool:
    from server.keeping.errors import BackupError

    try:
        with archive.reading(path, passphrase):
            return True
    except BackupError:
        return False


def quicker(monkeypatch: pytest.MonkeyPatch) -> None:
    """scrypt once for each salt: thousands of files are opened that differ elsewhere."""
    from server.keeping import locked

    slow: Callable[..., object] = locked._keys
    known: dict[bytes, object] = {}

    def once(passphrase: bytes, salt: bytes) -> object:
        if salt not in known:
            known[salt] = slow(passphrase, salt)
        return known[salt]

    monkeypatch.setattr(locked, "_keys", once)


def test_bytes_behind_the_end_are_noticed_too(small):
    path, passphrase = small
    with path.open("ab") as file:
        file.write(b"x")
    assert not is_whole(path, passphrase)


def test_verifying_reads_while_the_cabin_runs_and_changes_nothing(cabin, backup, tmp_path):
    replaced(backup, cabin.config, tmp_path / "before.zip")
    head = cabin.ledger.names()
    found(cabin)
    assert cabin.ledger.names() == head
    with pytest.raises(BackupDamaged), archive.reading(cabin.config.ledger):
        pass
