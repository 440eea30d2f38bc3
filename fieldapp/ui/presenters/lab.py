"""The lab session: washed bone, bag after bag, typed on a keyboard, with callipers and a balance that type too. Pure.

Enter takes the line; Enter on an empty line saves the docket and begins the next. Not here: what the words mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.records.answers import reading_of
from fieldapp.records.typed import Reader, Told, Wrong
from fieldapp.ui.presenters import form_fields, lately
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.fields import measures
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.form_fields import reading_words
from fieldapp.ui.texts import say, word

LONGEST = 200
_MOST_NAMED = 5


class _InHand:
    """The open form, as a line is taken into it: each word is a tap (records.typed.Piece)."""

    def __init__(self, form: Form) -> None:
        self._form = form
        self.choose = form.choose

    @property
    def answers(self) -> Mapping[str, Any]:
        return self._form.answers

    def put(self, name: str, changes: Mapping[str, Any]) -> None:
        self._form.put(name, changes)

    def answer_human(self, answer: str) -> None:
        # Nothing that is typed behind a stop lowers it: the stop screen comes first.
        if not self._form.state.stop:
            self._form.answer_human(answer)

    def measured(self, code: str, mm: float) -> None:
        measures.take(self._form, code, f"{mm}")

    def same_again(self) -> bool:
        if not lately.before(self._form.desk):
            return False
        if not self._form.answers.get("material"):
            self._form.choose("material", "bone")
        self._form.same_again()
        return True


def reader(desk: Desk) -> Reader:
    """What typed words mean here: the site's own codes first."""
    site = desk.site_record()
    return Reader(desk.knowledge, site.items("short") if site is not None else {}, word)


def take(form: Form, line: str, waits: str = "") -> Told:
    """Takes a line into the form; `waits`: the code that the last line left waiting for a figure."""
    return reader(form.desk).take(_InHand(form), line, waits)


def sentence(wrong: Wrong) -> str:
    """Why a word was not taken."""
    names = ", ".join(wrong.names[:_MOST_NAMED]) + (" …" if len(wrong.names) > _MOST_NAMED else "")
    return say(f"lab.{wrong.why}", word=wrong.word, names=names)


class Lab:
    """The lab screen over the open form. `line`: what is typed; `told`: what the last line did."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.line = ""
        self.told = Told()
        self.saved: list[str] = []

    def type(self, text: str) -> None:
        """Characters of a keyboard, callipers or a balance."""
        self.line = (self.line + "".join(one for one in text if one.isprintable()))[:LONGEST]

    def rub(self) -> None:
        """Takes the last character away."""
        self.line = self.line[:-1]

    def take(self, form: Form) -> bool:
        """Takes the line into the form. False for an empty line: then the docket is done."""
        line, self.line = self.line, ""
        if not line.strip():
            return False
        self.told = take(form, line, self.told.waits)
        return True

    def next(self, said: str) -> None:
        """The docket was saved: the next one starts with nothing waiting."""
        self.told = Told()
        self.saved = [said, *self.saved][:6]

    def offers(self, form: Form) -> str:
        """What the word that is being typed may mean, in one line."""
        before, _, last = self.line.rpartition(" ")
        if not last or not last[0].isalpha() or ":" in last:
            return ""
        read = reader(self.desk)
        answered: set[str] = set()
        for one in before.split():
            meant = read.meanings(form.answers, one, answered) if one[0].isalpha() else []
            answered |= {meant[0].slot} if len(meant) == 1 else set()
        found = read.meanings(form.answers, last, answered)
        return say("lab.offers", names=", ".join(one.name for one in found[:8])) if found else ""

    def lines(self, form: Form) -> list[tuple[str, str]]:
        """(name, what stands) of all that the form holds."""
        answers = form.answers
        read = reading_of(answers, form.desk.knowledge, form.stage, form.state.base)
        found = [
            (say("field.material"), word("material", answers.get("material"))),
            (say("history.reading"), reading_words(read) if read else ""),
            (say("field.human"), word("human", answers.get("human")) or form_fields.standing_word(form)),
        ]
        found += [(say(f"field.{name}"), field.value(form)) for name, field in form_fields.FURTHER.items()]
        found.append((say("field.note"), str(answers.get("note") or "")))
        return [(name, value) for name, value in found if value]
