"""Bags: the list, one bag with what lies in it, and the form about it.

A bag's steps (washed, dried, marked, weighed) are ticked each by itself, and unticked over the ticks that the form
showed. Moving a bag to
another context moves all that lies in it, and is an act of its own in the roles table. Not here: boxes, transfers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import human
from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.ids import context_number
from fieldapp.domain.steps import is_ticked, taking_back, ticks
from fieldapp.records import standing
from fieldapp.records.fold import Record
from server.ledger import Hold
from server.ledger import bags as asking
from server.ledger.bags import Inside
from server.ledger.lines import Bag, sort_key
from server.ledger.lines import bags as all_lines
from server.ledger.lines import boxes as all_boxes
from server.review import blind, closing, desk, given, locking, words
from server.review.desk import pages
from server.review.given import NoFigure
from server.review.opened import Opened
from server.review.showing import Said, Showing, as_text, label
from server.review.tables import ON_A_PAGE, Column, Table

FIELDS = ("recovery", "mesh_mm", "weight_g", "box", "held_by")
RECOVERY = ("hand", "sieve")
MOVED = "context"
FINISHED = frozenset({"recovery", "mesh_mm", "weight_g"})
"""What the analysis of a context is about: not altered while that is finished and locked. Where a bag lies may be."""
STAYS = frozenset({"display", "discard"})
"""Kinds of transfers after which a bag is not with somebody else: it stays in the collection, or is gone."""


@dataclass(frozen=True, slots=True)
class Line:
    """A bag in a list. `held_by`: who has it, by what the bag or a transfer says."""

    told: Bag
    held_by: str

    @property
    def id(self) -> str:
        """The bag's."""
        return self.told.id

    @property
    def label(self) -> str:
        """As it is written on the bag."""
        return self.told.label

    @property
    def number(self) -> str:
        """Of its context."""
        return self.told.number

    @property
    def context(self) -> str:
        """Its id, "" where none is said."""
        return self.told.context or ""

    @property
    def steps(self) -> list[str]:
        """The words ticked, in their order."""
        ticked = set(self.told.steps.split())
        return [one for one in knowledge().words["bag_step"] if one in ticked] if ticked else []

    @property
    def box(self) -> str:
        """The name of its box."""
        return self.told.box or ""

    @property
    def weight(self) -> float | None:
        """Its own, in grams."""
        return self.told.weight_g


class Whole:
    """What is known of all bags at once: read only where the list is sorted or narrowed down by it."""

    @cached_property
    def inside(self) -> dict[str, Inside]:
        """{bag: what lies in it}."""
        with desk.ledger().database.reading() as connection:
            return asking.numbers(connection)

    @cached_property
    def lighter(self) -> set[str]:
        """Those that weigh less than what was recorded from them."""
        with desk.ledger().database.reading() as connection:
            return asking.lighter(connection)

    def n(self, line: Line) -> int:
        """How many records lie in a bag."""
        return sum(self.inside.get(line.id, ()))


@dataclass(frozen=True, slots=True)
class Find:
    """A docket or tally of a bag. `answer`: where the bone stands, "" of a tally; `hidden`: see blind."""

    record: Record
    what: str
    answer: str
    hidden: bool = False


def lines() -> list[Line]:
    """All bags, by context and label."""
    ledger = desk.ledger()
    with ledger.database.reading() as connection:
        found = all_lines(connection)
    away = _away(ledger.records("transfer"))
    return [Line(one, one.held_by or away.get(one.id, "")) for one in found]


def steps(bag: Record) -> tuple[str, ...]:
    """The steps that are ticked, in their order."""
    ticked = {
        path.removeprefix("step/") for path, heads in bag.heads.items() if path.startswith("step/") and is_ticked(heads)
    }
    return tuple(one for one in knowledge().words["bag_step"] if one in ticked) if ticked else ()


def _away(transfers: Iterable[Record]) -> dict[str, str]:
    """{bag or docket: with whom} of what was sent and has not come back; all of them, where parts of it went apart."""
    found: dict[str, set[str]] = {}
    for one in transfers:
        if one.value("back") is not True and as_text(one.value("kind")) not in STAYS:
            about = one.value("docket") or one.value("bag")
            whom = as_text(one.value("to")) or words.word("transfer_kind", one.value("kind"))
            found.setdefault(as_text(about), set()).add(whom)
    return {one: ", ".join(sorted(whom, key=alphabetical)) for one, whom in found.items()}


def _recovery(line: Line) -> str:
    recovery = line.told.recovery
    return words.value("recovery", recovery) if recovery else ""


def _sorted_as(text: str) -> str | None:
    return sort_key(text) if text else None


def _columns(whole: Whole) -> tuple[Column[Line], ...]:
    return (
        Column("label", lambda one: one.told.sort),
        Column("context", lambda one: one.told.place),
        Column("recovery", lambda one: alphabetical(_recovery(one)) if one.told.recovery else None),
        Column("box", lambda one: _sorted_as(one.box)),
        Column("held_by", lambda one: _sorted_as(one.held_by)),
        Column("mesh_mm", lambda one: one.told.mesh_mm),
        Column("steps", lambda one: len(one.steps) or None, many_first=True),
        Column("weight_g", lambda one: one.weight, many_first=True),
        Column("inside", whole.n, many_first=True),
    )


def _only(whole: Whole) -> dict[str, Callable[[Line], bool]]:
    return {
        "unwashed": lambda one: "washed" not in one.steps,
        "unweighed": lambda one: one.weight is None,
        "no_box": lambda one: not one.box,
        "unrecorded": lambda one: not whole.n(one),
        "lighter": lambda one: one.id in whole.lighter,
        "away": lambda one: bool(one.held_by),
    }


@pages.get("/bags")
@desk.needs_sign_in
def bags() -> Response:
    """All bags, with what was done to them and what lies in them."""
    whole = Whole()
    table = Table(lines(), _columns(whole), text=_text, only=_only(whole))
    shown = [one.id for one in table.rows]
    with desk.ledger().database.reading() as connection:
        inside, weights = asking.numbers_in(connection, shown), asking.weights(connection, shown)
        lighter = asking.lighter(connection, shown)
    return desk.page("bags", table=table, inside=inside, weights=weights, lighter=lighter, due=desk.due())


def _text(line: Line) -> str:
    return " ".join((line.label, line.number, _recovery(line), line.box, line.held_by))


@pages.get("/bag/<bag>")
@desk.needs_sign_in
def bag(bag: str) -> Response:
    """A bag."""
    return _page(_found(bag))


@pages.post("/bag/<bag>")
@desk.needs_sign_in
def bag_keep(bag: str) -> Response:
    """`heads`, what the form showed; `recovery`, `mesh_mm`, `weight_g`, `box`, `held_by`, `context` (its number);
    `step` (several: what was done); `note`."""
    desk.must("keep_bags")
    record = _found(bag)
    shown = given.shown(record, (*_may_change(), *_steps()))
    agreed = shown.agreed()
    typed = {name: desk.field(name) for name in (*FIELDS, MOVED, "note")}
    ticked = [one for one in request.form.getlist("step") if one]
    if not set(ticked) <= set(knowledge().words["bag_step"]) or typed["recovery"] not in ("", *RECOVERY):
        abort(400)
    try:
        values: dict[str, Any] = {name: given.figure(name) for name in ("mesh_mm", "weight_g")}
    except NoFigure as odd:
        return _page(record, 400, fault=f"figure.{odd}", form=typed, ticked=ticked)
    values |= {name: typed[name] or None for name in ("recovery", "box", "held_by")}
    if values["mesh_mm"] == 0:
        return _page(record, 400, fault="figure.mesh_mm", form=typed, ticked=ticked)
    if MOVED in agreed.heads:
        values[MOVED] = _meant(typed[MOVED], agreed.value(MOVED))
    # A field that was not sent says nothing.
    changes = given.changed(agreed, {path: value for path, value in values.items() if path in request.form})
    if MOVED in changes and (fault := _fault_of_move(record, changes[MOVED])):
        return _page(record, 400, fault=fault, form=typed, ticked=ticked)
    if not FINISHED.isdisjoint(changes) and locking.locked_among(desk.ledger().contexts_of([record]).values()):
        return _page(record, 409, fault="finished", form=typed, ticked=ticked)
    changes |= _steps_altered(record, shown, ticked) if "step" in request.form else {}
    if typed["note"]:
        changes[f"note/{desk.ledger().new_id()}"] = {"text": typed["note"], "stage": "analysis"}
    if not changes:
        return redirect(url_for("review.bag", bag=bag, done="same"))
    desk.write("bag", bag, changes, shown.all_of(changes))
    desk.acted("bag_unticked" if any(isinstance(changes.get(path), dict) for path in _steps()) else "bag_kept", bag)
    return redirect(url_for("review.bag", bag=bag, done="kept"))


def _steps() -> tuple[str, ...]:
    return tuple(f"step/{one}" for one in knowledge().words["bag_step"])


def _steps_altered(record: Record, shown: Opened, ticked: list[str]) -> dict[str, Any]:
    """The ticks that are new, and those taken back. What was ticked since the form was opened it did not show: that
    stands."""
    found: dict[str, Any] = {}
    for path in _steps():
        said = record.heads.get(path, {})
        seen = ticks({one: said.get(one) for one in shown.heads.get(path, ())})
        if path.partition("/")[2] not in ticked:
            if set(seen).intersection(ticks(said)):
                found[path] = taking_back(shown.heads[path])
        elif not seen and not is_ticked(said):
            found[path] = True
    return found


def _asked(record: Record) -> list[str]:
    """The paths that the form asks: not those about which the records disagree, which are settled side by side."""
    disputed, paths = record.disagreements(), _may_change()
    odd = {"recovery"} if record.value("recovery") not in (None, "", *RECOVERY) else set()
    return [path for path in paths if path not in disputed and path not in odd]


def _may_change() -> tuple[str, ...]:
    return FIELDS if desk.may("edit_context") != "yes" else (*FIELDS, MOVED)


def _meant(number: str, shown: Any) -> str | None:
    """The context that a number names; the one that the form showed, where its number came back."""
    if context_number(number) == context_number(label(desk.ledger().record(as_text(shown)))):
        return as_text(shown) or None
    return desk.ledger().numbered([number])[number] if number else None


def _fault_of_move(record: Record, to: str | None) -> str:
    """Why a bag cannot be given to another context, as a key; "" if it can."""
    desk.must("edit_context")
    new = desk.ledger().record(to) if to else None
    if new is None or new.kind != "context":
        return "no_context"
    old = desk.ledger().record(as_text(record.value(MOVED)))
    return "locked" if locking.is_locked(old) or locking.is_locked(new) else ""


def _found(bag: str) -> Record:
    found = desk.ledger().record(bag)
    return found if found is not None and found.kind == "bag" else abort(404)


def holds_in(bags: Iterable[str]) -> list[Hold]:
    """What is raised in these bags, by any word that puts it there, deleted or not."""
    wanted = set(bags)
    return [
        one
        for one in desk.holds()
        if one.raised and one.docket_record is not None
        if wanted.intersection(map(as_text, one.docket_record.heads.get("bag", {}).values()))
    ]


def _page(
    record: Record,
    status: int = 200,
    *,
    fault: str = "",
    form: dict[str, str] | None = None,
    ticked: Iterable[str] | None = None,
) -> Response:
    ledger, showing = desk.ledger(), Showing(desk.ledger())
    with ledger.database.reading() as connection:
        inside = asking.inside(connection, [record.id])
        boxes = all_boxes(connection)
        transfers = asking.transfers_of(connection, [record.id])
    context = ledger.record(as_text(record.value("context")))
    closed = closing.closed_paths(record)
    fields, asked = closing.shown_fields(showing.fields(record), closed), _asked(record)
    last = max(1, -(-len(inside) // ON_A_PAGE))
    number = min(max(1, request.args.get("page", 1, int)), last)
    # As it was written: a figure that is rounded on the way would come back as another one.
    now = {name: as_text(record.value(name)) for name in FIELDS}
    done = request.args.get("done", "")
    return desk.page(
        "bag",
        status,
        bag=record,
        label=label,
        context=context,
        fields=[one for one in fields if one.path not in ("label", "context")],
        steps=[(one, *_who(showing, record, one)) for one in knowledge().words["bag_step"]],
        notes=closing.shown_notes(showing.notes(record), closed),
        finds=[_find(one) for one in inside[(number - 1) * ON_A_PAGE : number * ON_A_PAGE]],
        total=len(inside),
        number=number,
        last=last,
        weight=asking.weights_of(inside).get(record.id),
        transfers=transfers,
        holds=holds_in([record.id]),
        boxes=sorted(boxes, key=sort_key),
        recovery=RECOVERY,
        asked=asked,
        heads=given.heads(record, (*asked, *_steps()), again=form is not None),
        form=form or {**now, MOVED: label(context), "note": ""},
        ticked=set(steps(record) if ticked is None else ticked),
        fault=fault,
        done=done if done in ("kept", "same") else "",
        problems=ledger.problems(record=record.id),
    )


def _who(showing: Showing, bag: Record, step: str) -> tuple[tuple[Said, ...], tuple[Said, ...]]:
    """Whose ticks of a step stand; where none does, who has taken any back."""
    said = bag.heads.get(f"step/{step}", {})
    if found := ticks(said):
        return showing.said(found), ()
    return (), showing.said(one for one, value in said.items() if isinstance(value, Mapping))


def _find(record: Record) -> Find:
    if record.kind == "tally":
        parts = [words.word(name, record.value(name)) for name in ("element", "taxon") if record.value(name)]
        return Find(record, ", ".join(parts) or words.say("not_recorded"), "")
    answers = [one.answer for one in desk.holds() if one.docket == record.id]
    own = standing.standing_of(record, desk.authority()).answer
    answer = max([own, *answers], key=human.CAUTION.__getitem__)
    return Find(record, blind.title(record), answer, blind.is_hidden(record.id))
