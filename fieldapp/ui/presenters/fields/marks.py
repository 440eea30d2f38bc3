"""Marks on the surface, put where they are on the plate: first what kind of mark, then where. Pure.

A second tap on the same portion with the same kind counts one more. Not here: what a kind of mark means (the tables).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fieldapp import assets
from fieldapp.domain.plates import Plate
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.fields import Body, Room, paged
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

USUAL = ("cut", "chop", "carnivore_gnawing", "rodent_gnawing", "percussion", "saw", "worked", "gnawing")
"""The kinds that come first; the others behind them in the order of the table."""
DIRECTIONS = ("transverse", "oblique", "longitudinal", "several")
ASPECTS = ("dorsal", "palmar", "plantar", "cranial", "caudal", "lateral", "medial", "ventral")
"""Views of a plate that are the name of the side of the bone they show."""


def applies(form: Form) -> bool:
    """Whatever is of bone can bear marks."""
    return form.answers.get("material") not in ("not_bone",)


def marks(form: Form) -> list[tuple[str, dict[str, Any]]]:
    """(slot, mark) of every mark, in the order in which they were put."""
    return [(slot, one) for slot, one in form.answers.items() if slot.startswith("mark/") and isinstance(one, dict)]


def value(form: Form) -> str:
    """The kinds there are."""
    kinds = list(dict.fromkeys(word("mark_kind", one.get("kind")) for _, one in marks(form)))
    return ", ".join(kinds[:2]) + (" …" if len(kinds) > 2 else "")


def kind_in_hand(form: Form) -> str:
    """The kind that the next tap on the plate puts there."""
    what, _, rest = form.state.shelf.partition(":")
    return rest if what == "kind" else ""


def kinds(form: Form) -> list[str]:
    """All kinds of mark, the usual ones first."""
    return [*USUAL, *(key for key in form.desk.knowledge.surface.kinds if key not in USUAL)]


def views(form: Form) -> tuple[Plate, ...]:
    """The plates of the bone in hand."""
    answers = form.answers
    return assets.plates_of(answers.get("element", ""), answers.get("taxon"), answers.get("side"))


def body(form: Form, room: Room) -> Body:
    """The kinds beside the plate; or one mark with what can be said of it."""
    what, _, rest = form.state.shelf.partition(":")
    plates = views(form)
    plate = plates[_view(form) % len(plates)] if plates else None
    pins = tuple(_pins(form, plate.view)) if plate is not None else ()
    if what == "mark":
        slot = f"mark/{rest}"
        if slot in form.answers:
            return Body(_one(form, slot), asks=_said(form.answers[slot], form))
    in_hand = kind_in_hand(form)
    pads = [
        Choice(f"marks.kind.{key}", word("mark_kind", key), chosen=key == in_hand, note=_count(form, key))
        for key in kinds(form)
    ]
    # Nothing moves when the first mark is put: a second tap meets what the first one met.
    fixed = [Choice("marks.list", say("marks.list", n=len(marks(form))), sign="down", enabled=bool(marks(form)))]
    if len(plates) > 1:
        fixed.append(Choice("marks.view", say("marks.view"), sign="after"))
    if not plates:
        fixed.append(Choice("marks.put", say("marks.put"), sign="more", tone="primary", enabled=bool(in_hand)))
    if what == "list":
        pads = [
            Choice(f"marks.mark.{slot.removeprefix('mark/')}", _said(one, form), sign="after")
            for slot, one in marks(form)
        ]
        fixed = [Choice("marks.kinds", say("action.back"), sign="up")]
    page = rest if what in ("page", "list") else ""
    asks = say("marks.which") if not in_hand else say("marks.put_on" if plates else "marks.put_one")
    if what == "list":
        asks = say("marks.list", n=len(marks(form)))
    rows = paged("marks", pads, fixed, room, int(page) if page.isdigit() else 0)
    return Body(rows, asks=asks, plate=plate, touched=bool(in_hand and plates), pins=pins)


def _pins(form: Form, view: str) -> Iterator[tuple[float, float]]:
    for _, one in marks(form):
        x, y = one.get("x"), one.get("y")
        if one.get("view") == view and isinstance(x, int | float) and isinstance(y, int | float):
            yield float(x), float(y)


def _view(form: Form) -> int:
    found = form.desk.place.get("marks_view")
    return found if isinstance(found, int) else 0


def _count(form: Form, kind: str) -> str:
    number = sum(int(one.get("number") or 1) for _, one in marks(form) if one.get("kind") == kind)
    return say("times", n=number) if number else ""


def _said(mark: dict[str, Any], form: Form) -> str:
    element = form.answers.get("element", "")
    parts = [word("mark_kind", mark.get("kind")), word(f"portion.{element}", mark.get("portion"))]
    parts += [word("aspect", mark.get("aspect")), word("mark_direction", mark.get("direction"))]
    number = mark.get("number")
    return ", ".join(part for part in parts if part) + (
        f" {say('times', n=number)}" if isinstance(number, int) and number > 1 else ""
    )


def _one(form: Form, slot: str) -> list[list[Choice]]:
    mark = form.answers[slot]
    direction = [
        Choice(f"marks.direction.{key}", word("mark_direction", key), chosen=mark.get("direction") == key)
        for key in DIRECTIONS
    ]
    kind = form.desk.knowledge.surface.kinds.get(mark.get("kind"))
    tools = kind.tools if kind is not None else ()
    pads = [Choice(f"marks.tool.{key}", word("tool", key), chosen=mark.get("tool") == key) for key in tools]
    number = [
        Choice("marks.less", "", sign="less"),
        Choice("", say("times", n=mark.get("number") or 1), tone="words"),
        Choice("marks.more", "", sign="more"),
        Choice("marks.drop", say("measures.drop"), sign="rub"),
    ]
    return [direction, *in_rows(pads, 5), [*number, Choice("marks.list", say("action.back"), sign="up")]]


def tap(form: Form, key: str) -> None:
    """A kind, a place on the plate (`on.<portion>.<view>.<x>.<y>`), or something about one mark."""
    what, _, rest = key.partition(".")
    if what == "kind":
        form.open_shelf("" if kind_in_hand(form) == rest else f"kind:{rest}")
    elif what == "on":
        portion, view, x, y = rest.split(",")
        put_mark(form, kind_in_hand(form), portion, view, float(x), float(y))
    elif what == "put":
        put_mark(form, kind_in_hand(form))
    elif what == "view":
        form.desk.go(marks_view=_view(form) + 1)
    elif what == "list":
        form.open_shelf("list:0")
    elif what == "page":
        form.open_shelf(f"{'list' if form.state.shelf.startswith('list') else 'page'}:{rest}")
    elif what == "kinds":
        form.open_shelf("")
    elif what == "mark":
        form.open_shelf(f"mark:{rest}")
    else:
        _change(form, what, rest)


def _change(form: Form, what: str, chosen: str) -> None:
    """Something about the mark that is open."""
    slot = f"mark/{form.state.shelf.removeprefix('mark:')}"
    mark = form.answers.get(slot)
    if not isinstance(mark, dict):
        return
    if what == "drop":
        form.put("marks", {slot: None}, shelf="list:0")
        return
    if what in ("less", "more"):
        number = max(1, int(mark.get("number") or 1) + (1 if what == "more" else -1))
        after = {**mark, "number": number}
    else:
        after = {**mark, what: None if mark.get(what) == chosen else chosen}
    kept = {name: value for name, value in after.items() if value is not None}
    form.put("marks", {slot: kept}, shelf=form.state.shelf)


def put_mark(
    form: Form, kind: str, portion: str = "", view: str = "", x: float | None = None, y: float | None = None
) -> None:
    """Puts a mark on a portion, or counts one more of those there."""
    if not kind:
        return
    aspect = view if view in ASPECTS else None
    for slot, one in marks(form):
        if (one.get("kind"), one.get("portion") or "", one.get("aspect")) == (kind, portion, aspect):
            more = {**one, "number": int(one.get("number") or 1) + 1}
            form.put("marks", {slot: more}, shelf=f"kind:{kind}")
            return
    mark: dict[str, Any] = {"kind": kind, "number": 1}
    mark |= {name: value for name, value in (("portion", portion), ("aspect", aspect), ("view", view)) if value}
    if x is not None and y is not None:
        mark |= {"x": round(x, 3), "y": round(y, 3)}
    form.put("marks", {f"mark/{form.desk.new_id()}": mark}, shelf=f"kind:{kind}")
