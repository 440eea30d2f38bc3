"""Second readings: the draws, drawing a new one, and how the two readers of one agree.

A draw is shown before it is made, with its seed, and the form names what it showed: if other bones would be drawn by
then, it is shown again instead. Nothing that compares is shown before a draw is over, to nobody. Who drew it may end
it; anybody who may draw, once they have no account any more. Not here: recording one (second_reading), the figures
(server.ledger.second, fieldapp.domain.agreement).
"""

from __future__ import annotations

import hashlib
import secrets
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, cast

from flask import Response as FlaskResponse
from flask import abort, g, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge
from fieldapp.domain import draws
from fieldapp.domain.alphabet import alphabetical
from fieldapp.records.fold import Record
from server.ledger import lines, second
from server.ledger.ledger import Edit
from server.ledger.lines import sort_key
from server.ledger.second import Draw
from server.review import blind, desk, once, words
from server.review.desk import pages
from server.review.showing import Said, label, said_by

MOST = 2000
"""Bones in one draw."""
SHOWN = ("bag", "context", "weight")
SITE = "site"
DIVISIONS = ("trench", "phase")
"""What of a site may be drawn from, beside a single context; as lines.divisions gives them."""


@dataclass
class Asked:
    """What is asked to be drawn, as the form said it. `of`: "site", "trench:A", "phase:2"; `number`: of a context."""

    name: str = ""
    of: str = SITE
    number: str = ""
    how: str = draws.RANDOM
    size: str = "50"
    seed: str = ""
    reader: str = ""
    shown: tuple[str, ...] = ("bag", "context")

    @property
    def whence(self) -> str:
        """What it is drawn from, as it is written down."""
        return f"context:{self.number}" if self.number else self.of


@dataclass
class Preview:
    """What would be drawn. `groups`: (name, how many there are, how many are drawn); `hard`: None where nobody asked
    for the hard ones."""

    there: int
    hard: int | None
    left_out: Counter[str]
    dockets: list[Record] = field(default_factory=list)
    groups: list[tuple[str, int, int]] = field(default_factory=list)

    @property
    def mark(self) -> str:
        """Tells these bones from others."""
        return hashlib.sha256(" ".join(sorted(one.id for one in self.dockets)).encode()).hexdigest()[:32]


@pages.get("/second")
@desk.needs_sign_in
def second_readings() -> Response:
    """Every draw, and how far it has come."""
    found = second.draws(desk.ledger())
    return desk.page("second", draws=found, who=desk.names(), reader_of=_reader, mine=_mine)


@pages.get("/second/draw")
@desk.needs_sign_in
def second_draw() -> Response:
    """The form for a new draw; with `show`, what it would draw."""
    desk.must("second_reading")
    asked = _asked(request.args) if "show" in request.args else Asked(name=_name(), seed=_seed())
    fault = _fault(asked) if "show" in request.args else ""
    preview = _preview(asked) if "show" in request.args and not fault else None
    return _form(asked, preview, 400 if fault else 200, fault=fault)


@pages.post("/second/draw")
@desk.needs_sign_in
def second_drawn() -> Response:
    """`once`, the fields of the form, and `mark`, which bones it showed: makes the draw."""
    desk.must("second_reading")
    sample = once.given()
    asked, ledger = _asked(request.form), desk.ledger()
    if any(one.id == sample for one in second.draws(ledger)):
        return redirect(url_for("review.second_of_draw", sample=sample))
    fault = _fault(asked)
    preview = None if fault else _preview(asked)
    if preview is None or not preview.dockets or preview.mark != desk.field("mark"):
        return _form(asked, preview, 409 if not fault else 400, fault=fault or "changed")
    drawn = {
        "name": asked.name, "how": asked.how, "seed": asked.seed, "size": int(asked.size), "of": asked.whence,
        "shown": list(asked.shown),
    }  # fmt: skip
    with ledger.database.writing() as connection:
        if any(one.id == sample for one in second.draws(ledger)):
            return redirect(url_for("review.second_of_draw", sample=sample))  # the same form, sent at the same moment
        ledger.write_many_in(
            connection, second.edits(ledger, sample, drawn, asked.reader, preview.dockets), desk.me().by
        )
    desk.desk().written()
    _acted("second_drawn", len(preview.dockets))
    return redirect(url_for("review.second_of_draw", sample=sample))


@pages.get("/second/draw/<sample>")
@desk.needs_sign_in
def second_of_draw(sample: str) -> Response:
    """One draw: what is still to be read; once it is over, how the readers agree."""
    draw = _found(sample)
    ledger = desk.ledger()
    dockets = ledger.get(second.docket_of(one) for one in draw.readings)
    listed = sorted(draw.readings, key=lambda one: (label(dockets.get(second.docket_of(one))), one.id))
    contexts = ledger.contexts_of(dockets.values())
    numbers = ledger.get({*contexts.values(), *(str(one.value("bag")) for one in dockets.values())})
    compared = second.compared(ledger, draw) if draw.over and draw.done else None
    return desk.page(
        "second_draw",
        draw=draw,
        listed=listed,
        dockets=dockets,
        contexts=contexts,
        numbers=numbers,
        docket_of=second.docket_of,
        is_done=second.is_done,
        label=label,
        by=_drawn_by(draw),
        reader=_reader(draw, desk.names()),
        mine=_mine(draw),
        may_end=_may_end(draw),
        compared=compared,
        pooled=_fields(compared, parts=False),
        single=_fields(compared, parts=True),
        name_of=_name_of,
        word_of=_word_of,
        in_order=_in_order,
        by_words=_by_words,
        whence=_whence,
        done=label(dockets.get(request.args.get("done", ""))),
    )


@pages.post("/second/draw/<sample>/end")
@desk.needs_sign_in
def second_end(sample: str) -> Response:
    """Ends a draw: what was not read is left, and the figures are shown."""
    desk.must("second_reading")
    draw = _found(sample)
    if not _may_end(draw):
        abort(403 if draw.open else 409)
    ledger = desk.ledger()
    with ledger.database.writing() as connection:
        edits = [Edit(second.KIND, one.id, {"ended": True}, {}) for one in draw.open]
        ledger.write_many_in(connection, edits, desk.me().by)
    desk.desk().written()
    _acted("second_ended", len(draw.open))
    return redirect(url_for("review.second_of_draw", sample=sample))


@pages.get("/second/draw/<sample>/agreement.csv")
@desk.needs_sign_in
def second_table(sample: str) -> Response:
    """The figures of a draw that is over, as a table."""
    draw = _found(sample)
    if not draw.over or not draw.done:
        abort(404)
    answer = FlaskResponse(second.as_csv(second.compared(desk.ledger(), draw).agreement), mimetype="text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="agreement.csv"'
    return answer


def _found(sample: str) -> Draw:
    found = next((one for one in second.draws(desk.ledger()) if one.id == sample), None)
    return found if found is not None else abort(404)


# -- drawing


def _asked(given: Any) -> Asked:
    """What a form says, from an address or a form that was sent."""

    def one(name: str, most: int = 200) -> str:
        return " ".join(given.get(name, "").replace("\0", "").split())[:most]

    return Asked(
        name=one("name", 80),
        of=one("of") or SITE,
        number=one("number", 40),
        how=one("how"),
        size=one("size", 10),
        seed=one("seed", 40),
        reader=one("reader"),
        shown=tuple(name for name in SHOWN if name in given.getlist("shown")),
    )


def _fault(asked: Asked) -> str:
    """What is wrong with what is asked, as a key; "" if nothing is."""
    if not asked.name:
        return "name"
    if asked.how not in draws.WAYS:
        return "how"
    if not (asked.size.isascii() and asked.size.isdigit() and 0 < int(asked.size) <= MOST):
        return "size"
    if not asked.seed:
        return "seed"
    if asked.reader and asked.reader not in dict(_readers()):
        return "reader"
    return "" if _within(asked) is not None else "of"


def _within(asked: Asked) -> set[str] | None:
    """The contexts drawn from, an empty set for the whole site; None where there is no such place."""
    if not asked.number and asked.of == SITE:
        return set()
    if asked.number:
        return set(desk.ledger().called("context", asked.number)) or None
    sort, _, name = asked.of.partition(":")
    return {context for context, *named in _divisions() if (sort, name) in zip(DIVISIONS, named, strict=True)} or None


def _divisions() -> list[tuple[str, str | None, str | None]]:
    """lines.divisions, worked out once a request."""
    if "divisions" not in g:
        with desk.ledger().database.reading() as connection:
            g.divisions = lines.divisions(connection)
    return cast(list[tuple[str, str | None, str | None]], g.divisions)


def _preview(asked: Asked) -> Preview:
    ledger, within = desk.ledger(), _within(asked)
    choice = second.choice(ledger, within or (), asked.how)
    ids = set(draws.draw(choice.groups, int(asked.size), asked.seed))
    hard = choice.there if asked.how == draws.HARD else None
    found = Preview(choice.there + choice.passed_over, hard, choice.left)
    found.dockets = sorted(ledger.get(ids).values(), key=lambda one: (label(one), one.id))
    if of := draws.GROUPED.get(asked.how):
        largest = sorted(choice.groups.items(), key=lambda one: (-len(one[1]), one[0]))
        found.groups = [(words.word(of, name), len(those), len(ids.intersection(those))) for name, those in largest]
    return found


def _form(asked: Asked, preview: Preview | None, status: int, fault: str = "") -> Response:
    named = {(sort, name) for _, *each in _divisions() for sort, name in zip(DIVISIONS, each, strict=True) if name}
    places = [
        (f"{sort}:{name}", words.say("second.of", what=words.field(sort), name=name))
        for sort, name in sorted(named, key=lambda one: (DIVISIONS.index(one[0]), sort_key(one[1])))
    ]
    return desk.page(
        "second_new",
        status,
        asked=asked,
        preview=preview,
        fault=fault,
        places=[(SITE, words.say("second.of.site")), *places],
        ways=draws.WAYS,
        readers=_readers(),
        sights=SHOWN,
        most=MOST,
        once=once.new(),
        label=label,
        reasons=second.LEFT_OUT,
    )


def _readers() -> list[tuple[str, str]]:
    """(person, name) of everybody who may make a second reading."""
    accounts = desk.desk().accounts.all()
    found = {
        one.person: one.name
        for one in accounts
        if one.active and knowledge().allowed("second_reading", one.role) == "yes"
    }
    return sorted(found.items(), key=lambda one: alphabetical(one[1]))


def _name() -> str:
    """A name for a new draw, told from the others by its number of the day."""
    day, taken = desk.ledger().clock().date().isoformat(), {one.name for one in second.draws(desk.ledger())}
    return next(one for one in (day, *(f"{day}, {n}" for n in range(2, len(taken) + 3))) if one not in taken)


def _seed() -> str:
    """A seed for a new form; whoever draws may write another."""
    return str(secrets.randbelow(10**6))


# -- one draw


def _drawn_by(draw: Draw) -> Said | None:
    """Who drew it, and when."""
    changes = [change for one in draw.readings for change in one.heads.get("sample", {})]
    found = [said_by(one.change) for one in desk.ledger().who(changes[:1]).values()]
    return found[0] if found else None


def _may_end(draw: Draw) -> bool:
    """Whether who is signed in may end it now: who drew it, or, once that person has no account, who may draw."""
    if not draw.open or desk.may("second_reading") != "yes":
        return False
    change = next((change for one in draw.readings for change in one.heads.get("sample", {})), "")
    written = desk.ledger().who([change]).get(change)
    person = written.change.by.get("person") if written else ""
    return person == desk.me().person or person not in {one.person for one in desk.desk().accounts.all() if one.active}


def _whence(of: Any) -> str:
    """What a draw is of, in words."""
    sort, _, name = of.partition(":") if isinstance(of, str) else ("", "", "")
    if of == SITE:
        return words.say("second.of.site")
    return words.say("second.of", what=words.field(sort), name=name) if name else words.plain(of)


def _mine(draw: Draw) -> int:
    """How many of a draw who is signed in is still to read."""
    return sum(blind.is_asked(one) for one in draw.open) if desk.may("second_reading") == "yes" else 0


def _reader(draw: Draw, who: Mapping[str, str]) -> str:
    """The name of whoever is asked; "" for anybody who may."""
    asked = {second.reader_of(one) for one in draw.readings} - {""}
    return ", ".join(sorted((who.get(one, one) for one in asked), key=alphabetical))


def _fields(compared: second.Compared | None, parts: bool) -> list[Any]:
    """The fields of the results: those of the bone, or those of single portions, centres, marks and the like."""
    found = compared.agreement.fields.values() if compared is not None else ()
    return [one for one in found if one.both and ("/" in one.name) == parts]


def _name_of(name: str) -> str:
    """A field of the figures in words: "portions/humerus/head", "mark/cut", "taxon"."""
    head, _, rest = name.partition("/")
    if head in words.PARTS and rest:
        element, _, part = rest.partition("/")
        return words.say(
            "second.part", element=words.word("element", element), part=words.part(f"{head}/{part}", element)
        )
    if head == "measure":
        element, _, code = rest.partition("/")
        return words.say("second.part", element=words.word("element", element), part=code)
    if rest:
        of = {"mark": "mark_kind", "tooth_wear": "wear_scheme"}.get(head, head)
        return words.say("second.part", element=words.text(f"review.second.field.{head}"), part=words.word(of, rest))
    return (
        words.text(f"review.second.field.{head}")
        if head in ("tooth_stage", "portions", "fusion")
        else words.field(head)
    )


def _word_of(name: str, word: str) -> str:
    """A value of a field of the figures in words."""
    head = name.partition("/")[0]
    if head in ("mark", "pathology"):
        return words.say(word)
    return words.value({"tooth_stage": "eruption_state"}.get(head, head), word)


def _in_order(name: str, keys: Iterable[str]) -> list[str]:
    """The values of a field of the figures: by their list, where that has an order, else by the alphabet."""
    head = name.partition("/")[0]
    of = words.LIST_OF.get(head, head)
    return words.listed(of, keys) if of in knowledge().words else words.in_order(keys, partial(_word_of, name))


def _by_words(name: str, pairs: Mapping[tuple[str, str], int]) -> list[tuple[tuple[str, str], int]]:
    """What was taken for what, likewise."""
    place = {one: n for n, one in enumerate(_in_order(name, {each for pair in pairs for each in pair}))}
    return sorted(pairs.items(), key=lambda one: (place[one[0][0]], place[one[0][1]]))


def _acted(what: str, n: int) -> None:
    desk.ledger().note(what, desk.me().person, {"name": desk.me().name, "role": desk.me().role, "n": n})
