"""Holds: the list, one hold with its log and readings, and the three forms: a step, an assessment, a release.

Everything here is added and never altered. An assessment and a release name the readings that their form showed
(`seen`) and are signed with the person's key, which the password, typed again, opens for that one signature. What
came meanwhile is not named, so it still stands. Exact places are opened for the roles the table allows, and for them
only while the page is made. Not here: what counts (fieldapp.records.standing).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.criteria import Criterion
from fieldapp.domain.ids import hold_id
from fieldapp.domain.naming import ANSWERS, NOTHING, named
from fieldapp.records.fold import Record
from fieldapp.records.place import conditions_of, place_of
from fieldapp.records.sealing import CannotOpen
from fieldapp.records.shapes import BONE_SEEN, CUSTODY, SIDES, VERDICTS
from server.errors import SignInLocked, SignInRefused
from server.ledger import Hold
from server.ledger.accounts import Unlocked
from server.review import blind, closing, desk, photos, words
from server.review.desk import pages
from server.review.showing import Entry, Showing, label, tier
from server.review.today import distinct, numbers

STEPS = (
    "told",
    "covered",
    "guarded",
    "zone_set",
    "secured",
    "authority_told",
    "moved",
    "handed_over",
    "word",
    "lifted",
    "note",
)
ASSESSMENT = ("verdict", "taxon", "element", "portion", "side", "bone_seen", "reasons", "ruled_out", "comparison")
FAULTS = (
    "step",
    "step_empty",
    "lifted_parts",
    "word_parts",
    "time",
    "assess_parts",
    "assess_unnamed",
    "release_parts",
    "password",
)


@pages.get("/holds")
@desk.needs_sign_in
def holds() -> Response:
    """Every hold, open ones first, the most cautious first."""
    ledger, found = desk.ledger(), desk.holds()
    showing = Showing(ledger)
    told = {one.docket: _told(showing, one) for one in found}
    groups: dict[str, list[Hold]] = {"open": [], "released": [], "ended": []}
    for one in found:
        groups["ended" if not one.raised else "released" if one.released else "open"].append(one)
    return desk.page(
        "holds",
        groups=groups,
        contexts=numbers([one.context for one in found]),
        told=told,
        tier=tier,
        zones=zones,
        days={one.docket: _days(showing, one) for one in found},
    )


@pages.get("/hold/<docket>")
@desk.needs_sign_in
def hold(docket: str) -> Response:
    """A hold, by its docket's id."""
    return _page(_found(docket))


@pages.post("/hold/<docket>/step")
@desk.needs_sign_in
def step(docket: str) -> Response:
    """`what`, `whom`, `how`, `ref`, `note`, `at` (when it happened; now, if left out)."""
    found = _found(docket)
    form = {name: desk.field(name) for name in ("what", "whom", "how", "ref", "note", "at")}
    custody = {name: said for name in CUSTODY if (said := desk.field(name))}
    what = form["what"]
    if what not in STEPS:
        return _page(found, 400, fault="step", form=form)
    desk.must({"handed_over": "hand_over", "lifted": "lift_in_emergency"}.get(what, "note_step"))
    at = _time(form["at"])
    if at is None:
        return _page(found, 400, fault="time", form=form)
    if what == "note" and not form["note"]:
        return _page(found, 400, fault="step_empty", form=form)
    if what in ("lifted", "word") and not (form["whom"] and form["note"]):
        return _page(found, 400, fault=f"{what}_parts", form=form)
    over = {}
    values: dict[str, Any] = {f"step/{desk.ledger().new_id()}": {**form, **custody, "at": at}}
    if what == "lifted":
        values["in_place"] = False
        if found.hold_record is not None:
            over["in_place"] = found.hold_record.head_ids().get("in_place", [])
    _add(found, values, over)
    desk.acted("step_added", docket)
    return redirect(url_for("review.hold", docket=docket, done="step", _anchor="log"))


@pages.post("/hold/<docket>/assess")
@desk.needs_sign_in
def assess(docket: str) -> Response:
    """`seen` (several: ids of the readings and assessments shown), `verdict`, `taxon`, `element`, `portion`, `side`,
    `bone_seen`, `reasons`, `ruled_out`, `comparison`, `as_it_is` ("yes": though it names nothing), `password`."""
    found = _found(docket)
    desk.must("propose_assessment")
    record = found.docket_record
    if record is None:
        abort(409)
    seen = _seen({*record.added("human"), *record.added("assessment")})
    form, criteria = {name: desk.field(name) for name in ASSESSMENT}, _criteria()
    typed = form | {f"criterion-{key}": said for key, said in criteria.items()}
    if form["verdict"] not in VERDICTS or form["bone_seen"] not in BONE_SEEN or not form["reasons"]:
        return _page(found, 400, fault="assess_parts", form=typed)
    if form["side"] not in (*SIDES, ""):
        abort(400)
    value: dict[str, Any] = {**form, "seen": seen, "criteria": criteria}
    for name in ("taxon", "element", "portion", "side"):
        value[name] = value[name] or None
    # What is signed stays: a field that was forgotten is asked for once more before it is.
    unnamed = form["verdict"] == "non_human" and named(value, knowledge().names) == NOTHING
    if unnamed and desk.field("as_it_is") != "yes":
        return _page(found, 400, fault="assess_unnamed", form=typed)
    unlocked = _unlocked(found, typed)
    if isinstance(unlocked, Response):
        return unlocked
    ledger = desk.ledger()
    path = f"assessment/{ledger.new_id()}"
    signed = unlocked.sign(value, site=_site(record), record=record.id, path=path)
    change = desk.write("docket", record.id, {path: signed}, {})
    desk.acted("assessed", docket)
    return redirect(url_for("review.hold", docket=docket, after=f"{path}@{change.id}", _anchor="after"))


@pages.post("/hold/<docket>/release")
@desk.needs_sign_in
def release(docket: str) -> Response:
    """`seen` (several), `word_of`: who gave the written word; `reference`; `password`."""
    found = _found(docket)
    desk.must("release")
    bone = found.docket_record
    if bone is None:
        abort(409)
    seen = _seen({*bone.added("human"), *bone.added("assessment")})
    form = {name: desk.field(name) for name in ("word_of", "reference")}
    if not all(form.values()):
        return _page(found, 400, fault="release_parts", form=form)
    unlocked = _unlocked(found, form)
    if isinstance(unlocked, Response):
        return unlocked
    record = found.hold_record.id if found.hold_record else hold_id(docket)
    path = f"release/{desk.ledger().new_id()}"
    signed = unlocked.sign({**form, "seen": seen}, site=_site(found.hold_record), record=record, path=path)
    _add(found, {path: signed})
    desk.acted("release_entered", docket)
    return redirect(url_for("review.hold", docket=docket, done="release", _anchor="release"))


def _criteria() -> dict[str, str]:
    """{criterion: what was said of it}, those of the form that were answered. Keys and answers of no table abort."""
    known = knowledge().criteria
    told = {name.removeprefix("criterion-"): desk.field(name) for name in request.form if name.startswith("criterion-")}
    if told.keys() - known.keys() or set(told.values()) - {*ANSWERS, ""}:
        abort(400)
    return {key: said for key, said in told.items() if said}


def _asked(docket: Record | None) -> list[Criterion]:
    """The criteria of the bone as recorded; where none is named, of every bone. A laboratory's are left out."""
    reading = docket.value("reading") if docket else None
    element = reading.get("element") if isinstance(reading, Mapping) else None
    rows = [one for one in knowledge().criteria.values() if one.judge != "laboratory"]
    return [one for one in rows if element is None or not one.elements or element in one.elements]


def zones(found: Hold) -> list[str]:
    """What is closed off, every version of it."""
    heads = found.hold_record.heads.get("zone", {}) if found.hold_record else {}
    return sorted({str(one) for one in heads.values() if one})


def _found(docket: str) -> Hold:
    return next((one for one in desk.holds() if one.docket == docket), None) or abort(404)


def _page(found: Hold, status: int = 200, *, fault: str = "", form: dict[str, str] | None = None) -> Response:
    ledger, who = desk.ledger(), desk.authority()
    showing, names = Showing(ledger), knowledge().names
    docket, record = found.docket_record, found.hold_record
    hidden = docket is not None and blind.is_hidden(docket.id)
    where = found.standing
    assessments = showing.assessments(docket, where, who, desk.names()) if docket and where else []
    others = ledger.get(one for one in (*found.joined, found.context) if one and one != found.docket)
    readings = showing.readings(docket, where) if docket and where else []
    steps = showing.steps(record) if record else []
    place = _place(record)
    if closing.may_see():
        if place[0] == "open":
            closing.seen(found.docket, closing.PLACE)
        if any(one.note or one.ref for one in steps):
            closing.seen(found.docket, "words")
    return desk.page(
        "hold",
        status,
        hold=found,
        docket=docket,
        plates=[] if hidden else _plates(docket),
        reading=docket.value("reading") if docket and not hidden else None,
        hidden=hidden,
        label=label,
        tier=tier(found),
        zones=zones(found),
        skeleton=distinct(record.heads.get("skeleton", {})) if record else [],
        charnel=record is not None and True in record.heads.get("charnel", {}).values(),
        in_place=distinct(record.heads.get("in_place", {})) if record else [],
        place=place,
        place_rules=place_of(ledger.site()),
        conditions=conditions_of(ledger.site()),
        with_words=closing.may_see(),
        photos=photos.strip([found.docket]),
        context=others.get(found.context),
        joined=[(one, others.get(one)) for one in found.joined if one != found.docket],
        where=where,
        readings=readings,
        assessments=assessments,
        after=next((one for one in assessments if one.id == request.args.get("after")), None),
        steps=steps,
        history=_history(showing, record),
        releases=showing.releases(record, docket, who) if record else [],
        days=_days(showing, found),
        entitled=_entitled(),
        own=[one for one in readings if one.open and one.said.name == desk.me().name],
        second_reader=who.policy.second_reader,
        choices={
            "step": STEPS,
            "custody": CUSTODY,
            "verdict": VERDICTS,
            "side": SIDES,
            "bone_seen": BONE_SEEN,
            "taxon": words.named("taxon", {*names.animals, *names.groups}),
            "element": words.named("element", names.parts),
            "criterion": _asked(None if hidden else docket),
            "said": ANSWERS,
        },
        done=request.args.get("done", ""),
        fault=fault,
        faults=FAULTS,
        form=form or {},
    )


def _history(showing: Showing, record: Record | None) -> list[Entry]:
    """Every change of the hold's record, so that a zone that was written over is not out of sight."""
    if record is None:
        return []
    history = showing.history(record.id)
    return history if closing.may_see() else closing.shown_history(history, frozenset({closing.STEP}))


def _plates(docket: Record | None) -> list[Any]:
    """The reading as it was made, and the same portions on the human bone beside it, so that neither is taken for
    granted."""
    reading = docket.value("reading") if docket else None
    if not isinstance(reading, Mapping):
        return []
    beside = {**reading, "taxon": human.HUMAN}
    return [reading] if reading.get("taxon") == human.HUMAN else [reading, beside]


def _entitled() -> str:
    """What an assessment by who is signed in would be: "assess", "propose" or ""."""
    allowed = desk.may("assess")
    if allowed == "yes" or (allowed == "policy" and desk.me().person in desk.authority().policy.zooarchaeologists):
        return "assess"
    return "propose" if desk.may("propose_assessment") == "yes" else ""


def _place(hold: Record | None) -> tuple[str, list[str]]:
    """("open", the exact places), or why there is none to show: "closed", "none", "sealed".

    What does not open, and anybody may have added it, hides nothing of what does.
    """
    written = hold.heads.get("place_sealed", {}) if hold is not None else {}
    if hold is None or not any(written.values()):
        return "none", []
    if not closing.may_see():
        return "closed", []
    unseal = desk.desk().unseal
    found = []
    for sealed in written.values():
        try:
            found.append(unseal(sealed, hold.id) if unseal and isinstance(sealed, str) else "")
        except CannotOpen:
            continue
    opened = sorted({one for one in found if one})
    return ("open", opened) if opened else ("sealed", [])


def _unlocked(found: Hold, form: dict[str, str]) -> Unlocked | Response:
    """The key of who is signed in, opened by the password typed again; else the form once more, nothing lost."""
    me = desk.me()
    try:
        return desk.desk().accounts.unlock(me.person, request.form.get("password", ""), me.role, desk.address())
    except (SignInRefused, SignInLocked) as fault:
        return _page(
            found, int(fault.status), fault="password" if isinstance(fault, SignInRefused) else str(fault), form=form
        )


def _seen(known: set[str]) -> list[str]:
    """The ids the form showed: all of them of this docket, none made up."""
    given = request.form.getlist("seen")
    if not given or not set(given) <= known:
        abort(400)
    return sorted(set(given))


def _site(record: Record | None) -> str:
    """The site that the record will be read under once the cabin has written to it: what a signature has to cover."""
    own = desk.ledger().names().site
    return min([own, *record.sites]) if record is not None else own


def _add(found: Hold, values: dict[str, Any], over: dict[str, list[str]] | None = None) -> None:
    """Adds to the hold's record, or begins it: its id follows from its docket's."""
    record = found.hold_record
    if record is None:
        values = {"docket": found.docket, **values}
        if found.context:
            values["context"] = found.context
    desk.write("hold", record.id if record else hold_id(found.docket), values, over or {})


def _time(text: str) -> str | None:
    """A form's local time with the cabin's zone; now for "", None for what is no time."""
    now = desk.ledger().clock()
    if not text:
        return now.isoformat(timespec="milliseconds")
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    return (time if time.tzinfo else time.replace(tzinfo=now.tzinfo)).isoformat(timespec="milliseconds")


def _told(showing: Showing, found: Hold) -> tuple[str, str] | None:
    """(whom, when) of who was told last."""
    steps = showing.steps(found.hold_record) if found.hold_record else []
    told = [one for one in steps if one.what in ("told", "authority_told")]
    return (told[-1].whom, told[-1].at) if told else None


def _days(showing: Showing, found: Hold) -> int | None:
    """Whole days since the first reading that raised it; None where no time can be told."""
    docket, record = found.docket_record, found.hold_record
    ids = [one.rpartition("@")[2] for one, value in (docket.added("human") if docket else {}).items()
           if human.answer_of(value) in human.RAISED]  # fmt: skip
    ids = ids or [one for heads in (record.heads.values() if record else ()) for one in heads]
    times = []
    for said in showing.said(ids):
        try:
            times.append(datetime.fromisoformat(said.at))
        except ValueError:
            continue
    aware = [one for one in times if one.tzinfo]
    return max(0, (desk.ledger().clock() - min(aware)).days) if aware else None
