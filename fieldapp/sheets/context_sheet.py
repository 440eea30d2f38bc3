"""The context bone sheet as a PDF: everything recorded about the bone of one context, on A4.

For: `render`, from a gathered ContextSheet to the bytes of a file (PDF/A-1b, the same bytes for the same sheet and
time). Not for: gathering records, or any other kind of sheet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import datetime

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.sheets.boxes import Box, Row, Rule, Space, Stack, Text, table
from fieldapp.sheets.docket_block import docket_block, note_boxes, problem_boxes
from fieldapp.sheets.entries import ContextSheet, Difference, Figures, TaxonRow
from fieldapp.sheets.hold_banner import front_banners
from fieldapp.sheets.page import ROOM, draw, paginate
from fieldapp.sheets.pen import HAIR, HEIGHT, MARGIN, THIN, WIDTH, Pen
from fieldapp.sheets.plate_drawing import Legend, PlateBook
from fieldapp.sheets.skeleton_box import skeletons
from fieldapp.sheets.type import BODY, LEAD, MM, TABLE
from fieldapp.sheets.versions import difference_box, facts, marked, one_fact
from fieldapp.sheets.words import Words

_TOP, _FOOT = MARGIN + 9.0, 19.0


def render(sheet: ContextSheet, plates: PlateBook, texts: Mapping[str, str], printed_at: datetime) -> bytes:
    """The sheet as a PDF/A-1b file. `printed_at` carries its zone; it is the file's date.

    Raises ValueError for a time without a zone.
    """
    words = Words(texts)
    number = sheet.number or words.say("no_number")
    title = f"{sheet.site_code} {words.say('context', number=number)}".strip()
    pen = Pen(
        assets.font(),
        assets.font(bold=True),
        title=f"{title}: {words.say('title')}",
        subject=words.say("subject"),
        lang=texts.get("language", "en"),
        made_by="Bonedocket",
        at=printed_at,
    )
    with closing(pen):
        blocks = _blocks(pen, words, plates, sheet)
        pages = paginate(blocks, first_top=MARGIN, top=_TOP, bottom=HEIGHT - MARGIN - _FOOT)
        draw(pen, pages, _Head(words, title, sheet).draw, _Foot(pen, words, sheet, printed_at).draw)
        return pen.bytes()


class _Head:
    """The head of every page but the first, which has a larger one of its own."""

    def __init__(self, words: Words, title: str, sheet: ContextSheet) -> None:
        self.title = title
        self.warning = words.say("hold_here") if sheet.figures.holds_open else ""

    def draw(self, pen: Pen, page: int, of: int) -> None:
        if page == 1:
            return
        base = MARGIN + BODY * MM
        pen.text(MARGIN, base, _shortened(pen, self.title, 90), BODY, bold=True)
        right = WIDTH - MARGIN - pen.bold_type.width(self.warning, TABLE)
        pen.text(right, base, self.warning, TABLE, bold=True)
        pen.line(MARGIN, MARGIN + 6, WIDTH - MARGIN, MARGIN + 6, THIN)


class _Foot:
    """The foot of every page: the legend where a plate is, who read the bones, when and from what it was printed."""

    def __init__(self, pen: Pen, words: Words, sheet: ContextSheet, printed_at: datetime) -> None:
        self.words = words
        self.legend = Legend(pen, words, ROOM)
        self.printed = words.say(
            "footer_printed", at=words.when(printed_at.isoformat()), source=sheet.source, format=sheet.format
        )

    def draw(self, pen: Pen, page: int, of: int, has_plate: bool) -> None:
        y = HEIGHT - MARGIN - _FOOT + 3
        if has_plate:
            self.legend.draw(pen, MARGIN, y)
        y += self.legend.height + 1.5
        pen.line(MARGIN, y, WIDTH - MARGIN, y, HAIR)
        count, pitch = self.words.say("page", page=page, of=of), TABLE * MM * LEAD
        pen.text(MARGIN, y + pitch, self.words.say("footer_stage"), TABLE)
        pen.text(WIDTH - MARGIN - pen.bold_type.width(count, TABLE), y + pitch, count, TABLE, bold=True)
        pen.text(MARGIN, y + 2 * pitch, _shortened(pen, self.printed, ROOM, TABLE), TABLE)


def _shortened(pen: Pen, text: str, width: float, size: float = BODY) -> str:
    """The text on one line; what does not fit ends in an ellipsis (it stands in full on the first page)."""
    lines = pen.type.lines(text, size, width * 0.92)
    return lines[0] if len(lines) == 1 else f"{lines[0]} …"


def _blocks(pen: Pen, words: Words, plates: PlateBook, sheet: ContextSheet) -> list[Box]:
    labels = sheet.labels
    shown = [one for one in sheet.dockets if one.life != "deleted" or one.hold]
    blocks: list[Box] = [_head(pen, words, sheet), *front_banners(pen, words, sheet, ROOM)]
    blocks.append(_summary(pen, words, sheet))
    bodies = skeletons(pen, words, sheet, ROOM)
    if bodies:
        blocks.append(bodies)
    blocks += [difference_box(pen, words, plates, one, ROOM, labels) for one in sheet.differences]
    blocks += problem_boxes(pen, words, sheet.problems, ROOM)
    if sheet.notes:
        blocks.append(_titled(pen, words.say("notes"), note_boxes(pen, words, sheet.notes, ROOM)))
    if sheet.bags:
        blocks.append(_bags(pen, words, sheet))
    for bag in sheet.bags:
        inside = [difference_box(pen, words, plates, one, ROOM, labels) for one in bag.differences]
        inside += problem_boxes(pen, words, bag.problems, ROOM)
        if inside:
            blocks.append(_titled(pen, words.say("docket.bag", bag=bag.label), inside))
    if sheet.groups:
        blocks.append(_groups(pen, words, sheet))
    for group in sheet.groups:
        inside = [difference_box(pen, words, plates, one, ROOM, labels) for one in group.differences]
        inside += problem_boxes(pen, words, group.problems, ROOM) + note_boxes(pen, words, group.notes, ROOM)
        if inside:
            blocks.append(_titled(pen, words.say("docket.groups", labels=group.label), inside))
    dockets: list[Box] = [docket_block(pen, words, plates, sheet, one, labels, ROOM) for one in shown]
    if dockets:
        # The heading stays with the first docket.
        heading = Text(pen, words.say("dockets"), ROOM, BODY + 2, bold=True)
        blocks.append(Stack([heading, dockets[0]], gap=1.0))
        blocks += dockets[1:]
    else:
        blocks.append(Text(pen, words.say("empty"), ROOM, BODY))
    deleted = [one for one in sheet.dockets if one.life == "deleted"]
    if deleted:
        rows = [[one.label, words.title(one.reading), words.said(*one.deletions)] for one in deleted]
        head = ["", words.say("deleted.reading"), words.say("deleted.by")]
        blocks.append(_titled(pen, words.say("deleted"), [table(pen, head, rows, [36.0, 70.0, 80.0])]))
    return blocks


def _titled(pen: Pen, title: str, boxes: Sequence[Box]) -> Stack:
    again = Text(pen, title, ROOM, BODY, bold=True)
    return Stack([Text(pen, title, ROOM, BODY + 1, bold=True), *boxes], gap=1.0, again=again)


def _head(pen: Pen, words: Words, sheet: ContextSheet) -> Stack:
    number = sheet.number or words.say("no_number")
    top = Row(
        [
            Text(pen, f"{sheet.site_code}  {sheet.site_name}".strip(), ROOM - 62, BODY + 2, bold=True),
            Text(pen, words.say("title"), 60.0, BODY + 2, right=True),
        ],
        2.0,
    )
    boxes: list[Box] = [top, Text(pen, words.say("context", number=number), ROOM, 20, bold=True), Rule(ROOM, THIN)]
    rows = [
        one_fact(words, name, getattr(sheet, name), sheet.differences, of)
        for name, of in (
            ("type", "context_type"),
            ("trench", ""),
            ("phase", ""),
            ("state", "context_state"),
            ("grave_like", ""),
        )
    ]
    third = (ROOM - 8) / 3
    boxes.append(Row([facts(pen, rows[:2], third), facts(pen, rows[2:4], third), facts(pen, rows[4:], third)], 4.0))
    if sheet.deleted:
        boxes.append(Text(pen, words.say("deleted_context"), ROOM, BODY, bold=True))
    if sheet.licensed:
        licence = words.say("cautions.licensed", licence=sheet.licence or words.say("no_licence"))
        boxes.append(Text(pen, licence, ROOM, BODY, bold=True))
    return Stack(boxes, gap=0.8)


def _summary(pen: Pen, words: Words, sheet: ContextSheet) -> Stack:
    left, right = 76.0, ROOM - 80.0
    figures = sheet.figures
    rows = [[_heading(words, row), *_cells(words, row)] for row in figures.rows]
    rows.append([words.say("rows.total"), *_cells(words, figures.total)])
    head = [words.say(f"rows.{one}") for one in ("taxon", "dockets", "fragments", "weight")]
    counts = table(pen, head, rows, [right - 3 * 21 - 6, 19.0, 21.0, 23.0])
    remarks = [words.say("summary.range")]
    if figures.uncounted:
        remarks.append(words.say("summary.uncounted", n=figures.uncounted))
    if figures.unweighed:
        remarks.append(words.say("summary.unweighed", n=figures.unweighed))
    body = Row(
        [
            facts(pen, _counts(words, figures), left, left - 22),
            Stack([counts, Space(0.6), Text(pen, " ".join(remarks), right, TABLE)]),
        ],
        4.0,
    )
    boxes: list[Box] = [Text(pen, words.say("summary"), ROOM, BODY + 2, bold=True), body]
    for key, chosen in (
        ("disagreements", _in_dispute(words, sheet)),
        ("impossible", [one.label for one in sheet.dockets if any(p.level == "impossible" for p in one.problems)]),
        ("not_excluded", [one.label for one in sheet.dockets if one.answer == human.NOT_EXCLUDED]),
    ):
        if chosen:
            boxes.append(Text(pen, words.say(f"summary.where_{key}", labels=", ".join(chosen)), ROOM, TABLE))
    return Stack(boxes, gap=1.0)


def _in_dispute(words: Words, sheet: ContextSheet) -> list[str]:
    """Where disagreements are open: the context, bags and groups first, then dockets with their holds."""

    def open_at(differences: Sequence[Difference]) -> bool:
        return any(not one.precision for one in differences)

    found = [words.say("summary.context")] if open_at(sheet.differences) else []
    found += [words.say("docket.bag", bag=bag.label) for bag in sheet.bags if open_at(bag.differences)]
    found += [group.label for group in sheet.groups if open_at(group.differences)]
    for docket in sheet.dockets:
        if docket.life == "disputed" or open_at(
            [*docket.differences, *(docket.hold.differences if docket.hold else ())]
        ):
            found.append(docket.label)
    return found


def _counts(words: Words, figures: Figures) -> list[tuple[str, str, str]]:
    shown: list[tuple[str, str]] = [
        ("dockets", words.span(figures.total.dockets)),
        ("fragments", words.span(figures.total.fragments)),
        ("holds_open", str(figures.holds_open)),
        ("not_asked", str(figures.answers.get(human.NOT_ASKED, 0))),
        ("not_excluded", str(figures.answers.get(human.NOT_EXCLUDED, 0))),
        ("disagreements", str(figures.disagreements)),
        ("precision", str(figures.precision)),
        *((level, str(figures.problems.get(level, 0))) for level in ("impossible", "check", "note")),
    ]
    for key, n in (
        ("no_sign", figures.answers.get(human.NO_SIGN, 0)),
        ("non_human", figures.answers.get(human.NON_HUMAN, 0)),
        ("holds_released", figures.holds_released),
        ("deleted", figures.deleted),
    ):
        if n:
            shown.append((key, str(n)))
    rows = [(words.say(f"summary.{key}"), value, "") for key, value in shown]
    known = ("impossible", "check", "note")
    rows += [
        (words.say("summary.problems", level=level), str(n), "")
        for level, n in sorted(figures.problems.items())
        if level not in known
    ]
    return rows


def _heading(words: Words, row: TaxonRow) -> str:
    kind, value = row.heading
    if kind == "apart":
        return words.say(f"rows.{value}")
    return words.say("rows.no_taxon") if value is None else words.word(kind, value)


def _cells(words: Words, row: TaxonRow) -> list[str]:
    weight = words.say("rows.unweighed") if row.weight_g is None else words.span(row.weight_g)
    return [words.span(row.dockets), words.span(row.fragments), weight]


def _bags(pen: Pen, words: Words, sheet: ContextSheet) -> Stack:
    names = (("recovery", ""), ("mesh_mm", ""), ("state", "bag_state"), ("box", ""))
    head = [words.say("bags"), *(words.field(name) for name, _ in names), words.say("bags.dockets")]
    rows = []
    for bag in sheet.bags:
        label = words.say("bags.deleted", label=bag.label) if bag.deleted else bag.label
        cells = [marked(one_fact(words, name, getattr(bag, name), bag.differences, of)) for name, of in names]
        if bag.mesh_mm is None and bag.recovery == "hand" and not bag.differences:
            cells[1] = ""
        rows.append([label, *cells, str(bag.dockets)])
    return table(pen, head, rows, [38.0, 32.0, 24.0, 34.0, 32.0, 20.0])


def _groups(pen: Pen, words: Words, sheet: ContextSheet) -> Stack:
    head = [words.say("groups"), words.field("relation"), words.say("groups.members")]
    rows = [
        [one.label, marked(one_fact(words, "relation", one.relation, one.differences)), ", ".join(one.members)]
        for one in sheet.groups
    ]
    return table(pen, head, rows, [40.0, 52.0, 94.0])
