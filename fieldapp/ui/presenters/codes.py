"""Short typed codes for the lab: a line of words, each of which says one thing of the fragment in hand. Pure.

A word is looked for in the site's own table of codes first, then as the beginning of a name: `hum l sh +dis d:f Bd34`
says humerus, left, sheep, distal portions mostly there, distal fused, Bd 34 mm. What could mean two things is said
and not taken. Not here: what is shown, and where the words come from (screens.lab).

    +x ~x -x     portions with a word that begins so, or the end of that name: most, part, absent;  +* -*: the rest
    x:u x:g x:f x:l   the centre x is unfused, fusing, fused, a loose epiphysis
    Bd34.5 Bd 34.5    a measurement; `Bd` alone waits for the callipers
    w12.3 w 12.3      the weight in grams; `w` alone waits for the balance
    x3           so many alike
    ?s ?q ?n ?c ??    may be human in the ground, lifted, nothing points to it, cannot be told, not asked
    "words       a note, to the end of the line
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from fieldapp.domain import human, short_codes
from fieldapp.records.answers import NOT_EXAMINED, portion_states
from fieldapp.ui.presenters.fields import measures, number_of
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.texts import say, word

PORTION = {"+": "most", "~": "part", "-": "absent"}
FUSION = {"u": "unfused", "g": "fusing", "f": "fused", "l": "loose_epiphysis", "n": "not_visible"}
HUMAN = {"s": human.STOP, "q": human.QUERY, "n": human.NO_SIGN, "c": human.NOT_EXCLUDED, "?": human.NOT_ASKED}
SIDES = {"l": "left", "r": "right"}
MATERIAL = {"loose_tooth": "tooth", "antler": "antler", "horn_core": "horn_core"}
_FIGURE = re.compile(r"(?P<code>.*?[^\d.,])(?P<figure>\d+(?:[.,]\d+)?)\Z")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?(?:mm|g)?\Z")
_MOST_NAMED = 5


class Meaning(NamedTuple):
    """What a word may stand for: a slot of the form and its value, and its name."""

    slot: str
    value: str
    name: str


@dataclass
class Told:
    """What a line did. `waits`: the code that waits for a figure; `wrong`: a sentence for each word not taken."""

    waits: str = ""
    wrong: list[str] = field(default_factory=list)


def meanings(form: Form, text: str, answered: Container[str] = ()) -> list[Meaning]:
    """What a word may mean here: the site's own code alone, a whole key or name, or all that begin so.

    answered  slots that the words before it answer
    """
    own = _own_codes(form).get(text.lower())
    if own is not None:
        return [own]
    if text.lower() in SIDES:
        return [Meaning("side", SIDES[text.lower()], word("side", SIDES[text.lower()]))]
    found: list[Meaning] = []
    for slot in short_codes.SLOTS:
        every = [Meaning(slot, key, name) for key, name in _words(form, slot)]
        whole = [one for one in every if text.lower() in (one.value, one.name.lower())]
        if whole:
            return whole[:1]
        # What is answered already is not what is meant, unless nothing else is.
        begins = [one for one in every if _begins(one, text.lower())]
        found += begins
    open_ = [one for one in found if one.slot not in form.answers and one.slot not in answered]
    return _narrowest(form, open_ or found)


def _begins(one: Meaning, text: str) -> bool:
    return one.value.startswith(text) or one.name.lower().startswith(text)


def _narrowest(form: Form, found: list[Meaning]) -> list[Meaning]:
    """Without those that the form's usual buttons leave out, if that leaves one; else all."""
    from fieldapp.ui.presenters import shelves

    slots = {one.slot for one in found}
    if len(slots) > 1:
        first = next(slot for slot in short_codes.SLOTS if slot in slots)
        found = [one for one in found if one.slot == first]
        slots = {first}
    usual = {key for name in slots for row in shelves.USUAL.get(name, ()) for key in row}
    common = [one for one in found if one.value in usual]
    return common if len(common) == 1 else found


def _own_codes(form: Form) -> dict[str, Meaning]:
    """The site's own table: {code: meaning}, from `short/<code>` of the site's record."""
    site = form.desk.site_record()
    found = {}
    for code, value in (site.items("short") if site is not None else {}).items():
        if meant := short_codes.meaning(value, form.desk.knowledge):
            found[code.lower()] = Meaning(*meant, word(_list_of(meant[0]), meant[1]))
    return found


def _list_of(slot: str) -> str:
    return short_codes.SLOTS[slot] or slot


def _words(form: Form, slot: str) -> Iterable[tuple[str, str]]:
    return ((key, word(_list_of(slot), key)) for key in short_codes.words_of(slot, form.desk.knowledge))


def take(form: Form, line: str, waits: str = "") -> Told:
    """Takes a line into the form, word by word; `waits` is the code that the last line left waiting for a figure."""
    told = Told(waits=waits)
    text, _, note = line.partition('"')
    if note.strip():
        before = form.answers.get("note")
        form.put("note", {"note": f"{before}; {note.strip()}" if before else note.strip()})
    for token in text.split():
        if told.waits and _NUMBER.match(token):
            _figure(form, told, told.waits, token)
        else:
            told.waits = ""
            _token(form, told, token)
    return told


def _token(form: Form, told: Told, token: str) -> None:
    ways: tuple[tuple[bool, Callable[[], None]], ...] = (
        (token[0] in PORTION and len(token) > 1, lambda: _portion(form, told, token)),
        (":" in token, lambda: _fusion(form, told, token)),
        (token[0] == "?" and token[1:] in HUMAN, lambda: form.answer_human(HUMAN[token[1:]])),
        (bool(re.match(r"x\d+\Z", token)), lambda: form.put("find", {"count": int(token[1:])})),
    )
    for fits, way in ways:
        if fits:
            way()
            return
    found = _FIGURE.match(token)
    code = (found["code"] if found else token).rstrip("=")
    if code in _codes(form):
        if found:
            _figure(form, told, code, found["figure"])
        else:
            told.waits = code
        return
    _word(form, told, token)


def _codes(form: Form) -> set[str]:
    return {"w", *(one.measurement.code for one in measures.takings(form))}


def _figure(form: Form, told: Told, code: str, figure: str) -> None:
    told.waits = ""
    value = number_of(figure.removesuffix("mm").removesuffix("g"))
    if value is None or value <= 0:
        told.wrong.append(say("lab.no_figure", word=figure))
    elif code == "w":
        form.put("find", {"weight_g": value})
    else:
        measures.take(form, code, f"{value}")


def _portion(form: Form, told: Told, token: str) -> None:
    state, rest = PORTION[token[0]], token[1:].lower()
    states = portion_states(form.answers, form.desk.knowledge)
    if rest == "*":
        keys = [key for key, now in states.items() if now == NOT_EXAMINED]
    else:
        element = form.answers.get("element", "")
        names = {key: word(f"portion.{element}", key).lower() for key in states}
        keys = [key for key, name in names.items() if any(part.startswith(rest) for part in (key, *name.split()))]
        keys += [key for key in _of_end(form, rest) if key not in keys]
    if keys:
        form.put("portions", {f"portion.{key}": state for key in keys})
    else:
        told.wrong.append(say("lab.no_portion", word=token))


def _of_end(form: Form, rest: str) -> list[str]:
    """The portions of the ends whose name begins so: the epiphysis and what it grows on."""
    know, answers = form.desk.knowledge, form.answers
    element, taxon = answers.get("element", ""), answers.get("taxon")
    found = []
    for one in know.centres_of(element, taxon):
        if one.key.startswith(rest):
            found += [part.key for part in know.epiphysis(element, one.key, taxon)]
            found += [one.metaphysis] if one.metaphysis else []
    return found


def _fusion(form: Form, told: Told, token: str) -> None:
    name, _, state = token.lower().partition(":")
    found = [one.key for one in form.visible_centres() if one.key.startswith(name)]
    if state in FUSION and found:
        form.put("fusion", {f"fusion.{key}": FUSION[state] for key in found})
    else:
        told.wrong.append(say("lab.no_centre", word=token))


def _word(form: Form, told: Told, token: str) -> None:
    found = meanings(form, token)
    if len(found) == 1:
        _answer(form, found[0])
    elif found:
        names = ", ".join(one.name for one in found[:_MOST_NAMED])
        told.wrong.append(say("lab.several", word=token, names=names + (" …" if len(found) > _MOST_NAMED else "")))
    else:
        told.wrong.append(say("lab.unknown", word=token))


def _answer(form: Form, meaning: Meaning) -> None:
    slot, value = meaning.slot, meaning.value
    if slot in ("element", "taxon", "side", "material"):
        if slot == "element" and not form.answers.get("material"):
            form.choose("material", MATERIAL.get(value, "bone"))
        form.choose(slot, value)
        return
    changes: dict[str, Any] = {slot: value}
    form.put("surface" if slot == "burning" else "age", changes)
