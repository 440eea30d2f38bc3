"""The docket form: the slip with its fields at the left, the open field's body in the middle, actions at the right."""

from __future__ import annotations

from typing import Any

from fieldapp import assets
from fieldapp.domain.plates import Plate
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.reading import portion_states
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say, word
from fieldapp.ui.theme import theme

load_kv(__file__)


class FormScreen(View):
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
        for rows in (ids.tabs, ids.body, ids.portions, ids.actions, ids.problems, ids.phrases, ids.fusion):
            rows.heard = self.tapped
        ids.tabs.fill = ids.body.fill = ids.actions.fill = ids.portions.fill = True
        ids.phrases.fill = ids.body.even = ids.portions.even = True
        ids.problems.row_mm, ids.fusion.row_mm = 19, 17
        ids.problems.halign = "left"
        ids.plate.heard = lambda key: self.tapped(f"plate.{key}")
        ids.plate.looked = self._show_portions
        ids.skeleton.heard = ids.ways.heard = self.tapped
        ids.ways.even = True
        ids.note.bind(text=self._note_typed)
        ids.middle.bind(pos=lambda *_: self._place(), size=lambda *_: self._place())
        self._filling = False

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
        if self.shell.form is None:
            return
        form, ids = self.form, self.ids
        ids.slip.label = form.state.label.partition(" ")[2] or form.state.label
        ids.slip.site = form.state.label.partition(" ")[0]
        ids.tabs.show([[self._tab(tab) for tab in pair] for pair in _pairs(form_fields.tabs(form))])
        for pad, tab in zip(ids.tabs.pads(), form_fields.tabs(form), strict=True):
            pad.mark, pad.note_first, pad.strong = tab.mark, True, bool(tab.value)
        ids.actions.show([[one] for one in self._actions()])
        body = "problems" if self.looking else form.state.field
        if body == "element" and form.state.shelf.startswith("map"):
            body = "map"
        if not self.looking and not form.applies(form.state.field):
            body = "nothing"
        self._show_body(body)
        self._show_strip(body)

    def _tab(self, tab: form_fields.Tab) -> Choice:
        open_to_answer = tab.applies or not self.form.answers.get("element")
        value = tab.value or (say("blank") if open_to_answer else say("no_field"))
        return Choice(
            tab.ident,
            value,
            note=tab.name,
            chosen=tab.open and not self.looking,
            tone="plain" if tab.applies else "off",
        )

    def _actions(self) -> list[Choice]:
        form = self.form
        wanted = len(form_fields.pressing(form)) + (1 if self._differing() else 0)
        takes_back = not form.state.undo and form.state.new and self.shell.desk.last is not None
        return [
            Choice("action.leave", say("action.leave"), sign="leave"),
            Choice("action.undo", say("action.undo_last" if takes_back else "action.undo"), sign="undo"),
            Choice(
                "action.problems",
                say("action.problems", n=wanted) if wanted else say("action.no_problems"),
                sign="check",
                tone="clay" if wanted else "plain",
                chosen=self.looking,
            ),
            Choice("action.save_again", say("action.save_again"), sign="again"),
            Choice("action.save", say("action.save"), sign="tick", tone="primary"),
        ]

    def _show_body(self, name: str) -> None:
        form, ids = self.form, self.ids
        self._body = name
        if name != "portions":
            ids.plate.show(None, {})
        if name != "map":
            ids.skeleton.show(None, None, {})
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
        ids.intro.text = form_fields.intro(form) if name in ("human", "nothing") else ""
        ids.caption.text = ""
        if name == "portions":
            self._show_portions()
        elif name == "map":
            body, region = form_fields.skeleton_place(form)
            ids.skeleton.show(assets.skeleton(body), region, {}, form.answers.get("element", ""))
            ids.ways.show([[one] for one in form_fields.skeleton_ways(form)])
            ids.caption.text = say("skeleton.caption.bone" if region else "skeleton.caption.region")
        elif name == "fusion":
            ids.fusion.show([[Choice("", label, tone="words"), *pads] for label, pads in form_fields.fusion_rows(form)])
        elif name == "note":
            self._show_note()
        elif name == "problems":
            self._show_problems()
        elif name != "nothing":
            ids.body.halign = "left" if name == "human" else "center"
            ids.body.level = "big" if name in ("material", "side", "human") else "text"
            ids.body.show(form_fields.rows(form))
        self._place()

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
        across, most = self._grid(plate)
        ids.portions.show(form_fields.portion_rows(form, across, most, seen, self.buttons, view))
        if plate is not None:
            ids.caption.text = self._caption(plate, side)

    def _grid(self, plate: Plate | None) -> tuple[int, int]:
        """Buttons across, and rows of them: beside a tall plate, below a wide one, or in the whole middle."""
        step = theme.target + theme.gap
        wide = theme.in_mm(self.ids.middle.width) + theme.gap
        if plate is None:
            return 5, 4
        if self._below(plate):
            return max(3, int(wide // step)), 2
        left = wide - theme.in_mm(self._tall(plate)) - theme.gap - 0.5  # rows are cut to whole pixels
        return max(3, int(left // step)), 4

    def _below(self, plate: Plate) -> bool:
        """Whether the plate is larger over its buttons than beside them."""
        middle = self.ids.middle
        rows = theme.mm(theme.strip) + theme.mm(2 * theme.target + 2 * theme.gap) + theme.mm(7)
        over = min(middle.width / plate.width, (middle.height - rows) / plate.height)
        return bool(over > self._tall(plate) / plate.width)

    def _tall(self, plate: Plate) -> float:
        """Width in pixels of a plate that takes the whole height, with room left for three buttons beside it."""
        full = self.height - theme.mm(2.4)
        return float(min(full * plate.width / plate.height, self.ids.middle.width - theme.mm(52) - theme.mm(theme.gap)))

    def _caption(self, plate: Plate, side: str) -> str:
        taxon = self.form.desk.knowledge.taxa.get(self.form.answers.get("taxon", ""))
        own = taxon is not None and taxon.form == plate.form
        form, view = word("form", plate.form), word("view", plate.view)
        key = "plate.caption" if own else "plate.schematic"
        return say(key, form=form, side=word("side", plate.side), view=view)

    def _show_note(self) -> None:
        form, ids = self.form, self.ids
        answers = form.answers
        if ids.note.text != answers.get("note", ""):
            self._filling = True
            ids.note.text = answers.get("note", "")
            self._filling = False
        phrases = [Choice(f"note.{key}", say(f"phrase.{key}")) for key in form_fields.PHRASES]
        count = [
            Choice("count.less", "", sign="less"),
            Choice("", say("count_value", n=answers.get("count", 1)), tone="words", weight=2),
            Choice("count.more", "", sign="more"),
        ]
        burning = [
            Choice(f"burning.{key}", word("burning", key), chosen=answers.get("burning") == key)
            for key in form_fields.BURNING
        ]
        ids.phrases.show([phrases[:3], phrases[3:], burning, count])

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
            found = [Choice("", say("no_problems"))]
        below = [] if form.state.new else [Choice("go.history", say("go.history"), sign="after")]
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
        strip = self.ids.strip
        found = form_fields.strip(self.form)
        if body in ("note", "problems") or not found:
            strip.text = strip.source = strip.level = strip.more = ""
            if not found and self.shell.said and body != "problems":
                strip.text = self.shell.said
            return
        first = found[0]
        strip.text, strip.level = first.text, first.level
        strip.source = say("source", source=first.source)
        strip.more = say("more_problems", n=len(found) - 1) if len(found) > 1 else ""

    def _place(self) -> None:
        """Gives each body its box. The plate takes the whole height under the status bar."""
        ids = self.ids
        middle = ids.middle
        strip = theme.mm(theme.strip) + theme.mm(theme.gap)
        x, y, w, h = middle.x, middle.y, middle.width, middle.height
        for box in (ids.body, ids.fusion):
            box.pos, box.size = (x, y + strip), (w, h - strip)
        ids.problems.pos, ids.problems.size = (x, y), (w, h)
        away = -2 * self.width
        ways = theme.mm(20)
        ids.ways.pos, ids.ways.size = (x + w - ways, y + strip), (ways, h - strip)
        ids.skeleton.pos = x, self.y + theme.mm(1.2)
        ids.skeleton.size = w - ways - theme.mm(theme.gap), self.height - theme.mm(2.4)
        line = theme.mm(theme.target)
        ids.note.size = w, line
        ids.note.pos = (x, y + h - line) if self._body == "note" else (away, 0)
        ids.phrases.pos, ids.phrases.size = (x, y), (w, h - line - theme.mm(theme.gap))
        intro = theme.mm(8) if ids.intro.text else 0
        ids.intro.pos, ids.intro.size = (x, y + h - intro), (w, intro)
        if intro:
            ids.body.height = h - strip - intro - theme.mm(1)
        caption = theme.mm(4.2) if ids.caption.text else 0
        left, top = x, y + h
        plate = ids.plate.plate
        if plate is not None and self._below(plate):
            rows = theme.mm(2 * theme.target + theme.gap)
            top = y + strip + caption + rows
            ids.plate.pos, ids.plate.size = (x, top + theme.mm(1)), (w, self.top - theme.mm(1.2) - top - theme.mm(1))
        elif plate is not None:
            ids.plate.pos = x, self.y + theme.mm(1.2)
            ids.plate.size = self._tall(plate), self.height - theme.mm(2.4)
            left = ids.plate.right + theme.mm(theme.gap)
        ids.caption.pos, ids.caption.size = (left, y + strip - theme.mm(1)), (x + w - left, caption)
        if self._body == "map":
            ids.caption.pos, ids.caption.size = (x, self.top - theme.mm(6)), (w, caption)
        ids.portions.pos = left, y + strip + caption
        ids.portions.size = x + w - left, top - y - strip - caption
        ids.strip.pos, ids.strip.size = (left, y), (x + w - left, theme.mm(theme.strip))

    # -- taps --

    def tapped(self, ident: str) -> None:
        group, _, key = ident.partition(".")
        shell, form = self.shell, self.form
        shell.said = ""
        if group == "action":
            self._act(key)
            return
        if group == "problem":
            self._look(key)
            return
        if ident in ("go.history", "go.beside"):
            shell.show(key)
            return
        if group == "view":
            self._turn(key)
            return
        if ident == "go.hold":
            self._go_to_hold()
            return
        was_looking, self.looking = self.looking, False
        actions = {
            "field": lambda: form.open_field(key),
            "human": lambda: form.answer_human(key),
            "portion": lambda: self._portion(key),
            "plate": lambda: form.cycle_portion(key),
            "fusion": lambda: form.set_fusion(*key.split(".")),
            "note": lambda: self._phrase(key),
            "count": lambda: self._count(1 if key == "more" else -1),
            "burning": lambda: form.set_slot("burning", None if form.answers.get("burning") == key else key),
            "take": lambda: self._take(key),
        }
        if ident == "taxon.cf":
            shell.do(form.toggle_cf)
        elif group == "shelf":
            shell.do(lambda: form.open_shelf(key))
        elif group == "region":
            shell.do(lambda: form.open_shelf(f"map:{form_fields.skeleton_place(form)[0]}:{key}"))
        elif group == "bone":
            shell.do(lambda: form.choose("element", key))
        elif group in actions:
            shell.do(actions[group])
        else:
            shell.do(lambda: form.choose(group, key))
        if form.state.stop:
            shell.show("stop")
        elif was_looking and group != "take":
            self.refresh()
            shell.heard()
        else:
            shell.heard()

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

    def _count(self, by: int) -> None:
        count = max(1, self.form.answers.get("count", 1) + by)
        self.form.set_slot("count", count if count > 1 else None)

    def _note_typed(self, _: Any, text: str) -> None:
        if not self._filling and self.shell.form is not None and text != self.form.answers.get("note", ""):
            self.shell.do(lambda: self.form.type_note(text))

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
        shell, form = self.shell, self.form
        if key == "leave":
            shell.leave_form()
        elif key == "problems":
            self.looking, self.page = not self.looking, 0
            shell.heard()
        elif key == "undo":
            self.looking = False
            if form.state.undo:
                shell.do(form.undo)
            elif form.state.new and shell.desk.last is not None:
                self._take_back()
            shell.heard()
        else:
            self._save(again=key == "save_again")

    def _take_back(self) -> None:
        label: list[str] = []
        if self.shell.do(lambda: label.append(self.shell.desk.take_back_last())) and label[0]:
            self.shell.said = say("taken_back", label=label[0])

    def _save(self, again: bool) -> None:
        shell, form = self.shell, self.form
        if form.missing():
            self.looking = False
            shell.said = say("need.material")
            shell.do(lambda: form.open_field("material"))
            shell.heard()
            return
        carry = form.carry()
        saved = shell.save()
        if saved is None:
            return
        said = say("saved", label=saved.label)
        if saved.hold:
            shell.open_hold(saved.docket, said)
        elif again:
            shell.new_docket(carry, said)
        else:
            shell.home(said)

    def back(self) -> None:
        """One step back: from the problems to the field. The form itself is left by its button only."""
        if self.looking:
            self.looking = False
            self.shell.heard()


def _pairs(found: list[Any]) -> list[list[Any]]:
    return [found[at : at + 2] for at in range(0, len(found), 2)]
