"""A disagreement settled by what none of its versions says: readings combined field by field, a whole third reading, or
a third value of a plain path.

What is written is said by who writes it, over the heads that the form showed. A reading is looked at, with its plate
and what the rules say of it, before it is written: its digest goes with the form, and another reading is shown first.

Not here: taking one of the versions (disagreements); many at once (settling).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from flask import abort, redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from fieldapp.domain import combining
from fieldapp.domain.readings import blank_reading
from fieldapp.domain.rules import Problem, sentence
from fieldapp.records.changes import canonical
from fieldapp.records.checking import Among
from fieldapp.records.fold import Record
from fieldapp.records.schemas import problems_of
from fieldapp.records.shapes import FUSION_STATES, PORTION_STATES, SIDES, STAGES
from server.ledger import beside
from server.review import desk, opened, reading_form, words
from server.review.desk import pages
from server.review.disagreements import (
    LOCKED,
    disagreement_page,
    found_record,
    lock_fault,
    must_settle,
    shown_heads,
)
from server.review.showing import Showing, Version, coarser, label
from server.review.typed import read_typed, third_input

ACT = "settle_docket"
CHOSEN = ("side", "certainty", "sex", "age", "texture")
"""Fields of a reading that are chosen from a list, beside element and animal."""


@pages.post("/disagreement/<record>/<path:path>/third")
@desk.needs_sign_in
def third(record: str, path: str) -> Response:
    """`heads`: what the form showed; `value`: as it was typed; `reason`."""
    found = found_record(record, path)
    must_settle(found, path)
    asked = third_input(found, path)
    if asked is None:
        abort(404)
    shown = shown_heads(found, path)
    reason, typed = desk.field("reason"), desk.field("value")
    value = read_typed(asked, typed)
    fault = "third" if value is None or problems_of(found.kind, {path: value}) else "" if reason else "reason"
    if fault or (fault := lock_fault(found, path)):
        return disagreement_page(found, path, 409 if fault == LOCKED else 400, fault=fault, typed=typed, reason=reason)
    _write(found, path, value, shown[path], "note.third", reason)
    return redirect(url_for("review.disagreement", record=record, path=path, done="settled"))


@pages.get("/combine/<record>")
@desk.needs_sign_in
def combine(record: str) -> Response:
    """The form that puts one reading together from those that stand."""
    found = _disputed(record)
    return _combining(found, _versions(list(found.heads["reading"])))


@pages.post("/combine/<record>")
@desk.needs_sign_in
def combined(record: str) -> Response:
    """`heads`; `pick-<field>`: the version it is taken from. Shows the reading that comes out, to be looked at, altered
    and written."""
    found = _disputed(record)
    must_settle(found, "reading")
    shown = shown_heads(found, "reading")
    versions = _versions(shown["reading"])
    readings = [one.value for one in versions]
    wanted = combining.differing(readings, knowledge())
    places = {one.change: n for n, one in enumerate(versions)}
    picks = {name: places[pick] for name in wanted if (pick := desk.field(f"pick-{name}")) in places}
    if len(picks) < len(wanted) or not wanted:
        return _combining(found, versions, 400, fault="pick", picks=picks)
    made = combining.combined(readings, picks, {"stage": "analysis", "compared": ""}, knowledge())
    unseen = combining.unseen(readings, picks, made, knowledge())
    impossible = [one for one in _problems(found, made) if one.level == "impossible"]
    if unseen or impossible or problems_of("docket", {"reading": made}):
        return _combining(found, versions, 400, fault="unseen", picks=picks, unseen=unseen, problems=impossible)
    return _writing(found, versions, made)


@pages.get("/third-reading/<record>")
@desk.needs_sign_in
def third_reading(record: str) -> Response:
    """The form of a whole third reading; it begins with what all versions have in common."""
    found = _disputed(record)
    versions = _versions(list(found.heads["reading"]))
    common = coarser(versions)
    return _writing(found, versions, _made(reading_form.answers({"reading": {**common, "compared": ""}}), "analysis"))


@pages.post("/third-reading/<record>")
@desk.needs_sign_in
def write_reading(record: str) -> Response:
    """`heads`; the reading's fields, as in reading_form; `reason`; `looked`: the digest of the reading that was shown,
    to write it. Any other reading is shown first, and so is this one where `again` asks for it."""
    found = _disputed(record)
    must_settle(found, "reading")
    shown = shown_heads(found, "reading")
    versions = _versions(shown["reading"])
    made, reason = _sent(), desk.field("reason")
    if problems_of("docket", {"reading": made}):
        abort(400)
    if desk.field("again") or desk.field("looked") != _digest(made):
        return _writing(found, versions, made, reason=reason)
    fault = "" if reason else "reason"
    if fault or (fault := lock_fault(found, "reading")):
        return _writing(found, versions, made, 409 if fault == LOCKED else 400, fault=fault, reason=reason)
    _write(found, "reading", made, shown["reading"], "note.third", reason)
    return redirect(url_for("review.disagreement", record=record, path="reading", done="settled"))


def _sent() -> dict[str, Any]:
    """The reading that the form holds. Words that are in no list end the request: the form offers none."""
    known = knowledge()
    element, taxon = desk.field("element") or None, desk.field("taxon") or None
    if (element and element not in known.elements) or (taxon and taxon not in known.taxa):
        abort(400)
    answers = {name: text for name in _names(element, taxon) if (text := desk.field(name))}
    if any(answers.get(name, choices[0]) not in choices for name, choices in zip(CHOSEN, _lists(), strict=True)):
        abort(400)
    stage = desk.field("stage")
    return _made(answers, stage if stage in STAGES else "analysis")


def _lists() -> list[Sequence[str]]:
    """The words that each of CHOSEN is chosen from."""
    known = knowledge().words
    return [SIDES, ("certain", "cf"), known["sex"], known["age_class"], known["bone_texture"]]


def _names(element: str | None, taxon: str | None) -> list[str]:
    """The fields of a form over such a bone."""
    known = knowledge()
    portions = [f"portions.{one.key}" for one in known.portions_of(element or "", taxon)]
    return [*reading_form.SINGLE, *portions, *(f"fusion.{one.key}" for one in known.centres_of(element or "", taxon))]


def _made(answers: Mapping[str, str], stage: str) -> dict[str, Any]:
    """The whole reading that answers give, with every portion and centre written out."""
    made = reading_form.reading(answers, stage) or blank_reading(None, None, knowledge(), stage)
    # What people differ about is said by somebody: no side is taken for granted here.
    return {**made, "side": answers.get("side")}


def _write(found: Record, path: str, value: Any, over: list[str], note: str, reason: str) -> None:
    text = {"text": words.say(note, field=words.field(path), reason=reason), "stage": "analysis"}
    if opened.write(found, path, [{path: value, f"note/{desk.ledger().new_id()}": text}], {path: over}):
        desk.acted("settled", found.id)


def _disputed(record: str) -> Record:
    """A docket whose readings can be combined: several of them have fields at all."""
    found = found_record(record, "reading")
    if found.kind != "docket" or "reading" not in found.disagreements():
        abort(404)
    if len(_versions(list(found.heads["reading"]))) < 2:
        abort(404)
    return found


def _versions(heads: Sequence[str]) -> tuple[Version, ...]:
    """The readings that the form showed, the first said first; what has no fields cannot be combined."""
    written = desk.ledger().who(heads)
    values = {one: written[one].change.set.get("reading") for one in heads if one in written}
    return Showing(desk.ledger()).versions({one: value for one, value in values.items() if isinstance(value, Mapping)})


def _problems(found: Record, made: Mapping[str, Any]) -> list[Problem]:
    """What the rules would find in the docket if this were its reading."""
    copy = Record.from_json(json.loads(json.dumps(found.as_json())))
    copy.heads["reading"] = {"combined": dict(made)}
    with desk.ledger().database.reading() as connection:
        around = beside.around(connection, [found])
    among = Among([copy, *(one for one in around if one.id != found.id)], knowledge(), whole=False)
    return [one.problem for one in among.check(copy)]


def _digest(made: Mapping[str, Any]) -> str:
    return hashlib.sha256(canonical(dict(made)).encode("utf-8", "replace")).hexdigest()


def _combining(found: Record, versions: tuple[Version, ...], status: int = 200, **more: Any) -> Response:
    problems: Sequence[Problem] = more.pop("problems", ())
    return desk.page(
        "combine",
        status,
        record=found,
        label=label,
        versions=versions,
        fields=combining.differing([one.value for one in versions], knowledge()),
        heads=_packed(versions),
        picks=more.pop("picks", {}),
        problems=[sentence(one, texts()) for one in problems],
        fault=more.pop("fault", ""),
        unseen=more.pop("unseen", ()),
        act=ACT,
    )


def _writing(
    found: Record, versions: tuple[Version, ...], made: Mapping[str, Any], status: int = 200, **form: str
) -> Response:
    known = knowledge()
    return desk.page(
        "third_reading",
        status,
        record=found,
        label=label,
        versions=versions,
        made=made,
        lists=dict(zip(CHOSEN, _lists(), strict=True)),
        elements=words.named("element", known.elements),
        taxa=words.named("taxon", known.taxa),
        states={"portions": PORTION_STATES, "fusion": FUSION_STATES},
        stages=STAGES,
        heads=_packed(versions),
        looked=_digest(made),
        problems=[(one.level, sentence(one, texts())) for one in _problems(found, made)],
        fault=form.get("fault", ""),
        reason=form.get("reason", ""),
        act=ACT,
    )


def _packed(versions: Sequence[Version]) -> str:
    return canonical({"reading": sorted(said.change for one in versions for said in one.said)})
