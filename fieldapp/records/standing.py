"""Where records stand on the human question, read from the fold: ties signatures (signing) to meaning (domain.human).

Everybody who shows a docket asks here: the tablet, the pages, the sheets. Nothing is stored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.naming import Naming
from fieldapp.records.fold import Record
from fieldapp.records.signing import Grant, Grants, grants, signer


@dataclass(frozen=True, slots=True)
class Authority:
    """Who may decide here: granted keys and the site's policy."""

    grants: Grants
    policy: human.Policy


def authority(site: Record | None, persons: Iterable[Record], names: Naming) -> Authority:
    """The authority as the site's and the persons' records give it. A disputed or malformed policy names nobody.
    `names`: what counts as the name of an animal and a part (domain.naming)."""
    policy: Any = None
    if site is not None and "policy" not in site.disagreements():
        policy = site.value("policy")
    listed = policy.get("zooarchaeologists_may_assess") if isinstance(policy, Mapping) else None
    second = policy.get("second_reader") if isinstance(policy, Mapping) else None
    return Authority(
        grants(persons),
        human.Policy(
            frozenset(one for one in listed if isinstance(one, str)) if isinstance(listed, list) else frozenset(),
            second is not False,
            isinstance(policy, Mapping) and policy.get("groups") is True,
            names,
        ),
    )


def signed_by(record: Record, path: str, value: Any, who: Authority) -> Grant | None:
    """The grant whose key signed `value` at a path of this record; None if no known signature holds.

    Under any site that is claimed for the record: a second one, mistyped or made up, takes no signature away.
    """
    found = (signer(value, who.grants, site=site, record=record.id, path=path) for site in record.sites)
    return next((one for one in found if one is not None), None)


def standing_of(docket: Record, who: Authority) -> human.Standing:
    """Where one docket stands by its own readings. A deletion changes nothing: it cannot hide a raise."""
    assessments = {}
    for one, value in docket.added("assessment").items():
        path = one.rpartition("@")[0]
        grant = signed_by(docket, path, value, who)
        assessments[one] = human.Assessment(value, *((grant.person, grant.role) if grant else ("", "")))
    return human.standing(docket.added("human"), assessments, who.policy)


def answer_of(docket: Record, who: Authority) -> str:
    """The answer of `standing_of`. Sooner, where nobody has assessed anything: as of nearly every docket."""
    heads = docket.heads
    if any(path.startswith("assessment/") for path in heads):
        return standing_of(docket, who).answer
    return human.most_cautious(
        human.answer_of(reading) for path in heads if path.startswith("human/") for reading in heads[path].values()
    )


def joined_to(
    docket: Record,
    find: Callable[[str], Record | None],
    pointed_at_by: Callable[[str], Iterable[str]] = lambda one: (),
) -> list[Record]:
    """The dockets that are said to be the same bone as `docket`, itself first, followed as far as the links go.

    `pointed_at_by`: ids of the dockets known to point at one, because links are written at one end only. A link that
    is in dispute holds: joined is the cautious side.
    """
    found = {docket.id: docket}
    todo = [*docket.linked("same_as"), *pointed_at_by(docket.id)]
    while todo:
        one = todo.pop()
        other = find(one) if one not in found else None
        if other is not None:
            found[one] = other
            todo += [*other.linked("same_as"), *pointed_at_by(one)]
    return list(found.values())


def joined_answer(dockets: Iterable[Record], who: Authority) -> str:
    """The most cautious answer of dockets that are one bone."""
    return human.joined(standing_of(one, who) for one in dockets)


def doubts(docket: Record) -> set[str]:
    """Ids of what a written word to go on has to cover: every answer, and every verdict that it is human, whether or
    not its signature holds. One that comes later opens a released hold again."""
    assessed = docket.added("assessment").items()
    said = {one for one, value in assessed if isinstance(value, Mapping) and value.get("verdict") == human.HUMAN}
    return {*docket.added("human"), *said}


def is_released(hold: Record, docket: Record, who: Authority) -> bool:
    """Whether the written word to go on covers every doubt about the docket now."""
    releases = []
    for one, value in hold.added("release").items():
        path = one.rpartition("@")[0]
        grant = signed_by(hold, path, value, who)
        releases.append((value, grant.role if grant else ""))
    return human.released(doubts(docket), releases)
