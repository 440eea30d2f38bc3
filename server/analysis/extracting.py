"""Specimens out of one record: what each reading of a docket, and each line of a tally, says.

For: values as they were written in, plain specimens out; whatever has an odd shape says nothing here and is kept in the
record. Not for: where the record lies and what it is joined to (gathering).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from itertools import product
from sys import intern
from typing import Any, TypeVar

from fieldapp.domain import counting, readings
from fieldapp.domain.assemblage.specimens import TALLY, Change, Mark, Measured, Specimen, Tooth
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.samples import amount
from fieldapp.records import checked
from fieldapp.records.fold import Record

T = TypeVar("T")

SURFACE = frozenset({
    "burning", "burn_colour", "weathering", "preservation", "roots", "staining", "breaks", "fracture", "digestion",
    "longest_mm", "antler_base",
})  # fmt: skip
"""Paths of what is seen on the surface or the break, one value each."""
PORTIONS = frozenset({"most", "part", "absent"})
FUSION = frozenset({"unfused", "loose_epiphysis", "fusing", "fused"})

_WORDS = ("element", "side", "taxon", "certainty", "position", "stage", "sex", "age", "texture")
_NOTHING: Mapping[str, str] = {}
_ITEMS = frozenset({"tooth", "measure", "mark", "pathology"})


class Shared:
    """Equal mappings kept once: of a hundred thousand bones most have the portions of another."""

    def __init__(self) -> None:
        self._kept: dict[tuple[tuple[str, str], ...], Mapping[str, str]] = {}

    def __call__(self, value: Any, allowed: frozenset[str]) -> Mapping[str, str]:
        """{key: word} of those words that are allowed; {} of what is no mapping."""
        if not isinstance(value, Mapping):
            return _NOTHING
        items = tuple([(key, word) for key, word in value.items() if isinstance(word, str) and word in allowed])
        return self._kept.setdefault(items, dict(items)) if items else _NOTHING


def of_docket(record: Record, knowledge: Knowledge, shared: Shared) -> tuple[Specimen, ...]:
    """The specimens of a docket, none for a deleted one: one for each reading, and first what is sure."""
    life = record.life()
    if life == "deleted":
        return ()
    differing = record.disagreements() if any(len(heads) > 1 for heads in record.heads.values()) else {}
    read, agreed = _readings(record, differing, knowledge)
    materials = _materials(record, differing, knowledge)
    counts, weights = _figures(record, differing, "count"), _figures(record, differing, "weight_g")
    sure = agreed and len(materials) == 1 and life == "live"
    ends = 2 if len(counts) > 1 or len(weights) > 1 else 1
    base = _shared_by_all(record)
    base["readings"] = len(read) * len(materials) * ends if life == "live" else 0
    items = _items(record, differing)
    found = [
        Specimen(
            **base,
            sure=sure,
            count=int(min(counts or [1])),
            weight_g=min(weights) if weights else None,
            material=_word(material),
            **_words(one.get, _WORDS),
            portions=shared(one.get("portions"), PORTIONS),
            fusion=shared(one.get("fusion"), FUSION),
            **items,
        )
        for one, material in product(read, materials)
    ]
    if ends > 1:
        at_most: dict[str, Any] = {
            "count": int(max(counts or [1])),
            "weight_g": max(weights) if weights else None,
            "sure": False,
        }
        found += [replace(one, **at_most) for one in found]
    return tuple(found)


def _shared_by_all(record: Record) -> dict[str, Any]:
    label = record.value("label")
    return {
        "id": record.id,
        "label": label if isinstance(label, str) else "",
        "checked": checked.state_of(record) == "checked",
    }


def of_gone(record: Record) -> tuple[Specimen, ...]:
    """A deleted docket, of which nothing counts: should it be raised, it stands on hold all the same."""
    return (Specimen(**_shared_by_all(record), sure=False, readings=0),)


def of_tally(record: Record, knowledge: Knowledge) -> tuple[Specimen, ...]:
    """A tally as one specimen of many pieces, in dispute as several; () of a deleted one, or without a usable count."""
    life = record.life()
    if life == "deleted":
        return ()
    differing = record.disagreements()
    counts, weights = _figures(record, differing, "count"), _figures(record, differing, "weight_g")
    if not counts:
        return ()
    fields = ("element", "taxon")
    told = [_distinct(differing[one].values()) if one in differing else [record.value(one)] for one in fields]
    read, agreed = _settled([dict(zip(fields, one, strict=True)) for one in product(*told)], knowledge)
    ends = [(min(counts), min(weights, default=None))]
    if len(counts) > 1 or len(weights) > 1:
        ends.append((max(counts), max(weights, default=None)))
    burning, stage = (None if one in differing else record.value(one) for one in ("burning", "stage"))
    base = {
        **_shared_by_all(record),
        "kind": TALLY,
        "readings": len(read) * len(ends) if life == "live" else 0,
        "material": "bone",
        "certainty": "certain",
        "stage": _word(stage),
        "surface": {"burning": burning} if isinstance(burning, str) else {},
    }
    sure = agreed and life == "live"
    return tuple(
        Specimen(**base, **_words(one.get, fields), sure=sure and not at, count=int(count), weight_g=weight)
        for at, (count, weight) in enumerate(ends)
        for one in read
    )


def _readings(
    record: Record, differing: Mapping[str, Mapping[str, Any]], knowledge: Knowledge
) -> tuple[list[Mapping[str, Any]], bool]:
    """What it is read as, and whether everybody says so. What differs in precision alone counts at the coarser."""
    if "reading" not in differing:
        one = record.value("reading")
        return [one if isinstance(one, Mapping) else {}], True
    read = [one for one in _distinct(differing["reading"].values()) if isinstance(one, Mapping)]
    if len(read) < 2:
        return [*read, {}][:1], len(read) == len(differing["reading"])
    return _settled(read, knowledge)


def _settled(read: list[Mapping[str, Any]], knowledge: Knowledge) -> tuple[list[Mapping[str, Any]], bool]:
    """Readings as they count, and whether everybody says so: as one, the coarser, where they do not contradict."""
    coarse = read[0]
    for other in read[1:]:
        coarse = readings.coarser(coarse, other, knowledge)
    pairs = [(one, other) for n, one in enumerate(read) for other in read[n + 1 :]]
    if all(readings.compare(one, other, knowledge) != "conflict" for one, other in pairs):
        return [coarse], True
    return read, False


def _materials(record: Record, differing: Mapping[str, Mapping[str, Any]], knowledge: Knowledge) -> list[Any]:
    """What it is said to be of, each word that is known once, and of any others one: each is a specimen a reading."""
    if "material" not in differing:
        return [record.value("material")]
    told = _distinct(differing["material"].values())
    known = [one for one in told if isinstance(one, str) and one in knowledge.words["material"]]
    return known + [one for one in told if one not in known][:1]


def _figures(record: Record, differing: Mapping[str, Mapping[str, Any]], path: str) -> list[float]:
    values = differing[path].values() if path in differing else [record.value(path)]
    if path == "count":
        return sorted({one for one in values if counting.usable(one)})
    return sorted({one for one in map(amount, values) if one is not None})


def _items(record: Record, differing: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Teeth, measurements, marks and surface. One that is in dispute says what all agree in; a measurement that is, is
    one taken several times."""
    teeth, measures, marks, changes, surface, several = [], [], [], [], {}, set()
    for path in record.heads:
        if path in SURFACE:
            value = record.value(path)
            if path in differing:
                several.add(path)
            elif value is not None:
                surface[path] = value
            continue
        first, _, rest = path.partition("/")
        if not rest or first not in _ITEMS:
            continue
        for value in _takings(first, differing[path].values()) if path in differing else [record.value(path)]:
            if not isinstance(value, Mapping):
                continue
            if first == "tooth" and isinstance(value.get("tooth"), str):
                words = _words(value.get, ("jaw", "side", "seat", "stage", "scheme", "wear"))
                teeth.append(Tooth(value["tooth"], **words, crown_height_mm=amount(value.get("crown_height_mm"))))
            elif first == "measure" and isinstance(value.get("code"), str) and (mm := amount(value.get("mm"))):
                measures.append(Measured(value["code"], mm, value.get("estimated") is True))
            elif first == "mark" and isinstance(value.get("kind"), str):
                words = _words(value.get, ("portion", "aspect", "direction", "tool", "view"))
                number = value.get("number")
                number = number if counting.usable(number) else None
                x, y = amount(value.get("x")), amount(value.get("y"))
                marks.append(Mark(value["kind"], **words, number=number, x=x, y=y))
            elif first == "pathology" and isinstance(value.get("kind"), str):
                changes.append(Change(value["kind"], _word(value.get("portion"))))
    return {
        "teeth": _in_order(teeth),
        "measures": _in_order(measures),
        "marks": _in_order(marks),
        "changes": _in_order(changes),
        "surface": surface,
        "open": frozenset(several),
    }


def _takings(item: str, said: Iterable[Any]) -> list[Mapping[str, Any]]:
    """What several say of one thing: nothing where one of them says that it is not there."""
    told = _distinct(said)
    if not all(isinstance(one, Mapping) for one in told):
        return []
    alike = {key: value for key, value in told[0].items() if all(one.get(key) == value for one in told)}
    if item != "measure":
        return [alike]
    return _distinct(
        {"code": alike.get("code"), "mm": one.get("mm"), "estimated": one.get("estimated")} for one in told
    )


def _in_order(found: list[T]) -> tuple[T, ...]:
    return tuple(found if len(found) < 2 else sorted(found, key=repr))


def _words(ask: Callable[[str], Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: _word(ask(name)) for name in names}


def _word(value: Any) -> str | None:
    """A word, kept once however many records have it."""
    return intern(value) if isinstance(value, str) and value else None


def _distinct(values: Iterable[Any]) -> list[Any]:
    found: list[Any] = []
    for one in values:
        if one not in found:
            found.append(one)
    return found
