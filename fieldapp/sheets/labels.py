"""Labels for bags and boxes: sheets of them on A4, to be cut out and put into a sleeve that can be wiped.

Each has the same code in two opposite corners, because dirt on one corner of a code ends it, and the label in large
type with its check character, because a code may be past reading altogether. Not for: handing out numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime

from fieldapp.sheets.edges import new_pen
from fieldapp.sheets.entries import Bag, ContextSheet
from fieldapp.sheets.pen import HAIR, MARGIN, Pen
from fieldapp.sheets.qr import Code
from fieldapp.sheets.type import MM, TABLE
from fieldapp.sheets.words import Words


@dataclass(frozen=True, slots=True)
class Size:
    """So many labels across and down an A4 page. `code`: side of each code, mm; `large`, `plain`: points of type."""

    across: int
    down: int
    code: float
    large: float
    plain: float


SIZES = {
    "2x5": Size(2, 5, 20.0, 34, 12),
    "2x7": Size(2, 7, 16.0, 28, 11),
    "3x8": Size(3, 8, 14.0, 20, 9),
}
"""{how many across and down: size}. Codes below 14 mm are read unsurely by a tablet."""
PAD = 3.0


@dataclass(frozen=True, slots=True)
class Tag:
    """What one label says.

    code   what the codes say
    small  a line above the large one: the site's code;  large: the label without it
    lines  below, the first of them bold
    """

    code: str
    small: str
    large: str
    lines: tuple[str, ...] = ()


def tags_of(sheet: ContextSheet, words: Words) -> list[Tag]:
    """A label for each bag of a context that was not deleted."""
    context = words.say("context", number=sheet.number or words.say("no_number"))
    return [_tag(sheet, one, context, words) for one in sheet.bags if not one.deleted]


def _tag(sheet: ContextSheet, bag: Bag, context: str, words: Words) -> Tag:
    way = words.ways([(bag.recovery, bag.mesh_mm)])
    trench = words.say("compact.fact", name=words.field("trench"), value=words.plain(sheet.trench))
    lines = [context, way, *([trench] if sheet.trench else [])]
    site, _, rest = bag.label.partition(" ")
    if not rest:
        site, rest = sheet.site_code, bag.label
    return Tag(bag.label, site, rest, tuple(lines))


def spare_tag(label: str, words: Words) -> Tag:
    """A label with a number that was handed out for it, and room to write the context by hand."""
    site, _, rest = label.partition(" ")
    line = words.say("labels.write")
    return Tag(label, site, rest, (line, words.say("labels.write_recovery")))


def box_tags(site: str, bags: Iterable[tuple[str, str]], words: Words) -> list[Tag]:
    """A label for each box, saying which contexts are in it. `bags`: (box, number of its context) of every bag."""
    inside: dict[str, list[str]] = {}
    for box, context in bags:
        inside.setdefault(box, []).append(context)
    return [
        Tag(
            f"{site} BOX {box}".upper(),
            site,
            words.say("labels.box", box=box),
            (
                words.say(
                    "labels.contexts", contexts=", ".join(sorted({one for one in contexts if one}, key=_natural))
                ),
                words.say("labels.bags", n=len(contexts)),
            ),
        )
        for box, contexts in sorted(inside.items(), key=lambda one: _natural(one[0]))
    ]


def _natural(text: str) -> tuple[int, int, str]:
    """Numbers before words, 99 before 100."""
    return (0, int(text), "") if text.isascii() and text.isdigit() and len(text) < 19 else (1, 0, text)


def render_labels(
    tags: Sequence[Tag], size: Size, texts: Mapping[str, str], printed_at: datetime, *, title: str
) -> bytes:
    """The labels as a PDF/A-1b file. Raises ValueError for no labels, and for a time without a zone."""
    if not tags:
        raise ValueError("no labels to print")
    words = Words(texts)
    with closing(new_pen(words, f"{title}: {words.say('labels.title')}", words.say("labels.title"), printed_at)) as pen:
        wide = (pen.wide - 2 * MARGIN) / size.across
        high = (pen.high - 2 * MARGIN) / size.down
        a_page = size.across * size.down
        for start in range(0, len(tags), a_page):
            pen.page()
            _cuts(pen, size, wide, high)
            for n, tag in enumerate(tags[start : start + a_page]):
                down, across = divmod(n, size.across)
                _draw(pen, tag, size, (MARGIN + across * wide, MARGIN + down * high), wide, high)
        return pen.bytes()


def _cuts(pen: Pen, size: Size, wide: float, high: float) -> None:
    """Lines to cut along, out to the edge of what a printer reaches."""
    for n in range(size.across + 1):
        pen.line(MARGIN + n * wide, MARGIN - 4, MARGIN + n * wide, pen.high - MARGIN + 4, HAIR)
    for n in range(size.down + 1):
        pen.line(MARGIN - 4, MARGIN + n * high, pen.wide - MARGIN + 4, MARGIN + n * high, HAIR)


def _draw(pen: Pen, tag: Tag, size: Size, corner: tuple[float, float], wide: float, high: float) -> None:
    x, y = corner
    code = Code(tag.code, size.code)
    code.draw(pen, x + PAD, y + PAD)
    code.draw(pen, x + wide - PAD - size.code, y + high - PAD - size.code)
    # Words keep out of the white that the codes need.
    left, room = x + PAD + size.code + code.quiet, wide - 2 * PAD - size.code - code.quiet
    at = y + PAD + size.plain * MM
    _line(pen, tag.small, left, at, room, size.plain)
    at += size.large * MM * 0.98
    _line(pen, tag.large, left, at, room, size.large, bold=True)
    # The lower lines stand at the left of the lower code, and below the upper one.
    free, below = wide - 2 * PAD - size.code - code.quiet, max(at + 1.5, y + PAD + size.code + code.quiet)
    pitch = size.plain * MM * 1.25
    at = below + size.plain * MM
    for n, line in enumerate(tag.lines):
        if at > y + high - PAD + 0.5:
            break
        _line(pen, line, x + PAD, at, free, size.plain, bold=n == 0)
        at += pitch


def _line(pen: Pen, text: str, x: float, y: float, room: float, size: float, *, bold: bool = False) -> None:
    """One line as large as fits the room; what does not fit even at the smallest type ends in an ellipsis, so that a
    long number is not taken for a shorter one."""
    face = pen.bold_type if bold else pen.type
    wide = face.width(face.printable(text).replace("\n", " "), 1.0)
    fits = room / wide if wide else size
    type_size = size if fits >= size else max(TABLE, math.floor(fits * 4) / 4)
    pen.text(x, y, face.shortened(text, type_size, room), type_size, bold=bold)
