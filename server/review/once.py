"""The mark that makes a form count once: the id of what it will make, chosen when the form is shown.

Not for forms that change what is there already: they name what they change (people, tablets).
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from flask import abort

from server.ledger.ledger import Edit
from server.review import desk


def new() -> str:
    """For a form that is being shown."""
    return desk.ledger().new_id()


def given() -> str:
    """What the form that was sent carries, its field `once`; it ends the request if that is no id."""
    return id_of(desk.field("once"))


def write(record: str, path: str, edits: Sequence[Edit]) -> bool:
    """Writes what a form makes at a path of a record, unless the same form, sent at the same moment, has done so."""
    ledger = desk.ledger()
    with ledger.database.writing() as connection:
        now = ledger.record_in(connection, record)
        if now is not None and path in now.heads:
            return False
        ledger.write_many_in(connection, edits, desk.me().by)
    desk.desk().written()
    return True


def id_of(written: str) -> str:
    """An id that a form carries; it ends the request if that is none."""
    try:
        found = str(uuid.UUID(written))
    except ValueError:
        abort(400)
    return found if found == written else abort(400)
