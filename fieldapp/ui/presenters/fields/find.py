"""What is true of the find itself: how many, how heavy, how long, who found it, where it lay, what it fits. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldapp.domain import human
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.context import short_label, what_it_is
from fieldapp.ui.presenters.fields import Body, Room, number_of, paged, shown, take_pad
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

DIGITS = "0123456789"
FIGURES = {
    "count": DIGITS,
    **dict.fromkeys(("weight_g", "longest_mm", "east", "north"), DIGITS + "."),
    "level": DIGITS + ".-",
}
PLACE = ("east", "north", "level")
FIND_NO = "0123456789ABCDEF-/"
BREAKS = ("old", "fresh")


def applies(form: Form) -> bool:
    """Always."""
    return True


def raised(form: Form) -> bool:
    """Whether it may be human: then its exact place is sealed, in the hold, and written nowhere else."""
    record = form.record
    standing = form.desk.standing(record) if record is not None else ""
    return form.answers.get("human") in human.RAISED or standing in human.RAISED


def value(form: Form) -> str:
    """Number and weight first."""
    answers = form.answers
    found = [say("count_value", n=answers["count"])] if answers.get("count") is not None else []
    if answers.get("weight_g") is not None:
        found.append(say("grams", g=shown(answers["weight_g"])))
    if answers.get("find_no"):
        found.append(say("find_no_value", no=answers["find_no"]))
    if answers.get("place"):
        found.append(say("place_value"))
    joins = sum(slot.startswith("joins/") for slot in answers)
    if joins:
        found.append(say("joins_value", n=joins))
    return ", ".join(found[:2]) + (" …" if len(found) > 2 else "")


def held(form: Form, slot: str) -> Any:
    """What a slot of this field holds now."""
    if slot in PLACE:
        place = form.answers.get("place")
        return place.get(slot) if isinstance(place, dict) else None
    return form.answers.get(slot)


def body(form: Form, room: Room) -> Body:
    """All of it; or a keypad, the people, or the pieces that it may fit."""
    what, _, rest = form.state.shelf.partition(":")
    if what == "keys":
        return _keypad(form, rest)
    if what == "finder":
        return Body(_finders(form, room, rest), asks=say("find.finder_asks"))
    if what == "joins":
        return Body(_pieces(form, room, rest), asks=say("find.joins_asks"))
    answers = form.answers
    count = answers.get("count")
    first = [
        Choice("find.less", "", sign="less"),
        Choice("find.keys.count", say("count_value", n=count if count is not None else 1), weight=1.2),
        Choice("find.more", "", sign="more"),
        _figure(form, "weight_g"),
        _figure(form, "longest_mm"),
    ]
    if form.state.second:
        return Body([first])  # where it lay and what it fits are not read again
    finder = Choice("find.finder", answers.get("finder") or say("blank"), note=say("slot.finder"), sign="person")
    number = Choice("find.keys.find_no", answers.get("find_no") or say("blank"), note=say("slot.find_no"))
    joins = sum(slot.startswith("joins/") for slot in answers)
    fits = Choice("find.joins", say("joins_value", n=joins) if joins else say("blank"), note=say("slot.joins"))
    if raised(form):
        return Body([first, [finder, number, fits]], asks=say("find.sealed"))
    return Body([first, [finder, number, fits], [_figure(form, slot) for slot in PLACE]], asks=say("find.place_asks"))


def _figure(form: Form, slot: str) -> Choice:
    return Choice(f"find.keys.{slot}", shown(held(form, slot)) or say("blank"), note=say(f"slot.{slot}"))


def _keypad(form: Form, slot: str) -> Body:
    now = held(form, slot)
    rows = [
        [Choice(f"find.drop.{slot}", say("measures.drop"), sign="rub", enabled=now is not None)],
        [Choice("find.back", say("action.back"), sign="up"), take_pad("find")],
    ]
    return Body(
        rows,
        asks=say(f"slot.{slot}"),
        definition=say(f"slot.{slot}.why"),
        keys="number" if slot == "find_no" else "figure",
        typed=form.state.typed or (now if isinstance(now, str) else shown(now)),
    )


def _finders(form: Form, room: Room, page: str) -> list[list[Choice]]:
    names = dict.fromkeys(
        [form.desk.by["name"], *(str(one.value("name") or "") for one in form.desk.persons()), *form.desk.local_names()]
    )
    pads = [
        Choice(f"find.finder.{name}", name, chosen=form.answers.get("finder") == name, sign="person")
        for name in names
        if name
    ]
    back = Choice("find.back", say("action.back"), sign="up")
    return paged("find.finders", pads, [back], room, int(page) if page.isdigit() else 0)


def _pieces(form: Form, room: Room, page: str) -> list[list[Choice]]:
    """Others of the context, newest first: a tap joins across an old break, a second one across a fresh one."""
    pads = []
    for one in reversed(form.desk.dockets(form.state.context)):
        if one.id == form.state.docket:
            continue
        join = form.answers.get(f"joins/{one.id}")
        how = word("break", join.get("break")) if isinstance(join, dict) else ""
        note = how or what_it_is(one.value("reading"), one.value("material"))
        pads.append(Choice(f"find.join.{one.id}", short_label(one.value("label")), note=note, chosen=bool(how)))
    back = Choice("find.back", say("action.back"), sign="up")
    wide = Room(max(2, room.across // 2), room.down)  # there is more to say of each than one word
    return paged("find.joined", pads, [back], wide, int(page) if page.isdigit() else 0)


def tap(form: Form, key: str) -> None:
    """A pad of this field."""
    what, _, rest = key.partition(".")
    if what in ("less", "more"):
        count = form.answers.get("count")
        many = max(1, (count if isinstance(count, int) else 1) + (1 if what == "more" else -1))
        # Counted from where the recorder is: the note and the short form have these buttons too.
        form.put(form.state.field, {"count": many if many > 1 else None})
    elif what == "keys":
        if form.state.field != "find":  # the note and the short form have the pad for the count too
            form.open_field("find")
        form.open_shelf(f"keys:{rest}")
    elif what == "key":
        _key(form, form.state.shelf.removeprefix("keys:"), rest)
    elif what == "back":
        form.open_shelf("")
    elif what == "drop":
        form.put("find", _put(form, rest, None))
    elif what == "finder" and rest:
        form.put("find", {"finder": None if form.answers.get("finder") == rest else rest})
    elif what in ("finder", "joins"):
        form.open_shelf(what)
    elif what in ("finders", "joined"):
        form.open_shelf(f"{'finder' if what == 'finders' else 'joins'}:{rest.removeprefix('page.')}")
    elif what == "join":
        join = form.answers.get(f"joins/{rest}")
        ways = [None, *({"break": one} for one in BREAKS)]
        after = ways[(ways.index(join) + 1) % len(ways)] if join in ways else None
        form.put("find", {f"joins/{rest}": after}, shelf=form.state.shelf)


def _put(form: Form, slot: str, value: Any) -> dict[str, Any]:
    if slot not in PLACE:
        return {slot: value}
    now = form.answers.get("place")
    place = {**(now if isinstance(now, dict) else {}), slot: value}
    return {"place": {one: number for one, number in place.items() if number is not None} or None}


def _key(form: Form, slot: str, key: str) -> None:
    allowed = FIND_NO if slot == "find_no" else FIGURES[slot]
    if key != "=":
        form.press_key(key, allowed, 4 if slot == "count" else 12)
        return
    typed = form.state.typed
    value: Any = typed if slot == "find_no" else number_of(typed)
    if value in (None, ""):
        form.open_shelf("")
        return
    if slot == "count":
        value = int(value) if value > 1 else None
    # East, north and level are usually read off one after the other.
    after = PLACE[PLACE.index(slot) + 1] if slot in PLACE[:-1] else ""
    form.put("find", _put(form, slot, value), shelf=f"keys:{after}" if after else "")
