"""Which bones are drawn for a second reading: at random, in fair shares of groups, or the hard ones first.

A draw is told by its seed: the bones stand in the order of UUIDv5 (space OID) of "<seed>:<id>", and the first so many
are taken. So anybody can draw the same again, whatever program they use, and a bone that was added moves no other.
Not here: what makes a bone hard, what it is grouped by, and whether it may be drawn at all.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from hashlib import sha1
from heapq import nsmallest

RANDOM, BY_TAXON, BY_ELEMENT, HARD = "random", "by_taxon", "by_element", "hard"
WAYS = (RANDOM, BY_TAXON, BY_ELEMENT, HARD)
GROUPED = {BY_TAXON: "taxon", BY_ELEMENT: "element"}
"""By what the ways that draw of groups group."""


def draw(groups: Mapping[str, Iterable[str]], size: int, seed: str) -> list[str]:
    """The ids drawn, in the order of the draw; fewer than `size` where there are no more.

    groups  {name of the group: ids}, one group where all are alike; each gives its share, at least one while there is
            room.
    """
    lot = _lots(seed)
    there = {group: dict.fromkeys(ids) for group, ids in groups.items()}
    taken = shares({group: len(those) for group, those in there.items()}, size)
    found = [pair for group, n in taken.items() for pair in nsmallest(n, ((lot(one), one) for one in there[group]))]
    return [one for _, one in sorted(found)]


def shares(counts: Mapping[str, int], size: int) -> dict[str, int]:
    """How many to draw of each group: in proportion, the largest remainders first, at least one while there is room."""
    there = {group: n for group, n in counts.items() if n > 0}
    total, size = sum(there.values()), max(0, min(size, sum(there.values())))
    if size <= len(there):
        largest = sorted(there, key=lambda group: (-there[group], group))[:size]
        return dict.fromkeys(largest, 1)
    found = {group: max(1, n * size // total) for group, n in there.items()}
    for group in _by_remainder(there, found, size, total):
        if sum(found.values()) == size:
            break
        found[group] += 1
    while sum(found.values()) > size:
        # The ones that were lifted to one bone are paid for by the largest shares.
        found[max(found, key=lambda group: (found[group], group))] -= 1
    return found


def _by_remainder(there: Mapping[str, int], found: Mapping[str, int], size: int, total: int) -> Sequence[str]:
    room = [group for group in there if found[group] < there[group]]
    return sorted(room, key=lambda group: (-(there[group] * size / total - found[group]), group))


def _lots(seed: str) -> Callable[[str], int]:
    """What tells each its place: the UUIDv5 as a number, without the bits that all of them share, which sorts as it
    does. Put together here: a site has a hundred thousand bones."""
    begin = uuid.NAMESPACE_OID.bytes + f"{seed}:".encode()
    return lambda one: int.from_bytes(sha1(begin + one.encode(), usedforsecurity=False).digest()[:16]) & _OWN


_OWN = 0xFFFFFFFF_FFFF_0FFF_3FFF_FFFFFFFFFFFF
"""All but version and variant."""
