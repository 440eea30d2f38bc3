"""Assessing: what was said so far, the verdict, the names, the signs, the words, and the signature."""

from __future__ import annotations

from typing import Any

from kivy.properties import NumericProperty

from fieldapp.domain import human
from fieldapp.domain.naming import ANSWERS
from fieldapp.ui.presenters import aid
from fieldapp.ui.presenters.assess import PARTS, WORDS, Assess
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.fields import Room
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme

load_kv(__file__)


class AssessScreen(View):
    """Shows the assess presenter. `part`: the open one; `read`: the pages of answers that were shown."""

    PER_PAGE = 4
    choices_high = NumericProperty(0)

    def __init__(self, **kwargs: Any) -> None:
        self._of: Assess | None = None
        self._begin()
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.parts, ids.slots, ids.choices, ids.actions):
            rows.heard = self.tapped
        ids.parts.fill = ids.slots.fill = ids.choices.fill = True
        ids.text.bind(text=self._typed)

    def _begin(self) -> None:
        self.part, self.page, self.at, self.password = "seen", 0, 0, ""
        self.read: set[int] = set()

    def refresh(self) -> None:
        found, ids = self.shell.assess, self.ids
        if found is None:
            return
        if found is not self._of:
            self._of = found
            self._begin()
        label = str(found.record.value("label") or "")
        ids.title.text = say("assess.propose" if found.proposes else "assess.title", label=label)
        across = 3 if self.tall else 6
        parts = [
            Choice(f"assess.part.{one}", say(f"assess.{one}"), chosen=self.part == one, sign=self._sign(found, one))
            for one in PARTS
        ]
        ids.parts.show(in_rows(parts, across))
        ids.slots.show([])
        ids.choices.show([])
        ids.lines.show([])
        ids.text.disabled, ids.text.opacity, ids.text.password = True, 0, False
        self._actions = [Choice("assess.leave", say("action.back"), sign="leave")]
        getattr(self, f"_show_{self.part}")(found)
        high = {"names": 2 * theme.mm(theme.target) + theme.mm(theme.gap), "verdict": theme.mm(theme.target)}
        self.choices_high = high.get(self.part, 0)
        ids.actions.show(self.column(self._actions))

    def _sign(self, found: Assess, part: str) -> str:
        """A tick at what is done."""
        values = found.values
        done = {
            "seen": len(self.read) >= self._pages(found),
            "verdict": "verdict" in values and "bone_seen" in values,
            "names": bool(values.get("taxon") and values.get("element")),
            "signs": bool(found.criteria),
            "words": bool(values.get("reasons")),
            "sign": False,
        }
        return "tick" if done[part] else ""

    def _pages(self, found: Assess) -> int:
        return -(-len(found.seen) // self.PER_PAGE) or 1

    def _show_seen(self, found: Assess) -> None:
        lines = found.readings()
        self.page, pages = pager(len(lines), self.PER_PAGE, self.page)
        self.read.add(self.page)
        first = self.page * self.PER_PAGE
        head = [("·", found.recorded())] if found.recorded() else []
        own = [("!", say("assess.own"))] if found.own() else []
        shown = [(f"{first + at + 1}", text) for at, text in enumerate(lines[first:][: self.PER_PAGE])]
        self.ids.lines.show([*head, *own, *shown])
        if pages > 1:
            self._actions.append(Choice("assess.page", say("page", n=self.page + 1, of=pages), sign="down"))

    def _show_verdict(self, found: Assess) -> None:
        self.ids.slots.show([found.choices("verdict")])
        self.ids.choices.show([found.choices("bone_seen")])
        told = [("·", say("assess.verdict_help")), ("·", say("assess.pictures_help"))]
        self.ids.lines.show(told)

    def _show_names(self, found: Assess) -> None:
        ids = self.ids
        ids.slots.show([[*found.slots(), Choice("assess.recorded", say("assess.recorded"), note=found.recorded())]])
        ids.choices.show(found.names(Room(4, 2)))
        self._box(found.search, say("assess.search"))
        ids.lines.show([("·", say("assess.names_help"))])

    def _show_signs(self, found: Assess) -> None:
        keys = found.asked()
        self.at = min(max(self.at, 0), len(keys) - 1)
        key = keys[self.at]
        row = found.desk.knowledge.criteria[key]
        points = say(f"assess.points.{row.points_to}")
        strength = aid.text(f"aid.strength.{row.strength}")
        pitfall = aid.text("aid.pitfall", pitfall=word("criterion", f"{key}.pitfall"))
        self.ids.lines.show([("?", word("criterion", key)), ("·", f"{points}; {strength}"), ("·", pitfall)])
        now = found.criteria.get(key)
        row_of = [Choice(f"assess.say.{one}", say(f"assess.said.{one}"), chosen=now == one) for one in ANSWERS]
        self.ids.slots.show([row_of])
        self.ids.title.text += "  " + say("aid.title", n=self.at + 1, of=len(keys))
        self._actions += [
            Choice("assess.before", say("aid.before"), sign="up", enabled=self.at > 0),
            Choice("assess.after", say("aid.after"), sign="down", enabled=self.at < len(keys) - 1),
        ]

    def _show_words(self, found: Assess) -> None:
        pads = [
            Choice(
                f"assess.word.{one}",
                say(f"assess.{one}"),
                chosen=found.wording == one,
                sign="tick" if found.values.get(one) else "",
            )
            for one in WORDS
        ]
        self.ids.slots.show([pads])
        self._box(str(found.values.get(found.wording) or ""), say(f"assess.{found.wording}_hint"))
        self.ids.lines.show([("·", say("assess.words_help"))])

    def _show_sign(self, found: Assess) -> None:
        unread = len(self.read) < self._pages(found)
        key = self.shell.key.kept()
        would = say("assess.need_read") if unread else found.would()
        lines = [("·", would), ("·", say("assess.covers", n=len(found.seen)))]
        if found.values.get("verdict") == human.NON_HUMAN:
            lines.append(("·", say("assess.rest")))
        if key is None:
            lines.append(("!", say("assess.no_key")))
            self._actions.append(Choice("assess.key", say("key.fetch"), sign="sync"))
        else:
            self._box(self.password, say("assess.password", name=key.name))
            self.ids.text.password = True
            ready = not unread and not found.wanted()
            self._actions.append(Choice("assess.do", say("assess.sign"), sign="tick", tone="primary", enabled=ready))
        self.ids.lines.show(lines)

    def _box(self, text: str, hint: str) -> None:
        box = self.ids.text
        box.disabled, box.opacity, box.hint_text = False, 1, hint
        if box.text != text:
            box.text = text

    def _typed(self, _: Any, text: str) -> None:
        found = self.shell.assess
        if found is None or self.ids.text.disabled:
            return
        if self.part == "names" and text != found.search:
            found.search, found.page = text, 0
            self.refresh()
        elif self.part == "words":
            found.values[found.wording] = text
        elif self.part == "sign":
            self.password = text

    def tapped(self, ident: str) -> None:
        shell, found = self.shell, self.shell.assess
        if found is None:
            return
        group, _, key = ident.removeprefix("assess.").partition(".")
        shell.said = ""
        if group == "part":
            self.part, self.page, self.password = key, 0, ""
        elif group in ("verdict", "bone_seen", "taxon", "element", "side"):
            found.put(group, key)
        elif group == "slot":
            found.naming, found.search, found.page = key, "", 0
        elif group == "names":
            found.page = int(key.removeprefix("page."))
        elif group == "say":
            found.answer(found.asked()[self.at], key)
        elif group == "word":
            found.wording = key
        elif group in ("before", "after"):
            self.at += 1 if group == "after" else -1
        elif group == "page":
            self.page += 1
        elif group == "recorded":
            found.as_recorded()
        elif group == "key":
            shell.show_key()
            return
        elif group == "do":
            self._do(found)
            return
        elif group == "leave":
            self.back()
            return
        shell.heard()

    def _do(self, found: Assess) -> None:
        shell, told = self.shell, [""]
        password, self.password = self.password, ""
        if shell.do(lambda: told.append(found.sign(password, shell.key.kept()))) and not told[-1]:
            shell.assess = None
            shell.acknowledged()
            docket = shell.desk.record(found.docket)
            stands = word("standing", shell.desk.standing(docket)) if docket is not None else ""
            shell.show("hold", say("assess.done", stands=stands))
            return
        shell.said = told[-1] or shell.trouble
        shell.heard()

    def message(self) -> tuple[str, bool]:
        return self.shell.said or self.shell.trouble, bool(self.shell.trouble)

    def back(self) -> None:
        """To the hold; an assessment that was not signed is not kept."""
        self.shell.assess = None
        self.shell.show("hold")
