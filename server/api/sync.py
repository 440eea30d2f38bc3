# flask-smorest has no types of its own, so what it decorates and what inherits from it count as untyped.
# mypy: disable-error-code="untyped-decorator,misc"
"""Exchange with tablets, each change on its own and nothing twice.

1. `hello` says which cabin this is. Another `epoch` than last time, or a `head` below the tablet's cursor, means that
   the ledger was put back from a backup: the tablet sends everything again and pulls from 0 (`all=1`).
2. `enrol`, once: a proof made of a one-use code in return for a token. The token belongs to one notebook and goes with
   every later request: `Authorization: Bearer …` and `X-Notebook: …`.
3. `push`, in batches: every change is answered for. What was answered is on the cabin's disk; a batch that was cut off
   is sent again, and what had arrived is `known`.
4. `pull`, in pages: what others wrote since the cursor. Cursor and mark are kept together with the page. `news` says
   in one small answer that there is nothing.
5. `life`: a tablet that was copied, or put back from a copy, goes on under a new notebook with a new letter.

Bodies are JSON, with or without gzip (`Content-Encoding: gzip`); answers are gzip if the request allows it
(`Accept-Encoding`). A token is looked at before the body. Every refusal has one shape (Error). Addresses are relative
to the cabin's, which may have a path of its own where one server keeps several sites.
"""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from flask import Response, current_app, g, jsonify, request
from flask_smorest import abort

from fieldapp.assets import texts
from fieldapp.records import batches, enrolment, wire
from server.api import examples, messages
from server.api.answers import LARGEST, LARGEST_OF_STRANGERS, Routes, compressed, refuse, unpacked, with_token
from server.api.described import READS, refuses
from server.cabin import Cabin
from server.errors import (
    CabinError,
    CodeRefused,
    LifeTaken,
    NotEnrolled,
    PlaceLocked,
    SignInLocked,
    SignInRefused,
    TokenWithdrawn,
    TooManyCodes,
    TooManyLives,
)
from server.ledger.devices import Device
from server.ledger.intake import TAKEN

blueprint = Routes("sync", __name__, url_prefix="/api/v1", description="Exchange with tablets")
blueprint.register_error_handler(CabinError, refuse)
blueprint.after_request(compressed)

OPEN = {"sync.hello", "sync.enrol"}
"""What may be asked without a token."""


def cabin() -> Cabin:
    """The cabin behind the app."""
    found: Cabin = current_app.extensions["bonedocket.cabin"]
    return found


def tablet() -> Device:
    """The tablet that asks. Raises NotEnrolled, TokenWithdrawn."""
    if "tablet" not in g:
        scheme, _, token = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            raise NotEnrolled
        g.tablet = cabin().devices.check(token.strip(), request.headers.get("X-Notebook", ""))
        # For the line in the log (server.logs).
        g.letter = g.tablet.letter
    found: Device = g.tablet
    return found


@blueprint.before_request
def _let_in() -> None:
    """The token first: a stranger's body is not unpacked at length."""
    if request.endpoint in OPEN:
        unpacked(LARGEST_OF_STRANGERS)
    else:
        tablet()
        unpacked(LARGEST)


@blueprint.get("/hello")
@blueprint.doc(operationId="hello")
@blueprint.response(200, messages.Hello, description="The cabin", example=examples.ANSWERS["hello"])
@refuses(blueprint)
def hello() -> dict[str, Any]:
    """Which cabin this is, and how far its count has come

    Asked before everything else, also by tablets that are not enrolled. Another `epoch` than last time, or a `head`
    below the tablet's cursor, means that the ledger was put back from a backup.
    """
    return _hello()


def _hello() -> dict[str, Any]:
    ledger = cabin().ledger
    names = ledger.names()
    return {
        "epoch": names.epoch,
        "head": names.head,
        "site": names.site,
        "site_code": ledger.site().value("code"),
        "cabin_notebook": names.notebook,
        "format": wire.MESSAGES,
        "format_min": wire.OLDEST,
        "at": ledger.now(),
    }


@blueprint.post("/enrol")
@blueprint.doc(operationId="enrol")
@blueprint.arguments(messages.EnrolAsked, example=examples.REQUESTS["enrol"])
@blueprint.response(200, messages.Enrolled, description="It is in", example=examples.ANSWERS["enrol"])
@refuses(blueprint, *READS, CodeRefused(), TooManyCodes())
def enrol(asked: dict[str, Any]) -> dict[str, Any]:
    """Lets a tablet in that knows a one-use code

    A code works once; the token goes with every later request. The code itself is not sent. Its last six characters are
    the first 30 bits of the SHA-256 of the cabin's certificate (DER), in Crockford's base 32. Of the first eight,
    without the hyphen, both sides make a key: scrypt (n 16384, r 8, p 1, 32 bytes) with the salt
    `bonedocket enrolment 1 ` followed by that SHA-256 as bytes. `proof` is HMAC-SHA-256 in hex under this key of the
    lines `bonedocket`, `tablet`, notebook. The `proof` of the answer is that of the lines `bonedocket`, `cabin`,
    notebook, token, letter, site, site_code, seal_key, cabin_notebook: it shows that the cabin knows the code too.
    """
    ledger, notebook = cabin().ledger, asked["notebook"]
    found = cabin().devices.enrol(asked["proof"], notebook, asked["name"], asked["letter"])
    names = ledger.names()
    relied_on = {
        "token": found.token,
        "letter": found.letter,
        "site": names.site,
        "site_code": str(ledger.site().value("code")),
        "seal_key": cabin().seal_key,
        "cabin_notebook": names.notebook,
    }
    proof = enrolment.cabins_proof(found.shared, notebook, *relied_on.values())
    return {**relied_on, "epoch": names.epoch, "proof": proof, "held_by": found.held_by}


@blueprint.post("/life")
@blueprint.doc(operationId="life")
@with_token
@blueprint.arguments(messages.LifeAsked, example=examples.REQUESTS["life"])
@blueprint.response(200, messages.Life, description="It goes on", example=examples.ANSWERS["life"])
@refuses(blueprint, *READS, NotEnrolled(), TokenWithdrawn(), LifeTaken(), TooManyLives())
def life(asked: dict[str, Any]) -> dict[str, Any]:
    """Lets a tablet that finds itself to be a copy go on as a new one

    Its token proves that it is the same tablet. What it wrote before stays the old notebook's; the other copy goes on.
    """
    found = cabin().devices.new_life(tablet(), str(asked["notebook"]))
    return {"token": found.token, "letter": found.letter}


@blueprint.post("/push")
@blueprint.doc(operationId="push")
@with_token
@blueprint.arguments(
    messages.Pushed,
    examples={"changes": {"value": examples.REQUESTS["push"]}, "batch": {"value": examples.LEAN["push"]}},
)
@blueprint.response(
    200,
    messages.Taken,
    description="Answered, in order",
    examples={"changes": {"value": examples.ANSWERS["push"]}, "batch": {"value": examples.LEAN["pushed"]}},
)
@refuses(blueprint, *READS, NotEnrolled(), TokenWithdrawn())
def push(batch: dict[str, Any]) -> Response:
    """Takes in a batch of changes and answers for each

    A change is known by the SHA-256 of its body, so the same batch may be sent again: what had arrived is `known`. What
    cannot be read is kept as it came, and told. What was answered for is on the cabin's disk. `then` saves a pull: its
    page comes with the answer.
    """
    device = tablet()
    lean = "batch" in batch
    entries = _unpacked(batch["batch"]) if lean else batch["changes"]
    with cabin().taking_in():
        accepted = cabin().ledger.accept(entries, device.notebook)
    cabin().devices.here(device)
    words = texts()
    answers = [
        {"at" if lean else "id": at if lean else one.id, "answer": one.answer, "why": words.get(one.why, one.why)}
        for at, one in enumerate(accepted.answers)
        if not lean or one.answer != TAKEN
    ]
    return jsonify(
        epoch=accepted.epoch,
        head=accepted.head,
        answers=answers,
        notices=[
            {"what": one["what"], "text": words[f"cabin.notice.{one['what']}"].format(**one), "about": one}
            for one in accepted.notices
        ],
        **({"check": batches.check(one for one, _ in entries)} if lean else {}),
        **({"page": _page(device, batch["then"])} if "then" in batch else {}),
    )


def _unpacked(batch: Any) -> list[tuple[str, str]]:
    try:
        return batches.unpacked(batch, cabin().ledger.beginning_with)
    except batches.Damaged as fault:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY, errors={"json": {"batch": [f"{fault}."]}})
        raise  # as abort has done, of which its types say nothing


@blueprint.get("/pull")
@blueprint.doc(operationId="pull")
@with_token
@blueprint.arguments(messages.PullAsked, location="query")
@blueprint.response(
    200,
    messages.Page,
    description="A page",
    examples={"changes": {"value": examples.ANSWERS["pull"]}, "batch": {"value": examples.LEAN["pulled"]}},
)
@refuses(blueprint, 422, NotEnrolled(), TokenWithdrawn())
def pull(asked: dict[str, Any]) -> Response:
    """A page of what others wrote since the cursor

    Bodies come letter by letter as they were pushed. `cursor` and `mark` belong together and are kept with the page;
    `more` says whether to ask again at once. Sealed places are left out.
    """
    device = tablet()
    # A tablet with nothing to send is seen too.
    cabin().devices.here(device)
    return jsonify(**_page(device, asked))


def _page(device: Device, asked: dict[str, Any]) -> dict[str, Any]:
    own = device.notebook
    page = cabin().ledger.pull(
        asked["since"],
        asked["limit"],
        "" if asked["all"] else own,
        notebook=own,
        epoch=asked["epoch"],
        mark=asked["mark"],
        characters=asked["characters"],
    )
    return {
        "epoch": page.epoch,
        **(
            {"batch": batches.packed([(one, body) for _, one, body in page.rows])}
            if asked["lean"] and page.rows
            else {"changes": [{"seq": seq, "id": one, "body": body} for seq, one, body in page.rows]}
        ),
        "cursor": page.cursor,
        "mark": page.mark,
        "own": page.own,
        "more": page.more,
        "forked": page.forked,
        "format": wire.MESSAGES,
        "format_min": wire.OLDEST,
        "at": cabin().ledger.now(),
    }


@blueprint.get("/news")
@blueprint.doc(operationId="news")
@with_token
@blueprint.response(200, messages.Hello, description="There is something new", example=examples.ANSWERS["news"])
@blueprint.alt_response(304, description="There is nothing new; no body")
@refuses(blueprint, NotEnrolled(), TokenWithdrawn())
def news() -> Response:
    """Whether there is anything new at all, for a tablet with nothing to send

    `If-None-Match` holds the tag of what the tablet has: the first 16 characters of the SHA-256 (hex) of epoch, cursor,
    mark, its own highest number and the format it speaks, with a space between. Nothing new is status 304; else the
    answer is that of hello.
    """
    device = tablet()
    cabin().devices.here(device)
    tag = cabin().ledger.tag(device.notebook)
    as_known = tag and request.if_none_match.contains(tag)
    answer = Response(status=304) if as_known else jsonify(**_hello())
    if tag:
        answer.set_etag(tag)
    # Without a body, the header tells the cabin's time.
    answer.date = cabin().ledger.clock()
    return answer


@blueprint.post("/key")
@blueprint.doc(operationId="key")
@with_token
@blueprint.arguments(messages.KeyAsked, example=examples.REQUESTS["key"])
@blueprint.response(200, messages.Key, description="The locked key", example=examples.ANSWERS["key"])
@refuses(
    blueprint,
    *READS,
    NotEnrolled(),
    TokenWithdrawn(),
    SignInRefused(),
    SignInLocked(until=examples.UNTIL),
    PlaceLocked(until=examples.UNTIL),
)
def key(asked: dict[str, Any]) -> dict[str, Any]:
    """Somebody's personal key, locked with their password, to sign on this tablet away from the cabin

    It stays locked on the tablet too, and is opened by the password for one signature at a time.
    """
    device = tablet()
    cabin().devices.here(device)
    account, locked = cabin().accounts.locked_key(
        asked["person"],
        asked["role"],
        asked["password"],
        request.remote_addr or "",
        letter=device.letter,
        notebook=device.notebook,
    )
    return {**account.by, "key": account.key, "private": locked}


@blueprint.post("/carry-keys")
@blueprint.doc(operationId="carry_keys")
@with_token
@blueprint.arguments(messages.CarryKeys, example=examples.REQUESTS["carry_keys"])
@blueprint.response(200, messages.CarryKept, description="Kept", example=examples.ANSWERS["carry_keys"])
@refuses(blueprint, *READS, NotEnrolled(), TokenWithdrawn())
def carry_keys(told: dict[str, Any]) -> dict[str, Any]:
    """Keeps the keys with which a tablet signs its carry-files and opens the answers

    The public halves only. A second key of the same notebook means a copy of it; both are kept.
    """
    own = tablet()
    return {"keys": len(cabin().carry_keys.register(own.notebook, told["sign"], told["seal"]))}
