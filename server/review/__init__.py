"""The specialist's pages: sign-in, today, contexts, dockets, disagreements, holds. Flask and Jinja, full pages, plain
forms and links; everything they need is shipped; they work without scripts.

`register` puts them under /review of an app. Not here: JSON for tablets (server.api).
"""

from __future__ import annotations

from collections.abc import Callable

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from flask import Flask

from fieldapp.records import sealing
from server.ledger import Ledger
from server.ledger.accounts import Accounts
from server.review import beside, contexts, disagreements, dockets, faults, holds, language, sheets, signing_in, today
from server.review.desk import NAME, Desk, pages

__all__ = ["register"]

_ROUTES = (language, signing_in, today, contexts, dockets, disagreements, holds, beside, sheets, faults)
"""Imported for the pages they put into the blueprint."""


def register(
    app: Flask,
    *,
    ledger: Ledger,
    accounts: Accounts,
    session_key: bytes,
    seal_key: X25519PrivateKey | None,
    written: Callable[[], None] = lambda: None,
) -> None:
    """Adds the pages to `app`. `session_key` signs the cookies; without `seal_key` exact places stay sealed.

    `written` is called after each change that a page writes, so that the rules look at it.
    """
    app.secret_key = session_key
    app.config.update(
        # The name's beginning binds browsers: set over TLS only. `__Host-` would ask for the path "/".
        SESSION_COOKIE_NAME="__Secure-bonedocket",
        SESSION_COOKIE_SECURE=True,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_PATH="/review",
    )
    unseal = None if seal_key is None else lambda sealed, about: sealing.unseal(sealed, seal_key, about)
    app.extensions[NAME] = Desk(ledger, accounts, unseal, written)
    app.register_blueprint(pages)
