"""Whether parting two dockets that are said to be one bone, or settling a bulk count, would lower what is to be kept.

One bone takes the most cautious answer to the human question of its dockets. Without the link a docket keeps its own;
where that is milder, only a signed assessment may take it there. Asked wherever a page takes such a link away. A bulk
count has no answer of its own but the animal that it names, and no assessment: its most cautious word stays.
Not here: joining, which only ever raises.
"""

from __future__ import annotations

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.records import standing
from fieldapp.records.fold import DELETED, Record
from server.ledger.holds import bone
from server.review import desk

LINK = "same_as/"


def answers(one: Record, two: Record) -> tuple[str, str, str]:
    """Where the bone of each stands on the human question, and where both would as one bone."""
    who, ledger = desk.authority(), desk.ledger()
    with ledger.database.reading() as connection:
        bones = [{each.id, *bone(connection, each.id)} for each in (one, two)]
    records = ledger.get(set.union(*bones))
    first, second = (
        standing.joined_answer([records[each] for each in found if each in records], who) for found in bones
    )
    return first, second, human.most_cautious((first, second))


def lowers(one: Record, two: Record) -> bool:
    """Whether one of them by itself has a milder answer than the bone, and that one asks for a hold. Others that join
    them besides are left out of the reckoning: they only hold more together."""
    _, _, together = answers(one, two)
    own = [standing.answer_of(each, desk.authority()) for each in (one, two)]
    return together in human.RAISED and any(human.CAUTION[each] < human.CAUTION[together] for each in own)


def fault_of(record: Record, path: str, value: object) -> str:
    """What settling this path at this value would lower, as a key of the page; "" for nothing."""
    if record.kind == "tally":
        return "lowers_count" if _lowers_count(record, path, value) else ""
    if not path.startswith(LINK) or value:
        return ""
    other = desk.ledger().record(path.removeprefix(LINK))
    return "lowers" if other is not None and lowers(record, other) else ""


def _lowers_count(tally: Record, path: str, value: object) -> bool:
    """Whether a bulk count that somebody called human would be taken away, or called by a milder word."""
    said = [answer for one in tally.heads.get("taxon", {}).values() if (answer := knowledge().human_answer(one))]
    if path == DELETED:
        return bool(value and said)
    given = human.CAUTION.get(knowledge().human_answer(value), -1)
    return path == "taxon" and any(given < human.CAUTION[one] for one in said)
