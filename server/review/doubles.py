"""Two dockets that may be one bone: recorded twice, or pieces that fit. Side by side, and what somebody says of them.

What is said is a path on the first of the two: `same_as/<other>` (one bone, joined; neither is lost), `joins/<other>`
(pieces of it, at an old or a fresh break; broken afresh they are one bone besides) or `not_same/<other>` (two bones, so
that it is not asked again). Taking it back sets the path to nothing. Joined dockets take the most cautious answer to
the human question; so what joins a bone on hold to another is not taken back here while that would lower either's
answer: only a signed assessment does that.

Not here: which pairs are asked about (server.ledger.pairs, fieldapp.domain.refits); many pairs at once.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, plates_of
from fieldapp.domain import human
from fieldapp.domain.refits import Piece, candidates, held, touching
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger import folding, pairs
from server.ledger.ledger import Edit
from server.review import blind, closing, desk, locking, opened, parting, words
from server.review.desk import pages
from server.review.showing import Showing, Version, agreed, differing, label, part_of, rows

ACT = "settle_docket"
ON_A_PAGE = 50
SORTS = ("same_as", "joins", "not_same")
SAID: dict[str, dict[str, Any]] = {
    "one_bone": {"same_as": True, "not_same": None},
    "fits_old": {"joins": {"break": "old"}, "not_same": None},
    "fits_fresh": {"joins": {"break": "fresh"}, "same_as": True, "not_same": None},
    "two_bones": {"not_same": True},
    "take_back": {"same_as": None, "joins": None, "not_same": None},
}
"""{what somebody says: what is set at the paths}. Nothing is set where nothing was written and nothing is meant."""


class Tie(NamedTuple):
    """What stands between two dockets: sort of SORTS, and the value, by whoever of them says so."""

    sort: str
    value: Any


@pages.get("/doubles")
@desk.needs_sign_in
def doubles() -> Response:
    """Pairs that look like one bone recorded twice; `page`. `number`: leads to the pieces of that context."""
    if asked := request.args.get("number", "").strip():
        return redirect(url_for("review.refits", context=desk.ledger().numbered([asked])[asked]))
    page = max(1, request.args.get("page", 1, int))
    with desk.ledger().database.reading() as connection:
        last = max(1, -(-pairs.doubted(connection) // ON_A_PAGE))
        page = min(page, last)
        found = pairs.doubles(connection, ON_A_PAGE, (page - 1) * ON_A_PAGE)
    return desk.page("doubles", pairs=_apart(found), label=label, at=page, last=last)


@pages.get("/refits/<context>")
@desk.needs_sign_in
def refits(context: str) -> Response:
    """Pieces of a context that may fit each other."""
    record = desk.ledger().record(context)
    if record is None or record.kind != "context":
        abort(404)
    with desk.ledger().database.reading() as connection:
        dockets, all_of_them = pairs.pieces_of(connection, context)
    known = {one.id: one for one in dockets}
    told: dict[str, set[str]] = {}
    for one in dockets:
        for _, other in one.links(tuple(f"{sort}/" for sort in SORTS)):
            told.setdefault(one.id, set()).add(other)
    pieces = [
        Piece(one.id, reading, one.value("breaks"), frozenset(told.get(one.id, ())))
        for one in dockets
        if isinstance(reading := agreed(one), Mapping) and one.value("count") in (None, 1)
    ]
    found = candidates(pieces, knowledge(), _borders)
    shown = _apart([(known[one], known[other]) for one, other in found.pairs])
    page = max(1, min(request.args.get("page", 1, int), -(-len(shown) // ON_A_PAGE) or 1))
    return desk.page(
        "refits",
        context=record,
        pairs=shown[(page - 1) * ON_A_PAGE : page * ON_A_PAGE],
        number=len(shown),
        whole=found.whole and all_of_them,
        label=label,
        at=page,
        last=max(1, -(-len(shown) // ON_A_PAGE)),
    )


def _apart(found: Sequence[tuple[Record, Record]]) -> list[tuple[Record, Record]]:
    """The pairs of which nothing is hidden from who is to read one of them a second time."""
    shown = blind.apart(one.id for both in found for one in both)
    return [both for both in found if shown.issuperset(one.id for one in both)]


@pages.get("/pair/<docket>/<other>")
@desk.needs_sign_in
def pair(docket: str, other: str) -> Response:
    """Two dockets side by side."""
    return _page(*_two(docket, other))


@pages.post("/pair/<docket>/<other>")
@desk.needs_sign_in
def say_of_pair(docket: str, other: str) -> Response:
    """`said`: one of SAID; `reason`; `heads`: what the form showed, {record: {path: [change ids]}}."""
    one, two = _two(docket, other)
    desk.must(ACT)
    said, reason = desk.field("said"), desk.field("reason")
    shown = _shown(one, two)
    if said not in SAID or not reason:
        return _page(one, two, 400, fault="said" if said not in SAID else "reason", said=said, reason=reason)
    if locking.bars([one, two]):
        return _page(one, two, 409, fault="locked", said=said, reason=reason)
    joined = any(tie.sort == "same_as" for tie in _ties(one, two))
    if said == "two_bones" and joined:
        return _page(one, two, 409, fault="joined", said=said, reason=reason)
    if said == "take_back" and joined and parting.lowers(one, two):
        return _page(one, two, 409, fault="lowers", said=said, reason=reason)
    edits = _edits(one, two, said, reason, shown)
    if _said_already((one, two), edits):
        return redirect(url_for("review.pair", docket=docket, other=other, done=said))
    with desk.ledger().database.writing() as connection:
        now = {each.id: each for each in folding.records_of(connection, sorted((one.id, two.id)))}
        # The same form, sent at the same moment; or one that was raised at this moment.
        if _said_already((now[one.id], now[two.id]), edits):
            return redirect(url_for("review.pair", docket=docket, other=other, done=said))
        if said == "take_back" and joined and parting.lowers(now[one.id], now[two.id]):
            return _page(one, two, 409, fault="lowers", said=said, reason=reason)
        desk.ledger().write_many_in(connection, edits, desk.me().by)
        fields = {"name": desk.me().name, "role": desk.me().role, "label": f"{_named(one)} + {_named(two)}"}
        desk.ledger().note_in(connection, f"pair_{said}", desk.me().person, fields)
    desk.desk().written()
    return redirect(url_for("review.pair", docket=docket, other=other, done=said))


def _edits(
    one: Record, two: Record, said: str, reason: str, shown: Mapping[str, Mapping[str, list[str]]]
) -> list[Edit]:
    """What is said stands on the first docket; what stood against it on either is replaced."""
    note = {"text": words.say(f"note.pair.{said}", other=_named(two), reason=reason), "stage": "analysis"}
    found = []
    for record, other, first in ((one, two, True), (two, one, False)):
        values: dict[str, Any] = {}
        for sort, value in SAID[said].items():
            path = f"{sort}/{other.id}"
            stands = any(each is not None for each in record.heads.get(path, {}).values())
            if (value is not None and first) or (value is None and stands):
                values[path] = value
        if first:
            values[f"note/{desk.ledger().new_id()}"] = note
        if values:
            over = {path: shown[record.id].get(path, []) for path in values if not path.startswith("note/")}
            found.append(Edit("docket", record.id, values, over))
    return found


def _said_already(records: Sequence[Record], edits: Sequence[Edit]) -> bool:
    """Whether a form that was sent twice has been heard: its heads are replaced, and what it says stands."""
    known = {one.id: one for one in records}
    paths = [(known[one.record], path, one) for one in edits for path in one.set if not path.startswith("note/")]
    return all(
        path in record.heads
        and set(record.heads[path]) != set(one.over[path])
        and list(record.heads[path].values()) == [one.set[path]]
        for record, path, one in paths
    )


def _two(docket: str, other: str) -> tuple[Record, Record]:
    found = desk.ledger().get([docket, other])
    # A hold or a photograph that was also claimed to be a docket is no bone to be paired.
    if docket == other or len(found) < 2 or any(one.kinds != ("docket",) for one in found.values()):
        abort(404)
    return found[docket], found[other]


def _paths(one: Record, two: Record) -> dict[str, list[str]]:
    return {record.id: [f"{sort}/{other.id}" for sort in SORTS] for record, other in ((one, two), (two, one))}


def _shown(one: Record, two: Record) -> dict[str, dict[str, list[str]]]:
    """What the form showed of both."""
    try:
        told = json.loads(request.form.get("heads", ""))
        heads = {
            record: {path: told[record].get(path, []) for path in paths} for record, paths in _paths(one, two).items()
        }
    except (ValueError, RecursionError, KeyError, TypeError, AttributeError):
        abort(400)
    return {record.id: opened.read(record, heads[record.id]).heads for record in (one, two)}


def _ties(one: Record, two: Record) -> list[Tie]:
    """What stands between the two, by either; a link that anybody still holds to is one."""
    found = []
    for record, other in ((one, two), (two, one)):
        for sort in SORTS:
            heads = record.heads.get(f"{sort}/{other.id}", {})
            found += [Tie(sort, value) for value in heads.values() if value]
    return found


def _page(one: Record, two: Record, status: int = 200, **form: str) -> Response:
    showing = Showing(desk.ledger())
    versions = [Version(each.value("reading"), showing.said(each.heads.get("reading", {}))) for each in (one, two)]
    fields = differing(versions)
    reading, other = one.value("reading"), two.value("reading")
    element, taxon = (
        value if isinstance(value := part_of(reading, name), str) else None for name in ("element", "taxon")
    )
    same = element is not None and element == part_of(other, "element")
    portions = [each.key for each in knowledge().portions_of(element, taxon)] if element is not None and same else []
    first, second, together = parting.answers(one, two)
    ties = _ties(one, two)
    heads = {
        record: {path: sorted(each.heads.get(path, {})) for path in paths}
        for (record, paths), each in zip(_paths(one, two).items(), (one, two), strict=True)
    }
    contexts = desk.ledger().contexts_of([one, two])
    return desk.page(
        "pair",
        status,
        one=one,
        two=two,
        sides=[(one, versions[0]), (two, versions[1])],
        disputed=[each.id for each in (one, two) if "reading" in each.disagreements()],
        label=label,
        contexts=contexts,
        standings=(first, second, together),
        raised=together in human.RAISED,
        held=[each for each in held(reading, other, portions) if each.how] if same else [],
        same=same,
        element=element,
        fields=rows(versions, fields),
        differing=fields,
        ties=ties,
        heads=canonical(heads),
        problems=[each for each in (one, two) if each.life() == "deleted"],
        done=request.args.get("done", "") if request.args.get("done", "") in SAID else "",
        fault=form.pop("fault", ""),
        form=form,
        act=ACT,
        plain=[
            path
            for path in ("weight_g", "count", "longest_mm", "breaks", "burning", "preservation")
            if one.value(path) is not None or two.value(path) is not None
        ],
        closed=closing.closed_paths(one) | closing.closed_paths(two),
    )


def _named(record: Record) -> str:
    return label(record) or words.say("no_label")


@lru_cache(maxsize=256)
def _borders(element: str, taxon: str | None) -> Mapping[str, frozenset[str]]:
    return touching(plates_of(element, taxon, "left"))
