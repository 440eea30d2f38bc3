"""The edges of every printed page: a running head from the second page on, and a foot that says when, from what and
which page of how many.

For: every kind of list but the hold log, which has a foot of its own. Not for: what stands between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fieldapp import assets
from fieldapp.records.changes import FORMAT
from fieldapp.sheets.boxes import Box, Row, Rule, Stack, Text
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.page import Page, paginate
from fieldapp.sheets.pen import HAIR, MARGIN, THIN, Pen
from fieldapp.sheets.plate_drawing import Legend
from fieldapp.sheets.type import BODY, LEAD, MM, TABLE
from fieldapp.sheets.words import Words

_HEAD, _LEGEND, _LINES = 9.0, 7.1, 11.9


def new_pen(words: Words, title: str, subject: str, at: datetime, *, lying: bool = False) -> Pen:
    """A document in the project's fonts. Raises ValueError for a time without a zone."""
    return Pen(
        assets.font(),
        assets.font(bold=True),
        title=title,
        subject=subject,
        lang=words.texts.get("language", "en"),
        made_by="Bonedocket",
        at=at,
        lying=lying,
    )


def title_of(words: Words, sheet: ContextSheet) -> str:
    """A context's sheet in short: site and number."""
    number = sheet.number or words.say("no_number")
    return f"{sheet.site_code} {words.say('context', number=number)}".strip()


class Edges:
    """Head and foot of one document's pages.

    warning  stands at the right of the head: that something here is on hold
    legend   of the plates, on the pages that have one
    line     a line of the foot beside the page's number
    """

    def __init__(
        self,
        pen: Pen,
        words: Words,
        title: str,
        printed_at: datetime,
        source: str,
        *,
        warning: str = "",
        legend: Legend | None = None,
        line: str = "",
    ) -> None:
        self.pen, self.words, self.title, self.warning, self.legend, self.line = (
            pen,
            words,
            title,
            warning,
            legend,
            line,
        )
        at = words.when(printed_at.isoformat())
        self.printed = words.say("footer_printed", at=at, source=source, format=FORMAT)
        self.deep = _LINES + (_LEGEND if legend else 0.0)

    @property
    def room(self) -> float:
        """Width between the margins, mm."""
        return self.pen.wide - 2 * MARGIN

    def paginate(self, boxes: Sequence[Box], gap: float = 3.0) -> list[Page]:
        """The boxes on pages of this document."""
        bottom = self.pen.high - MARGIN - self.deep
        return paginate(boxes, first_top=MARGIN, top=MARGIN + _HEAD, bottom=bottom, gap=gap)

    def head(self, pen: Pen, page: int, of: int) -> None:
        """The head of every page but the first, which has a larger one of its own."""
        if page == 1:
            return
        wide = pen.bold_type.width(self.warning, TABLE)
        pen.text(MARGIN, MARGIN + BODY * MM, _shortened(pen, self.title, self.room - wide - 6), BODY, bold=True)
        pen.text(pen.wide - MARGIN - wide, MARGIN + BODY * MM, self.warning, TABLE, bold=True)
        pen.line(MARGIN, MARGIN + 6, pen.wide - MARGIN, MARGIN + 6, THIN)

    def foot(self, pen: Pen, page: int, of: int, has_plate: bool) -> None:
        """The foot: the legend where a plate is, then when and from what it was printed, and which page it is."""
        y = pen.high - MARGIN - self.deep + 3
        if self.legend is not None:
            if has_plate:
                self.legend.draw(pen, MARGIN, y)
            y += _LEGEND
        pen.line(MARGIN, y, pen.wide - MARGIN, y, HAIR)
        count, pitch = self.words.say("page", page=page, of=of), TABLE * MM * LEAD
        wide = pen.bold_type.width(count, TABLE)
        pen.text(MARGIN, y + pitch, _shortened(pen, self.line, self.room - wide - 4, TABLE), TABLE)
        pen.text(pen.wide - MARGIN - wide, y + pitch, count, TABLE, bold=True)
        pen.text(MARGIN, y + 2 * pitch, _shortened(pen, self.printed, self.room, TABLE), TABLE)


def top_of(pen: Pen, words: Words, site: str, kind: str, large: str, width: float) -> Stack:
    """What the first page begins with: the site, which sheet it is, and in large type of what."""
    top = Row([Text(pen, site, width - 62, BODY + 2, bold=True), Text(pen, kind, 60.0, BODY + 2, right=True)], 2.0)
    return Stack([top, Text(pen, large, width, 20, bold=True), Rule(width, THIN)], gap=0.8)


def _shortened(pen: Pen, text: str, width: float, size: float = BODY) -> str:
    """The text on one line; what does not fit ends in an ellipsis (it stands in full on the first page)."""
    lines = pen.bold_type.lines(text, size, width)
    if len(lines) == 1:
        return lines[0]
    return f"{pen.bold_type.lines(text, size, width - pen.bold_type.width(' …', size))[0]} …"
