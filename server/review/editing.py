"""Editing a docket at the desk: any field of it but the human question, by the rules of the tablet.

A change sets only what was altered, over the heads that the form showed. What rules find is shown beside the fields; a
record can always be saved. Answers to the human question that rules ask for are added with the change, as on a tablet.
Nothing is written in a locked context, and nothing that was typed is lost over a refusal.
Not here: what a form makes of texts (forms, docket_form), raising, marks (marking), contexts (editing_context).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.rules import Problem
from fieldapp.records import answers as readings
from fieldapp.records import checked, standing
from fieldapp.records.changes import canonical
from fieldapp.records.checking import answers_wanted, values_of
from fieldapp.records.fold import ADD_ONLY, DELETED, Record
from server.ledger.ledger import Edit
from server.review import blind, closing, desk, edit_lines, forms, locking, once, opened, raising
from server.review.choosing import Choosing
from server.review.desk import pages
from server.review.docket_form import DocketForm
from server.review.following import next_unchecked
from server.review.showing import label

SAVE, NEXT, CHECK_NEXT, LOOK = "save", "next", "check_next", "look"
"""What the buttons of the form do; every other button shows it again."""

_BESIDE = frozenset({*readings.READING_SLOTS, *readings.FURTHER, "portions", "fusion", "certainty", "compared"})


@pages.get("/docket/<docket>/edit")
@desk.needs_sign_in
def edit_docket(docket: str) -> Response:
    """The form over a docket. `saved`: the id of the docket before it, which was saved and led here."""
    record = _found(docket)
    desk.must("edit_docket")
    values = _values(record, record.head_ids())
    return _page(record, _form(record, values, once.new(), None), heads=_heads(record))


@pages.post("/docket/<docket>/edit")
@desk.needs_sign_in
def save_docket(docket: str) -> Response:
    """`heads`: what the form showed; `also`: what stands beside it; `once`; `do`: what its button does; `line`: typed
    over the form (edit_lines); and the fields, as in forms and docket_form."""
    record = _found(docket)
    desk.must("edit_docket")
    shown = opened.form(record)
    if not all(_is_shown(path) for path in shown.heads):
        abort(400)
    do = desk.field("do")
    if do == CHECK_NEXT:
        desk.must("check_docket")
    values = {path: shown.value(path) for path in shown.heads}
    given = sent()
    line = given.pop(edit_lines.LINE, "")
    form = _form(record, values, once.given(), given)
    heads = canonical(shown.heads)
    if line:
        told, wrong = edit_lines.taken(form, line)
        if wrong:
            return _page(record, form, 422, heads=heads, altered=form.altered(), fault="line", line=line, wrong=wrong)
        form = _form(record, values, once.given(), given | told)
    altered = form.altered()
    if do not in (SAVE, NEXT, CHECK_NEXT):
        return _page(record, form, heads=heads, altered=altered, looked=do == LOOK)
    if form.faults:
        return _page(record, form, 422, heads=heads, altered=altered, fault="faults")
    if form.asks_for_parts:
        return _page(record, form, heads=heads, altered=altered, fault="parts")
    over = shown.over(altered)
    altered = {path: value for path, value in altered.items() if not opened.done(record, path, value, over)}
    would_be = as_would_be(record, altered, over)
    where = {*desk.ledger().contexts_of([record]).values(), *desk.ledger().contexts_of([would_be]).values()}
    if locking.locked_among(where) is not None:
        return _page(record, form, 409, heads=heads, altered=altered, fault="locked")
    asked = answers_wanted(docket, record, desk.ledger().would_find(would_be)) if altered else {}
    # A hold that a rule asks for has been seen by nobody: it is shown first, and no mark covers it.
    raised = any(human.answer_of(one) in human.RAISED for one in asked.values())
    _write(would_be, altered | asked, over, shown, mark=do == CHECK_NEXT and not raised)
    if raised:
        return redirect(url_for("review.docket", docket=docket, done="rule_asks", _anchor="human"))
    return _gone_on(record, do)


def _gone_on(record: Record, do: str) -> Response:
    if do == SAVE:
        return redirect(url_for("review.docket", docket=record.id, done="saved"))
    after = next_unchecked(record)
    if after is None:
        return redirect(url_for("review.docket", docket=record.id, done="last"))
    return redirect(url_for("review.edit_docket", docket=after.id, saved=record.id))


def _write(
    record: Record, values: Mapping[str, Any], over: Mapping[str, list[str]], shown: opened.Opened, mark: bool
) -> None:
    """The change, what it raises of a hold, and the mark over what was shown and written: all of it or nothing."""
    ledger, by = desk.ledger(), desk.me().by
    seen: dict[str, list[str]] = {**opened.form(record, "also").heads, **shown.heads} if mark else {}
    edits = [Edit("docket", record.id, values, over)] if values else []
    edits += _holds(record, values)
    with ledger.database.writing() as connection:
        made = ledger.write_many_in(connection, edits, by)
        if mark:
            written = {path: [*seen.get(path, ()), made[0].id] for path in values}
            value, before = checked.mark({**seen, **written}), shown.heads.get(checked.PATH, [])
            ledger.write_in(connection, "docket", record.id, {checked.PATH: value}, {checked.PATH: before}, by)
    if values or mark:
        desk.desk().written()
    if values:
        desk.acted("docket_edited", record.id)
    if mark:
        desk.acted("checked", record.id)


def _holds(record: Record, values: Mapping[str, Any]) -> list[Edit]:
    """What the answers among `values` write of the hold: as on a tablet, where a save opens it."""
    answers = {human.answer_of(value) for path, value in values.items() if path.startswith("human/")}
    gravest = max(answers, key=human.CAUTION.__getitem__, default="")
    return raising.hold_edits(record, gravest, lifted=_lifted(record)) if gravest else []


def _lifted(record: Record) -> bool:
    """Whether anybody has said of a bone that it was lifted."""
    return any(isinstance(one, Mapping) and one.get("in_place") is False for one in record.added("human").values())


def as_would_be(record: Record, values: Mapping[str, Any], over: Mapping[str, Sequence[str]]) -> Record:
    """The record as a change that is not written yet would leave it."""
    found = Record(record.id)
    found.kinds, found.sites, found.named = record.kinds, record.sites, record.named
    found.seen_by_deletion = record.seen_by_deletion
    found.heads = {path: dict(heads) for path, heads in record.heads.items()}
    for path, value in values.items():
        stay = {one: had for one, had in found.heads.get(path, {}).items() if one not in over.get(path, ())}
        found.heads[path] = {**stay, "~": value}
    return found


def _found(docket: str) -> Record:
    record = desk.ledger().record(docket)
    # What was claimed for a docket's id and is a hold too is no fragment.
    if record is None or record.kind != "docket" or "hold" in record.kinds or record.life() == "deleted":
        abort(404)
    return record


def _is_shown(path: str) -> bool:
    """Whether the form may show a path: never an answer to the human question, nor an exact place."""
    return not path.startswith(ADD_ONLY) and path not in (DELETED, closing.PLACE)


def _values(record: Record, heads: Iterable[str]) -> dict[str, Any]:
    return {path: record.value(path) for path in heads if _is_shown(path)}


def _heads(record: Record) -> str:
    """What the form carries: the heads of all that it shows."""
    closed = closing.closed_paths(record)
    heads = record.head_ids().items()
    return canonical({path: ids for path, ids in heads if _is_shown(path) and not closing.is_closed(path, closed)})


def _also(record: Record) -> str:
    """The heads of the rest, which stands beside the form or on the docket's page."""
    return canonical({path: ids for path, ids in record.head_ids().items() if not _is_shown(path)})


def sent() -> dict[str, str]:
    """{field: text} of the form. A box to tick sends an empty text before its own: the last one counts."""
    found = {}
    for name in request.form:
        text = request.form.getlist(name)[-1]
        found[name] = text.replace("\0", "").replace("\r\n", "\n").strip()[: desk.LONGEST_TEXT]
    return found


def _form(record: Record, values: Mapping[str, Any], mark: str, given: Mapping[str, str] | None) -> DocketForm:
    closed = closing.closed_paths(record)
    return form_over({path: one for path, one in values.items() if not closing.is_closed(path, closed)}, mark, given)


def form_over(shown: Mapping[str, Any], mark: str, given: Mapping[str, str] | None) -> DocketForm:
    """A docket's form over what is shown of it: {path: value}."""
    named = {path.partition("/")[2] for path in shown if path.startswith("joins/")}
    named |= {value for path in ("bag", "context") if isinstance(value := shown.get(path), str)}
    called = {one: label(found) for one, found in desk.ledger().get(named).items() if label(found)}
    known = knowledge().at_site(values_of(desk.ledger().site()))
    return DocketForm(shown, mark, given, called, desk.ledger().called, knowledge=known)


def choosing_for(form: DocketForm) -> Choosing:
    """What its fields offer."""
    return Choosing(form.knowledge, form)


def form_page(
    record: Record,
    form: forms.Form,
    status: int = 200,
    *,
    heads: str,
    altered: Mapping[str, Any] | None = None,
    looked: bool = False,
    fault: str = "",
    **more: Any,
) -> Response:
    """The page of a form over a record, `edit_<kind>`, with what the rules find in it as it was typed."""
    altered = altered or {}
    would_be = as_would_be(record, altered, {path: list(record.heads.get(path, ())) for path in altered})
    problems = Problems(desk.ledger().would_find(would_be), form.kind)
    told = {"form": form, "heads": heads, "problems": problems, "looked": looked, "fault": fault, "label": label}
    return desk.page(f"edit_{form.kind}", status, **{form.kind: record}, **told, **more)


def _page(record: Record, form: DocketForm, status: int = 200, **shown: Any) -> Response:
    ledger = desk.ledger()
    contexts = ledger.contexts_of([record])
    context = contexts.get(record.id, "")
    bag = record.value("bag")
    others = ledger.get(one for one in (context, bag, request.args.get("saved", "")) if isinstance(one, str) and one)
    before = others.get(request.args.get("saved", ""))
    if before is not None and blind.is_hidden(before.id):
        before = None
    return form_page(
        record,
        form,
        status,
        choosing=choosing_for(form),
        teeth=bears_teeth(form),
        also=_also(record) if shown.get("altered") is None else desk.field("also"),
        reading=form.reading(),
        context=others.get(context),
        context_id=context,
        bag=others.get(bag) if isinstance(bag, str) else None,
        locked=locking.locked_among([context]) if context else None,
        state=checked.state_of(record),
        answer=standing.answer_of(record, desk.authority()),
        disputed=[path for path in checked.disagreements(record) if _is_shown(path)],
        before=before,
        before_answer=standing.answer_of(before, desk.authority()) if before else "",
        before_problems=ledger.would_find(before) if before else [],
        **shown,
    )


def bears_teeth(form: DocketForm) -> bool:
    """Whether the bone can hold teeth, or some are written down."""
    bears = form.text("element") in form.knowledge.teeth.bearers or form.text("material") == "tooth"
    return bears or any(one.startswith(("tooth/", "new/tooth/")) and form.text(one) for one in form.typed)


class Problems:
    """What the rules find, by the field that it is shown beside."""

    def __init__(self, found: Iterable[Problem], kind: str = "docket") -> None:
        self.all, self._kind = list(found), kind
        self._by: dict[str, list[Problem]] = {}
        for one in self.all:
            self._by.setdefault(self._place(one.path), []).append(one)

    def beside(self, name: str) -> list[Problem]:
        """Those of a field or of a group of fields; "" for those that no field of the form is about."""
        return self._by.get(name, [])

    def _place(self, path: str) -> str:
        first, _, rest = path.partition("/")
        if first == "reading":
            name = rest.partition("/")[0]
            return name if name in _BESIDE else "element"
        shown = {*_BESIDE, *forms.ITEMS[self._kind], *(one.partition(".")[0] for one in forms.FIELDS[self._kind])}
        return first if first in shown else ""
