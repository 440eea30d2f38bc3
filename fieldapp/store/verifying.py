"""Checks a whole notebook: every hash, every number, every link of every chain. Not for mending.

A problem's `key` names its sentence in the texts and `fields` fill it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.records.changes import UnreadableChange, change_id, read
from fieldapp.records.fold import Fold, Record


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing found: `store.verify.hash`, `.gap`, `.prev`, `.fork` or `.state`."""

    key: str
    fields: Mapping[str, Any]


@dataclass(slots=True)
class Verified:
    """What a check found.

    own, pulled  changes that this notebook wrote, and that came from others
    unread       bodies kept that say nothing to this version
    problems     all that is wrong with what is here; empty is good
    missing      {other notebook: numbers that have not come (yet)}: no fault of this one
    """

    own: int = 0
    pulled: int = 0
    unread: int = 0
    problems: list[Problem] = field(default_factory=list)
    missing: dict[str, int] = field(default_factory=dict)


def verify(bodies: Iterable[tuple[bool, str, str]], lives: Iterable[str], state: Mapping[str, Record]) -> Verified:
    """Checks (own, id as noted, body) in their order against each other and against what they were folded into."""
    found = Verified()
    chains: dict[str, dict[int, dict[str, str]]] = {}
    again = Fold()
    for own, noted, body in bodies:
        if own:
            found.own += 1
        else:
            found.pulled += 1
        try:
            change = read(body)
        except UnreadableChange as error:
            if change_id(body) != noted:
                found.problems.append(_problem("hash", notebook=error.notebook or "?", n=error.n or "?"))
            found.unread += 1
            continue
        if change.id != noted:
            found.problems.append(_problem("hash", notebook=change.notebook, n=change.n))
        again.apply(change)
        chains.setdefault(change.notebook, {}).setdefault(change.n, {})[change.id] = change.prev
    own_lives = set(lives)
    for notebook, chain in chains.items():
        _check_chain(notebook, chain, notebook in own_lives, found)
    for record in sorted({*again.records, *state}):
        one, other = again.records.get(record), state.get(record)
        if one is None or other is None or one.as_json() != other.as_json():
            found.problems.append(_problem("state", record=record))
    return found


def _check_chain(notebook: str, chain: Mapping[int, Mapping[str, str]], own: bool, found: Verified) -> None:
    expected = 1
    for n in sorted(chain):
        if n > expected:
            if own:
                found.problems.append(_problem("gap", notebook=notebook, first=expected, last=n - 1))
            else:
                found.missing[notebook] = found.missing.get(notebook, 0) + n - expected
        expected = n + 1
        if len(chain[n]) > 1:
            found.problems.append(_problem("fork", notebook=notebook, n=n, count=len(chain[n])))
        before = chain.get(n - 1)
        for prev in chain[n].values():
            if (n == 1 and prev) or (before is not None and prev not in before):
                found.problems.append(_problem("prev", notebook=notebook, n=n))


def _problem(name: str, **fields: Any) -> Problem:
    return Problem(f"store.verify.{name}", fields)
