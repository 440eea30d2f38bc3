"""Which records belong on a context's sheet, from all the records there are, and which contexts are a trench's.

Not for gathering what they say.
"""

from __future__ import annotations

from collections.abc import Iterable

from fieldapp.domain.ids import hold_id
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import FIRST_OF_KINDS, Record
from fieldapp.records.standing import Authority
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.gather import gather
from fieldapp.sheets.making import Who

_PLACES = ("context", "bag", "docket", "sha256")
_LINKS = ("same_as", "member", "photo")


class Placed:
    """Records by where any of their versions puts them, so that many sheets can be picked out of a large site."""

    def __init__(self, records: Iterable[Record]) -> None:
        self._by_id: dict[str, Record] = {}
        self._at: dict[tuple[str, str, str], list[str]] = {}
        for one in records:
            self._by_id[one.id] = one
            kinds = _kinds(one)
            for path in _PLACES:
                for other in _named(one, path):
                    self._note(kinds, path, other, one.id)
            for link in _LINKS:
                for other in one.linked(link):
                    self._note(kinds, link, other, one.id)

    def _note(self, kinds: Iterable[str], path: str, other: str, record: str) -> None:
        for kind in kinds:
            self._at.setdefault((kind, path, other), []).append(record)

    def at(self, kind: str, path: str, others: Iterable[str]) -> list[Record]:
        """The records of a kind that name any of these at a path."""
        found = dict.fromkeys(one for other in others for one in self._at.get((kind, path, other), ()))
        return [self._by_id[one] for one in found]

    def get(self, kind: str, ids: Iterable[str]) -> list[Record]:
        """Those with these ids, as far as they are of the kind."""
        found = (self._by_id.get(one) for one in ids)
        return [one for one in found if one is not None and kind in _kinds(one)]

    def is_bagged(self, one: Record) -> bool:
        """Whether everybody who says where it lies says a bag that has come and lies in a context."""
        said = one.heads.get("bag", {}).values()
        bags = self.get("bag", [bag for bag in said if isinstance(bag, str)])
        known = {bag.id for bag in bags if _named(bag, "context")}
        return bool(said) and all(isinstance(bag, str) and bag in known for bag in said)

    def names(self, ids: Iterable[str]) -> dict[str, str]:
        """{id: what it is called} of those that are here and have a name."""
        here = (self._by_id[one] for one in ids if one in self._by_id)
        return {one.id: name for one in here if one.kind in ("bag", "context", "docket") and (name := _name(one))}


def of_context(
    context: Record,
    records: Iterable[Record] | Placed,
    *,
    site: Record | None,
    authority: Authority,
    knowledge: Knowledge,
    who: Who,
    source: str,
    hold_words: bool = False,
) -> ContextSheet:
    """The sheet of `context`, picking its bags, dockets, groups and holds out of `records`; for many sheets, out of a
    `Placed` that is made once.

    A record whose place is disputed is on the sheet of every context that one of its versions names. `hold_words`: see
    `gather`.
    """
    placed = records if isinstance(records, Placed) else Placed(records)
    here = [context.id]
    bags = placed.at("bag", "context", here)
    inside = [one.id for one in bags]

    def lying(kind: str) -> list[Record]:
        """What lies in the bags, and what lies in the context without a bag, or by anybody's word in none that is known
        to lie anywhere."""
        own = [one for one in placed.at(kind, "context", here) if not placed.is_bagged(one)]
        return _once([*placed.at(kind, "bag", inside), *own])

    dockets = lying("docket")
    ids = {one.id: None for one in dockets}
    # A hold's id follows from its docket's: one that was made to name another is found all the same.
    holds = _once(
        [
            *placed.get("hold", map(hold_id, ids)),
            *placed.at("hold", "docket", ids),
            *placed.at("hold", "context", here),
        ]
    )
    groups = _once([*placed.at("group", "context", here), *placed.at("group", "member", ids)])
    named = [photo for one in dockets for photo in one.linked("photo")]
    photos = [
        *placed.get("photo", named),
        *placed.at("photo", "docket", ids),
        *placed.at("photo", "context", here),
    ]
    pictures = {sha256: None for one in photos for sha256 in _named(one, "sha256")}
    links = [other for one in dockets for other in one.linked("same_as")]
    linked = [*placed.get("docket", links), *placed.at("docket", "same_as", ids)]
    tallies = lying("tally")
    shown = [*bags, *dockets, *groups, *holds, *tallies]
    mentioned = {one for record in shown for path in _PLACES[:3] for one in _named(record, path)}
    mentioned.update(other for one in groups for other in one.linked("member"))
    mentioned.update(other for one in dockets for other in one.linked("same_as"))
    return gather(
        site=site,
        context=context,
        bags=bags,
        dockets=dockets,
        groups=groups,
        holds=holds,
        tallies=tallies,
        photos=_once([*photos, *placed.at("photo", "sha256", pictures)]),
        authority=authority,
        knowledge=knowledge,
        who=who,
        source=source,
        hold_words=hold_words,
        names=placed.names(mentioned),
        linked=[one for one in _once(linked) if one.id not in ids],
    )


def _kinds(record: Record) -> set[str]:
    """What a record is taken for: of several kinds claimed, its own, and a docket, hold or photograph all the same."""
    if len(record.kinds) == 1:
        return set(record.kinds)
    return {record.kind, *FIRST_OF_KINDS, "photo"} & set(record.kinds)


def _once(records: Iterable[Record]) -> list[Record]:
    return list({one.id: one for one in records}.values())


def trenches_of(context: Record) -> list[str]:
    """The trenches that somebody says a context is in; "" for none."""
    said = {one for one in context.heads.get("trench", {}).values() if isinstance(one, str)}
    return sorted(said) or [""]


def in_trench(contexts: Iterable[Record], trench: str | None) -> list[Record]:
    """The contexts of a trench by number, those in dispute between trenches too; None: all there are."""
    here = [one for one in contexts if trench is None or trench in trenches_of(one)]
    return sorted(here, key=lambda one: (_number_order(one.value("number")), one.id))


def _number_order(number: object) -> tuple[int, int, str]:
    """99 before 100, and what is no number last."""
    told = number if isinstance(number, str) else ""
    digits = "".join(one for one in told if one.isascii() and one.isdigit())
    return (0, int(digits[:18]), told) if digits else (1, 0, told)


def _name(record: Record) -> str:
    name = record.value("number" if record.kind == "context" else "label")
    return name if isinstance(name, str) else ""


def _named(record: Record, path: str) -> set[str]:
    """Every id that a head of `path` names."""
    return {value for value in record.heads.get(path, {}).values() if isinstance(value, str)}
