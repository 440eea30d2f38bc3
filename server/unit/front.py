"""The front page of a unit's server: its sites, and, for who is signed in at one, what waits at each they work at.

Not here: any site's own pages (server.review).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flask import Flask, Response, g, redirect, render_template, request, session
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from fieldapp import assets
from fieldapp.assets import texts
from server import keys
from server.api.answers import UNDER
from server.app import guard
from server.cabin import Cabin
from server.config import Config
from server.review import desk, words
from server.review.language import chosen, keep_chosen
from server.review.showing import is_stop


@dataclass(frozen=True, slots=True)
class Waiting:
    """A site's line. `let_in`: who is signed in works there; the numbers are None where not."""

    code: str
    name: str
    let_in: bool
    stops: int | None = None
    holds: int | None = None
    conflicts: int | None = None
    impossible: int | None = None


def build(config: Config, cabins: Mapping[str, Cabin]) -> Flask:
    """The application for every address that is no site's."""
    app = Flask(__name__, static_folder=None)
    app.secret_key = keys.session_key(next(iter(cabins.values())).config.session_key)
    app.config.update(TESTING=config.testing, SESSION_COOKIE_NAME=desk.COOKIE, **desk.COOKIE_RULES)

    @app.get("/")
    def sites() -> Response:
        """Every site of the unit."""
        with assets.speaking(chosen()):
            listed = [_waiting(code, one) for code, one in cabins.items()]
            shown = render_template(
                "unit/front.html",
                sites=listed,
                signed_in=any(one.let_in for one in listed),
                say=words.say,
                csrf=desk.token(),
                spoken=assets.spoken(),
                languages=desk.languages(),
            )
        response = Response(shown)
        response.headers.update({"Content-Security-Policy": desk.POLICY, "Referrer-Policy": "same-origin"})
        return response

    @app.post("/language")
    def language() -> AnyResponse:
        """`to`: the language from now on, here and on the sites' pages."""
        desk.must_be_from_here()
        keep_chosen()
        return redirect(f"{request.script_root}/")

    @app.errorhandler(HTTPException)
    def not_there(fault: HTTPException) -> Response | tuple[dict[str, object], int]:
        codes = ", ".join(cabins)
        code = fault.code or 500
        if request.path.startswith(UNDER):
            message = texts()["unit.which_site"].format(codes=codes)
            return {"code": code, "status": fault.name, "message": message, "errors": {"key": "unit.which_site"}}, code
        key = "review.fault.token" if g.get("fault") == "token" else "unit.nowhere"
        with assets.speaking(chosen()):
            return Response(texts()[key].format(codes=codes), code, mimetype="text/plain")

    guard(app)
    return app


def _waiting(code: str, cabin: Cabin) -> Waiting:
    name = words.plain(cabin.ledger.site().value("name"))
    if desk.whose(session, cabin.ledger.clock(), cabin.accounts) is None:
        return Waiting(code, name, False)
    counts, holds = cabin.ledger.counts(), cabin.ledger.holds()
    return Waiting(
        code,
        name,
        True,
        sum(is_stop(one) for one in holds),
        sum(one.raised and not one.released for one in holds),
        sum(n for nature, n in counts["disagreements"].items() if nature != "precision"),
        counts["problems"].get("impossible", 0),
    )
