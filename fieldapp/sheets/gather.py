"""Gathers a context's records into a ContextSheet: who said what, what differs, what is on hold, what it adds up to.

For: folded records in, plain values out; the same records give the same sheet in whatever order they come.
Not for: drawing, words for people, reading stores, or what one record says (making).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from fieldapp.domain import ids
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.changes import FORMAT
from fieldapp.records.checking import Among
from fieldapp.records.fold import Record
from fieldapp.records.place import conditions_of, is_licensed, place_of
from fieldapp.records.standing import Authority
from fieldapp.sheets.entries import (
    Bag,
    ContextSheet,
    Group,
)
from fieldapp.sheets.figures import figures
from fieldapp.sheets.making import Making, Who, all_at, label_of, label_order, text


def gather(
    *,
    site: Record | None,
    context: Record,
    bags: Iterable[Record],
    dockets: Iterable[Record],
    groups: Iterable[Record],
    holds: Iterable[Record],
    authority: Authority,
    knowledge: Knowledge,
    who: Who,
    source: str,
    linked: Iterable[Record] = (),
    names: Mapping[str, str] | None = None,
    hold_words: bool = False,
) -> ContextSheet:
    """The sheet of one context.

    `bags`, `dockets`, `groups`, `holds`: those of the context, deleted ones included. `linked`: dockets of other
    contexts that are said to be the same bone as one of these. `source`: the ledger or notebook, in words. `names`:
    {record id: label} of bags and contexts elsewhere, which a version in dispute may name. `hold_words`: the free
    words of hold logs too, which may name the place; only a hold log for the roles that may see it wants them.
    """
    bags, dockets, linked = (sorted(one, key=_order) for one in (bags, dockets, linked))
    groups, holds = sorted(groups, key=_order), sorted(holds, key=lambda one: one.id)
    among = Among([context, *bags, *dockets, *groups, *linked], knowledge)
    labels = {**(names or {}), **{one.id: label_of(one) for one in (*bags, *dockets, *linked)}}
    labels[context.id] = text(context.value("number"))
    of = Making(authority, knowledge, who, among, labels, hold_words)
    hold_of = {text(one.value("docket")): one for one in holds}
    hold_of |= {docket.id: one for docket in dockets for one in holds if one.id == ids.hold_id(docket.id)}
    bones = _joined([*dockets, *linked])
    member_of: dict[str, list[str]] = {}
    for group in groups:
        for member in group.items("member") if group.life() != "deleted" else ():
            member_of.setdefault(member, []).append(label_of(group))
    entries = tuple(
        of.docket(one, hold_of.get(one.id), bones[one.id], labels, tuple(member_of.get(one.id, ()))) for one in dockets
    )
    in_bag: dict[str, int] = {}
    for one in dockets:
        if one.life() != "deleted":
            in_bag[text(one.value("bag"))] = in_bag.get(text(one.value("bag")), 0) + 1
    known = {one.id for one in dockets}
    bag_entries = tuple(of.bag(one, in_bag.get(one.id, 0)) for one in bags)
    group_entries = tuple(of.group(one, labels) for one in groups if one.life() != "deleted")
    loose = tuple(of.hold(one, None, None) for docket, one in hold_of.items() if docket not in known)
    context_differences, context_problems = of.differences(context), of.problems(context)
    found: list[Bag | Group] = [*bag_entries, *group_entries]
    return ContextSheet(
        site_code=text(site.value("code")) if site else "",
        site_name=text(site.value("name")) if site else "",
        licensed=is_licensed(site),
        licence=text(site.value("licence")) if site else "",
        number=text(context.value("number")),
        type=context.value("type"),
        grave_like=context.value("grave_like"),
        trench=context.value("trench"),
        phase=context.value("phase"),
        state=context.value("state"),
        deleted=context.life() != "live",
        differences=context_differences,
        notes=of.notes(context),
        problems=context_problems,
        bags=bag_entries,
        groups=group_entries,
        dockets=entries,
        labels=labels,
        loose_holds=loose,
        figures=figures(
            entries,
            knowledge,
            loose_holds=len(loose),
            differences=[*context_differences, *(one for entry in found for one in entry.differences)],
            problems=[*context_problems, *(one for entry in found for one in entry.problems)],
        ),
        source=source,
        format=FORMAT,
        conditions=conditions_of(site),
        place=place_of(site),
        hold_words=hold_words,
    )


def _order(record: Record) -> tuple[tuple[int, str, str, int, str], str]:
    return label_order(label_of(record)), record.id


def _joined(dockets: Sequence[Record]) -> dict[str, list[Record]]:
    """{docket id: the dockets of its bone, itself included}. A link that anybody still holds to joins them."""
    by_id = {one.id: one for one in dockets}
    root = {one: one for one in by_id}

    def top(one: str) -> str:
        while root[one] != one:
            one = root[one]
        return one

    for docket in by_id.values():
        for path in docket.heads:
            other = path.removeprefix("same_as/")
            if other != path and other in by_id and any(all_at(docket, path)):
                low, high = sorted((top(docket.id), top(other)))
                root[high] = low
    bones: dict[str, list[Record]] = {}
    for docket in by_id.values():
        bones.setdefault(top(docket.id), []).append(docket)
    return {one: bones[top(one)] for one in by_id}
