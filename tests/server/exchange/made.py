"""A small invented table of bones, its map, and the command as it is typed."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from fieldapp import assets
from fieldapp.cli import CommandError
from server.commands import importing
from server.exchange import maps, tables
from server.exchange.mapping import Mapped, Mapper

KNOW = assets.knowledge()
SITE = "5e0b6c1e-6d1f-4f1b-9c55-0d5a4b0ed0c7"
HEAD = 'format = 1\nname = "Low Barrow"\nprefix = "LB"\ncredit = "invented"\n'
MAP = (
    HEAD
    + """
[every]
recovery = "hand"

[column.Ctx]
to = "context"
[column.Animal]
to = "taxon"
words = { Rd = "cattle", "Rd?" = { taxon = "cattle", certainty = "cf" }, Mensch = "human", "?" = "" }
[column.Bone]
to = "element"
[column.Side]
to = "side"
words = { l = "left", r = "right" }
[column.Prox]
to = "fusion.proximal"
[column.N]
to = "count"
[column.Bd]
to = "measure.Bd"
estimated = "*"
[column.Weight]
to = "weight_g"
unit = "kg"
[column.Remarks]
to = "note"
"""
)
HEADINGS = "Ctx,Animal,Bone,Side,Prox,N,Bd,Weight,Remarks"
ROWS = (
    "12,Rd,tibia,l,fused,1,55.5,0.12,",
    "12,Rd?,humerus,r,unfused,2,,0.08,gnawed",
    "13,Mensch,femur,l,,1,,,from the fill",
    "13,,unidentified_bone,,,7,,0.03,",
)


def csv_of(*rows: str, head: str = HEADINGS) -> str:
    return "\n".join((head, *rows)) + "\n"


def mapped(map_text: str, *rows: str, path: Path, head: str = HEADINGS) -> list[Mapped]:
    """The rows of a table by a map."""
    by = maps.read(map_text, KNOW)
    path.write_text(csv_of(*rows, head=head), encoding="utf-8")
    table = tables.look(path, by.encoding, by.delimiter)
    mapper = Mapper(by, KNOW, SITE, path.name, table.sha256)
    return [mapper.read(row) for row in table]


def typed(*words: object) -> int:
    """`bonedocket import` with these words: its exit code, 2 with its sentence on the screen."""
    parser = argparse.ArgumentParser()
    importing.register(parser)
    try:
        return importing.run(parser.parse_args([str(one) for one in words]))
    except CommandError as error:
        print(error)
        return 2


def whys(rows: Sequence[Mapped]) -> list[tuple[str, str, str]]:
    return [(one.column, one.value, one.why) for row in rows for one in row.misses]
