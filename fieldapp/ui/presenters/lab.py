"""The lab session: washed bone, bag after bag, typed on a keyboard, with callipers and a balance that type too. Pure.

Enter takes the line; Enter on an empty line saves the docket and begins the next. Not here: what the words mean.
"""

from __future__ import annotations

from fieldapp.records.answers import reading_of
from fieldapp.ui.presenters import codes, form_fields
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.form_fields import reading_words
from fieldapp.ui.texts import say, word

LONGEST = 200


class Lab:
    """The lab screen over the open form. `line`: what is typed; `told`: what the last line did."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.line = ""
        self.told = codes.Told()
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
        self.told = codes.take(form, line, self.told.waits)
        return True

    def next(self, said: str) -> None:
        """The docket was saved: the next one starts with nothing waiting."""
        self.told = codes.Told()
        self.saved = [said, *self.saved][:6]

    def offers(self, form: Form) -> str:
        """What the word that is being typed may mean, in one line."""
        before, _, last = self.line.rpartition(" ")
        if not last or not last[0].isalpha() or ":" in last:
            return ""
        answered: set[str] = set()
        for one in before.split():
            meant = codes.meanings(form, one, answered) if one[0].isalpha() else []
            answered |= {meant[0].slot} if len(meant) == 1 else set()
        found = codes.meanings(form, last, answered)
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
