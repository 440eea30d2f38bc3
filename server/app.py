"""Puts the cabin's web application together: API, pages, errors, headers. Not here: any route but the way in."""

from __future__ import annotations

from typing import Any

from argon2 import PasswordHasher
from filelock import Timeout
from flask import Flask, Response, abort, redirect, request, url_for
from sqlalchemy.exc import TimeoutError as PoolTimeout
from werkzeug.exceptions import HTTPException, ServiceUnavailable
from werkzeug.wrappers import Response as AnyResponse

from server import api, health, keys, logs, review
from server.cabin import Cabin
from server.config import Config
from server.review import faults

_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""For every answer that does not say otherwise. No HSTS: with a certificate of our own it would lock browsers out."""


def build(config: Config, hasher: PasswordHasher | None) -> Flask:
    """See server.create_app."""
    return stand_behind(routed(), config, hasher)


def stand_behind(app: Flask, config: Config, hasher: PasswordHasher | None) -> Flask:
    """Opens the cabin in `config.data` behind the routes of `app`, which then answers for it."""
    app.config["TESTING"] = config.testing
    cabin = Cabin(config, hasher)
    health.stand_behind(app, cabin)
    api.stand_behind(app, cabin)
    review.stand_behind(
        app,
        ledger=cabin.ledger,
        accounts=cabin.accounts,
        pictures=cabin.photos,
        devices=cabin.devices,
        addresses=lambda: _addresses(config.host),
        session_key=keys.session_key(config.session_key),
        seal_key=cabin.opening_key(),
        written=cabin.rules_due,
    )
    return app


def routed() -> Flask:
    """All that does not depend on whose cabin it is: routes, errors, headers."""
    app = Flask(__name__, static_folder=None)
    app.config["MAX_FORM_MEMORY_SIZE"] = 2**20
    logs.register(app)
    health.register(app)
    described = api.register(app)
    review.register(app)

    @app.get("/")
    def way_in() -> AnyResponse:
        return redirect(url_for("review.front"))

    @app.errorhandler(404)
    @app.errorhandler(405)
    def not_there(fault: HTTPException) -> Any:
        # No route, and so no blueprint, has these: who is answered in which way is told by the address.
        if request.path.startswith("/review"):
            return faults.show(fault.code or 404)
        return described.handle_http_exception(fault)

    @app.before_request
    def readable() -> None:
        # No address of ours has a nought in it, and not every ledger can be asked for one.
        if "\0" in request.path:
            abort(404)

    @app.errorhandler(Timeout)
    @app.errorhandler(PoolTimeout)
    def busy(_: Exception) -> Any:
        # Another process writes, or all connections are taken: nothing was done, and it can be asked again.
        fault = ServiceUnavailable(retry_after=5)
        return faults.show(503) if request.path.startswith("/review") else described.handle_http_exception(fault)

    guard(app)
    return app


def guard(app: Flask) -> None:
    """Gives every answer of `app` the careful headers that it does not set itself."""

    @app.after_request
    def headers(response: Response) -> Response:
        if response.status_code == 304:
            # Nothing to be careful with; it is said often, over slow lines.
            response.headers.setdefault("Cache-Control", _HEADERS["Cache-Control"])
            return response
        for name, value in _HEADERS.items():
            response.headers.setdefault(name, value)
        return response


def _addresses(host: str) -> list[str]:
    # What serves an app imports it.
    from server.serving import addresses

    return addresses(host)
