"""Which records belong on a context's sheet, from all the records there are. Not for gathering what they say."""

from __future__ import annotations

from collections.abc import Iterable

from fieldapp.domain.ids import hold_id
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import FIRST_OF_KINDS, Record
from fieldapp.records.standing import Authority
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.gather import gather
from fieldapp.sheets.making import Who


def of_context(
    context: Record,
    records: Iterable[Record],
    *,
    site: Record | None,
    authority: Authority,
    knowledge: Knowledge,
    who: Who,
    source: str,
    hold_words: bool = False,
) -> ContextSheet:
    """The sheet of `context`, picking its bags, dockets, groups and holds out of `records`.

    A record whose place is disputed is on the sheet of every context that one of its versions names. `hold_words`: see
    `gather`.
    """
    by_kind: dict[str, list[Record]] = {"context": [], "bag": [], "docket": [], "group": [], "hold": []}
    for one in records:
        for kind in {one.kind, *(FIRST_OF_KINDS if len(one.kinds) > 1 else ())} & set(one.kinds):
            by_kind.setdefault(kind, []).append(one)
    bags = [one for one in by_kind["bag"] if context.id in _named(one, "context")]
    inside = {one.id for one in bags}
    dockets = [
        one
        for one in by_kind["docket"]
        if inside & _named(one, "bag") or (not _named(one, "bag") and context.id in _named(one, "context"))
    ]
    here = {one.id for one in dockets}
    own = {hold_id(one) for one in here}
    links = {other for one in dockets for other in one.linked("same_as")}
    return gather(
        site=site,
        context=context,
        bags=bags,
        dockets=dockets,
        groups=[
            one for one in by_kind["group"] if context.id in _named(one, "context") or here & {*one.items("member")}
        ],
        # A hold's id follows from its docket's: one that was made to name another is found all the same.
        holds=[
            one
            for one in by_kind["hold"]
            if one.id in own or here & _named(one, "docket") or context.id in _named(one, "context")
        ],
        authority=authority,
        knowledge=knowledge,
        who=who,
        source=source,
        hold_words=hold_words,
        names={one.id: name for kind in ("bag", "context") for one in by_kind[kind] if (name := _name(one))},
        linked=[
            one
            for one in by_kind["docket"]
            if one.id not in here and (one.id in links or here & {*one.linked("same_as")})
        ],
    )


def _name(record: Record) -> str:
    name = record.value("number" if record.kind == "context" else "label")
    return name if isinstance(name, str) else ""


def _named(record: Record, path: str) -> set[str]:
    """Every id that a head of `path` names."""
    return {value for value in record.heads.get(path, {}).values() if isinstance(value, str)}
