"""Boxes: which bags are in each, where it stands, its printed list; and filling one from a list of labels.

A box is what bags say they are in. Where it stands is kept in the site's record, under a key made of its name. Labels
come as they are typed, pasted or sent by a scanner, a line each; each is tried by its check character and shown with
the bag it means before anything is written, and what was not understood stays in the form. Not here: one bag (bags).
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import labels
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server.ledger import bags as asking
from server.ledger.ledger import Edit
from server.ledger.lines import sort_key
from server.review import bags, desk, given, words
from server.review.bags import Line
from server.review.desk import pages
from server.review.showing import as_text, label
from server.review.tables import Column, Table

LONGEST_NAME = 100
MOST = 1000
"""Lines at a time."""


@dataclass(frozen=True, slots=True)
class Box:
    """A box with its bags, by context and label. `weight` of those that were weighed."""

    key: str
    name: str
    bags: tuple[Line, ...]
    place: str
    held_by: str

    @property
    def weight(self) -> float:
        """Grams, of the bags that were weighed."""
        return sum(one.weight or 0.0 for one in self.bags)

    @property
    def unweighed(self) -> int:
        """How many of its bags were not."""
        return sum(one.weight is None for one in self.bags)

    @property
    def contexts(self) -> list[str]:
        """Their numbers."""
        return sorted({one.number for one in self.bags if one.number}, key=sort_key)


@dataclass(frozen=True, slots=True)
class Scanned:
    """A line of what was typed: the bag it means, or why it means none (a key of the texts)."""

    nr: int
    text: str
    bag: Record | None
    fault: str


def key_of(name: str, site: str) -> str:
    """The key of a box on a site, the same wherever its name is written the same, whatever the case."""
    return str(uuid.uuid5(uuid.UUID(site), "box/" + " ".join(name.split()).casefold()))


def all_boxes(lines: Iterable[Line]) -> list[Box]:
    """The boxes that bags or the site's record name, by name."""
    site = desk.ledger().site()
    told = {key: one for key, one in site.items("box").items() if isinstance(one, dict)}
    names = {key: as_text(one.get("name")) for key, one in told.items()}
    found: dict[str, list[Line]] = {key: [] for key in told}
    keys: dict[str, str] = {}
    for line in lines:
        if line.box:
            if line.box not in keys:
                keys[line.box] = key_of(line.box, site.id)
            key = keys[line.box]
            names.setdefault(key, line.box)
            found.setdefault(key, []).append(line)
    made = [
        Box(key, names[key], tuple(each), *(as_text(told.get(key, {}).get(name)) for name in ("place", "held_by")))
        for key, each in found.items()
        if each or names[key]
    ]
    return sorted(made, key=lambda one: (sort_key(one.name), one.key))


COLUMNS: tuple[Column[Box], ...] = (
    Column("name", lambda one: sort_key(one.name)),
    Column("bags", lambda one: len(one.bags), many_first=True),
    Column("weight", lambda one: one.weight, many_first=True),
    Column("place", lambda one: sort_key(one.place) if one.place else None),
    Column("held_by", lambda one: sort_key(one.held_by) if one.held_by else None),
)
ONLY = {"no_place": lambda one: not one.place, "unweighed": lambda one: one.unweighed > 0}


def _text(box: Box) -> str:
    return " ".join((box.name, box.place, box.held_by, *box.contexts, *(one.label for one in box.bags)))


@pages.get("/boxes")
@desk.needs_sign_in
def boxes() -> Response:
    """All boxes, and the form that fills one."""
    return _list()


@pages.post("/boxes")
@desk.needs_sign_in
def box_fill() -> Response:
    """`box`, `labels` (one a line): shows which bags they are. With `put`, JSON {bag: [heads of its box]} of what was
    shown, these go into the box; `left`: the lines that were no bag, which come back to be put right."""
    desk.must("keep_bags")
    box = " ".join(desk.field("box").split())[:LONGEST_NAME]
    if "put" in request.form:
        return _put(box, _lines("left"))
    lines = _lines("labels")
    if not box or not lines:
        return _list(400, fault="box" if not box else "labels", form={"box": box, "labels": "\n".join(lines)})
    if len(lines) > MOST:
        return _list(400, fault="many", form={"box": box, "labels": "\n".join(lines)})
    scanned = read(lines)
    good = [one for one in scanned if one.bag is not None and not one.fault]
    return _list(
        scanned=scanned,
        holds=bags.holds_in(one.bag.id for one in good if one.bag is not None),
        put=canonical({one.bag.id: one.bag.head_ids().get("box", []) for one in good if one.bag is not None}),
        good=len(good),
        form={"box": box, "labels": "\n".join(one.text for one in scanned if one.fault and one.fault != "twice")},
    )


def _lines(name: str) -> list[str]:
    return [line.strip() for line in request.form.get(name, "").replace("\0", "").splitlines() if line.strip()]


def read(lines: list[str]) -> list[Scanned]:
    """What each line means. A label's check character has to fit; a bag that has no field label goes by its name."""
    site, known = as_text(desk.ledger().site().value("code")), {}
    for line in lines:
        known[line] = _tidy(line, site)
    with desk.ledger().database.reading() as connection:
        found = asking.labelled(connection, "bag", {text for text, _ in known.values()})
    scanned, seen = [], set()
    for nr, line in enumerate(lines, 1):
        text, fault = known[line]
        there = found.get(text, [])
        bag = there[0] if len(there) == 1 else None
        fault = "" if bag is not None else "several" if there else fault
        if bag is not None and "box" in bag.disagreements():
            fault = "disputed"
        elif bag is not None and bag.id in seen:
            fault = "twice"
        if bag is not None:
            seen.add(bag.id)
        scanned.append(Scanned(nr, line, bag, fault))
    return scanned


def _tidy(line: str, site: str) -> tuple[str, str]:
    """A label as it is printed, and what is wrong with it where no bag carries it. The site's code may be left out."""
    for text in (line, f"{site} {line}"):
        try:
            return str(labels.read(text)), "no_bag"
        except labels.LabelError as error:
            if error.reason == "check":
                return line, "check"
    return line, "no_bag"


def _put(box: str, left: list[str]) -> Response:
    """Writes the box of the bags that the page showed; over what it showed, so that a later word is not lost."""
    try:
        told: Any = json.loads(request.form["put"])
    except (ValueError, RecursionError):
        abort(400)
    if not box or not isinstance(told, dict) or len(told) > MOST:
        abort(400)
    found, edits = desk.ledger().get(one for one in told if isinstance(one, str)), []
    for bag, heads in told.items():
        record = found.get(bag)
        if record is None or record.kind != "bag":
            abort(400)
        shown = given.shown(record, ["box"], {"box": heads})
        if given.changed(shown, {"box": box}) and record.value("box") != box:
            edits.append(Edit("bag", bag, {"box": box}, shown.all_of(["box"])))
    ledger, me = desk.ledger(), desk.me()
    if edits:
        with ledger.database.writing() as connection:
            ledger.write_many_in(connection, edits, me.by)
            fields = {"name": me.name, "role": me.role, "label": box, "n": len(edits)}
            ledger.note_in(connection, "boxed", me.person, fields)
        desk.desk().written()
    if not left:
        return redirect(url_for("review.box", box=key_of(box, ledger.site().id), done="filled", n=len(told)))
    return _list(filled=len(told), form={"box": box, "labels": "\n".join(left)})


def _list(status: int = 200, **values: Any) -> Response:
    shown = all_boxes(bags.lines())
    table = Table(shown, COLUMNS, text=_text, only=ONLY)
    given_: dict[str, Any] = {"form": {}, "scanned": [], "holds": [], "fault": "", "good": 0, "put": "", "filled": 0}
    return desk.page(
        "boxes", status, table=table, names=[one.name for one in shown], label=label, **{**given_, **values}
    )


@pages.get("/box/<box>")
@desk.needs_sign_in
def box(box: str) -> Response:
    """A box by its key: where it stands and the list of its bags, to be printed."""
    return _page(box)


@pages.post("/box/<box>")
@desk.needs_sign_in
def box_place(box: str) -> Response:
    """`heads`; `place`, `held_by`: where a box stands, and who has it."""
    desk.must("keep_bags")
    one, path, site = _found(box), f"box/{box}", desk.ledger().site()
    shown = given.shown(site, [path])
    place, held_by = desk.field("place"), desk.field("held_by")
    value = {"name": one.name, "place": place or None, "held_by": held_by or None}
    changes = given.changed(shown, {path: value})
    if changes:
        desk.write("site", site.id, changes, shown.all_of(changes))
    return redirect(url_for("review.box", box=box, done="placed"))


def _found(box: str) -> Box:
    return next((one for one in all_boxes(bags.lines()) if one.key == box), None) or abort(404)


def _page(key: str) -> Response:
    one, path, site = _found(key), f"box/{key}", desk.ledger().site()
    done, n = request.args.get("done", ""), request.args.get("n", 0, int)
    with desk.ledger().database.reading() as connection:
        inside = asking.numbers_in(connection, [line.id for line in one.bags])
    return desk.page(
        "box",
        box=one,
        inside=inside,
        label=label,
        holds=bags.holds_in(line.id for line in one.bags),
        heads=given.heads(site, [path]),
        disputed=path in site.disagreements(),
        done=done if done in ("filled", "placed") else "",
        n=n,
        printed=words.when(desk.ledger().clock().isoformat()),
    )
