# flask-smorest has no types of its own, so what it decorates and what inherits from it count as untyped.
# mypy: disable-error-code="untyped-decorator,misc"
"""Exchange with tablets, each change on its own and nothing twice.

1. `hello` says which cabin this is. Another `epoch` than last time, or a `head` below the tablet's cursor, means that
   the ledger was put back from a backup: the tablet sends everything again and pulls from 0 (`all=1`).
2. `enrol`, once: a proof made of a one-use code in return for a token. The token belongs to one notebook and goes with
   every later request: `Authorization: Bearer …` and `X-Notebook: …`.
3. `push`, in batches: every change is answered for. What was answered is on the cabin's disk; a batch that was cut off
   is sent again, and what had arrived is `known`.
4. `pull`, in pages: what others wrote since the cursor. Cursor and mark are kept together with the page.

Bodies may be gzip (`Content-Encoding`), answers are if the request allows it.
"""

from __future__ import annotations

from typing import Any

from flask import Response, current_app, jsonify, request
from flask_smorest import Blueprint

from fieldapp.assets import texts
from fieldapp.records import enrolment, wire
from fieldapp.records.changes import FORMAT
from server.api import messages
from server.api.answers import Error, compressed, refuse, unpacked
from server.cabin import Cabin
from server.errors import CabinError, NotEnrolled
from server.ledger.devices import Device
from server.ledger.intake import TAKEN

blueprint = Blueprint("sync", __name__, url_prefix="/api/v1", description="Exchange with tablets")
blueprint.register_error_handler(CabinError, refuse)
blueprint.before_request(unpacked)
blueprint.after_request(compressed)

_TOKEN = {
    "security": [{"token": []}],
    "parameters": [
        {
            "name": "X-Notebook",
            "in": "header",
            "required": True,
            "description": "UUID of the asking notebook",
            "schema": {"type": "string", "format": "uuid"},
        }
    ],
}


def cabin() -> Cabin:
    """The cabin behind the app."""
    found: Cabin = current_app.extensions["bonedocket.cabin"]
    return found


def tablet() -> Device:
    """The tablet that asks. Raises NotEnrolled, TokenWithdrawn."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme.lower() != "bearer":
        raise NotEnrolled
    return cabin().devices.check(token.strip(), request.headers.get("X-Notebook", ""))


@blueprint.get("/hello")
@blueprint.response(200, messages.Hello)
def hello() -> dict[str, Any]:
    """Which cabin this is, and how far its count has come"""
    ledger = cabin().ledger
    names = ledger.names()
    return {
        "epoch": names.epoch,
        "head": names.head,
        "site": names.site,
        "site_code": ledger.site().value("code"),
        "cabin_notebook": names.notebook,
        "format": FORMAT,
    }


@blueprint.post("/enrol")
@blueprint.arguments(messages.EnrolAsked)
@blueprint.response(200, messages.Enrolled)
@blueprint.alt_response(403, schema=Error, description="The code is wrong, used or too old")
@blueprint.alt_response(429, schema=Error, description="Too many wrong codes")
def enrol(asked: dict[str, Any]) -> dict[str, Any]:
    """Lets a tablet in that knows a one-use code"""
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
    return {**relied_on, "epoch": names.epoch, "proof": proof}


@blueprint.post("/push")
@blueprint.doc(**_TOKEN)
@blueprint.arguments(messages.Pushed)
@blueprint.response(200, messages.Taken)
@blueprint.alt_response(401, schema=Error, description="Not enrolled, or no longer let in")
@blueprint.alt_response(413, schema=Error, description="The batch is too large")
def push(batch: dict[str, Any]) -> Response:
    """Takes in a batch of changes and answers for each"""
    device = tablet()
    lean = "batch" in batch
    entries = batch["batch"] if lean else batch["changes"]
    with cabin().taking_in():
        accepted = cabin().ledger.accept(entries, device.notebook)
        cabin().devices.seen(device.notebook)
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
        **({"check": wire.check(one for one, _ in entries)} if lean else {}),
    )


@blueprint.get("/pull")
@blueprint.doc(**_TOKEN)
@blueprint.arguments(messages.PullAsked, location="query")
@blueprint.response(200, messages.Page)
@blueprint.alt_response(401, schema=Error, description="Not enrolled, or no longer let in")
def pull(asked: dict[str, Any]) -> Response:
    """A page of what others wrote since the cursor"""
    own = tablet().notebook
    page = cabin().ledger.pull(
        asked["since"],
        asked["limit"],
        "" if asked["all"] else own,
        notebook=own,
        epoch=asked["epoch"],
        mark=asked["mark"],
    )
    return jsonify(
        epoch=page.epoch,
        **(
            {"batch": wire.packed([(one, body) for _, one, body in page.rows])}
            if asked["lean"] and page.rows
            else {"changes": [{"seq": seq, "id": one, "body": body} for seq, one, body in page.rows]}
        ),
        cursor=page.cursor,
        mark=page.mark,
        own=page.own,
        forks=page.forks,
        more=page.more,
        format=FORMAT,
    )


@blueprint.post("/key")
@blueprint.doc(**_TOKEN)
@blueprint.arguments(messages.KeyAsked)
@blueprint.response(200, messages.Key)
@blueprint.alt_response(401, schema=Error, description="Not enrolled, or the password does not fit")
@blueprint.alt_response(429, schema=Error, description="Too many wrong passwords")
def key(asked: dict[str, Any]) -> dict[str, Any]:
    """Somebody's personal key, locked with their password, to sign on this tablet away from the cabin"""
    tablet()
    account, locked = cabin().accounts.locked_key(asked["person"], asked["role"], asked["password"])
    return {**account.by, "key": account.key, "private": locked}
