"""Carry-files at the desk: a tablet's file is loaded, and the answer saved for it. Who may: the roles table, `carry`.

Answers lie sealed for their tablet in the cabin's folder until they are fetched. Not here: the loading (server.carry).
"""

from __future__ import annotations

import tempfile
import uuid
from typing import cast

from flask import abort, current_app, request, send_file
from werkzeug.wrappers import Response

from server import carry
from server.cabin import Cabin
from server.errors import CarryRefused
from server.review import desk, words
from server.review.desk import pages

ANSWERS = "carry-answers"
KEPT = 20
"""How many answers are kept to be fetched again; they can be made anew from the tablet's file."""


@pages.get("/carry")
@desk.needs_sign_in
def carrying() -> Response:
    """The form."""
    desk.must("carry")
    return desk.page("carry", said=[], fault="", answer="", sent=0)


@pages.post("/carry")
@desk.needs_sign_in
def carried() -> Response:
    """`file`; `withdrawn`: load it though the tablet is let in no more; `key`: a tablet's key to be accepted."""
    desk.must("carry")
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return desk.page("carry", 422, said=[], fault=words.say("carry.no_file"), answer="", sent=0)
    cabin, one = _cabin(), desk.me()
    with tempfile.TemporaryFile() as file:
        # What was uploaded lies in memory or on the disk, as it came; either can be sought in, but not both the same.
        sent.save(file)
        file.seek(0)
        try:
            found = carry.load(
                cabin,
                file,
                one.name,
                from_withdrawn=request.form.get("withdrawn") == "yes",
                accept_key=desk.field("key"),
            )
        except CarryRefused as fault:
            return desk.page("carry", int(fault.status), said=[], fault=str(fault), answer="", sent=0)
    if found.device.withdrawn_at is not None:
        return desk.page("carry", said=carry.told(found), fault="", answer="", sent=0)
    folder = cabin.config.data / ANSWERS
    folder.mkdir(mode=0o700, exist_ok=True)
    name = str(uuid.uuid4())
    count = carry.write_answer(cabin, found, folder / f"{name}.carry")
    for old in sorted(folder.glob("*.carry"), key=lambda path: path.stat().st_mtime)[:-KEPT]:
        old.unlink(missing_ok=True)
    return desk.page(
        "carry", said=carry.told(found), fault="", answer=name, sent=count, file_name=carry.answer_name(found)
    )


@pages.get("/carry/<uuid:answer>")
@desk.needs_sign_in
def carry_answer(answer: uuid.UUID) -> Response:
    """An answer, to be saved on a stick. Only its tablet can open it."""
    desk.must("carry")
    path = _cabin().config.data / ANSWERS / f"{answer}.carry"
    if not path.is_file():
        abort(404)
    return send_file(
        path.resolve(), mimetype="application/octet-stream", as_attachment=True, download_name=f"answer-{answer}.carry"
    )


def _cabin() -> Cabin:
    return cast(Cabin, current_app.extensions["bonedocket.cabin"])
