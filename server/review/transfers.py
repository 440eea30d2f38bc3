"""Transfers: what was sent away, sampled, lent, shown or thrown away, by whose leave; and the forms about them.

What may be human is not sent from here. While a bone stands on hold nothing is written, whoever asks: its hand-overs
are lines of the hold's log, and what may be done with it is for the law and the licence to say. Of bone assessed as
human the licence's or permission's number is asked for; of bone that "human not excluded" is said of, whoever uses it
up or throws it away has to say that they know. What stays wrong is named by the rules (domain.rules.transfers).
Not here: the log of a hold.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.labels import LabelError
from fieldapp.domain.labels import read as read_label
from fieldapp.domain.rules.transfers import DESTRUCTIVE, DISCARD
from fieldapp.records import standing
from fieldapp.records.fold import Record
from fieldapp.records.moments import moment
from server.ledger import bags as asking
from server.ledger.ledger import Edit
from server.ledger.lines import sort_key
from server.review import bags, desk, given, once, words
from server.review.desk import pages
from server.review.given import NoFigure
from server.review.showing import Showing, as_text, label
from server.review.tables import Column, Table

TEXTS = ("to", "authority", "reference", "lab_code")
FIGURES = ("taken_g", "remainder_g")
FIELDS = ("kind", *TEXTS, *FIGURES, "photo_before", "measured_before", "back")
LAST = (DESTRUCTIVE, DISCARD)
"""Kinds after which the bone cannot be looked at again."""
MOST = 200
"""Bags and dockets at a time."""


@dataclass(frozen=True, slots=True)
class Line:
    """A transfer in the list. `what`: the docket's or the bag's label; `about` its id."""

    record: Record
    kind: str
    sort: str
    about: str
    what: str
    at: str

    @property
    def out(self) -> bool:
        """Whether it has not come back."""
        return self.record.value("back") is not True and self.kind not in bags.STAYS


@dataclass(frozen=True, slots=True)
class Caution:
    """What the human question says against a transfer: "stops", "reference" or "sure", and the dockets it is about."""

    why: str
    dockets: tuple[Record, ...]


def _said(line: Line) -> dict[str, str]:
    words_ = {name: as_text(line.record.value(name)) for name in TEXTS}
    return {"what": line.what, "kind": words.word("transfer_kind", line.kind), **words_}


def _by(name: str) -> Column[Line]:
    return Column(name, lambda one: sort_key(said) if (said := _said(one)[name]) else None)


COLUMNS: tuple[Column[Line], ...] = (
    *map(_by, ("what", "kind", "to", "authority", "reference", "lab_code")),
    Column("at", lambda one: moment(one.at) or None, many_first=True),
)
ONLY: dict[str, Callable[[Line], bool]] = {
    "out": lambda one: one.out,
    "back": lambda one: one.record.value("back") is True,
    "destructive": lambda one: one.kind == DESTRUCTIVE,
    "no_authority": lambda one: not one.record.value("authority"),
}


@pages.get("/transfers")
@desk.needs_sign_in
def transfers() -> Response:
    """All transfers, and the form for new ones; `?what=` puts labels into it."""
    return _list(form={"what": request.args.get("what", "")[:200]})


@pages.post("/transfers")
@desk.needs_sign_in
def transfer_make() -> Response:
    """`once`; `what`: labels of bags or dockets, one a line; `kind`, `to`, `authority`, `reference`, `lab_code`,
    `taken_g`, `remainder_g`, `measured_before`, `sure`: one transfer for each."""
    desk.must("keep_bags")
    mark = uuid.UUID(once.given())
    form = {"what": desk.pasted("what"), **{name: desk.field(name) for name in (*FIELDS, "sure")}}
    lines = list(dict.fromkeys(line.strip() for line in form["what"].splitlines() if line.strip()))
    fault, values = _values(form)
    if not fault and not 0 < len(lines) <= MOST:
        fault = "what"
    if not fault and len(lines) > 1 and not set(values).isdisjoint(FIGURES):
        fault = "figures_many"
    if fault:
        return _list(400, fault=fault, form=form)
    found, unknown = _found_by_label(lines)
    if unknown:
        return _list(400, fault="unknown", unknown=unknown, form=form)
    caution = _caution(found, values, sure=form["sure"] == "yes")
    if caution is not None:
        return _list(409 if caution.why == "stops" else 400, caution=caution, form=form)
    ledger, me = desk.ledger(), desk.me()
    made = {str(uuid.uuid5(mark, one.id)): one for one in found}
    with ledger.database.writing() as connection:
        new = {key: one for key, one in made.items() if ledger.record_in(connection, key) is None}
        edits = [Edit("transfer", key, {one.kind: one.id, **values}, {}) for key, one in new.items()]
        ledger.write_many_in(connection, edits, me.by)
        for one in new.values():
            fields = {"name": me.name, "role": me.role, "label": label(one)}
            ledger.note_in(connection, "transfer_made", me.person, fields)
    if new:
        desk.desk().written()
    if len(made) == 1:
        return redirect(url_for("review.transfer", transfer=next(iter(made)), done="made"))
    return redirect(url_for("review.transfers", done="made", n=len(made)))


@pages.get("/transfer/<transfer>")
@desk.needs_sign_in
def transfer(transfer: str) -> Response:
    """One transfer."""
    return _page(_found(transfer))


@pages.post("/transfer/<transfer>")
@desk.needs_sign_in
def transfer_keep(transfer: str) -> Response:
    """`heads`, and the fields of the form: what has become of it. `back`: it has come back; `note`."""
    desk.must("keep_bags")
    record = _found(transfer)
    shown = given.shown(record, FIELDS).agreed()
    form = {name: desk.field(name) for name in (*FIELDS, "note", "sure")}
    fault, values = _values(form)
    if fault:
        return _page(record, 400, fault=fault, form=form)
    changes = given.changed(shown, values)
    about = _about(record)
    if changes.get("photo_before") not in (None, *(about.linked("photo") if about is not None else ())):
        abort(400)
    if set(changes) - {"back"}:
        # That something is back is always written; nothing else is of what stands on hold, by anybody's word of what
        # was sent.
        caution = _caution(_all_about(record), {**record.values(), **values}, sure=form["sure"] == "yes")
        if caution is not None:
            return _page(record, 409 if caution.why == "stops" else 400, caution=caution, form=form)
    if form["note"]:
        changes[f"note/{desk.ledger().new_id()}"] = {"text": form["note"], "stage": "analysis"}
    if changes:
        desk.write("transfer", transfer, changes, shown.all_of(changes))
        desk.acted("transfer_changed", about.id if about is not None else transfer)
    return redirect(url_for("review.transfer", transfer=transfer, done="kept"))


def _values(form: Mapping[str, str]) -> tuple[str, dict[str, Any]]:
    """What is wrong with a form, as a key, and the values of its fields."""
    if form["kind"] not in knowledge().words["transfer_kind"]:
        return "kind", {}
    try:
        figures = {name: given.figure(name) for name in FIGURES}
    except NoFigure as fault:
        return f"figure.{fault}", {}
    said = {name: form[name] or None for name in ("kind", *TEXTS, "photo_before")}
    ticked = {name: True if form[name] == "yes" else None for name in ("measured_before", "back")}
    return "", {name: value for name, value in {**said, **figures, **ticked}.items() if value is not None or _is_open()}


def _is_open() -> bool:
    """Whether the form is about a transfer that is there, where an empty field takes something away."""
    return "heads" in request.form


def _found_by_label(lines: Iterable[str]) -> tuple[list[Record], list[str]]:
    """The bags and dockets that labels mean, and the lines that mean none, or several."""
    site = as_text(desk.ledger().site().value("code"))
    tidy = {line: _tidy(line, site) for line in lines}
    with desk.ledger().database.reading() as connection:
        found: dict[str, list[Record]] = {}
        for kind in ("docket", "bag"):
            for text, records in asking.labelled(connection, kind, set(tidy.values())).items():
                found.setdefault(text, []).extend(records)
    one = {line: found[text][0] for line, text in tidy.items() if len(found.get(text, [])) == 1}
    return list({each.id: each for each in one.values()}.values()), [line for line in tidy if line not in one]


def _tidy(line: str, site: str) -> str:
    for text in (line, f"{site} {line}"):
        try:
            return str(read_label(text))
        except LabelError:
            continue
    return line


def _caution(about: Iterable[Record], values: Mapping[str, Any], *, sure: bool) -> Caution | None:
    """What stands against sending these; the most serious alone."""
    found: dict[str, dict[str, Record]] = {}
    for one in about:
        for docket, answer in _bones(one):
            found.setdefault(answer, {})[docket.id] = docket
    held = [*found.get(human.STOP, {}).values(), *found.get(human.QUERY, {}).values()]
    if held:
        return Caution("stops", tuple(held))
    if human.HUMAN in found and not values.get("reference"):
        return Caution("reference", tuple(found[human.HUMAN].values()))
    minded = [*found.get(human.NOT_EXCLUDED, {}).values(), *found.get(human.HUMAN, {}).values()]
    if minded and values.get("kind") in LAST and not sure:
        return Caution("sure", tuple(minded))
    return None


def _bones(one: Record) -> list[tuple[Record, str]]:
    """(docket, where its bone stands) of a docket, or of all that lies in a bag: the most cautious of those joined."""
    ledger, who = desk.ledger(), desk.authority()
    with ledger.database.reading() as connection:
        inside = [one] if one.kind == "docket" else asking.inside(connection, [one.id])
        there, joined = [each for each in inside if each.kind == "docket"], asking.same_bones(connection)
    others = ledger.get(other for each in there for other in joined.get(each.id, ()))
    found = []
    for each in there:
        bone = [each, *(others[other] for other in joined.get(each.id, ()) if other in others)]
        found.append((each, standing.joined_answer(bone, who)))
    # What was deleted, or is in dispute about its bag, lies in it all the same while it stands on hold.
    if one.kind == "bag":
        found += [(hold.docket_record, hold.answer) for hold in bags.holds_in([one.id]) if hold.docket_record]
    return found


def _about(record: Record) -> Record | None:
    return desk.ledger().record(as_text(record.value("docket") or record.value("bag")))


def _all_about(record: Record) -> list[Record]:
    """Every docket and bag that a version of the transfer says it is about."""
    said = {as_text(one) for path in ("docket", "bag") for one in record.heads.get(path, {}).values()}
    return list(desk.ledger().get(said - {""}).values())


def _asked(record: Record) -> list[str]:
    disputed = record.disagreements()
    return [path for path in FIELDS if path not in disputed]


def _found(transfer: str) -> Record:
    found = desk.ledger().record(transfer)
    return found if found is not None and found.kind == "transfer" else abort(404)


def _lines() -> list[Line]:
    ledger = desk.ledger()
    found = ledger.records("transfer")
    about = {one.id: as_text(one.value("docket") or one.value("bag")) for one in found}
    others = ledger.get(set(about.values()))
    # Who said what it is of has made it: what became of it is written later, and over other fields.
    began = {one.id: [*one.heads.get("docket", ()), *one.heads.get("bag", ())] for one in found}
    who = Showing(ledger)
    who.said(change for changes in began.values() for change in changes)
    made = [
        Line(
            one,
            as_text(one.value("kind")),
            "docket" if one.value("docket") else "bag",
            about[one.id],
            label(others.get(about[one.id])),
            who.said(began[one.id])[0].at if began[one.id] else "",
        )
        for one in found
    ]
    return sorted(made, key=lambda one: (moment(one.at), one.record.id), reverse=True)


def _list(status: int = 200, **values: Any) -> Response:
    table = Table(_lines(), COLUMNS, text=lambda one: " ".join(_said(one).values()), only=ONLY)
    usual: dict[str, Any] = {"fault": "", "unknown": [], "caution": None}
    return desk.page(
        "transfers",
        status,
        table=table,
        kinds=knowledge().words["transfer_kind"],
        once=once.new(),
        label=label,
        done=request.args.get("done") == "made",
        n=request.args.get("n", 0, int),
        **{**usual, **values},
    )


def _page(
    record: Record, status: int = 200, *, fault: str = "", caution: Caution | None = None, form: Any = None
) -> Response:
    ledger, showing, asked = desk.ledger(), Showing(desk.ledger()), _asked(record)
    about = _about(record)
    photos = ledger.get(about.linked("photo")).values() if about is not None else ()
    now = {name: as_text(record.value(name)) for name in ("kind", *TEXTS, *FIGURES, "photo_before")}
    ticked = {name: "yes" if record.value(name) is True else "" for name in ("measured_before", "back")}
    done = request.args.get("done", "")
    return desk.page(
        "transfer",
        status,
        transfer=record,
        about=about,
        sort="docket" if record.value("docket") else "bag",
        label=label,
        fields=[one for one in showing.fields(record) if one.path not in ("docket", "bag")],
        notes=showing.notes(record),
        kinds=knowledge().words["transfer_kind"],
        photos=[one for one in photos if one.life() != "deleted" and not any(one.heads.get("closed", {}).values())],
        asked=asked,
        heads=given.heads(record, asked, again=form is not None),
        form=form or {**now, **ticked},
        fault=fault,
        caution=caution,
        done=done if done in ("made", "kept") else "",
        problems=ledger.problems(record=record.id),
    )
