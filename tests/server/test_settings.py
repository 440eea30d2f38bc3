"""Where the cabin is told that its ledger lies, and what is said about it."""

from __future__ import annotations

import pytest

from fieldapp.cli import main
from server.config import LEDGER, Config, settings_text
from server.errors import SettingsUnreadable

PASSWORD = "s3cret-word"


@pytest.fixture
def data(tmp_path):
    return tmp_path / "cabin"


def run(data, *words: str) -> int:
    return main(["cabin", *words, "--data", str(data)])


def init(data, *words: str) -> int:
    return run(data, "init", "--code", "tst 26", "--name", "Test field", *words)


def with_password(cluster) -> str:
    return cluster.url().replace("bonedocket@", f"bonedocket:{PASSWORD}@")


def test_a_cabin_without_settings_has_its_ledger_in_a_file(data):
    assert Config(data).place.path == data / "ledger.sqlite"
    assert init(data) == 0
    assert not (data / "cabin.toml").exists()


def test_init_writes_down_where_the_ledger_lies_for_its_owner_only(data, cluster, capsys):
    cluster.do('DROP SCHEMA IF EXISTS "site_tst26" CASCADE')
    assert init(data, "--ledger", with_password(cluster)) == 0
    file = data / "cabin.toml"
    assert file.stat().st_mode & 0o077 == 0
    assert Config(data).settings() == {"ledger": with_password(cluster), "schema": "site_tst26"}
    assert not (data / "ledger.sqlite").exists()
    assert run(data, "person", "add", "A. Wren", "recorder") == 0
    assert run(data, "person", "list") == 0
    assert main(["verify", "--data", str(data)]) == 0
    assert run(data, "log") == 0
    assert cluster.do('SELECT count(*) FROM "site_tst26".account') == [(1,)]
    said = capsys.readouterr()
    assert PASSWORD not in said.out + said.err


def test_a_second_cabin_is_not_made_over_the_first(data, tmp_path, cluster, capsys):
    cluster.do('DROP SCHEMA IF EXISTS "site_tst26" CASCADE')
    assert init(data, "--ledger", with_password(cluster)) == 0
    assert init(data, "--ledger", with_password(cluster)) == 2
    assert init(data) == 2
    assert init(tmp_path / "other", "--ledger", with_password(cluster)) == 2
    said = capsys.readouterr().err
    assert said.count("There is a ledger already") == 3
    assert PASSWORD not in said
    assert not (tmp_path / "other" / "cabin.toml").exists()


def test_the_environment_wins_so_that_a_password_need_not_lie_in_a_file(data, cluster, monkeypatch, capsys):
    cluster.do('DROP SCHEMA IF EXISTS "site_tst26" CASCADE')
    monkeypatch.setenv(LEDGER, with_password(cluster))
    assert init(data) == 0
    assert Config(data).settings() == {"schema": "site_tst26"}
    assert main(["verify", "--data", str(data)]) == 0
    (data / "cabin.toml").write_text(settings_text(ledger="postgresql://u@127.0.0.1:1/x", schema="site_tst26"))
    assert main(["verify", "--data", str(data)]) == 0
    monkeypatch.delenv(LEDGER)
    capsys.readouterr()
    assert main(["verify", "--data", str(data)]) == 2
    assert "does not answer" in capsys.readouterr().err


def test_a_ledger_in_a_server_is_backed_up_into_a_file_and_put_back_into_another_kind(data, tmp_path, cluster, capsys):
    cluster.do('DROP SCHEMA IF EXISTS "site_tst26" CASCADE')
    assert init(data, "--ledger", cluster.url()) == 0
    assert run(data, "person", "add", "A. Wren", "recorder") == 0
    file = str(tmp_path / "copy.zip")
    assert main(["backup", file, "--data", str(data)]) == 0
    beside = tmp_path / "beside"
    assert main(["restore", file, "--data", str(beside)]) == 0
    assert (beside / "ledger.sqlite").exists()
    # And from there into a database again, beside what is there.
    again, moved = str(tmp_path / "again.zip"), tmp_path / "moved"
    assert main(["backup", again, "--data", str(beside)]) == 0
    assert main(["restore", again, "--data", str(moved), "--ledger", cluster.url()]) == 2
    assert "There is a ledger already" in capsys.readouterr().err
    assert not moved.exists()
    cluster.do('DROP SCHEMA "site_tst26" CASCADE')
    assert main(["restore", again, "--data", str(moved), "--ledger", cluster.url()]) == 0
    assert run(moved, "person", "list") == 0
    assert "A. Wren" in capsys.readouterr().out
    assert main(["verify", "--data", str(moved)]) == 0


def test_settings_that_cannot_be_read_are_named_and_not_repeated(data, capsys):
    data.mkdir()
    (data / "cabin.toml").write_text(f'ledger = "postgresql://u:{PASSWORD}@h/d\n')
    with pytest.raises(SettingsUnreadable, match=r"cabin\.toml"):
        Config(data).settings()
    assert main(["verify", "--data", str(data)]) == 2
    said = capsys.readouterr()
    assert PASSWORD not in said.out + said.err
    assert "Nothing was opened" in said.err


@pytest.mark.parametrize("url", ["mysql://u:s3cret-word@h/d", "postgresql://u:s3cret-word@h", "ledger.sqlite"])
def test_an_address_that_is_no_database_of_ours_is_refused_before_anything_is_made(data, url, capsys):
    assert init(data, "--ledger", url) == 2
    said = capsys.readouterr().err
    assert "postgresql+psycopg://" in said
    assert PASSWORD not in said
    assert not data.exists()


def test_what_is_written_down_is_read_again():
    import tomllib

    values = {"ledger": 'postgresql://u:"\\é\t🦴@h/d', "schema": "site_x"}
    assert tomllib.loads(settings_text(**values)) == values
