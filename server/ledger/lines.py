"""What long lists sort by and are narrowed down by: a line a docket, context or bag, made when the rules look at it.

So a list of a hundred thousand is sorted, counted and paged by the database, and only what a page shows is read as
records. A line may be a moment late, as problems are; what a page shows of a record never comes from its line.
Not here: how a list looks and what its address holds (server.review.tables).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, case, delete, func, or_, select

from fieldapp.domain.rules import Problem
from fieldapp.domain.samples import amount
from fieldapp.domain.steps import is_ticked
from fieldapp.records import checked, second
from fieldapp.records.fold import Record
from server.ledger import tables
from server.ledger.columns import writable
from server.ledger.database import among, put
from server.ledger.folding import disputed, indexed, label_of, nature, records_of, short

GRAVITY = {"note": 1, "check": 2, "impossible": 3}
"""{level of a problem: how grave}."""
LATE_BAGS = 500
LAST = "\U0010ffff"
"""Sorts what has no label after what has one."""

_DIGITS = re.compile(r"[0-9]+")


class Numbers(NamedTuple):
    """What some dockets come to: how many, their disagreements, their problems."""

    dockets: int
    disagreements: int
    problems: int


def sort_key(label: str) -> str:
    """Sorts 99 before 100, whatever letters stand between; capitals as small letters."""
    folded = _DIGITS.sub(lambda found: _number(found[0].lstrip("0") or "0"), label.casefold())
    return short(writable(folded) or "") or LAST


def _number(digits: str) -> str:
    return f"{min(len(digits), 99):02}{digits}"


def keep(
    connection: Connection, records: Iterable[Record], places: Mapping[str, tuple[str, str | None]], problems: _Problems
) -> None:
    """Writes the lines of these records anew. `places`: see places_in; `problems`: {record: what was found}."""
    rows: dict[str, list[dict[str, Any]]] = {kind: [] for kind in _TABLES}
    gone: dict[str, list[str]] = {kind: [] for kind in _TABLES}
    for one in records:
        if one.kind not in _TABLES:
            continue
        found = problems.get(one.id, ())
        if one.life() == "deleted":
            gone[one.kind].append(one.id)
        elif one.kind == "context":
            rows[one.kind].append(_context(one, found))
        else:
            context, place = places.get(one.id, (None, None))
            made = _bag(one) if one.kind == "bag" else _docket(one, found)
            rows[one.kind].append({**made, "context": context, "place": place})
    for kind, table in _TABLES.items():
        if gone[kind]:
            connection.execute(delete(table).where(among(connection, table.c.record, gone[kind])))
        put(connection, table, rows[kind], replace=True)


_Problems = Mapping[str, Sequence[Problem]]
_TABLES = {"docket": tables.docket_line, "context": tables.context_line, "bag": tables.bag_line}


def _context(one: Record, problems: Sequence[Problem]) -> dict[str, Any]:
    return {
        "record": one.id,
        "sort": sort_key(label_of(one)),
        **{path: _text(one.value(path)) for path in ("type", "trench", "phase", "grave_like", "state")},
        "disagreements": len(disputed(one)),
        "problems": len(problems),
    }


def _docket(one: Record, problems: Sequence[Problem]) -> dict[str, Any]:
    reading = one.value("reading")
    read = reading if isinstance(reading, Mapping) else {}
    label = label_of(one)
    disagreements = disputed(one)
    natures = Counter(nature(path, list(heads.values())) for path, heads in disagreements.items())
    precisions = natures.pop("precision", 0)
    own = (label, *(value for path in ("find_no", "finder") if isinstance(value := one.value(path), str)))
    return {
        "record": one.id,
        "sort": sort_key(label),
        "find": short(writable(" ".join(own).casefold()) or ""),
        **{name: _text(read.get(name)) for name in ("element", "taxon", "side", "stage")},
        "pieces": _count(one.value("count")),
        "asks": one.value("ask") is True,
        "mark": checked.state_of(one),
        "conflicts": sum(natures.values()),
        "precisions": precisions,
        "problems": len(problems),
        "gravest": (gravest := max((GRAVITY.get(problem.level, 0) for problem in problems), default=0)),
        "weight_g": amount(one.value("weight_g")),
        "hard": gravest >= GRAVITY["check"] or second.is_hard(reading, "reading" in disagreements),
    }


def _bag(one: Record) -> dict[str, Any]:
    ticked = sorted(
        {path[len(_STEP) :] for path, heads in one.heads.items() if path.startswith(_STEP) and is_ticked(heads)}
    )
    return {
        "record": one.id,
        "sort": sort_key(label_of(one)),
        "recovery": _text(one.value("recovery")),
        **{path: _figure(one.value(path)) for path in ("mesh_mm", "weight_g")},
        **{path: _text(" ".join(words.split())) if isinstance(words := one.value(path), str) else None
           for path in ("box", "held_by")},
        "steps": short(writable(" ".join(ticked)) or ""),
    }  # fmt: skip


_STEP = "step/"


def _figure(value: Any) -> float | None:
    known = isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < _MOST
    return float(value) if known else None


_MOST = 1e12


def _text(value: Any) -> str | None:
    return indexed(value) or None


def _count(value: Any) -> int:
    """How many pieces a docket stands for; what is no count is one."""
    return value if isinstance(value, int) and not isinstance(value, bool) and 0 < value < 100_000 else 1


# -- asking


LINE = tables.docket_line.c
DOCKETS = select(LINE.record)
"""All dockets' ids, to be narrowed down and put into an order."""
LATE = select(tables.record.c.id.label("record")).where(tables.record.c.due, tables.record.c.kind == "docket")
"""Those that the rules have not looked at yet: their lines may be missing or old."""
BY_LABEL = (LINE.sort, LINE.record)
NOT_ANALYSIS = (LINE.stage.is_(None) | (LINE.stage != "analysis")) & (LINE.mark != "checked")
"""Neither read in analysis nor marked as right the way it stands."""
UNFINISHED = LINE.element.is_(None) | LINE.taxon.is_(None)
"""No bone, or no animal, is named yet."""


_dispute, _problem, _record = tables.disagreement.c, tables.problem.c, tables.record.c
DISAGREEMENTS = (
    select(_dispute.record, _dispute.path, _dispute.nature)
    .join(tables.record, _record.id == _dispute.record)
    .outerjoin(tables.docket_line, LINE.record == _dispute.record)
)
"""Rows of `disagreement`, each with its record, and with its line where it has one."""
PROBLEMS = (
    select(_problem.nr)
    .outerjoin(tables.record, _record.id == _problem.record)
    .outerjoin(tables.docket_line, LINE.record == _problem.record)
)
"""The same of problems, by their numbers alone: see checks.numbered."""


def contexts(connection: Connection) -> list[dict[str, Any]]:
    """The lines of all contexts, by number: {column: value}, with `id` and `label`, the number itself.

    One that the rules have not looked at yet has nothing but these two and `sort`.
    """
    own, line = tables.record.c, tables.context_line
    both = tables.record.outerjoin(line, own.id == line.c.record)
    query = select(line, own.id, own.label).select_from(both)
    rows = connection.execute(query.where(own.kind == "context", own.life != "deleted")).mappings()
    found = [{**row, "sort": row["sort"] or sort_key(row["label"] or "")} for row in rows]
    return sorted(found, key=lambda one: (one["sort"], one["id"]))


def divisions(connection: Connection) -> list[tuple[str, str | None, str | None]]:
    """(context, trench, phase) of all contexts: by their lines, where these are as the contexts are now."""
    own, line = tables.record.c, tables.context_line
    query = select(own.id, line.c.trench, line.c.phase, own.due)
    query = query.select_from(tables.record.outerjoin(line, own.id == line.c.record))
    rows = connection.execute(query.where(own.kind == "context", own.life != "deleted")).all()
    late = records_of(connection, [one for one, *_, due in rows if due])
    found = [(one, trench, phase) for one, trench, phase, due in rows if not due]
    return found + [(one.id, _text(one.value("trench")), _text(one.value("phase"))) for one in late]


class Bag(NamedTuple):
    """A bag in a list: its line, with its id, its label and its context's number."""

    id: str
    label: str
    number: str
    context: str | None
    place: str | None
    sort: str
    recovery: str | None
    mesh_mm: float | None
    weight_g: float | None
    box: str | None
    held_by: str | None
    steps: str


def bags(connection: Connection) -> list[Bag]:
    """All bags, by context and label.

    Those that the rules have not looked at yet are read themselves, so that what was put into a box is in it at once;
    beyond LATE_BAGS one that is new has nothing but its label.
    """
    own, line, context = tables.record.c, tables.bag_line, tables.record.alias("context")
    first = own.id, func.coalesce(own.label, ""), func.coalesce(context.c.label, "")
    told: dict[str, ColumnElement[Any]] = {name: line.c[name] for name in Bag._fields[3:]}
    told |= {"sort": func.coalesce(line.c.sort, LAST), "steps": func.coalesce(line.c.steps, "")}
    query = select(*first, *told.values(), own.due).select_from(
        tables.record.outerjoin(line, own.id == line.c.record).outerjoin(
            context, (context.c.id == line.c.context) & (context.c.kind == "context")
        )
    )
    rows = connection.execute(query.where(own.kind == "bag", own.life != "deleted")).all()
    found = [Bag(*row) for *row, due in rows if not due]
    if late := [Bag(*row) for *row, due in rows if due]:
        now = _late_bags(connection, [one.id for one in late[:LATE_BAGS]])
        found += [now.get(one.id) or one._replace(sort=sort_key(one.label)) for one in late]
    return sorted(found, key=lambda one: (one.place or LAST, one.sort, one.id))


def boxes(connection: Connection) -> set[str]:
    """The names of boxes that bags say they are in."""
    box = tables.bag_line.c.box
    return {*connection.scalars(select(box).where(box.is_not(None)).distinct())}


def _late_bags(connection: Connection, ids: Sequence[str]) -> dict[str, Bag]:
    """{bag: its line as it would be now}."""
    late = records_of(connection, ids)
    contexts = records_of(
        connection, sorted({context for one in late if isinstance(context := one.value("context"), str)})
    )
    places, numbers = places_in([*late, *contexts]), {one.id: label_of(one) for one in contexts}
    found = {}
    for one in late:
        context, place = places.get(one.id, (None, None))
        line = {**_bag(one), "context": context, "place": place, "number": numbers.get(context or "", "")}
        del line["record"]
        found[one.id] = Bag(id=one.id, label=label_of(one), **line)
    return found


def numbers(connection: Connection) -> dict[str, Numbers]:
    """{context: what its dockets come to}; under "" those that lie in none that is known."""
    signs = func.sum(LINE.conflicts + LINE.precisions), func.sum(LINE.problems)
    query = select(LINE.context, func.count(), *signs).group_by(LINE.context)
    return {one or "": Numbers(*map(int, told)) for one, *told in connection.execute(query).all()}


def waiting(connection: Connection) -> dict[str, int]:
    """How many dockets wait for somebody: {"asked", "unfinished", "not_analysis"}."""
    counted = {"asked": LINE.asks, "unfinished": UNFINISHED, "not_analysis": NOT_ANALYSIS}
    query = select(*(func.sum(case((where, 1), else_=0)) for where in counted.values()))
    return dict(zip(counted, (int(n or 0) for n in connection.execute(query).one()), strict=True))


def first_disagreements(connection: Connection, limit: int) -> list[tuple[str, str, str]]:
    """The first rows (record, path, nature) by label that are more than a difference of precision."""
    query = DISAGREEMENTS.where(_dispute.nature != "precision").order_by(func.coalesce(LINE.sort, _record.label, ""))
    return [tuple(row) for row in connection.execute(query.order_by(_dispute.record, _dispute.path).limit(limit))]


def next_unmarked(connection: Connection, after: Record, bag: str, context: str) -> str:
    """The next docket by label, of a bag, or of those of a context that are in none, that nobody has marked as it
    stands; "" for none."""
    sort, own = sort_key(label_of(after)), tables.record.c
    later = or_(LINE.sort > sort, (LINE.sort == sort) & (LINE.record > after.id))
    query = DOCKETS.join(tables.record, own.id == LINE.record).where(later, LINE.mark != "checked")
    there = own.bag == bag if bag else (LINE.context == context) & own.bag.is_(None)
    return connection.scalar(query.where(there).order_by(*BY_LABEL).limit(1)) or ""


def first_unmarked(connection: Connection, *where: ColumnElement[bool]) -> str:
    """The first docket by label, of those for which all of this holds, that nobody has marked as it stands; or ""."""
    return connection.scalar(DOCKETS.where(LINE.mark != "checked", *where).order_by(*BY_LABEL).limit(1)) or ""


def disputed_in(connection: Connection, *where: ColumnElement[bool]) -> int:
    """How many of the dockets for which all of this holds disagree about something, be it in precision."""
    query = select(func.count()).select_from(tables.docket_line).where(LINE.conflicts + LINE.precisions > 0, *where)
    return connection.scalar(query) or 0


def checked_in(connection: Connection, *where: ColumnElement[bool]) -> int:
    """How many of the dockets for which all of this holds are marked as they stand now."""
    query = select(func.count()).select_from(tables.docket_line).where(LINE.mark == "checked", *where)
    return connection.scalar(query) or 0


def pieces(connection: Connection, *where: ColumnElement[bool]) -> list[tuple[str | None, str | None, int]]:
    """(element, taxon, how many) of the pieces in the dockets for which all of this holds."""
    query = select(LINE.element, LINE.taxon, func.sum(LINE.pieces)).where(*where).group_by(LINE.element, LINE.taxon)
    return [(one, other, int(n)) for one, other, n in connection.execute(query)]


def has(words: Mapping[str, Collection[str]], text: str) -> ColumnElement[bool]:
    """Whether a line's own words hold `text`, or one of its columns one of the `words` ({column: values})."""
    found = [LINE.find.contains(text.casefold(), autoescape=True)]
    found += [LINE[name].in_(values) for name, values in words.items() if values]
    return or_(*found)


def places_in(records: Iterable[Record]) -> dict[str, tuple[str, str | None]]:
    """{docket or bag: (context, its number as a sort key)} of those among these: the context of its bag, where the bag
    is among them; else its own."""
    listed = list(records)
    bags = {one.id: _text(one.value("context")) for one in listed if one.kind == "bag"}
    numbers = {one.id: sort_key(label_of(one)) for one in listed if one.kind == "context"}
    found = {}
    for one in listed:
        if one.kind in ("docket", "bag"):
            bag = one.value("bag")
            context = (bags.get(bag) if isinstance(bag, str) else None) or _text(one.value("context"))
            if context:
                found[one.id] = context, numbers.get(context)
    return found
