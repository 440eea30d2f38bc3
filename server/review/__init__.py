"""The specialist's pages: sign-in, today, contexts, fragments, dockets, disagreements, holds, bags; and the
pages of those who look after the cabin: people, tablets, the log. Flask and Jinja, full pages, plain
forms and links; everything they need is shipped; they work without scripts.

`register` puts them under /review of an app, `stand_behind` says which cabin they show. Not here: JSON for tablets
(server.api).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from flask import Flask

from fieldapp.records import sealing
from server.ledger import Ledger
from server.ledger.accounts import Accounts
from server.ledger.devices import Devices
from server.photos import Photos
from server.review import (
    adding_contexts,
    analysis,
    bags,
    beside,
    boxes,
    bulk,
    carrying,
    changes,
    coming_back,
    contexts,
    disagreements,
    dockets,
    doubles,
    editing,
    editing_context,
    entry,
    entry_many,
    faults,
    fragments,
    groups,
    holds,
    keys,
    language,
    locking,
    log,
    marking,
    my_account,
    new_docket,
    people,
    photos,
    problems,
    raising,
    reports,
    second,
    second_reading,
    settling,
    sheets,
    signing_in,
    site_setup,
    tablets,
    third,
    today,
    transfers,
)
from server.review.desk import COOKIE, COOKIE_RULES, NAME, Desk, pages

__all__ = ["register"]

_ROUTES = (
    coming_back, language, signing_in, my_account, today, changes, contexts, fragments, dockets, new_docket, editing,
    editing_context, marking, locking, raising, disagreements, settling, third, doubles, groups, holds, problems,
    beside, sheets, photos, bags, boxes, transfers, site_setup, adding_contexts, people, tablets, carrying, second,
    second_reading, analysis, reports, log, faults, entry, entry_many, bulk, keys,
)  # fmt: skip
"""Imported for the pages they put into the blueprint."""


def register(app: Flask) -> None:
    """Adds the pages to `app`."""
    app.config.update(SESSION_COOKIE_NAME=COOKIE, **COOKIE_RULES)
    app.register_blueprint(pages)


def stand_behind(
    app: Flask,
    *,
    ledger: Ledger,
    accounts: Accounts,
    pictures: Photos,
    devices: Devices,
    addresses: Callable[[], Sequence[str]],
    session_key: bytes,
    seal_key: X25519PrivateKey | None,
    written: Callable[[], None] = lambda: None,
) -> None:
    """From now on the pages of `app` show this cabin.

    `session_key` signs the cookies; without `seal_key` exact places stay sealed.
    `addresses` are this machine's own, for tablets to find it by. `written` is called after each change that a page
    writes, so that the rules look at it.
    """
    app.secret_key = session_key
    unseal = None if seal_key is None else lambda sealed, about: sealing.unseal(sealed, seal_key, about)
    app.extensions[NAME] = Desk(ledger, accounts, pictures, unseal, written)
    app.extensions[tablets.EXTENSION] = tablets.Door(devices, addresses)
