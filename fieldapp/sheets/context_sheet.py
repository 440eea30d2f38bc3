"""The context bone sheet as a PDF: everything recorded about the bone of one context, on A4.

For: `render`, from a gathered ContextSheet to the bytes of a file (PDF/A-1b, the same bytes for the same sheet and
time). Not for: gathering records, or any other kind of sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from datetime import datetime

from fieldapp.domain import human
from fieldapp.sheets.boxes import Box, Row, Rule, Stack, Text, table
from fieldapp.sheets.docket_block import docket_block, note_boxes, problem_boxes
from fieldapp.sheets.edges import Edges, new_pen, title_of
from fieldapp.sheets.entries import ContextSheet, Difference, Figures, RecoveryRow, TaxonRow
from fieldapp.sheets.hold_banner import front_banners
from fieldapp.sheets.page import ROOM, draw
from fieldapp.sheets.pen import THIN, Pen
from fieldapp.sheets.photo_box import photo_boxes
from fieldapp.sheets.plate_drawing import Legend, PlateBook
from fieldapp.sheets.skeleton_box import skeletons
from fieldapp.sheets.tally_box import tally_boxes
from fieldapp.sheets.type import BODY, TABLE
from fieldapp.sheets.versions import difference_box, facts, marked, one_fact
from fieldapp.sheets.words import NOTHING, Words

Pictures = Mapping[str, bytes]
"""{SHA-256: JPEG} of the photographs that are to be printed."""


def render(
    sheet: ContextSheet,
    plates: PlateBook,
    texts: Mapping[str, str],
    printed_at: datetime,
    pictures: Pictures | None = None,
) -> bytes:
    """The sheet as a PDF/A-1b file. `printed_at` carries its zone; it is the file's date. `pictures`: None prints no
    photographs at all.

    Raises ValueError for a time without a zone.
    """
    words = Words(texts)
    title = title_of(words, sheet)
    with closing(new_pen(words, f"{title}: {words.say('title')}", words.say("subject"), printed_at)) as pen:
        _draw(pen, words, sheet, plates, printed_at, pictures)
        return pen.bytes()


def render_all(
    sheets: Iterable[ContextSheet],
    plates: PlateBook,
    texts: Mapping[str, str],
    printed_at: datetime,
    *,
    title: str,
    pictures: Callable[[ContextSheet], Pictures | None] = lambda _: None,
) -> bytes:
    """Many sheets as one file, a bookmark each; pages are counted sheet by sheet. Sheets are taken one by one, so that
    no more than one has to be gathered at a time."""
    words = Words(texts)
    with closing(new_pen(words, f"{title}: {words.say('title')}", words.say("subject"), printed_at)) as pen:
        for sheet in sheets:
            _draw(pen, words, sheet, plates, printed_at, pictures(sheet), title_of(words, sheet))
        return pen.bytes()


def _draw(
    pen: Pen,
    words: Words,
    sheet: ContextSheet,
    plates: PlateBook,
    printed_at: datetime,
    pictures: Pictures | None,
    bookmark: str = "",
) -> None:
    edges = Edges(
        pen,
        words,
        title_of(words, sheet),
        printed_at,
        sheet.source,
        warning=words.say("hold_here") if sheet.figures.holds_open else "",
        legend=Legend(pen, words, ROOM),
        line=words.say("footer_stage"),
    )
    blocks = _blocks(pen, words, plates, sheet, pictures)
    draw(pen, edges.paginate(blocks), edges.head, edges.foot, bookmark)


def _blocks(pen: Pen, words: Words, plates: PlateBook, sheet: ContextSheet, pictures: Pictures | None) -> list[Box]:
    labels = sheet.labels
    shown = [one for one in sheet.dockets if one.life != "deleted" or one.hold]
    blocks: list[Box] = [_head(pen, words, sheet), *front_banners(pen, words, sheet, ROOM)]
    blocks += _summary(pen, words, sheet)
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
    tallies = tally_boxes(pen, words, sheet, ROOM)
    for tally in sheet.tallies:
        if not tally.deleted:
            tallies += [difference_box(pen, words, plates, one, ROOM, labels) for one in tally.differences]
    if tallies:
        blocks.append(_titled(pen, words.say("tallies"), tallies))
    if pictures is not None:
        own = [one for one in sheet.photos if not one.docket]
        shots = photo_boxes(pen, words, own, pictures, ROOM)
        if sheet.photos_closed:
            shots.append(Text(pen, words.say("photos.closed", n=sheet.photos_closed), ROOM, TABLE, bold=True))
        if shots:
            blocks.append(_titled(pen, words.say("photos"), shots))
    dockets: list[Box] = [docket_block(pen, words, plates, sheet, one, labels, ROOM, pictures) for one in shown]
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
    rows.append(
        (words.field("recovery"), words.ways((one.recovery, one.mesh_mm) for one in sheet.bags if not one.deleted), "")
    )
    if sheet.locked:
        rows[3] = (rows[3][0], words.say("head.locked", state=rows[3][1]), rows[3][2])
    third = (ROOM - 8) / 3
    boxes.append(Row([facts(pen, rows[:2], third), facts(pen, rows[2:4], third), facts(pen, rows[4:], third)], 4.0))
    if sheet.deleted:
        boxes.append(Text(pen, words.say("deleted_context"), ROOM, BODY, bold=True))
    if sheet.licensed:
        licence = words.say("cautions.licensed", licence=sheet.licence or words.say("no_licence"))
        boxes.append(Text(pen, licence, ROOM, BODY, bold=True))
    return Stack(boxes, gap=0.8)


def _summary(pen: Pen, words: Words, sheet: ContextSheet) -> list[Box]:
    left, right = 68.0, ROOM - 72.0
    figures = sheet.figures
    rows = [[heading_of(words, row), *_cells(words, row)] for row in figures.rows]
    rows.append([words.say("rows.total"), *_cells(words, figures.total)])
    head = [words.say(f"rows.{one}") for one in ("taxon", "dockets", "pieces", "nisp", "weight")]
    counts = table(pen, head, rows, [right - 2 * 18 - 16 - 20 - 8, 18.0, 18.0, 16.0, 20.0])
    body = Row([facts(pen, _counts(words, figures), left, left - 18), counts], 4.0)
    blocks: list[Box] = [Stack([Text(pen, words.say("summary"), ROOM, BODY + 2, bold=True), body], gap=1.0)]
    if figures.by_recovery:
        blocks.append(by_recovery(pen, words, figures.by_recovery, ROOM))
    remarks = [words.say("summary.range")]
    if figures.uncounted:
        remarks.append(words.say("summary.uncounted", n=figures.uncounted))
    if figures.unweighed:
        remarks.append(words.say("summary.unweighed", n=figures.unweighed))
    said = [words.say("summary.definitions"), " ".join(remarks)]
    boxes: list[Box] = [Text(pen, one, ROOM, TABLE) for one in said]
    for key, chosen in (
        ("disagreements", _in_dispute(words, sheet)),
        ("impossible", [one.label for one in sheet.dockets if any(p.level == "impossible" for p in one.problems)]),
        ("not_excluded", [one.label for one in sheet.dockets if one.answer == human.NOT_EXCLUDED]),
    ):
        if chosen:
            boxes.append(Text(pen, words.say(f"summary.where_{key}", labels=", ".join(chosen)), ROOM, TABLE))
    return [*blocks, Stack(boxes, gap=1.0)]


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
        ("pieces", words.span(figures.total.pieces)),
        ("nsp", words.span(figures.nsp)),
        ("nisp", words.span(figures.total.nisp)),
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


def heading_of(words: Words, row: TaxonRow) -> str:
    """What a row of the summary is of."""
    kind, value = row.heading
    if kind == "apart":
        return words.say(f"rows.{value}")
    return words.say("rows.no_taxon") if value is None else words.word(kind, value)


def _cells(words: Words, row: TaxonRow) -> list[str]:
    # Where nothing can be identified, a nought would say that somebody had tried.
    nisp = words.span(row.nisp) if row.nisp.high or row.heading[0] == "total" else NOTHING
    return [words.span(row.dockets), words.span(row.pieces), nisp, weight_of(words, row)]


def weight_of(words: Words, row: TaxonRow | RecoveryRow) -> str:
    """The weight of a row in words: what was not weighed is not nought."""
    return words.say("rows.unweighed") if row.weight_g is None else words.span(row.weight_g)


def by_recovery(pen: Pen, words: Words, rows: Sequence[RecoveryRow], width: float) -> Stack:
    """The same figures by how it was got: by hand and from the sieve are never mixed unsaid."""
    head = [words.say(f"rows.{one}") for one in ("recovery", "pieces", "nsp", "nisp", "weight")]
    shown = [
        [words.way(one.recovery, one.mesh_mm), *map(words.span, (one.pieces, one.nsp, one.nisp)), weight_of(words, one)]
        for one in rows
    ]
    return table(pen, head, shown, [width - 2 * 18 - 16 - 20 - 8, 18.0, 18.0, 16.0, 20.0])


def _bags(pen: Pen, words: Words, sheet: ContextSheet) -> Stack:
    names = (("recovery", ""), ("mesh_mm", ""), ("state", "context_state"), ("box", ""))
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
