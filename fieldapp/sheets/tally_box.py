"""Tallies on a sheet: what was counted and not recorded piece by piece. Not for: single fragments (dockets)."""

from __future__ import annotations

from fieldapp.sheets.boxes import Box, table
from fieldapp.sheets.docket_block import note_boxes, problem_boxes
from fieldapp.sheets.entries import ContextSheet, Tally
from fieldapp.sheets.pen import Pen
from fieldapp.sheets.versions import marked, one_fact
from fieldapp.sheets.words import Words

_COLUMNS = {"taxon": 33.0, "element": 27.0, "count": 14.0, "weight_g": 18.0, "burning": 22.0}


def tally_boxes(pen: Pen, words: Words, sheet: ContextSheet, width: float) -> list[Box]:
    """The tallies as a table, then their problems and notes; nothing where there are none."""
    shown = [one for one in sheet.tallies if not one.deleted]
    if not shown:
        return []
    widths = [30.0, *_COLUMNS.values()]
    widths.append(width - sum(widths) - 2 * len(widths))
    head = ["", *(words.field(name) for name in _COLUMNS), words.say("tallies.said")]
    boxes: list[Box] = [table(pen, head, [_row(words, one) for one in shown], widths)]
    for one in shown:
        boxes += problem_boxes(pen, words, one.problems, width) + note_boxes(pen, words, one.notes, width)
    return boxes


def _row(words: Words, tally: Tally) -> list[str]:
    cells = [marked(one_fact(words, name, getattr(tally, name), tally.differences)) for name in _COLUMNS]
    stage = words.word("stage", tally.stage)
    return [tally.label, *cells, f"{words.said(*tally.said)} ({stage})"]
