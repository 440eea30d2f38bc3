"""Looking after people: how each account stands, who waits, whose sign-ins are over, who may assess by the policy.

Names are made fit to be shown beside each other here. Not here: passwords and keys (accounts), who may do any of it
(the table of roles), the pages.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, or_, select, update

from fieldapp.domain.alphabet import alphabetical
from server.ledger import events, folding, sessions, tables
from server.ledger.accounts import Account
from server.ledger.ledger import CABIN, Ledger

LONGEST_NAME = 80

_TURNING = dict.fromkeys([0x061C, 0x200B, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A), 0xFEFF])
"""Marks that turn the direction of what follows, or that nobody sees: a name with one could pass for another."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How an account stands. `waits_until`: after too many wrong passwords; `last`: its last sign-in, "" for none."""

    account: Account
    wrong: int
    waits_until: datetime | None
    last: str


def tidy(name: str) -> str:
    """A name without what cannot be seen, its spaces single."""
    shown = unicodedata.normalize("NFC", name).translate(_TURNING)
    return " ".join("".join(" " if unicodedata.category(one) == "Cc" else one for one in shown).split())


def name_fault(ledger: Ledger, name: str) -> str:
    """Why a tidy name will not do for somebody new: "blank", "long" or "taken"; "" if it will."""
    if not any(one.isalpha() for one in name):
        return "blank"
    if len(name) > LONGEST_NAME:
        return "long"
    known = {_alike(str(one.value("name") or "")) for one in ledger.records("person", deleted=True)}
    return "taken" if _alike(name) in {*known, _alike(str(CABIN["name"]))} else ""


def _alike(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def overview(ledger: Ledger, person: str | None = None) -> list[Standing]:
    """Every account, or those of one person, by name and role."""
    column, now = tables.account.c, ledger.clock()
    query = select(tables.account)
    if person is not None:
        query = query.where(column.person == person)
    with ledger.database.reading() as connection:
        last = _last(connection, person)
        found = []
        for row in connection.execute(query):
            account = Account(row.id, row.person, row.name, row.role, row.key, row.active)
            until = datetime.fromisoformat(row.locked_until).astimezone(now.tzinfo) if row.locked_until else None
            waits = until if until is not None and until > now else None
            found.append(Standing(account, row.wrong, waits, last.get((row.person, row.role), "")))
    return sorted(found, key=lambda one: (alphabetical(one.account.name), one.account.person, one.account.role))


def _last(connection: Any, person: str | None) -> dict[tuple[str, str], str]:
    column = tables.event.c
    query = select(column.who, column.fields, func.max(column.at)).where(column.what == "sign_in")
    if person is not None:
        query = query.where(column.who == person)
    found: dict[tuple[str, str], str] = {}
    for who, fields, at in connection.execute(query.group_by(column.who, column.fields)):
        place = (who, str(json.loads(fields).get("role")))
        found[place] = max(at, found.get(place, ""))
    return found


def let_try(ledger: Ledger, account: Account, by: Mapping[str, Any]) -> None:
    """Ends the wait after too many wrong passwords; the password stays."""
    column = tables.account.c
    with ledger.database.writing() as connection:
        # One that does not wait any more has nothing to be noted.
        row = connection.execute(select(column.wrong).where(column.id == account.id)).first()
        if row is not None and row.wrong:
            connection.execute(update(tables.account).where(column.id == account.id).values(wrong=0, locked_until=None))
            _note(ledger, connection, "wait_ended", account, by)


def end_sessions(ledger: Ledger, account: Account, by: Mapping[str, Any]) -> None:
    """Ends every sign-in of the account."""
    with ledger.database.writing() as connection:
        sessions.end_all(connection, account.id)
        _note(ledger, connection, "sessions_ended", account, by)


def name_assessor(ledger: Ledger, account: Account, named: bool, by: Mapping[str, Any] = CABIN) -> None:
    """Names a zooarchaeologist in the site's policy as one who may assess, or takes the name out."""
    site = ledger.site()
    policy = dict(site.value("policy") or {})
    others = [one for one in policy.get("zooarchaeologists_may_assess", []) if one != account.person]
    policy["zooarchaeologists_may_assess"] = [*others, account.person] if named else others
    if policy == site.value("policy"):
        return
    with ledger.database.writing() as connection:
        ledger.write_in(connection, "site", site.id, {"policy": policy}, {"policy": site.head_ids()["policy"]}, by)
        _note(ledger, connection, "may_assess" if named else "may_not_assess", account, by)


def signed(ledger: Ledger, person: str, role: str) -> dict[str, int]:
    """How many assessments and releases the keys of a person's role have signed: what revoking them would void."""
    record = ledger.record(person)
    keys = {
        key
        for key, value in (record.items("key") if record else {}).items()
        if isinstance(value, Mapping) and value.get("role") == role
    }
    column = tables.record.c
    with ledger.database.reading() as connection:
        records = folding.load(connection, folding.states(or_(column.assessed, column.kind == "hold")))
    return {
        path: sum(
            isinstance(value, Mapping) and value.get("signer") == person and value.get("key") in keys
            for one in records
            for value in one.added(path).values()
        )
        for path in ("assessment", "release")
    }


def _note(ledger: Ledger, connection: Any, what: str, account: Account, by: Mapping[str, Any]) -> None:
    fields = {"person": account.person, "name": account.name, "role": account.role, "by": by["name"]}
    events.note(connection, what, str(by["person"] or by["name"]), ledger.now(), fields)
