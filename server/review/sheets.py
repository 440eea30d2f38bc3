"""Printed things from the desk: sheets of a context full and compact, labels, blanks, trenches, hold logs.

Not here: what is on them and how they look (fieldapp.sheets), which records belong on one (server.ledger.placing).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from io import BytesIO

from flask import abort, request, send_file
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from fieldapp.records.fold import Record
from fieldapp.sheets.blank import known_of, render_blank
from fieldapp.sheets.compact import render_compact
from fieldapp.sheets.context_sheet import Pictures, render, render_all
from fieldapp.sheets.edges import title_of
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.hold_log import render_hold
from fieldapp.sheets.labels import SIZES, Tag, box_tags, render_labels, tags_of
from fieldapp.sheets.photo_box import printed
from fieldapp.sheets.plate_drawing import PlateBook, bundled_plates
from fieldapp.sheets.selecting import in_trench, of_context, trenches_of
from fieldapp.sheets.trench import render_summary, summary_of
from fieldapp.sheets.words import Words
from server.ledger import Ledger
from server.review import blind, closing, desk, words
from server.review import photos as pictures
from server.review.desk import pages
from server.review.showing import label, said_by

PHOTOS = ("none", "colour", "grey")
MOST_BLANKS = 60
PART = 20
"""So many contexts are printed in one go unless more are asked for: no more than a second or two of waiting."""
NAMED = 12
"""So many dockets are named where a sheet is not printed."""


@pages.get("/context/<context>/print")
@desk.needs_sign_in
def printing(context: str) -> Response:
    """What can be printed of a context, and of its trench."""
    return _printing(_context(context))


def _printing(record: Record, status: int = 200, fault: str = "") -> Response:
    contexts = desk.ledger().records("context")
    trenches = [(one, len(found), _parts(found)) for one in trenches_of(record) if (found := in_trench(contexts, one))]
    shown = {"id": record.id, "number": words.plain(record.value("number")), "trenches": trenches, "fault": fault}
    return desk.page("printing", status, sizes=list(SIZES), photos=PHOTOS, most=MOST_BLANKS, **shown)


@pages.get("/context/<context>/sheet.pdf")
@desk.needs_sign_in
def sheet(context: str) -> Response:
    """The sheet of a context as it stands now. Exact places are not on it, whoever asks, nor closed pictures."""
    record = _context(context)
    here = _gathered(record)
    if hidden := _hidden(here):
        return _blind(record, hidden)
    return _pdf(render(here, _plates(), texts(), desk.ledger().clock(), _asked_pictures()(here)), label(record))


@pages.get("/context/<context>/compact.pdf")
@desk.needs_sign_in
def compact(context: str) -> Response:
    """The same in few pages: a line a fragment."""
    record = _context(context)
    here = _gathered(record)
    if hidden := _hidden(here):
        return _blind(record, hidden)
    return _pdf(render_compact(here, texts(), desk.ledger().clock()), f"{label(record)}_compact")


@pages.get("/context/<context>/labels.pdf")
@desk.needs_sign_in
def labels(context: str) -> Response:
    """Labels for the bags of a context, or for the boxes they lie in. No number is handed out here: a bag has one."""
    record = _context(context)
    size = SIZES.get(request.args.get("size", next(iter(SIZES))))
    if size is None:
        abort(400)
    here, said = _gathered(record), Words(texts())
    if request.args.get("of") == "boxes":
        tags = _boxes(here, said)
    else:
        tags = tags_of(here, said)
    if not tags:
        return _printing(record, 404, words.say("printing.labels.none"))
    pdf = render_labels(tags, size, texts(), desk.ledger().clock(), title=title_of(said, here))
    return _pdf(pdf, f"{label(record)}_labels")


@pages.get("/blank.pdf")
@desk.needs_sign_in
def blank() -> Response:
    """An empty sheet for a pencil; `context` names one that is known, so that its number stands on it."""
    found = desk.ledger().record(request.args.get("context", ""))
    record = found if found is not None and found.kind == "context" else None
    dockets = min(max(1, request.args.get("dockets", 5, int)), MOST_BLANKS)
    pdf = render_blank(
        desk.ledger().site(),
        dockets,
        _plates(),
        texts(),
        desk.ledger().clock(),
        source=_source(),
        number=words.plain(record.value("number")) if record is not None else "",
        known=known_of(record),
    )
    return _pdf(pdf, "blank")


@pages.get("/trench.pdf")
@desk.needs_sign_in
def trench_summary() -> Response:
    """A trench on few pages: a line a context, and NISP by animal."""
    trench = request.args.get("trench", "")
    contexts = in_trench(desk.ledger().records("context"), trench)
    if refused := _blind_in(contexts):
        return refused
    summary = summary_of(map(_gathered, contexts), knowledge())
    if not summary.lines:
        abort(404)
    name = trench or words.text("sheets.trench.unset")
    return _pdf(render_summary(summary, name, texts(), desk.ledger().clock()), f"trench_{trench}")


@pages.get("/trench/sheets.pdf")
@desk.needs_sign_in
def trench_sheets() -> Response:
    """All sheets of a trench in one file, with bookmarks; `part`: of one part of it, from 1."""
    trench, part = request.args.get("trench", ""), request.args.get("part", 0, int)
    contexts = in_trench(desk.ledger().records("context"), trench)
    name = f"trench_{trench}_sheets"
    if part:
        contexts = contexts[(part - 1) * PART : part * PART] if part > 0 else []
        name = f"{name}_{part}"
    if not contexts:
        abort(404)
    if refused := _blind_in(contexts):
        return refused
    title = words.text("sheets.trench.of", trench=trench or words.text("sheets.trench.unset"))
    clock = desk.ledger().clock()
    pdf = render_all(map(_gathered, contexts), _plates(), texts(), clock, title=title, pictures=_asked_pictures())
    return _pdf(pdf, name)


def _parts(contexts: Sequence[Record]) -> list[tuple[int, str, str]]:
    """The parts in which a large trench can be printed: (number, its first context, its last)."""
    names = [words.plain(one.value("number")) for one in contexts]
    starts = range(0, len(names), PART) if len(names) > PART else ()
    return [(n, names[at], names[at : at + PART][-1]) for n, at in enumerate(starts, 1)]


@pages.get("/hold/<docket>/log.pdf")
@desk.needs_sign_in
def hold_log(docket: str) -> Response:
    """The log of a hold. Free words, which may name the place, only for the roles that may see what is closed; that
    they were given out is noted. The exact place is on no copy."""
    ledger = desk.ledger()
    found = next((one for one in desk.holds() if one.docket == docket), None)
    context = ledger.record(found.context) if found is not None and found.context else None
    if found is None or context is None:
        abort(404)
    with_words = closing.may_see()
    here = _gathered(context, hold_words=with_words)
    shown = next((one for one in here.dockets if one.id == docket and one.hold is not None), None)
    if shown is None:
        abort(404)
    if with_words:
        closing.seen(docket, "log")
    # The log is never kept back; whoever is to read the bone again has seen the first reading then.
    if again := blind.hidden([docket]).get(docket):
        blind.looked(again)
    pdf = BytesIO(render_hold(here, shown, texts(), ledger.clock()))
    name = "".join(one if one.isalnum() else "_" for one in shown.label)
    return send_file(pdf, mimetype="application/pdf", download_name=f"hold_{name}.pdf")


def _hidden(here: ContextSheet) -> list[str]:
    """Labels of the dockets on a sheet whose first reading is hidden from who asks for it."""
    hidden = blind.hidden(one.id for one in here.dockets)
    return [one.label or words.say("no_label") for one in here.dockets if one.id in hidden]


def _blind(record: Record, hidden: list[str]) -> Response:
    """In place of a sheet that would tell: which bones it is about, so that somebody else prints it or it is looked at
    where that is written down."""
    shown = ", ".join(hidden[:NAMED]) + (" …" if len(hidden) > NAMED else "")
    return _printing(record, 409, words.say("printing.blind", n=len(hidden), dockets=shown))


def _blind_in(contexts: Sequence[Record]) -> Response | None:
    """The same of all the sheets of a trench, or of a part of it."""
    hidden = [each for one in contexts for each in _hidden(_gathered(one))] if blind.mine() else []
    return _blind(contexts[0], hidden) if hidden else None


def _context(context: str) -> Record:
    record = desk.ledger().record(context)
    if record is None or record.kind != "context":
        abort(404)
    return record


def _pdf(data: bytes, name: str) -> Response:
    code = words.plain(desk.ledger().site().value("code"))
    shown = "".join(one if one.isalnum() else "_" for one in name) or "sheet"
    return send_file(BytesIO(data), mimetype="application/pdf", download_name=f"{code}_{shown}.pdf")


def _source() -> str:
    return words.say("sheet.source", site=words.plain(desk.ledger().site().value("name")))


def _gathered(record: Record, *, hold_words: bool = False) -> ContextSheet:
    """All that a context's sheet says. `hold_words`: the free words of hold logs too, which may name the place."""
    ledger = desk.ledger()
    records = ledger.on_sheet(record.id)
    return of_context(
        record,
        records,
        site=ledger.site(),
        authority=desk.authority(),
        knowledge=knowledge(),
        who=_who(ledger, records),
        source=_source(),
        hold_words=hold_words,
    )


def _boxes(here: ContextSheet, said: Words) -> list[Tag]:
    """Labels of the boxes that this context's bags lie in, with all the contexts that lie there too."""
    boxes = {one.box for one in here.bags if isinstance(one.box, str) and one.box and not one.deleted}
    ledger = desk.ledger()
    bags = [one for one in ledger.records("bag") if isinstance(box := one.value("box"), str) and box in boxes]
    contexts = ledger.get({one for bag in bags if isinstance(one := bag.value("context"), str)})
    return box_tags(
        here.site_code,
        [
            (str(bag.value("box")), words.plain(context.value("number")) if context else "")
            for bag in bags
            for context in [contexts.get(str(bag.value("context")))]
        ],
        said,
    )


def _asked_pictures() -> Callable[[ContextSheet], Pictures | None]:
    """What gives the pictures of a sheet as the address asks for them: none at all, in colour or in grey.

    What is closed is asked once more of all records: a bone that stands raised elsewhere closes its pictures too.
    """
    asked = request.args.get("photos", PHOTOS[0])
    if asked not in PHOTOS:
        abort(400)

    def of(sheet: ContextSheet) -> Pictures | None:
        if asked == PHOTOS[0]:
            return None
        named = {one.sha256 for one in sheet.photos}
        store = desk.desk().photos
        come = store.found(named - pictures.closed_of(named))

        def find(sha256: str) -> bytes | None:
            return store.small(come[sha256], "middle", closed=False) if sha256 in come else None

        return printed(sheet.photos, find, grey=asked == "grey")

    return of


@cache
def _plates() -> PlateBook:
    return bundled_plates()


def _who(ledger: Ledger, records: Iterable[Record]) -> dict[str, tuple[str, str, str]]:
    """{change id: (name, role, time)} of every change that stands in these records."""
    standing = {one for record in records for heads in record.heads.values() for one in heads}
    found = {one: said_by(written.change) for one, written in ledger.who(standing).items()}
    return {one: (said.name, said.role, said.at) for one, said in found.items()}
