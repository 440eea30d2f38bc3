"""Gathers a context's records into a ContextSheet: who said what, what differs, what is on hold, what it adds up to.

For: folded records in, plain values out; the same records give the same sheet in whatever order they come.
Not for: drawing, words for people, reading stores, or what one record says (making).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from fieldapp.domain import human, ids
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.changes import FORMAT
from fieldapp.records.checking import Among
from fieldapp.records.fold import Record
from fieldapp.records.moments import moment
from fieldapp.records.place import conditions_of, is_licensed, place_of
from fieldapp.records.standing import Authority
from fieldapp.sheets.entries import (
    Bag,
    ContextSheet,
    Docket,
    Group,
    Photo,
    Tally,
)
from fieldapp.sheets.figures import figures
from fieldapp.sheets.making import Making, Who, all_at, label_of, label_order, text, way_of


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
    tallies: Iterable[Record] = (),
    photos: Iterable[Record] = (),
    names: Mapping[str, str] | None = None,
    hold_words: bool = False,
) -> ContextSheet:
    """The sheet of one context.

    `bags`, `dockets`, `groups`, `holds`: those of the context, deleted ones included. `linked`: dockets of other
    contexts that are said to be the same bone as one of these. `photos`: those of the context and its dockets, and all
    others of the same pictures: what any of them closes is closed. `source`: the ledger or notebook, in words. `names`:
    {record id: label} of bags and contexts elsewhere, which a version in dispute may name. `hold_words`: the free
    words of hold logs too, which may name the place; only a hold log for the roles that may see it wants them.
    """
    bags, dockets, linked = (sorted(one, key=_order) for one in (bags, dockets, linked))
    tallies = sorted(tallies, key=_order)
    groups, holds = sorted(groups, key=_order), sorted(holds, key=lambda one: one.id)
    among = Among([context, *bags, *dockets, *groups, *linked, *tallies], knowledge)
    labels = {**(names or {}), **{one.id: label_of(one) for one in (*bags, *dockets, *linked)}}
    labels[context.id] = text(context.value("number"))
    of = Making(authority, knowledge, who, among, labels, hold_words)
    hold_of = {text(one.value("docket")): one for one in holds}
    hold_of |= {docket.id: one for docket in dockets for one in holds if one.id == ids.hold_id(docket.id)}
    bones = _joined([*dockets, *linked], "same_as")
    fits = _joined(dockets, "joins")
    bag_of = {one.id: one for one in bags}

    def way(record: Record) -> tuple[str | None, float | None]:
        return (None, None) if "bag" in record.disagreements() else way_of(bag_of.get(text(record.value("bag"))))

    member_of: dict[str, list[str]] = {}
    for group in groups:
        for member in group.linked("member") if group.life() != "deleted" else ():
            member_of.setdefault(member, []).append(label_of(group))
    entries = tuple(
        of.docket(
            one,
            hold_of.get(one.id),
            bones[one.id],
            labels,
            tuple(member_of.get(one.id, ())),
            fitted=min(other.id for other in fits[one.id]) if len(fits[one.id]) > 1 else "",
            way=way(one),
        )
        for one in dockets
    )
    tally_entries = tuple(of.tally(one, way(one)) for one in tallies)
    in_bag: dict[str, int] = {}
    for one in dockets:
        if one.life() != "deleted":
            in_bag[text(one.value("bag"))] = in_bag.get(text(one.value("bag")), 0) + 1
    known = {one.id for one in dockets}
    bag_entries = tuple(of.bag(one, in_bag.get(one.id, 0)) for one in bags)
    group_entries = tuple(of.group(one, labels) for one in groups if one.life() != "deleted")
    loose = tuple(of.hold(one, None, None) for docket, one in hold_of.items() if docket not in known)
    context_differences, context_problems = of.differences(context), of.problems(context)
    found: list[Bag | Group | Tally] = [
        *bag_entries,
        *group_entries,
        *(one for one in tally_entries if not one.deleted),
    ]
    shown, closed = _photos(of, [*photos], entries, context.id)
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
            tallies=tally_entries,
            loose_holds=len(loose),
            differences=[*context_differences, *(one for entry in found for one in entry.differences)],
            problems=[*context_problems, *(one for entry in found for one in entry.problems)],
        ),
        source=source,
        format=FORMAT,
        conditions=conditions_of(site),
        place=place_of(site),
        hold_words=hold_words,
        locked=True in all_at(context, "locked"),
        tallies=tally_entries,
        photos=shown,
        photos_closed=closed,
    )


def _photos(
    of: Making, records: Sequence[Record], dockets: Sequence[Docket], context: str
) -> tuple[tuple[Photo, ...], int]:
    """The pictures of a context and its dockets that may be printed, and how many may not.

    Closed is what any record of the picture closes in any version, or that shows a bone which stands raised.
    """
    raised = {one.id for one in dockets if one.answer in human.RAISED}
    here = {one.id for one in dockets}
    # A docket names its photos, and photos their docket; either may have come first.
    by_photo = {photo: one.id for one in dockets for photo in one.photos}
    open_ones: list[Photo] = []
    closed: set[str] = set()
    for one in sorted((record for record in records if "photo" in record.kinds), key=lambda one: one.id):
        about = {text(value) for value in all_at(one, "docket")} | ({by_photo[one.id]} if one.id in by_photo else set())
        shown = of.photos(one, next(iter(sorted(about & here)), ""))
        # Of a bone that is not on this sheet it is not known here where it stands.
        if any(all_at(one, "closed")) or about & raised or about - here - {""}:
            closed |= {photo.sha256 for photo in shown}
        elif one.life() != "deleted" and (about & here or context in all_at(one, "context")):
            open_ones += shown
    left = {photo.sha256: photo for photo in reversed(open_ones) if photo.sha256 not in closed}
    order = sorted(left.values(), key=lambda one: (moment(one.said[0].at) if one.said else "", one.id, one.sha256))
    return tuple(order), len(closed)


def _order(record: Record) -> tuple[tuple[int, str, str, int, str], str]:
    return label_order(label_of(record)), record.id


def _joined(dockets: Sequence[Record], link: str) -> dict[str, list[Record]]:
    """{docket id: the dockets it is linked to, itself included}. A link that anybody still holds to joins them."""
    by_id = {one.id: one for one in dockets}
    root = {one: one for one in by_id}

    def top(one: str) -> str:
        while root[one] != one:
            one = root[one]
        return one

    for docket in by_id.values():
        for path in docket.heads:
            other = path.removeprefix(f"{link}/")
            if other != path and other in by_id and any(all_at(docket, path)):
                low, high = sorted((top(docket.id), top(other)))
                root[high] = low
    bones: dict[str, list[Record]] = {}
    for docket in by_id.values():
        bones.setdefault(top(docket.id), []).append(docket)
    return {one: bones[top(one)] for one in by_id}
