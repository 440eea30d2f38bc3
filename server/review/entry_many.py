"""Many typed lines at once: pasted, read line by line, and those that are understood saved in one transaction.

A line that answers the human question, or for which a rule would raise it, is never saved with others: it stays in the
box with a way to enter it by itself. Not here: what lines mean (entry_lines), one line after the other (entry).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from flask import redirect, url_for
from werkzeug.wrappers import Response

from fieldapp.domain import human
from fieldapp.records.typed import SAME, Wrong, is_figure
from server.review import desk, entry_lines, locking, once
from server.review.desk import pages
from server.review.entry import ROUTE, SAVE
from server.review.entry_lines import Line, Lines, Place
from server.review.showing import label

MOST = 200
"""Lines that are read with one form."""
UNDERSTOOD, WRONG, ALONE = "understood", "wrong", "alone"


class Read(NamedTuple):
    """A line as it is shown: what becomes of it (one of the three above), and what is wrong with it in words."""

    line: Line
    state: str
    faults: list[str]


@pages.get(f"{ROUTE}/many")
@desk.needs_sign_in
def entry_many(kind: str, place: str) -> Response:
    """The empty box."""
    where = entry_lines.place_of(kind, place)
    desk.must("edit_docket")
    return _page(where)


@pages.post(f"{ROUTE}/many")
@desk.needs_sign_in
def enter_many(kind: str, place: str) -> Response:
    """`lines`; `once`, from which each line's docket has its id; `do`: save or look."""
    where = entry_lines.place_of(kind, place)
    desk.must("edit_docket")
    mark, text, ledger = once.given(), desk.pasted("lines").replace("\r\n", "\n"), desk.ledger()
    whole = _whole(text)
    if len(whole) > MOST:
        return _page(where, 413, text=text, fault="too_many")
    found = _read(where, whole, mark)
    if desk.field("do") != SAVE:
        return _page(where, text=text, found=found)
    if locking.locked_among([where.context]) is not None:
        return _page(where, 409, text=text, found=found, fault="locked")
    there = ledger.get(one.line.docket for one in found)
    fresh = [one.line for one in found if one.state == UNDERSTOOD and one.line.docket not in there]
    if made := entry_lines.write(fresh) if fresh else 0:
        fields = {"name": desk.me().name, "role": desk.me().role, "n": made, "label": label(where.record)}
        ledger.note("dockets_made", desk.me().person, fields)
    rest = [one for one in found if one.state != UNDERSTOOD]
    if not rest:
        return redirect(url_for("review.entry", kind=kind, place=place))
    return _page(where, text="\n".join(_plain(one.line) for one in rest), found=rest, saved=len(found) - len(rest))


def _whole(text: str) -> list[str]:
    """The lines, each with the figures that an instrument typed on lines of their own behind it."""
    found: list[str] = []
    for line in filter(None, (one.strip() for one in text.split("\n"))):
        if found and is_figure(line) and '"' not in found[-1]:
            found[-1] += f" {line}"
        else:
            found.append(line)
    return found


def _read(where: Place, whole: Sequence[str], mark: str) -> list[Read]:
    """Each line read after the one before it; the first one after the docket made here last."""
    lines, ledger = Lines(where), desk.ledger()
    last = ledger.begun_here(where.record.id, 1)
    before = entry_lines.before_of(ledger.record(last[0]) if last else None, lines.knowledge)
    found: list[Line] = []
    for n, text in enumerate(whole):
        line = lines.read(text, entry_lines.own(mark, f"{n} {text}"), before)
        found.append(line)
        # What is not understood is no bone that the next line could be the same as.
        before = {} if line.wrong or line.waits else line.answers
    good = [one for one in found if not one.wrong and not one.waits]
    lines.check(good)
    return [_state(lines, one) for one in found]


def _state(lines: Lines, line: Line) -> Read:
    faults = [lines.sentence(line, one) for one in line.wrong]
    if line.waits:
        faults.append(lines.sentence(line, Wrong(entry_lines.WAITS, line.waits)))
    if line.answer or line.gravest in human.RAISED:
        return Read(line, ALONE, faults)
    return Read(line, WRONG if faults else UNDERSTOOD, faults)


def _plain(line: Line) -> str:
    """A line that stays in the box: what it is the same as is written out, since that line may be gone from it."""
    keys = [line.answers[slot] for slot in ("element", "taxon") if slot in line.answers]
    text, mark, note = line.text.partition('"')
    again = [" ".join(keys) if one == SAME and keys else one for one in text.split()]
    return " ".join(again) + (f" {mark}{note}" if mark else "")


def _page(
    where: Place,
    status: int = 200,
    *,
    text: str = "",
    found: Sequence[Read] = (),
    saved: int | None = None,
    fault: str = "",
) -> Response:
    context: Any = desk.ledger().record(where.context) if where.context else None
    return desk.page(
        "entry_many",
        status,
        where=where,
        context=context,
        locked=context if locking.is_locked(context) else None,
        once=once.new(),
        box=text,
        found=found,
        saved=saved,
        fault=fault,
        most=MOST,
        said=entry_lines.said,
        plain=_plain,
        label=label,
    )
