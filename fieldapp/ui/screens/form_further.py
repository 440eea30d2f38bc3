"""Shows a field of the form's second page: pads alone, pads beside a plate that is touched, or a keypad.

What they say is the field's own business (presenters.fields), what a tap does the form screen's.
"""

from __future__ import annotations

from typing import Any

from fieldapp.domain.plates import PLAIN
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.fields import Body
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.screens.form_layout import CAPTION, INTRO, Box, Layout, put
from fieldapp.ui.texts import say
from fieldapp.ui.theme import theme
from fieldapp.ui.widgets.keyboard import LAYOUTS

MOST = 22.0
"""Millimetres of the highest pad: higher ones are no easier to hit."""


def show(screen: Any, form: Form, layout: Layout) -> Body:
    """Shows the field that is open on the form's screen; what it showed."""
    ids = screen.ids
    box = layout.body(True)
    body = form_fields.further(form, layout.room(box.width, box.height))
    if not body.asks and body.plate is None:
        box = layout.body(False)
        body = form_fields.further(form, layout.room(box.width, box.height))
    over = Box(box.x, box.top + theme.mm(1), box.width, theme.mm(INTRO))
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
        body = form_fields.further(form, layout.room(box.width, box.height))
        put(ids.plate, drawn)
    plate = body.plate
    states = {key: "most" if key in body.marked else PLAIN for key in plate.portions} if plate is not None else {}
    callipers = (body.marked, body.way) if body.way else None
    ids.plate.show(plate, states, pins=body.pins, callipers=callipers, touchable=body.touched)
    ids.definition.text, ids.intro.text = body.definition, body.asks
    ids.body.halign, ids.body.level, ids.body.most_mm = "center", "text", MOST
    put(ids.intro, over)
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
    put(ids.board, board)
    ids.board.lay(body.keys)
    ids.typed.text = body.typed or say("blank")
    line, gap = theme.mm(11), theme.mm(theme.gap)
    put(ids.typed, Box(board.x, board.top + theme.mm(1), board.width, line))
    put(ids.intro, Box(board.x, board.top + line, board.width, layout.middle.top - board.top - line))
    rows = theme.mm(len(body.rows) * (theme.target + theme.gap) - theme.gap)
    put(ids.body, Box(rest.x, rest.y, rest.width, rows))
    text = theme.mm(24) if body.plate is not None else rest.height - rows - gap
    put(ids.definition, Box(rest.x, rest.top - text, rest.width, text))
    low = rest.y + rows + gap
    put(ids.plate, Box(rest.x, low, rest.width, rest.top - text - theme.mm(1) - low))
