"""A table as text: its letters, headings and rows; whatever is none is told by line, before anything is written."""

from __future__ import annotations

import io
import os
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import texts
from server.exchange import tables
from server.exchange.tables import TableWrong


def looked(tmp_path: Path, data: bytes, encoding: str = "utf-8-sig", delimiter: str = ",") -> tables.Table:
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    return tables.look(path, encoding, delimiter)


def archive() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as opened:
        opened.writestr("content.xml", "<x/>")
    return packed.getvalue()


@pytest.mark.parametrize(
    ("data", "encoding", "key", "fields"),
    [
        (b"", "utf-8-sig", "empty", {}),
        (b"\xef\xbb\xbf", "utf-8-sig", "empty", {}),
        (b",,\n1,2,3\n", "utf-8-sig", "no_headings", {}),
        (archive(), "utf-8-sig", "spreadsheet", {}),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "utf-8-sig", "old_spreadsheet", {}),
        (b"%PDF-1.7", "utf-8-sig", "pdf", {}),
        (b"<html><table>", "utf-8-sig", "markup", {}),
        (b"a,b\n1,2\n3,caf\xe9\n", "utf-8-sig", "letters", {"line": "3", "given": "utf-8", "perhaps": "cp1252"}),
        ("a,b\n1,Menteşe\n".encode(), "cp1252", "really_utf8", {"given": "cp1252"}),
        ("a,b\n1,2\n".encode("utf-16"), "utf-8-sig", "marked", {"found": "utf-16", "given": "utf-8"}),
        (("a,b\n" + "1,2\n" * 100).encode("utf-16-le"), "utf-8-sig", "marked", {"found": "utf-16-le"}),
        (b"\xef\xbb\xbfa,b\n1,2\n", "cp1252", "marked", {"found": "utf-8", "given": "cp1252"}),
        (b'a,b\n1,2\n3,"4\n5,6\n', "utf-8-sig", "csv", {"line": "3"}),
        (b'a,b\n1,"2"x\n', "utf-8-sig", "csv", {"line": "2"}),
        (b"a,b\n1," + b"x" * 200_000 + b"\n", "utf-8-sig", "csv", {"line": "2"}),
    ],
)
def test_what_is_no_such_table_is_told_with_its_line(
    tmp_path: Path, data: bytes, encoding: str, key: str, fields: dict[str, str]
) -> None:
    with pytest.raises(TableWrong) as told:
        looked(tmp_path, data, encoding)
    assert told.value.key == key
    assert fields.items() <= told.value.fields.items()
    sentence = texts()[f"import.table.{key}"].format(**told.value.fields)
    assert "Nothing was imported" in sentence


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "utf-16", "utf-8"])
def test_letters_come_out_as_they_were_written(tmp_path: Path, encoding: str) -> None:
    table = looked(tmp_path, "Höhe,Ort\n1,Göß\n".encode(encoding), encoding)
    assert table.headings == ("Höhe", "Ort")
    assert [row.cells["Ort"] for row in table] == ["Göß"]


def test_a_byte_order_mark_belongs_to_no_heading(tmp_path: Path) -> None:
    assert looked(tmp_path, b"\xef\xbb\xbfBone,N\n1,2\n").headings == ("Bone", "N")


def test_headings_that_stand_twice_or_not_at_all_get_names_of_their_own(tmp_path: Path) -> None:
    table = looked(tmp_path, b"Bd,Bd,,Bd (2),\n1,2,3,4,5\n")
    assert table.headings == ("Bd", "Bd (3)", "(column 3)", "Bd (2)", "(column 5)")
    assert table.renamed == ("Bd (3)", "(column 3)", "(column 5)")
    assert [list(row.cells.values()) for row in table] == [["1", "2", "3", "4", "5"]]


def test_rows_are_numbered_as_a_spreadsheet_does_and_know_their_line(tmp_path: Path) -> None:
    table = looked(tmp_path, b'a,b\n1,"two\nlines"\n\n,\n3,4\n')
    assert [(row.number, row.line, row.cells) for row in table] == [
        (2, 2, {"a": "1", "b": "two\nlines"}),
        (5, 6, {"a": "3", "b": "4"}),
    ]
    assert table.rows == 2


def test_ragged_rows_say_so_and_lose_nothing(tmp_path: Path) -> None:
    table = looked(tmp_path, b"a,b\n1\n1,2,,\n1,2,3\n")
    assert [(row.ragged, row.cells) for row in table] == [
        ("short", {"a": "1"}),
        ("", {"a": "1", "b": "2"}),
        ("long", {"a": "1", "b": "2", "(column 3)": "3"}),
    ]


def test_a_file_that_is_altered_while_it_is_read_is_told(tmp_path: Path) -> None:
    table = looked(tmp_path, b"a,b\n1,2\n")
    table.path.write_bytes(b"a,b\n1,2\n3,4\n")
    with pytest.raises(TableWrong, match="changed"):
        list(table)


def test_a_line_without_end_is_told_before_it_is_held_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "line.csv"
    with path.open("wb") as out:
        out.write(b"a,b\n1,2\n")
        out.truncate(500_000_000)  # of noughts, and no disk is filled
    with pytest.raises(TableWrong, match="line_long"):
        tables.look(path, "utf-8", ",")
    monkeypatch.setattr(tables, "LINE", 100)
    path.write_bytes(b"a,b\n" + b"1,2\r\n" * 30_000)
    assert tables.look(path, "utf-8", ",").rows == 30_000


def test_a_folder_a_pipe_and_a_device_without_end_are_no_tables(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", Path("/dev/zero")):
        for look in (lambda one: tables.look(one, "utf-8", ","), tables.text_encoding):
            with pytest.raises(TableWrong, match="no_file"):
                look(path)


@given(data=st.binary(max_size=300), encoding=st.sampled_from(["utf-8-sig", "cp1252", "utf-16", "ascii"]))
def test_whatever_a_file_holds_it_is_a_table_or_told_to_be_none(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, encoding: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        table = tables.look(path, encoding, ",")
    except TableWrong as error:
        told = texts()[f"import.table.{error.key}"].format(**error.fields)
    else:
        told = ""
        assert len(list(table)) == table.rows
        assert len(set(table.headings)) == len(table.headings)
    assert not told or "Nothing was imported" in told
