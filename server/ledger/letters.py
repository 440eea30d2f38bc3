"""The letters on labels: labels are unique because a letter is one notebook's and is never given to a second one.

Not to a replacement either. A tablet that took over the letter of a lost one could only go on counting from what the
cabin has seen, and the lost one may have written, and stuck on bags, numbers that never came: the next bag would get
one of them again. A new letter costs nothing. So a withdrawn tablet's letter stays its own for good, and what was
written with a letter elsewhere, by a tablet set up without the cabin, keeps that letter out of the hands of others.

The cabin labels what is recorded at the desk with a letter of its own. After a backup was put back nobody knows which
numbers it had given since: it goes on with another letter, one of two, taken by chance, so that what was stuck on bags
meanwhile is hardly met again.

Functions inside a transaction of the caller's. Not here: who is let in (devices).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from fieldapp.domain.labels import Label, LabelError, letter_in
from fieldapp.domain.labels import read as read_label
from fieldapp.records.changes import Change, read
from server.ledger import events, meta, tables

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which muddy pencils make of 1 and 0."""

_UNLABELLED = ("site", "person", "context")


class Given(NamedTuple):
    """A letter for a notebook. `held_by`: why it is not the one wished for, the holder's name or `?`; else ""."""

    letter: str
    held_by: str = ""


def letters() -> Iterator[str]:
    """Every letter there is, in the order in which they are given."""
    yield from LETTERS
    yield from ("".join(pair) for pair in product(LETTERS, repeat=2))


def new_label(connection: Connection, code: str, chance: int) -> str:
    """The next label of the cabin's own: its number is never given again. `chance` chooses among letters, if a new one
    is to be taken."""
    own, number = meta.labelled(connection)
    if not own[-1]:
        used = _used(connection)
        pairs = [one for one in letters() if len(one) == 2 and one not in used]
        own, number = [*own[:-1], pairs[chance % len(pairs)]], 0
    meta.put(connection, letters=" ".join(own), label=number + 1)
    return str(Label(code, own[-1], number + 1))


def leave(connection: Connection) -> None:
    """The cabin's present letter is used no more: the next label has another one."""
    own, _ = meta.labelled(connection)
    if own[-1]:
        meta.put(connection, letters=" ".join([*own, ""]), label=0)


def _cabins(connection: Connection) -> set[str]:
    return {one for one in meta.labelled(connection)[0] if one}


def free(connection: Connection) -> str:
    """The next letter that nobody has, was promised, or has written with."""
    used = _used(connection)
    return next(one for one in letters() if one not in used)


def _used(connection: Connection) -> set[str]:
    used = _cabins(connection)
    used |= set(connection.scalars(select(tables.device.c.letter)))
    used |= set(connection.scalars(select(tables.enrolment.c.letter)))
    # Labels that came from tablets whose enrolment this ledger has lost.
    used |= set(_written(connection))
    return used


def give(connection: Connection, notebook: str, wish: str, offered: str) -> Given:
    """The letter for a notebook that is let in: its own, else the one it has been writing with, else a new one."""
    rows = connection.execute(select(tables.device)).all()
    holders = {one.letter: one for one in rows}
    own = next((one.letter for one in rows if one.notebook == notebook), "")
    # After a backup was put back, a tablet knows better than the cabin which letter it has.
    wished = wish if wish in letters() else ""
    held_by = ""
    if wished and not own:
        holder = holders.get(wished)
        if holder is None and wished not in _cabins(connection) and not _by_others(connection, wished, notebook):
            return Given(wished)
        held_by = (holder.name if holder is not None else "") or "?"
    if own:
        return Given(own, _name(holders.get(wished)) if wished and wished != own else "")
    return Given(offered if offered not in holders else free(connection), held_by)


def of_others(connection: Connection, fresh: Sequence[Change], at: str) -> list[dict[str, Any]]:
    """Notices, once for a notebook and letter, of labels written with a letter that is another notebook's."""
    met: set[tuple[str, str]] = set()
    for one in fresh:
        # Nearly all of a batch are one tablet's, with one letter: its first good label is enough.
        if (pair := (one.notebook, _letter_like(one))) not in met and _letter_written(one):
            met.add(pair)
    if not met:
        return []
    holders = {one.letter: one for one in connection.execute(select(tables.device))}
    cabins = _cabins(connection)
    found: list[dict[str, Any]] = []
    for notebook, letter in sorted(met):
        holder = holders.get(letter)
        free_for_it = letter not in cabins and (holder is None or holder.notebook == notebook)
        if free_for_it or letter in _noted(connection, notebook):
            continue
        name = "cabin" if letter in cabins else _name(holder)
        notice = {"what": "letter_of_other", "notebook": notebook, "letter": letter, "holder": name}
        events.note(connection, "letter_of_other", notebook, at, notice)
        found.append(notice)
    return found


def _name(row: Any) -> str:
    return (row.name if row is not None else "") or "?"


def _letter_like(change: Change) -> str:
    """The letter of what a change gives as a label, whether or not it is a good one."""
    label = change.set.get("label")
    return letter_in(label) if isinstance(label, str) else ""


def _letter_written(change: Change) -> str:
    """The letter of the label that a change gives to a record that had none; "" for every other change."""
    label = change.set.get("label")
    if not isinstance(label, str) or "label" in change.over or change.kind in _UNLABELLED:
        return ""
    try:
        return read_label(label).letter
    except LabelError:
        return ""


def _noted(connection: Connection, notebook: str) -> set[str]:
    column = tables.event.c
    query = select(column.fields).where(column.what == "letter_of_other", column.who == notebook)
    return {json.loads(one).get("letter") for one in connection.scalars(query)}


def _by_others(connection: Connection, letter: str, notebook: str) -> bool:
    """Whether labels with this letter have come that another notebook wrote. Asked once, when a tablet is let in."""
    record, change = tables.record.c, tables.change.c
    query = (
        select(change.body)
        .join(tables.record, change.record == record.id)
        .where(record.label.like(f"% {letter}%"), change.notebook != notebook)
    )
    return any(_letter_written(read(body)) == letter for body in connection.scalars(query))


def _written(connection: Connection) -> Iterator[str]:
    column = tables.record.c
    query = select(column.label).where(column.label.is_not(None), column.kind.not_in(_UNLABELLED))
    for label in connection.scalars(query):
        try:
            yield read_label(label).letter
        except LabelError:
            continue
