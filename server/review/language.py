"""The language of the pages: the one chosen here, else the first of the browser's that there is.

Set for the length of a request; everything that a page says follows. Not here: the texts (fieldapp.assets).
"""

from __future__ import annotations

from flask import g, redirect, request, session, url_for
from werkzeug.wrappers import Response

from fieldapp import assets
from server.review import desk
from server.review.desk import pages


def chosen() -> str:
    """The language for this request."""
    known = assets.languages()
    own = session.get("language")
    if own in known:
        return str(own)
    return request.accept_languages.best_match(known) or known[0]


def keep_chosen() -> None:
    """Keeps the language that the form names, `to`, for the session, if there is such a one."""
    to = desk.field("to")
    if to in assets.languages():
        session["language"] = to


@pages.before_request
def _begin() -> None:
    g.speaking = assets.speaking(chosen())
    g.speaking.__enter__()


@pages.teardown_request
def _end(_: BaseException | None) -> None:
    speaking = g.pop("speaking", None)
    if speaking is not None:
        speaking.__exit__(None, None, None)


@pages.post("/language")
def language() -> Response:
    """`to`: the language from now on; `next`: the page that was open."""
    keep_chosen()
    back = desk.inside(request.form.get("next", ""))
    return redirect(request.script_root + back if back else url_for("review.today"))
