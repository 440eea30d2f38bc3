"""Rules about measurements: what they need, between what limits they lie, and how they stand to each other.

A measurement is an item {"code", "mm", "estimated", "note"} at a path of its own. What is known of it is in
domain.measures. An estimated one is let off the rules about what must be there and how it stands to others.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.measures import UNJOINED, Limits, Measurement
from fieldapp.domain.rules.findings import Around, Docket, Finding, Rule, by_name, number, shown, term, text

_TAKES_AWAY = frozenset(
    {
        "carnivore_gnawing", "rodent_gnawing", "ungulate_gnawing", "pig_gnawing", "human_gnawing", "gnawing",
        "chop", "saw", "split", "worked", "polished", "drilled", "excavation_damage",
    }
)  # fmt: skip
"""Marks that take bone away: what is measured there is less than it was. A cut does not."""

_GROWING = frozenset({"woven", "porous"})
_NEWBORN = frozenset({"foetal", "newborn"})


@dataclass(frozen=True, slots=True)
class _Taken:
    """One measurement of a docket: what was written, its code, its figure if it is one, and what the tables know."""

    path: str
    value: Any
    code: str | None
    mm: float | None
    estimated: bool
    row: Measurement | None

    def names(self, docket: Docket, **more: str) -> dict[str, str]:
        return docket.names(code=shown(self.code) if self.code else "rules.not_given", mm=_figure(self.mm), **more)


def _taken(docket: Docket, know: Knowledge) -> list[_Taken]:
    """The measurements of a docket, read once for all rules."""
    found: list[_Taken] | None = docket.kept.get("measures")
    if found is None:
        found = docket.kept["measures"] = list(_read(docket, know))
    return found


def _read(docket: Docket, know: Knowledge) -> Iterator[_Taken]:
    # One that was taken back is null.
    for path, value in docket.items("measure/"):
        if value is None:
            continue
        fields: Mapping[str, Any] = value if isinstance(value, Mapping) else {}
        code, mm = text(fields.get("code")), number(fields.get("mm"))
        row = None
        if code is not None and docket.element_row is not None:
            taxon = docket.taxon if docket.taxon_row is not None else None
            row = know.measures.one(docket.element, code, taxon, text(docket.reading.get("position")))
        yield _Taken(path, value, code, mm if mm and mm > 0 else None, fields.get("estimated") is True, row)


def _figure(mm: float | None) -> str:
    return "" if mm is None else f"{mm:.6g}"


def measure_unknown(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A code that is not in the list, or none."""
    for one in _taken(docket, know):
        if one.code not in know.measures.codes:
            yield one.path, one.names(docket)


def measure_of_other_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A code of other elements. Nothing is said of a bone for which no measurement is listed."""
    own = {row.code for row in know.measures.of(docket.element)}
    for one in _taken(docket, know):
        if own and one.code in know.measures.codes and one.code not in own:
            yield one.path, one.names(docket)


def measure_not_in_animal(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A code of this element that is meant for other animals."""
    own = {row.code for row in know.measures.of(docket.element)}
    for one in _taken(docket, know):
        if one.row is None and one.code in own and docket.taxon_row is not None:
            yield one.path, one.names(docket)


def measure_needs_portion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A portion without which it cannot be taken is written down as absent, or half of it or less is there."""
    for one in _taken(docket, know):
        for group in one.row.needs if one.row is not None and not one.estimated else ():
            if all(docket.portions.get(portion) in ("absent", "part") for portion in group):
                yield one.path, one.names(docket, portion=term(f"portion.{docket.element}", group[0]))
                break


def measure_needs_fusion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """It reaches over a line of growth that is still open."""
    for one in _taken(docket, know):
        for centre in one.row.centres if one.row is not None else ():
            if docket.fusion.get(centre) in UNJOINED:
                yield one.path, one.names(docket, centre=term(f"centre.{docket.element}", centre))
                break


def measure_needs_tooth(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """It is taken on a tooth that is not recorded on this docket."""
    there = {text(docket.reading.get("position"))}
    for _, value in docket.items("tooth/"):
        if isinstance(value, Mapping) and value.get("jaw") != "upper" and value.get("seat") != "socket_only":
            there.add(text(value.get("tooth")))
    for one in _taken(docket, know):
        if one.row is not None and one.row.tooth and one.row.tooth not in there:
            yield one.path, one.names(docket, tooth=one.row.tooth)


def measure_needs_position(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A length of one of several bones of a foot, and nobody says which."""
    for one in _taken(docket, know):
        if one.row is not None and not one.row.position and docket.taxon and not docket.reading.get("position"):
            if numbers := know.measures.numbered(one.row.element, one.row.code, docket.taxon):
                yield one.path, one.names(docket, numbers=", ".join(numbers))


def measure_not_a_number(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """No figure above 0."""
    for one in _taken(docket, know):
        if one.mm is None:
            given = one.value.get("mm") if isinstance(one.value, Mapping) else one.value
            yield one.path, one.names(docket, given=shown(given))


def _sizes(docket: Docket, know: Knowledge) -> Iterator[tuple[_Taken, float, Limits]]:
    """(measurement, its figure, what is published of it in the animal)."""
    for one in _taken(docket, know):
        if one.row is not None and one.mm is not None and docket.taxon is not None and docket.named:
            span = know.measures.span(one.row.element, one.row.code, docket.taxon, one.row.position)
            if span is not None:
                yield one, one.mm, span


def _slipped(mm: float, span: Limits, know: Knowledge) -> bool:
    times = know.measures.tolerance("slip")
    return not span.near(mm, times) and (span.near(mm * 10, times) or span.near(mm / 10, times))


def _range(span: Limits) -> dict[str, str]:
    return {"low": f"{span.low:g}", "high": f"{span.high:g}"}


def measure_unit_slip(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Ten times too small or too great: centimetres for millimetres, or a point left out."""
    for one, mm, span in _sizes(docket, know):
        if _slipped(mm, span, know):
            yield one.path, one.names(docket, **_range(span))


def measure_out_of_range(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Well outside what is published for the animal. A young or burnt bone may be smaller."""
    beyond = know.measures.tolerance("beyond")
    for one, mm, span in _sizes(docket, know):
        if span.firm and not span.within(mm, beyond) and not _slipped(mm, span, know):
            if mm > span.high or not (_burnt(docket) or _growing(docket) or _open(docket)):
                yield one.path, one.names(docket, **_range(span))


def measure_order(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two figures of one bone that cannot stand so: the shaft broader than its end."""
    taken = [one for one in _taken(docket, know) if one.mm is not None and one.row is not None and not one.estimated]
    if len(taken) < 2:
        return
    # As far apart as two people's hands at the caliper, and no order is broken.
    hands = 1 - know.measures.tolerance("repeat")
    least: dict[str | None, float] = {}
    for one in taken:
        least[one.code] = min(least.get(one.code, math.inf), one.mm or 0)
    for order in know.measures.orders_of(docket.element, docket.taxon):
        limit = least.get(order.larger, math.inf)
        for one in taken:
            if one.code == order.smaller and limit < (one.mm or 0) * hands:
                yield one.path, one.names(docket, larger=order.larger, limit=_figure(limit))


def measure_repeated_differs(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One code taken twice, with figures further apart than two people's hands."""
    first: dict[str, _Taken] = {}
    for one in _taken(docket, know):
        if one.code is None or one.mm is None:
            continue
        before = first.setdefault(one.code, one)
        if before.mm is not None and abs(before.mm - one.mm) > know.measures.tolerance("repeat") * max(
            before.mm, one.mm
        ):
            yield one.path, one.names(docket, other=_figure(before.mm))


def _burnt(docket: Docket) -> bool:
    return (text(docket.values.get("burning")) or "unburnt") != "unburnt"


def _growing(docket: Docket) -> bool:
    texture, age = docket.reading.get("texture"), docket.reading.get("age")
    return text(texture) in _GROWING or text(age) in _NEWBORN


def _open(docket: Docket) -> bool:
    return any(state in UNJOINED for state in docket.fusion.values())


def measure_burnt(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A measurement of a burnt bone, which has shrunk."""
    if _burnt(docket):
        for one in _taken(docket, know):
            yield one.path, one.names(docket, burning=term("burning", text(docket.values.get("burning"))))
            return


def measure_of_young(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A measurement of a bone whose surface or age says that it was still growing."""
    if _growing(docket):
        for one in _taken(docket, know):
            yield one.path, one.names(docket)
            return


def _where(docket: Docket, prefix: str, kinds: frozenset[str] | None) -> dict[str, str]:
    """{portion: kind} of marks or changes that lie on a named portion."""
    found: dict[str, str] = {}
    for _, value in docket.items(prefix):
        if isinstance(value, Mapping):
            portion, kind = text(value.get("portion")), text(value.get("kind"))
            if portion is not None and kind is not None and (kinds is None or kind in kinds):
                found.setdefault(portion, kind)
    return found


def measure_on_damage(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """It is taken where gnawing, a tool or the dig has taken bone away."""
    yield from _touched(docket, know, "mark", _where(docket, "mark/", _TAKES_AWAY))


def measure_on_disease(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """It is taken where the bone was changed in life."""
    yield from _touched(docket, know, "pathology", _where(docket, "pathology/", None))


def _touched(docket: Docket, know: Knowledge, of: str, where: dict[str, str]) -> Iterator[Finding]:
    if where:
        for one in _taken(docket, know):
            portions = one.row.portions() if one.row is not None and not one.estimated else frozenset[str]()
            for portion in (each for each in where if each in portions):
                kind = f"{of}_kind" if of == "mark" else of
                names = {"portion": term(f"portion.{docket.element}", portion), "kind": term(kind, where[portion])}
                yield one.path, one.names(docket, **names)
                break


def measure_of_several(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A measurement on a docket of several fragments: of which?"""
    count = number(docket.values.get("count"))
    if count is not None and count > 1:
        for one in _taken(docket, know):
            yield one.path, one.names(docket, count=shown(docket.values.get("count")))
            return


def measure_not_named(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Measured, and no animal is named: there is nothing to set it beside."""
    if not docket.named:
        for _ in _taken(docket, know):
            yield "reading/taxon", docket.names()
            return


RULES: dict[str, Rule] = by_name(
    measure_unknown,
    measure_of_other_bone,
    measure_not_in_animal,
    measure_needs_portion,
    measure_needs_fusion,
    measure_needs_tooth,
    measure_needs_position,
    measure_not_a_number,
    measure_unit_slip,
    measure_out_of_range,
    measure_order,
    measure_repeated_differs,
    measure_burnt,
    measure_of_young,
    measure_on_damage,
    measure_on_disease,
    measure_of_several,
    measure_not_named,
)
