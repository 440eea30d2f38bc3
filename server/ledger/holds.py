"""Which dockets are on hold: every one whose bone may be human by any of its dockets' readings, or that has a hold
record, whether or not the other has come yet.

Dockets joined by `same_as` are one bone, whichever of them says so, and take the most cautious answer among them.
Deletions hide nothing here. Not here: what a single docket's readings amount to (fieldapp.records.standing).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records import standing
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.database import among
from server.ledger.folding import records_of


@dataclass(frozen=True, slots=True)
class Hold:
    """One docket on hold.

    docket    its id;  docket_record, hold_record  None where it has not come
    answer    of the bone: the most cautious of its dockets
    standing  of this docket alone, None where it has not come
    joined    ids of all dockets that are said to be this bone, this one among them
    context   id, "" where it cannot be told yet
    raised    whether the answer asks for a hold; if not, it is here for its log
    released  whether a director's word covers every reading of this docket
    """

    docket: str
    docket_record: Record | None
    hold_record: Record | None
    answer: str
    standing: human.Standing | None
    joined: tuple[str, ...]
    context: str
    raised: bool
    released: bool

    @property
    def label(self) -> str:
        """The docket's field label, "" where it has not come."""
        value = self.docket_record.value("label") if self.docket_record else None
        return value if isinstance(value, str) else ""


def components(links: Iterable[Sequence[str]]) -> dict[str, tuple[str, ...]]:
    """{docket: all dockets that are the same bone, sorted}, of those that are linked at all."""
    beside: dict[str, set[str]] = defaultdict(set)
    for one, other in links:
        beside[one].add(other)
        beside[other].add(one)
    found: dict[str, tuple[str, ...]] = {}
    for start in beside:
        if start in found:
            continue
        together, todo = {start}, [start]
        while todo:
            new = beside[todo.pop()] - together
            together |= new
            todo += new
        whole = tuple(sorted(together))
        found.update(dict.fromkeys(whole, whole))
    return found


def holds(connection: Connection, who: standing.Authority) -> list[Hold]:
    """All holds, the most cautious answers first, then by label."""
    column = tables.record.c
    raised = set(connection.scalars(select(column.id).where(column.answer.in_(sorted(human.RAISED)))))
    joined = components(
        connection.execute(select(tables.link.c.record, tables.link.c.other).where(tables.link.c.sort == "same_as"))
    )
    rows = connection.execute(select(column.id, column.docket).where(column.docket.is_not(None)).order_by(column.id))
    hold_of = {docket: hold for hold, docket in rows}
    bones = {joined.get(one, (one,)) for one in raised | set(hold_of)}
    dockets = sorted({one for bone in bones for one in bone})
    # A hold's id follows from its docket's, so one whose own `docket` is lost or wrong is found all the same.
    own = {one: hold_id(one) for one in dockets}
    records = {one.id: one for one in records_of(connection, sorted({*dockets, *own.values(), *hold_of.values()}))}
    contexts = contexts_of(connection, records.values())
    answers = {one: records[one] for one in dockets if one in records}
    standings = {one: standing.standing_of(record, who) for one, record in answers.items()}
    found = []
    for one in dockets:
        bone = joined.get(one, (one,))
        answer = human.joined(standings[other] for other in bone if other in standings)
        docket = records.get(one)
        hold = records.get(own[one]) or records.get(hold_of.get(one, ""))
        found.append(
            Hold(
                docket=one,
                docket_record=docket,
                hold_record=hold,
                answer=answer,
                standing=standings.get(one),
                joined=bone,
                context=contexts.get(one) or (contexts.get(hold.id) if hold else "") or "",
                raised=answer in human.RAISED,
                released=hold is not None and docket is not None and standing.is_released(hold, docket, who),
            )
        )
    return sorted(found, key=lambda one: (-human.CAUTION[one.answer], one.label, one.docket))


def contexts_of(connection: Connection, records: Iterable[Record]) -> dict[str, str]:
    """{record id: context id} of records that lie in one: a docket in a bag takes the bag's, once the bag has come."""
    listed = list(records)
    bags = {bag for one in listed if isinstance(bag := one.value("bag"), str)}
    column = tables.record.c
    query = select(column.id, column.context).where(among(connection, column.id, sorted(bags)))
    bag_context = {bag: context for bag, context in connection.execute(query).all()}
    found = {}
    for one in listed:
        context = bag_context.get(one.value("bag")) if isinstance(one.value("bag"), str) else None
        context = context if context is not None else one.value("context")
        if isinstance(context, str):
            found[one.id] = context
    return found


def bone(connection: Connection, docket: str) -> tuple[str, ...]:
    """Ids of the dockets that are said to be the same bone as this one, itself among them."""
    links = select(tables.link.c.record, tables.link.c.other).where(tables.link.c.sort == "same_as")
    return components(connection.execute(links)).get(docket, (docket,))
