"""Errors under /review as pages in words: what happened, what was kept, what to do next. Not: JSON (server.api)."""

from __future__ import annotations

from flask import g
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from server.errors import CabinError
from server.review import desk, words
from server.review.desk import pages

KNOWN = {400, 403, 404, 405, 409, 413, 500, 503}


@pages.errorhandler(HTTPException)
def _refused(fault: HTTPException) -> Response:
    # A redirect is an exception too, and no fault.
    if fault.response is not None:
        return fault.get_response()
    return show(fault.code or 500)


@pages.errorhandler(CabinError)
def _cabin(fault: CabinError) -> Response:
    return show(int(fault.status), str(fault))


def show(status: int, sentence: str = "") -> Response:
    """The page for a status; `sentence` in the place of the status's own words."""
    key = g.get("fault") or (str(status) if status in KNOWN else "400" if status < 500 else "500")
    try:
        return desk.page("fault", status, key=key, sentence=sentence)
    except Exception:
        if status < 500:
            raise
        # What broke the page may break the frame around this one: then the words alone.
        return Response(words.say("fault.500"), status, mimetype="text/plain")


@pages.route("/<path:rest>", methods=["GET", "POST", "PUT", "PATCH", "DELETE"])
def nowhere(rest: str) -> Response:
    """Every other address below /review, so that it is answered in words too."""
    return show(404)
