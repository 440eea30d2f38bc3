"""Specimens out of the ledger: every docket and tally with where it lay, how it was got and what it is joined to.

For: what all analysis starts from, brought up to date record by record, so that a page costs what has changed and not
what the site holds. Not for: what a record says (extracting), which of them are asked for, or any figure.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar, cast

from sqlalchemy import Connection, select

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.assemblage.selection import Selection
from fieldapp.domain.assemblage.specimens import HUMAN, IMPOSSIBLE, Specimen
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.groups import COMPARED, OF_ONE_BODY
from fieldapp.domain.samples import amount, fractions_of, share
from fieldapp.records.fold import Record
from server.analysis.extracting import Shared, of_docket, of_gone, of_tally
from server.ledger import Ledger, checks, holds, meta, tables
from server.ledger.database import among
from server.ledger.folding import records_of
from server.ledger.lines import sort_key

T = TypeVar("T")
_ABSENT = object()
KEPT = 8
"""What was worked out of the specimens and may be asked for again at once, so many of it."""
PORTION = 500
"""Records read at once."""
_AROUND = ("context", "bag", "sample", "group", "site")


@dataclass(frozen=True)
class Gathered:
    """All specimens of a site at one moment.

    numbers    {context: its number as people write it}
    labels     {record: label}
    knowledge  as the site has it (its own choice of sources)
    site       the site's values {path: value}
    stamp      alike for as long as nothing has changed
    late       how many records the rules have not looked at yet
    compared   the dockets of each comparison of lefts and rights that everybody calls one
    astray     records of which people disagree where they lie: each counts at one of the places
    """

    specimens: tuple[Specimen, ...]
    numbers: Mapping[str, str]
    labels: Mapping[str, str]
    knowledge: Knowledge
    site: Mapping[str, Any]
    stamp: tuple[Any, ...]
    late: int
    compared: tuple[frozenset[str], ...] = ()
    astray: frozenset[str] = frozenset()

    kept: dict[Any, Any] = field(default_factory=dict, repr=False, compare=False)

    def once(self, key: Any, make: Callable[[], T]) -> T:
        """What `make` gives, worked out once for a key that names all it depends on beside these specimens. The last
        KEPT are kept, and gone with the specimens."""
        found = self.kept.get(key, _ABSENT)
        if found is _ABSENT:
            self.kept[key] = found = make()
            for old in list(self.kept)[:-KEPT]:
                self.kept.pop(old, None)
        return cast(T, found)

    def order(self, by: str) -> Callable[[str], tuple[float, str]]:
        """How places stand: contexts by number, trenches and phases as the site has them; what has none comes last."""
        listed = [one for path, one in self.site.items() if path.startswith(f"{by}/") and isinstance(one, Mapping)]
        given = {str(one.get("name") or "").casefold(): one.get("order") for one in listed}
        at = {name: n for name, n in given.items() if isinstance(n, int | float) and n == n}

        def place(one: str) -> tuple[float, str]:
            name = self.numbers.get(one, "") if by == "context" else one
            return at.get(name.casefold(), math.inf), sort_key(name)

        return place

    def chosen(self, selection: Selection) -> list[Specimen]:
        """Those that a selection asks for."""
        if selection == replace(Selection(), by=selection.by):
            return list(self.specimens)
        return [
            one for one in self.specimens if selection.takes(one, self.numbers.get(one.context, ""), self.knowledge)
        ]


class Assemblage:
    """The specimens of one ledger, kept for the next question."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._lock = threading.Lock()
        self._gathered: Gathered | None = None
        self._reached: tuple[str, str, int] = ("", "", 0)
        self._shared = Shared()
        self.progress = (0, 0)
        self._own: dict[str, tuple[Specimen, ...]] = {}
        self._lies: dict[str, tuple[str | None, str | None]] = {}
        self._astray: set[str] = set()
        self._named: dict[str, str] = {}
        self._gone: set[str] = set()
        self._around: dict[str, Record] = {}
        self._made: dict[str, tuple[tuple[Specimen, ...], dict[str, Any], tuple[Specimen, ...]]] = {}

    def now(self) -> Gathered:
        """All specimens as they stand."""
        with self._lock, self._ledger.database.reading() as connection:
            names = meta.names(connection)
            known, due = f"{meta.known(connection)} {meta.rebuilt(connection)}", checks.due(connection)
            stamp = (names.epoch, known, names.head, due)
            if self._gathered is None or self._gathered.stamp != stamp:
                self._update(connection, names.epoch, known, names.head)
                self._gathered = self._assembled(connection, names.site, stamp, due)
            return self._gathered

    def _update(self, connection: Connection, epoch: str, known: str, head: int) -> None:
        """Reads what has changed since the last time; everything where that cannot be told."""
        kinds = tables.record.c.kind.in_(("docket", "tally", *_AROUND))
        if self._reached[:2] != (epoch, known):
            self._own, self._lies, self._around, self._made, self._named, self._gone = {}, {}, {}, {}, {}, set()
            self._astray = set()
            ids = [*connection.scalars(select(tables.record.c.id).where(kinds))]
        else:
            since = select(tables.change.c.record).where(tables.change.c.seq > self._reached[2]).distinct()
            ids = [*connection.scalars(since)]
            for one in ids:
                self._own.pop(one, None)
                self._made.pop(one, None)
                self._named.pop(one, None)
                self._gone.discard(one)
                self._astray.discard(one)
                self._around.pop(one, None)
        # In portions, so that not all records lie in memory at once, and it can be said how far it is.
        for start in range(0, len(ids), PORTION):
            self.progress = (start, len(ids))
            for record in records_of(connection, ids[start : start + PORTION]):
                self._take(record)
        self._reached = (epoch, known, head)

    def _take(self, record: Record) -> None:
        if record.kind in _AROUND:
            if record.life() != "deleted":
                self._around[record.id] = record
        elif record.kind == "docket":
            if record.life() == "deleted":
                self._gone.add(record.id)
                self._keep(record, of_gone(record))
            else:
                self._keep(record, of_docket(record, knowledge(), self._shared))
        elif record.kind == "tally":
            self._keep(record, of_tally(record, knowledge()))

    def _keep(self, record: Record, found: tuple[Specimen, ...]) -> None:
        if found:
            self._own[record.id] = found
            self._lies[record.id] = _word(record.value("bag")), _word(record.value("context"))
            if _is_disputed(record, "bag", "context"):
                self._astray.add(record.id)
        if said := _named(record):
            self._named[record.id] = said

    def _assembled(self, connection: Connection, site: str, stamp: tuple[Any, ...], late: int) -> Gathered:
        of_site = self._around.get(site)
        values = of_site.values() if of_site is not None else {}
        known = knowledge().at_site(values)
        around = _Around(self._around.values())
        same, joins = _links(connection, "same_as"), _links(connection, "joins")
        bones = holds.components(same)
        # What fits a bone fits it under each of its labels, and is of the body that it is of.
        joined = {one for pair in joins for one in pair}
        fits = {one: all_ for one, all_ in holds.components([*same, *joins]).items() if not joined.isdisjoint(all_)}
        bodies = holds.components([*same, *joins, *around.members])
        raised, excluded = _questions(connection, self._named, bones)
        impossible = _impossible(connection)
        found: list[Specimen] = []
        astray = set(self._astray)
        # A deletion takes a bone out of the figures, and not off its hold.
        for one in sorted(self._own.keys() - (self._gone - raised)):
            bag, context = self._lies[one]
            if around.is_disputed(bag, context):
                astray.add(one)
            apart = HUMAN if one in raised else IMPOSSIBLE if one in impossible else ""
            around_it: dict[str, Any] = {
                **around.lies(bag, context),
                "apart": apart,
                "excluded": one in excluded,
                "bone": bones.get(one, ("",))[0],
                "fitted": fits.get(one, ("",))[0],
                "group": around.body(bodies.get(one, ())),
            }
            # To make a specimen anew costs more than all the rest: what is as it was stays.
            kept = self._made.get(one)
            if kept is None or kept[0] is not self._own[one] or kept[1] != around_it:
                made = tuple(replace(each, **around_it) for each in self._own[one])
                self._made[one] = kept = (self._own[one], around_it, made)
            found += kept[2]
        labels = {one.id: one.label for one in found}
        labels |= {one: _word(record.value("label")) or "" for one, record in around.samples.items()}
        numbers = {one: str(record.value("number") or "") for one, record in around.contexts.items()}
        return Gathered(tuple(found), numbers, labels, known, values, stamp, late, around.compared, frozenset(astray))


class _Around:
    """Where bags, contexts, samples and groups say that a docket belongs."""

    def __init__(self, records: Iterable[Record]) -> None:
        by_kind: dict[str, dict[str, Record]] = {kind: {} for kind in _AROUND}
        for one in records:
            by_kind[one.kind][one.id] = one
        self.contexts, self.bags, self.samples = by_kind["context"], by_kind["bag"], by_kind["sample"]
        groups = [one for one in by_kind["group"].values() if _is_said(one, OF_ONE_BODY)]
        self._groups = {one.id for one in groups}
        self.members = [(group.id, member) for group in groups for member in group.linked("member")]
        laid = [one for one in by_kind["group"].values() if _is_said(one, (COMPARED,))]
        self.compared = tuple(frozenset(_surely(one)) for one in sorted(laid, key=lambda one: one.id))
        self._known: dict[tuple[str | None, str | None], dict[str, Any]] = {}
        self._disputed: dict[tuple[str | None, str | None], bool] = {}

    def body(self, together: Iterable[str]) -> str:
        """The first group among records that are of one body; "" if there is none."""
        return min(self._groups.intersection(together), default="")

    def lies(self, bag: str | None, context: str | None) -> dict[str, Any]:
        """Of a docket in `bag`, or by itself in `context`: the fields of a specimen that say where it lay."""
        key = (bag, context)
        if key not in self._known:
            self._known[key] = self._found(self.bags.get(bag or ""), context)
        return self._known[key]

    def is_disputed(self, bag: str | None, context: str | None) -> bool:
        """Whether people disagree on the context of a bag, or on the trench or phase of the context."""
        key = (bag, context)
        if key not in self._disputed:
            of_bag, place = self.bags.get(bag or ""), self.contexts.get(self.lies(bag, context)["context"])
            self._disputed[key] = (of_bag is not None and _is_disputed(of_bag, "context")) or (
                place is not None and _is_disputed(place, "trench", "phase")
            )
        return self._disputed[key]

    def _found(self, bag: Record | None, context: str | None) -> dict[str, Any]:
        context = (_word(bag.value("context")) if bag else None) or context or ""
        place = self.contexts.get(context)
        found: dict[str, Any] = {
            "context": context,
            "trench": (_word(place.value("trench")) or "") if place else "",
            "phase": (_word(place.value("phase")) or "") if place else "",
        }
        if bag is None:
            return found
        if not {"recovery", "mesh_mm"} & bag.disagreements().keys():
            recovery = _word(bag.value("recovery"))
            found["recovery"] = recovery
            found["mesh_mm"] = amount(bag.value("mesh_mm")) if recovery == "sieve" else None
        sample, fraction = _word(bag.value("sample")) or "", _word(bag.value("fraction")) or ""
        parts = fractions_of(self.samples[sample].values()) if sample in self.samples else {}
        found |= {"sample": sample, "fraction": fraction}
        found["share"] = share(parts[fraction].get("sorted_share")) if fraction in parts else None
        return found


def _is_disputed(record: Record, *paths: str) -> bool:
    """Whether people disagree on one of these paths."""
    several = any(len(record.heads.get(path, ())) > 1 for path in paths)
    return several and not record.disagreements().keys().isdisjoint(paths)


def _is_said(group: Record, relations: Container[Any]) -> bool:
    """Whether everybody says that its bones belong together in one of these ways."""
    said = group.heads.get("relation", {}).values()
    return group.life() == "live" and bool(said) and all(one in relations for one in said)


def _surely(group: Record) -> list[str]:
    """The members that nobody has taken away: what was not compared for certain tells nothing."""
    return [one for one in group.linked("member") if all(group.heads[f"member/{one}"].values())]


def _named(record: Record) -> str:
    """What a record says of the human question by an animal that anybody names, "" if nothing: a tally, and a docket
    that the rules have not looked at yet, have no answer of their own."""
    readings = record.heads.get("reading", {}).values()
    taxa = [one.get("taxon") for one in readings if isinstance(one, Mapping)]
    taxa += record.heads.get("taxon", {}).values() if record.kind == "tally" else ()
    answers = {knowledge().human_answer(one) for one in taxa} - {""}
    return human.most_cautious(answers) if answers else ""


def _questions(
    connection: Connection, named: Mapping[str, str], bones: Mapping[str, tuple[str, ...]]
) -> tuple[set[str], set[str]]:
    """Records raised as possibly human, and those not excluded. Of one bone the most cautious answer holds. `named`:
    what readings say of it, before a rule has looked; `bones`: {docket: all that are said to be the same bone}."""
    column = tables.record.c
    asked = (human.NOT_EXCLUDED, *human.RAISED)
    told = connection.execute(select(column.id, column.answer).where(column.answer.in_(asked))).all()
    answers = {one: str(answer) for one, answer in told}
    answers |= {one: human.most_cautious([said, answers.get(one, said)]) for one, said in named.items()}
    of_bone = {one: human.most_cautious(answers[each] for each in bones.get(one, (one,)) if each in answers)
               for start in answers for one in bones.get(start, (start,))}  # fmt: skip
    raised = {one for one, answer in of_bone.items() if answer in human.RAISED}
    return raised, of_bone.keys() - raised


def _impossible(connection: Connection) -> set[str]:
    """What a rule calls impossible. A docket in dispute is not among them: one reading may be the right one."""
    problem, disagreement = tables.problem.c, tables.disagreement.c
    found = {*connection.scalars(select(problem.record).where(problem.level == "impossible").distinct())}
    disputed = select(disagreement.record).where(
        disagreement.path == "reading", among(connection, disagreement.record, found)
    )
    return found - {*connection.scalars(disputed)}


def _links(connection: Connection, sort: str) -> list[tuple[str, str]]:
    link = tables.link.c
    found = connection.execute(select(link.record, link.other).where(link.sort == sort))
    return [(record, other) for record, other in found]


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None
