"""Measurements: what can be taken on the piece in hand, a keypad, and a picture of where the callipers go. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldapp import assets
from fieldapp.domain.measures import Measurement, Taking
from fieldapp.domain.plates import Plate, direction
from fieldapp.records import typed
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.fields import Body, Room, number_of, paged, shown, take_pad
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

FIGURE = "0123456789."


def takings(form: Form) -> list[Taking]:
    """What can be measured on the bone in hand: what can be taken now first."""
    return typed.takings(form.answers, form.desk.knowledge)


def applies(form: Form) -> bool:
    """Whether the element has measurements, or some are written down."""
    return bool(takings(form)) or any(slot.startswith("measure/") for slot in form.answers)


def taken(form: Form) -> dict[str, tuple[str, dict[str, Any]]]:
    """{code: (slot, measurement)} of what is written down."""
    return {
        str(value.get("code")): (slot, value)
        for slot, value in form.answers.items()
        if slot.startswith("measure/") and isinstance(value, dict)
    }


def value(form: Form) -> str:
    """The first of them, and how many more."""
    found = [f"{code} {shown(one.get('mm'))}" for code, (_, one) in taken(form).items()]
    return ", ".join(found[:2]) + (" …" if len(found) > 2 else "")


def body(form: Form, room: Room) -> Body:
    """The codes; or the keypad for one."""
    one = _open(form)
    if one is not None:
        return _keypad(form, one.measurement)
    held, places = taken(form), takings(form)
    known = {place.measurement.code for place in places}
    pads = [
        Choice(
            f"measures.code.{place.measurement.code}",
            place.measurement.code,
            note=shown(held[place.measurement.code][1].get("mm")) if place.measurement.code in held else "",
            chosen=place.measurement.code in held,
            # What is not there can hardly be measured; nothing forbids it.
            tone="off" if place.lacking else "plain",
        )
        for place in places
    ]
    # What was written for another bone is shown, so that it can be mended.
    pads += [
        Choice(f"measures.drop.{code}", code, note=shown(one.get("mm")), tone="clay", sign="check")
        for code, (_, one) in held.items()
        if code not in known
    ]
    page = form.state.shelf.removeprefix("page:")
    rows = paged("measures", pads, [], room, int(page) if page.isdigit() else 0)
    return Body(rows, asks=say("measures.which"))


def _open(form: Form) -> Taking | None:
    shelf = form.state.shelf
    return next((one for one in takings(form) if shelf == f"code:{one.measurement.code}"), None)


def _keypad(form: Form, row: Measurement) -> Body:
    held = taken(form).get(row.code)
    now = held[1] if held else {}
    plate, way = picture(form, row)
    estimated = Choice(
        "measures.estimated", say("measures.estimated"), chosen=bool(now.get("estimated")), enabled=bool(now)
    )
    drop = Choice("measures.drop." + row.code, say("measures.drop"), sign="rub", enabled=bool(now))
    back = Choice("measures.back", say("action.back"), sign="up")
    return Body(
        [[estimated, drop], [back, take_pad("measures")]],
        asks=say("measures.asks", code=row.code, name=word("measure", row.text)),
        definition=" ".join(part for part in (word("measure", f"{row.text}.how"), usual(form, row)) if part),
        keys="figure",
        typed=form.state.typed or shown(now.get("mm")),
        plate=plate,
        marked=tuple(row.portions()),
        way=way,
    )


def usual(form: Form, row: Measurement) -> str:
    """Between what figures it usually lies in the animal, and whether what was typed does not; "" if not known."""
    taxon = form.answers.get("taxon")
    limits = (
        form.desk.knowledge.measures.limits(row.element, row.code, taxon, form.answers.get("position"))
        if taxon
        else None
    )
    if limits is None:
        return ""
    mm = number_of(form.state.typed)
    beyond = form.desk.knowledge.measures.tolerance("beyond")
    found = say("measures.usual", low=shown(limits.low), high=shown(limits.high))
    return found if mm is None or limits.within(mm, beyond) else f"{found} {say('measures.outside', mm=shown(mm))}"


def picture(form: Form, row: Measurement) -> tuple[Plate | None, str]:
    """The view in which the measurement can be seen best, and which way it goes there."""
    know = form.desk.knowledge
    region = know.elements[row.element].region
    span = know.measures.way(row.element, row.code)
    plates = assets.plates_of(form.answers.get("element", ""), form.answers.get("taxon"), form.answers.get("side"))
    ways = [(plate, direction(span, plate.view, region)) for plate in plates if row.portions() & plate.portions.keys()]
    return next((one for one in ways if one[1] != "through"), ways[0] if ways else (None, ""))


def tap(form: Form, key: str) -> None:
    """A code, a key of the keypad, or a button beside it."""
    what, _, rest = key.partition(".")
    if what == "code":
        form.open_shelf(f"code:{rest}")
    elif what == "page":
        form.open_shelf(f"page:{rest}")
    elif what == "back":
        form.open_shelf("")
    elif what == "key":
        _key(form, rest)
    elif what == "drop" and rest in taken(form):
        form.put("measures", {taken(form)[rest][0]: None})
    elif what == "estimated" and (one := _open(form)) is not None and one.measurement.code in taken(form):
        slot, now = taken(form)[one.measurement.code]
        form.put("measures", {slot: {**now, "estimated": not now.get("estimated")}}, shelf=form.state.shelf)


def _key(form: Form, key: str) -> None:
    one = _open(form)
    if key != "=":
        form.press_key(key, FIGURE, 8)
    elif one is not None:
        take(form, one.measurement.code, form.state.typed)


def take(form: Form, code: str, typed: str) -> bool:
    """Writes a figure down for a code; the next code that has none opens. False if it is no number above nothing."""
    mm = number_of(typed)
    if mm is None or mm <= 0:
        form.open_shelf("")
        return False
    held = taken(form).get(code)
    slot = held[0] if held else f"measure/{form.desk.new_id()}"
    form.put("measures", {slot: {**(held[1] if held else {}), "code": code, "mm": mm}})
    return True
