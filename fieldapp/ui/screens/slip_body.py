"""Shows a body: pads alone, pads beside a plate that is touched, or a keypad.

What it says is its field's business (presenters.fields, presenters.cards), what a tap does the screen's.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fieldapp.domain.plates import PLAIN
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import Body, Room
from fieldapp.ui.screens.slip_layout import ASKS, CAPTION, INTRO, Box, Layout, away, put, span
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.keyboard import LAYOUTS

MOST = 22.0
"""Millimetres of the highest pad: higher ones are no easier to hit."""


def show(ids: Any, ask: Callable[[Room], Body], layout: Layout) -> Body:
    """Shows what `ask` gives for the room there is, in the parts of a slip's screen; what it gave."""
    box = layout.body(ASKS)
    body = ask(layout.room(box.width, box.height))
    asks = body.asks
    if not asks and body.plate is None:
        box = layout.body(0)
        body = ask(layout.room(box.width, box.height))
    over = Box(box.x, box.top, box.width, theme.mm(ASKS))
    foot = box
    if body.plate is not None and not body.keys:
        # Beside a plate there is less room: the field is asked again.
        drawn, beside = layout.plate(body.plate)
        below = layout.below(body.plate)
        high = 0.0 if below else theme.mm(INTRO + 1)
        box = foot = Box(beside.x, beside.y, beside.width, beside.height - high)
        over = (
            Box(box.x, box.y - theme.mm(CAPTION), box.width, theme.mm(CAPTION))
            if below
            else Box(box.x, box.top + theme.mm(1), box.width, theme.mm(INTRO))
        )
        body = ask(layout.room(box.width, box.height))
        asks = body.asks
        put(ids.plate, drawn)
    plate = body.plate
    states = {key: "most" if key in body.marked else PLAIN for key in plate.portions} if plate is not None else {}
    callipers = (body.marked, body.way) if body.way else None
    ids.plate.show(plate, states, pins=body.pins, callipers=callipers, touchable=body.touched)
    ids.definition.text, ids.intro.text = body.definition, asks
    ids.body.halign, ids.body.level, ids.body.most_mm = "center", "text", MOST
    put(ids.intro, over)
    away(ids.note)
    if body.text is not None:
        line = theme.mm(2 * theme.target)
        put(ids.note, Box(box.x, box.top - line, box.width, line))
        box = Box(box.x, box.y, box.width, box.height - line - theme.mm(theme.gap))
    if body.keys:
        _show_keypad(ids, body, layout)
    else:
        ids.board.put_away()
        ids.typed.text = ""
        put(ids.body, box)
        low = Box(foot.x, layout.middle.y, foot.width, theme.mm(theme.strip))
        put(ids.strip, low)
        put(ids.definition, low)
        ids.body.show(body.rows)
    return body


def _show_keypad(ids: Any, body: Body, layout: Layout) -> None:
    """The keypad with what was typed over it; beside it the definition, the picture, and the pads."""
    keys = LAYOUTS[body.keys]
    board, rest = layout.keypad(max(len(row) for row in keys), len(keys))
    if rest.width < theme.mm(2 * theme.target + theme.gap):
        _show_wide(ids, body, layout, board)
        return
    put(ids.board, board)
    ids.board.lay(body.keys)
    ids.typed.text = body.typed or say("blank")
    over = layout.middle.top - board.top
    line, gap = min(theme.mm(11), over * 0.55), theme.mm(theme.gap)
    put(ids.typed, Box(board.x, board.top + theme.mm(1), board.width, line))
    put(ids.intro, Box(board.x, board.top + line, board.width, over - line))
    rows = span(len(body.rows))
    put(ids.body, Box(rest.x, rest.y, rest.width, rows))
    ids.body.show(body.rows)
    text = theme.mm(24) if body.plate is not None else rest.height - rows - gap
    put(ids.definition, Box(rest.x, rest.top - text, rest.width, text))
    low = rest.y + rows + gap
    put(ids.plate, Box(rest.x, low, rest.width, rest.top - text - theme.mm(1) - low))


def _show_wide(ids: Any, body: Body, layout: Layout, board: Box) -> None:
    """A keypad that takes the whole width: what was typed and the pads stand over it."""
    middle = layout.middle
    put(ids.board, Box(middle.x, board.y, middle.width, board.height))
    ids.board.lay(body.keys)
    ids.typed.text = ids.intro.text = ""
    low = board.top + theme.mm(theme.gap)
    put(ids.body, Box(middle.x, low, middle.width, min(middle.top - low, theme.mm(theme.target))))
    said = Choice("", body.typed or say("blank"), note=body.asks, tone="words", weight=2)
    ids.body.show([[said, *(one for row in body.rows for one in row)]])
