"""The docket form: the slip with its fields, the open field's body, and the actions.

What is shown and what a tap does; where the parts stand is the layout's business (slip_layout).
"""

from __future__ import annotations

from typing import Any

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.domain.plates import Plate
from fieldapp.domain.usual import USUAL
from fieldapp.records.answers import portion_states
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.choices import Choice, refitted
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.screens import saving, slip_layout
from fieldapp.ui.screens.slip import SlipView
from fieldapp.ui.screens.slip_layout import Box
from fieldapp.ui.screens.view import load_kv
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme

load_kv(__file__)


_GOES_ON = ("action.save", "action.save_again", "action.problems", "measures.estimated")
"""Whoever taps these has done with the keypad, and means what it shows."""


class FormScreen(SlipView):
    """Shows the open form."""

    PER_PAGE = 3

    def __init__(self, **kwargs: Any) -> None:
        self.looking = False
        self.page = 0
        self.view = self.buttons = 0
        self._bone: Any = None
        self._body = ""
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.portions, ids.problems, ids.phrases, ids.fusion):
            rows.heard = self.tapped
        ids.portions.fill = ids.phrases.fill = ids.portions.even = True
        ids.problems.row_mm, ids.fusion.row_mm = 19, 17
        ids.problems.halign = "left"
        ids.plate.heard = self._touched
        ids.plate.looked = self._show_bone
        ids.skeleton.heard = ids.ways.heard = self.tapped
        ids.ways.even = True

    @property
    def form(self) -> Form:
        """The form that is open."""
        assert self.shell.form is not None
        return self.shell.form

    def opened(self) -> None:
        """A form has been opened: what differs is shown before anything else."""
        self.looking = bool(self._differing())
        self.page = 0

    # -- showing --

    def refresh(self) -> None:
        if self.shell.form is None or not self.has_size():
            return
        form = self.form
        tabs = form_fields.tabs(form)
        self.show_slip(form.state.label, [self._tab(tab) for tab in tabs], self._actions())
        if form.state.second:
            self.ids.slip.site = say("second.slip")
        for pad, tab in zip(self.ids.tabs.pads(), tabs, strict=True):
            pad.mark, pad.strong = tab.mark, bool(tab.value)
        body = "problems" if self.looking else form.state.field
        if body == "element" and form.state.shelf.startswith("map"):
            body = "map"
        if not self.looking and not form_fields.applies(form, form.state.field):
            body = "nothing"
        self._show_body(body)
        self._show_strip(body)

    def _tab(self, tab: form_fields.Tab) -> Choice:
        open_to_answer = tab.applies or not self.form.answers.get("element")
        value = tab.value or (say("blank") if open_to_answer else say("no_field"))
        turn = tab.ident in ("field.more", "field.first")
        return Choice(
            tab.ident,
            value if not turn or tab.value else tab.name,
            note=tab.name if not turn or tab.value else "",
            chosen=tab.open and not self.looking,
            tone="plain" if tab.applies else "off",
        )

    def _actions(self) -> list[Choice]:
        form = self.form
        wanted = len(form_fields.pressing(form)) + (1 if self._differing() else 0)
        notes = len(form.found())
        open_ = form.state.new and form.answers.get("human") == human.NOT_EXCLUDED
        alone = form.state.new or form.state.second  # there is no history to look at, or none to be seen
        look = (
            say("action.problems", n=wanted)
            if wanted
            else say("action.notes", n=notes)
            if notes
            else say("action.open" if open_ else "action.no_problems" if alone else "go.history")
        )
        takes_back = not form.state.undo and form.state.new and self.shell.desk.last is not None
        again = Choice(
            "action.save_again", say("action.save_next" if form.state.new else "action.save_new"), sign="again"
        )
        return [
            Choice("action.leave", say("action.leave"), sign="leave"),
            Choice("action.undo", say("action.undo_last" if takes_back else "action.undo"), sign="undo"),
            Choice(
                "action.problems",
                look,
                sign="check" if wanted or notes else "tick",
                tone="clay" if wanted else "plain",
                chosen=self.looking,
            ),
            *([] if form.state.second else [again]),
            Choice("action.save", say("action.save"), sign="tick", tone="primary"),
        ]

    def _show_body(self, name: str) -> None:
        form, ids, layout = self.form, self.ids, self.layout
        self._body = name
        further = name in form_fields.FURTHER
        self.body_shown = None
        rows = {
            "portions": ids.portions,
            "fusion": ids.fusion,
            "note": ids.phrases,
            "problems": ids.problems,
            "map": ids.ways,
        }
        shown = rows.get(name, ids.body)
        for box in (ids.body, *rows.values()):
            # What is not shown has no pads: nothing unseen takes a touch.
            if box is not shown or name == "nothing":
                box.show([])
        if name != "map":
            ids.skeleton.show(None, None, {})
        if name != "portions" and not further:
            ids.plate.show(None, {})
        if not further:
            ids.board.put_away()
            ids.typed.text = ids.definition.text = ""
        slip_layout.away(ids.note)
        intro = form_fields.intro(form) if name in ("human", "nothing") else ""
        self._say(intro)
        ids.caption.text = ""
        box = layout.body(slip_layout.INTRO if intro else 0)
        if name == "portions":
            self._show_portions()
        elif name == "map":
            self._show_map()
        elif name == "fusion":
            slip_layout.put(ids.fusion, box)
            self._show_fusion(box)
        elif name == "note":
            self._show_note()
        elif name == "problems":
            slip_layout.put(ids.problems, layout.middle)
            self._show_problems()
        elif further:
            self._show_further()
        elif name in ("element", "taxon") and form.state.shelf == "search":
            self.show_body(lambda room: form_fields.search_body(form, room))
        elif name != "nothing":
            slip_layout.put(ids.body, box)
            ids.body.most_mm = 999.0 if name in ("human", "side") else 30.0
            ids.body.halign = "left" if name == "human" else "center"
            ids.body.level = "big" if name in ("material", "side", "human") else "text"
            room = layout.room(box.width, box.height)
            ids.body.show(refitted(form_fields.rows(form), room.across, room.down, self.buttons))
        if name not in ("portions", *form_fields.FURTHER):
            middle = layout.middle
            slip_layout.put(ids.strip, Box(middle.x, middle.y, middle.width, theme.mm(theme.strip)))

    def _say(self, text: str) -> None:
        """The line over the body."""
        middle, high = self.layout.middle, theme.mm(slip_layout.INTRO)
        self.ids.intro.text = text
        slip_layout.put(self.ids.intro, Box(middle.x, middle.top - high, middle.width, high))

    def _show_map(self) -> None:
        form, ids, layout = self.form, self.ids, self.layout
        middle, high = layout.middle, layout.high
        ways = theme.mm(max(20.0, theme.target))
        body, region = form_fields.skeleton_place(form)
        ids.skeleton.show(assets.skeleton(body), region, {}, form.answers.get("element", ""))
        slip_layout.put(ids.skeleton, Box(middle.x, high.y, middle.width - ways - theme.mm(theme.gap), high.height))
        slip_layout.put(ids.ways, Box(middle.right - ways, middle.y + layout.strip, ways, middle.height - layout.strip))
        ids.ways.show([[one] for one in form_fields.skeleton_ways(form)])
        ids.caption.text = say("skeleton.caption.bone" if region else "skeleton.caption.region")
        slip_layout.put(ids.caption, Box(middle.x, high.top - theme.mm(6), middle.width, theme.mm(slip_layout.CAPTION)))

    def _show_fusion(self, box: Box) -> None:
        # The name of the centre gives way where its buttons need the room.
        pads = len(form_fields.FUSION)
        label = min(1.0, (box.width - pads * theme.mm(theme.gap)) / theme.mm(theme.target) - pads - 0.02)
        self.ids.fusion.show(
            [[Choice("", name, tone="words", weight=label), *row] for name, row in form_fields.fusion_rows(self.form)]
        )

    def _show_bone(self) -> None:
        """The plate was looked at closer."""
        if self._body == "portions":
            self._show_portions()
        else:
            self._show_further()

    def _show_portions(self) -> None:
        form, ids = self.form, self.ids
        answers = form.answers
        element, side = answers.get("element", ""), answers.get("side", "")
        states = portion_states(answers, form.desk.knowledge)
        plates = assets.plates_of(element, answers.get("taxon"), side or None)
        bone = (element, plates)
        if bone != self._bone:
            self._bone, self.view, self.buttons = bone, 0, 0
        self.view %= max(1, len(plates))
        plate = plates[self.view] if plates else None
        ids.plate.show(plate, states)
        view = form_fields.view_choice(plates, self.view, ids.plate.near is not None)
        seen = plate.portions if plate is not None else ()
        box = self._place_plate(plate)
        across, most = self.layout.room(box.width, box.height)
        ids.portions.show(form_fields.portion_rows(form, across, most, seen, self.buttons, view))
        if plate is not None:
            ids.caption.text = self._caption(plate, side)

    def _place_plate(self, plate: Plate | None) -> Box:
        """Places plate, buttons, caption and strip; the box of the buttons."""
        ids, layout = self.ids, self.layout
        box = layout.body(0)
        if plate is not None:
            drawn, box = layout.plate(plate)
            slip_layout.put(ids.plate, drawn)
        slip_layout.put(ids.portions, box)
        low = layout.middle.y
        slip_layout.put(
            ids.caption, Box(box.x, low + layout.strip - theme.mm(1), box.width, theme.mm(slip_layout.CAPTION))
        )
        slip_layout.put(ids.strip, Box(box.x, low, box.width, theme.mm(theme.strip)))
        return box

    def _caption(self, plate: Plate, side: str) -> str:
        taxon = self.form.desk.knowledge.taxa.get(self.form.answers.get("taxon", ""))
        own = taxon is not None and taxon.form == plate.form
        form, view = word("form", plate.form), word("view", plate.view)
        key = "plate.caption" if own else "plate.schematic"
        drawn = word("side", plate.side)
        # Nobody has said which side it is of: the picture does not say it either.
        return say(key, form=form, side=drawn if side == plate.side else say("plate.drawn", side=drawn), view=view)

    def _show_further(self) -> None:
        """A field of the second page."""
        self.show_body(lambda room: form_fields.further(self.form, room))

    def _show_note(self) -> None:
        form, ids, middle = self.form, self.ids, self.layout.middle
        self.fill_note(form.answers.get("note", ""))
        line = theme.mm(theme.least_target if self.layout.tall else theme.target)
        slip_layout.put(ids.note, Box(middle.x, middle.top - line, middle.width, line))
        earlier = form_fields.earlier_notes(form)
        said = theme.mm(slip_layout.ASKS) if earlier else 0.0
        self.ids.intro.text = say("notes_before", notes="; ".join(earlier)) if earlier else ""
        slip_layout.put(ids.intro, Box(middle.x, middle.top - line - said, middle.width, said))
        high = middle.height - line - said - theme.mm(theme.gap)
        slip_layout.put(ids.phrases, Box(middle.x, middle.y, middle.width, high))
        ids.phrases.show(form_fields.note_rows(form))

    def _show_problems(self) -> None:
        form = self.form
        found: list[Choice] = []
        for change, words, who in self._differing():
            may = form.may_settle()
            text = say("take", words=words) if may else words
            found.append(Choice(f"take.{change[:12]}", text, note=who, sign="differ", enabled=may))
        for one in form.found():
            tone = "clay" if one.level != "note" else "plain"
            found.append(
                Choice(
                    f"problem.{one.key}",
                    one.text,
                    note=f"{word('level', one.level)} · {one.source}",
                    tone=tone,
                    sign="check",
                )
            )
        if not found:
            open_ = form.answers.get("human") == human.NOT_EXCLUDED
            found = [Choice("", say("no_problems_open" if open_ else "no_problems"))]
        below = [] if form.state.new or form.state.second else [Choice("go.history", say("go.history"), sign="after")]
        if below and form.may_delete():
            below.append(Choice("docket.delete", say("docket.delete"), sign="rub"))
        pages = -(-len(found) // self.PER_PAGE)
        self.page %= pages
        shown = found[self.page * self.PER_PAGE :][: self.PER_PAGE]
        rows = [[one] for one in shown]
        if pages > 1:
            below.insert(0, Choice("problem.page", say("page", n=self.page + 1, of=pages), sign="down"))
        self.ids.problems.show([*rows, *([below] if below else [])])

    def _differing(self) -> list[tuple[str, str, str]]:
        """(change id, reading in words, who and when) of each reading in disagreement."""
        return form_fields.differing(self.form)

    def _show_strip(self, body: str) -> None:
        found = form_fields.strip(self.form)
        shown = self.body_shown
        keypad = shown is not None and (shown.keys or shown.definition)
        if body in ("note", "problems") or not found or keypad:
            quiet = bool(found) or body == "problems" or keypad
            self.show_found((), "" if quiet else self.shell.said)
            return
        self.show_found(found, "")

    # -- taps --

    def tapped(self, ident: str) -> None:
        group, _, key = ident.partition(".")
        shell, form = self.shell, self.form
        shell.said = ""
        if group == "field" or ident in _GOES_ON:
            shell.do(lambda: form_fields.take_typed(form))
        if group == "action":
            self._act(key)
            return
        if group == "problem":
            self._look(key)
            return
        if ident in ("go.history", "go.beside", "go.aid"):
            shell.show(key)
            return
        if group == "view":
            self._turn(key)
            return
        if ident == "docket.delete":
            saving.delete(shell)
            return
        if ident == "go.hold":
            self._go_to_hold()
            return
        was_looking, self.looking = self.looking, False
        actions = {
            "field": lambda: form_fields.open_tab(form, key),
            "human": lambda: form.answer_human(key),
            "portion": lambda: self._portion(key),
            "plate": lambda: form.cycle_portion(key),
            "find": lambda: form_fields.FURTHER["find"].tap(form, key),
            "fusion": lambda: form.set_fusion(*key.split(".")),
            "note": lambda: self._phrase(key),
            "burning": lambda: form.set_slot("burning", None if form.answers.get("burning") == key else key),
            "take": lambda: self._take(key),
        }
        if ident == "taxon.cf":
            shell.do(form.toggle_cf)
        elif key.startswith("key.") and group in USUAL:
            shell.do(lambda: form.press_key(key.removeprefix("key."), "23456789", 12))
        elif group == "again":
            shell.do(form.same_again)
        elif group == "shelf":
            shell.do(lambda: form.open_shelf(key))
        elif group == "region":
            shell.do(lambda: form.open_shelf(f"map:{form_fields.skeleton_place(form)[0]}:{key}"))
        elif group == "bone":
            shell.do(lambda: form.choose("element", key))
        elif ident == "note.photo":
            shell.photograph()
            return
        elif ident == "note.ask":
            shell.do(lambda: form.set_slot("ask", None if form.answers.get("ask") else True))
        elif group in actions:
            shell.do(actions[group])
        elif group in form_fields.FURTHER and not was_looking:
            shell.do(lambda: form_fields.FURTHER[group].tap(form, key))
        else:
            shell.do(lambda: form.choose(group, key))
        if form.state.stop:
            shell.show("stop")
        elif was_looking and group != "take":
            self.refresh()
            shell.heard()
        else:
            shell.heard()

    def _touched(self, key: str) -> None:
        """A portion of the plate: in the portions it changes state, in the marks it gets one."""
        if self._body == "marks":
            x, y = self.ids.plate.share
            view = self.ids.plate.view
            self.ids.plate.whole()
            self.tapped(f"marks.on.{key},{view},{x:.3f},{y:.3f}")
        else:
            self.tapped(f"plate.{key}")

    def _turn(self, key: str) -> None:
        """Another picture of the same bone, or other buttons of it; nothing of the record changes."""
        if key == "whole":
            self.ids.plate.whole()
        elif key == "next":
            self.view += 1
        else:
            self.buttons += 1
        self.refresh()

    def _go_to_hold(self) -> None:
        """Leaves the form, in which nothing was changed, for the docket's hold."""
        docket = self.form.state.docket
        if self.shell.do(self.form.leave):
            self.shell.form = None
            self.shell.open_hold(docket)

    def _portion(self, key: str) -> None:
        if key.startswith("rest_"):
            self.form.fill_portions(key.removeprefix("rest_"))
        else:
            self.form.cycle_portion(key)

    def _take(self, key: str) -> None:
        for change, _, _ in self._differing():
            if change.startswith(key):
                self.form.take_reading(change)

    def _phrase(self, key: str) -> None:
        text = self.form.answers.get("note", "")
        phrase = say(f"phrase.{key}")
        self.form.set_slot("note", f"{text}; {phrase}" if text else phrase)

    def wrote(self, text: str) -> None:
        if self.shell.form is not None and text != self.form.answers.get("note", ""):
            self.shell.do(lambda: self.form.type_note(text))
            self.refresh()

    def _look(self, key: str) -> None:
        if key == "page":
            self.page += 1
        else:
            found = [one for one in self.form.found() if one.key == key]
            if found:
                self.looking = False
                self.shell.do(lambda: self.form.open_field(form_fields.concern(found[0])))
        self.shell.heard()

    def _act(self, key: str) -> None:
        shell = self.shell
        if key == "leave":
            shell.leave_form()
        elif key == "problems":
            self.looking, self.page = not self.looking, 0
            shell.heard()
        elif key == "undo":
            self.looking = False
            saving.undo(shell)
        else:
            self.looking = False
            saving.save(shell, again=key == "save_again")

    def back(self) -> None:
        """One step back: from the problems to the field, from a place within a field to its beginning. The form itself
        is left by its button only."""
        form = self.form
        if self.looking:
            self.looking = False
        elif form.state.shelf:
            self.shell.do(lambda: form.open_shelf(""))
        self.shell.heard()

    def keyed(self, key: str) -> None:
        self.tapped(f"{self.form.state.field}.key.{key}")
