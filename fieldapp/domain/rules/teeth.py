"""Rules about teeth: which there are, how far they have come through and worn, and in what order.

RULES look at the `tooth/...` items of a docket and run only where there are some; ALWAYS_RULES run on every docket,
since a loose tooth may be named by its reading's `position` alone; GROUP_RULES look at the bones of one animal. Ages
come from the one source chosen for each animal. Not here: bones without teeth, and measuring.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import fusion
from fieldapp.domain.rules.findings import Around, Docket, Finding, Rule, by_name, number, shown, term
from fieldapp.domain.rules.groups import Group
from fieldapp.domain.rules.tooth_items import SIDES, Item, items, tooth_age_limits
from fieldapp.domain.teeth import coming

_UNWORN, _WORN = coming("full_unworn") or 0, coming("in_wear") or 0
_HALF_UP = coming("half_up") or 0
_LATE_MONTHS = 12
"""A third molar that comes through after its first year tells a juvenile (common practice, no source)."""


# Which tooth


def tooth_unknown(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth or a scheme that is not in the project's tables. It is kept as it came."""
    for one in items(docket, know):
        if one.row is None:
            yield f"{one.path}/tooth", {"word": shown(one.value.get("tooth"))}
        if one.scheme is None and one.value.get("scheme") not in (None, ""):
            yield f"{one.path}/scheme", {"word": shown(one.value.get("scheme"))}


def tooth_not_in_animal(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth that the animal does not have, or not in that jaw."""
    if "tooth" in docket.heads:
        for one in items(docket, know):
            if one.row is not None and not know.teeth.has(docket.taxon, one.row.key, one.jaw):
                yield one.path, one.names(docket)
    elif docket.element_row is not None and docket.element_row.kind == "tooth":
        row = know.teeth.tooth(docket.reading.get("position"))
        if row is not None and not know.teeth.has(docket.taxon, row.key):
            yield "reading/position", docket.names(tooth=term("tooth", row.key), jaw=term("jaw", None))


def tooth_twice(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The same place of one jaw and side more than once; where sides are not said, more than twice."""
    if _loose(docket):
        return
    held: dict[tuple[str, str, str | None], int] = {}
    for one in items(docket, know):
        if one.row is not None and one.row.place is not None and one.jaw is not None:
            key = (one.row.key, one.jaw, one.side)
            held[key] = held.get(key, 0) + 1
            if held[key] > (1 if one.side else 2):
                yield one.path, one.names(docket)


def tooth_in_other_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth in a bone that bears none."""
    row = docket.element_row
    if row is not None and row.kind != "indeterminate" and row.key not in know.teeth.bearers:
        for one in items(docket, know):
            yield one.path, one.names(docket)
            return


def tooth_of_other_jaw(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An upper tooth in a mandible, or a lower one in a skull."""
    own = know.teeth.bearers.get(docket.element or "")
    if own:
        for one in items(docket, know):
            if one.jaw != own:
                yield one.path, one.names(docket)


def tooth_side_mismatch(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A left tooth in a right jaw."""
    if docket.side in SIDES:
        for one in items(docket, know):
            if one.side != docket.side:
                sides = {"side": term("side", one.side), "other": term("side", docket.side)}
                yield one.path, one.names(docket, **sides)


def _loose(docket: Docket) -> bool:
    return docket.element_row is not None and docket.element_row.kind == "tooth"


def loose_with_several(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One loose tooth, and more than one tooth written for it."""
    if _loose(docket):
        found = items(docket, know)
        if len(found) > 1:
            yield found[1].path, docket.names(number=str(len(found)))


def seat_against_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A loose tooth that is said to stand in a jaw, or to be a socket."""
    if _loose(docket):
        for one in items(docket, know):
            if one.seat in ("in_jaw", "socket_only"):
                yield f"{one.path}/seat", one.names(docket, seat=term("seat", one.seat))


def position_against_tooth(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The reading calls a loose tooth another one than its own entry does."""
    row = know.teeth.tooth(docket.reading.get("position")) if _loose(docket) else None
    found = items(docket, know) if row is not None else []
    if row is not None and len(found) == 1 and found[0].row is not None:
        key = found[0].row.key
        if not know.teeth.is_a(key, row.key) and not know.teeth.is_a(row.key, key):
            yield found[0].path, found[0].names(docket, other=term("tooth", row.key))


def loose_tooth_unnamed(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A loose tooth of a known animal, fully analysed, and nobody says which tooth."""
    if not _loose(docket) or "tooth" in docket.heads or docket.reading.get("stage") != "analysis":
        return
    if know.teeth.teeth_of(docket.taxon) and know.teeth.tooth(docket.reading.get("position")) is None:
        yield "reading/position", docket.names()


# How wear is written


def wear_without_scheme(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A stage of wear, and no scheme by which it could be read."""
    for one in items(docket, know):
        if one.wear and one.value.get("scheme") in (None, ""):
            yield f"{one.path}/wear", one.names(docket, wear=shown(one.wear))


def scheme_for_other_animal(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A scheme that was not made for this animal."""
    for one in items(docket, know) if docket.taxon_row is not None else ():
        scheme = one.scheme
        if scheme is not None and docket.taxon not in scheme.taxa and docket.taxon not in scheme.wider:
            yield f"{one.path}/scheme", one.names(docket, scheme=term("wear_scheme", scheme.key))


def scheme_for_other_tooth(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A scheme that was not made for this tooth, or not for this jaw."""
    for one in items(docket, know):
        scheme, row = one.scheme, one.row
        if scheme is None or row is None or scheme.kind != "tooth":
            continue
        fits = any(know.teeth.is_a(tooth, row.key) for tooth in scheme.teeth)
        if not fits or (one.jaw is not None and one.jaw != scheme.jaw):
            yield f"{one.path}/scheme", one.names(docket, scheme=term("wear_scheme", scheme.key))


def jaw_stage_on_tooth(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A scheme that gives one stage to the whole jaw, used for a single tooth."""
    for one in items(docket, know):
        if one.scheme is not None and one.scheme.kind == "jaw":
            yield f"{one.path}/scheme", one.names(docket, scheme=term("wear_scheme", one.scheme.key))


def wear_stage_unknown(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A stage that the scheme does not have."""
    for one in items(docket, know):
        if one.scheme is not None and one.wear and one.stage is None:
            scheme = term("wear_scheme", one.scheme.key)
            yield f"{one.path}/wear", one.names(docket, scheme=scheme, wear=shown(one.wear))


def wear_against_state(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The wear code says that the tooth has come further, or less far, than its state does."""
    for one in items(docket, know):
        said = one.stage.state if one.stage is not None else ""
        if said and one.step is not None and said != one.state:
            more = {"state": term("eruption_state", one.state), "other": term("eruption_state", said)}
            yield one.path, one.names(docket, wear=shown(one.wear), **more)


def wear_of_missing_tooth(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Wear or height of a tooth of which only the place is there."""
    for one in items(docket, know):
        if not one.there and (one.worn or one.state == "in_wear" or one.value.get("crown_height_mm") is not None):
            yield one.path, one.names(docket)


def wear_left_blank(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A tooth in wear, fully analysed, for which there is a scheme, and no stage of it. One finding a docket."""
    if docket.reading.get("stage") == "analysis":
        for one in items(docket, know):
            if one.row is not None and one.there and not one.wear and one.step in (None, _WORN):
                if one.state is None or one.state == "in_wear":
                    if know.teeth.schemes_for(docket.taxon, one.row.key, one.jaw):
                        yield f"{one.path}/wear", one.names(docket)
                        return


def crown_height_implausible(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A crown height of nothing or less, or above that of any unworn cheek tooth of the animal."""
    for one in items(docket, know):
        height = number(one.value.get("crown_height_mm"))
        if height is None:
            continue
        cheek = one.row is not None and one.row.kind in ("premolar", "molar")
        limit = know.teeth.crown_max_mm.get(docket.taxon or "") if cheek else None
        if height <= 0 or (limit is not None and height > limit):
            yield f"{one.path}/crown_height_mm", one.names(docket, height=f"{height:g}")


# In what order


def _by_jaw(found: list[Item]) -> dict[tuple[str | None, str | None], list[Item]]:
    rows: dict[tuple[str | None, str | None], list[Item]] = {}
    for one in found:
        rows.setdefault((one.jaw, one.side), []).append(one)
    return rows


def _pairs(found: list[Item]) -> Iterator[tuple[Item, Item]]:
    """(earlier, later) molars of one jaw and side: the first comes before the second, the second before the third."""
    molars: dict[tuple[object, ...], Item] = {}
    for one in found:
        if one.row is not None and one.row.kind == "molar" and one.row.place is not None:
            # The same tooth written the same way a second time says nothing new.
            molars.setdefault((one.key, one.jaw, one.side, one.state, id(one.scheme), id(one.stage)), one)
    for row in _by_jaw(list(molars.values())).values() if len(molars) > 1 else ():
        for one in row:
            for other in row:
                if one.row and other.row and (one.row.place or 0) < (other.row.place or 0):
                    yield one, other


def wear_order(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A later molar more worn than an earlier one, by one scheme that allows the comparison."""
    for earlier, later in _pairs(items(docket, know)):
        first, second = earlier.stage, later.stage
        scheme = earlier.scheme
        if first is None or second is None or scheme is None or scheme is not later.scheme:
            continue
        comparable = scheme.comparable
        if earlier.worn and later.worn and earlier.key in comparable and later.key in comparable:
            if second.step > first.step:
                yield later.path, _two(docket, earlier, later, shown(first.key), shown(second.key))


def eruption_order(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A later molar further through than an earlier one."""
    for earlier, later in _pairs(items(docket, know)):
        if earlier.step is not None and later.step is not None and later.step > earlier.step:
            states = (term("eruption_state", one.state) for one in (earlier, later))
            yield later.path, _two(docket, earlier, later, *states)


def _two(docket: Docket, earlier: Item, later: Item, first: str, second: str) -> dict[str, str]:
    return docket.names(earlier=term("tooth", earlier.key), later=term("tooth", later.key), state=first, other=second)


def milk_tooth_with_worn_successor(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A milk tooth still in its place, and the tooth that takes the place is up already."""
    found = items(docket, know)
    up = {
        (one.key, one.jaw, one.side)
        for one in found
        if one.there and one.step is not None and one.step >= _UNWORN and one.seat != "loose"
    }
    for one in found if up else ():
        after = know.teeth.replaced_by(one.key or "")
        if after and one.there and one.seat != "loose" and (after, one.jaw, one.side) in up:
            yield one.path, one.names(docket, other=term("tooth", after))


def tooth_age_clash(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Teeth of one docket that no single age fits, after the chosen source."""
    least, most = tooth_age_limits(docket, know)
    if least is None or most is None or least.months <= most.months:
        return
    rows = [know.teeth.teeth[limit.tooth] for limit in (least, most)]
    # Molars among themselves, and a tooth with the one it replaces, are spoken of by the rules above.
    if all(row.kind == "molar" for row in rows) or know.teeth.replaced_by(most.tooth) == least.tooth:
        return
    yield (
        "tooth",
        docket.names(
            earlier=term("tooth", most.tooth),
            later=term("tooth", least.tooth),
            least=f"{least.months:g}",
            most=f"{most.months:g}",
        ),
    )


def tooth_against_age(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The age that is written for the animal does not go with a tooth."""
    age = docket.reading.get("age")
    if age not in ("newborn", "juvenile", "adult"):
        return
    for one in items(docket, know):
        if one.row is None or one.row.set != "permanent" or one.step is None:
            continue
        if age == "adult":
            odd = one.row.kind == "molar" and one.row.place in (1, 2) and one.step < _HALF_UP
        elif age == "newborn":
            odd = one.step == _WORN
        else:
            low = (know.teeth.eruption_range(docket.taxon or "", one.row.key) or (None, None))[0]
            last = one.row.kind == "molar" and one.row.place == 3
            odd = last and one.step == _WORN and low is not None and low >= _LATE_MONTHS
        if odd:
            state, word = term("eruption_state", one.state), term("age_class", age)
            yield "reading/age", one.names(docket, state=state, age=word)
            return


RULES: dict[str, Rule] = by_name(
    tooth_unknown,
    tooth_twice,
    tooth_in_other_bone,
    tooth_of_other_jaw,
    tooth_side_mismatch,
    loose_with_several,
    seat_against_bone,
    position_against_tooth,
    wear_without_scheme,
    scheme_for_other_animal,
    scheme_for_other_tooth,
    jaw_stage_on_tooth,
    wear_stage_unknown,
    wear_against_state,
    wear_of_missing_tooth,
    wear_left_blank,
    crown_height_implausible,
    wear_order,
    eruption_order,
    milk_tooth_with_worn_successor,
    tooth_age_clash,
    tooth_against_age,
)

ALWAYS_RULES: dict[str, Rule] = by_name(tooth_not_in_animal, loose_tooth_unnamed)


# Between the bones of one animal


def group_same_tooth_twice(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One tooth, of one jaw and side, in two members of an articulated group."""
    if not group.one_animal:
        return
    holders: dict[tuple[str, str, str], str] = {}
    for member, docket in group.members.items():
        for one in items(docket, know) if "tooth" in docket.heads else ():
            if one.row is None or one.row.place is None or one.jaw is None or one.side is None or not one.there:
                continue
            first = holders.setdefault((one.row.key, one.jaw, one.side), member)
            if first != member:
                names = {"one": group.name(first), "other": group.name(member), "side": term("side", one.side)}
                yield f"member/{member}", one.names(docket, **names)
                return


def group_teeth_and_bones_clash(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Articulated bones of which no single age fits the teeth of one and the teeth or fusion of another."""
    if not group.one_animal:
        return
    least: list[tuple[float, str, bool]] = []
    most: list[tuple[float, str, bool]] = []
    for member, docket in group.members.items():
        own = (fusion.age_limits(docket, know), tooth_age_limits(docket, know))
        for of_teeth, (low, high) in enumerate(own):
            # What clashes with itself is spoken of in its own docket.
            if low is not None and high is not None and low.months > high.months:
                continue
            least += [(low.months, member, bool(of_teeth))] if low is not None else []
            most += [(high.months, member, bool(of_teeth))] if high is not None else []
    clashing = [
        (older, younger)
        for older in least
        # Fusion against fusion is group_ages_clash; few members of a group hold teeth.
        for younger in (most if older[2] else [one for one in most if one[2]])
        if older[0] > younger[0] and older[1] != younger[1]
    ]
    if clashing:
        older, younger = max(clashing, key=lambda pair: pair[0][0] - pair[1][0])
        yield (
            f"member/{younger[1]}",
            {
                "one": group.name(older[1]),
                "other": group.name(younger[1]),
                "least": f"{older[0]:g}",
                "most": f"{younger[0]:g}",
            },
        )


GROUP_RULES: dict[str, Rule] = by_name(group_same_tooth_twice, group_teeth_and_bones_clash)
