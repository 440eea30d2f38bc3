"""One context: bags at the left, dockets in the middle, actions at the right."""

from __future__ import annotations

from typing import Any

from fieldapp.domain import human
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say

load_kv(__file__)


class ContextScreen(View):
    """Shows the context presenter."""

    BAGS = 3

    def __init__(self, **kwargs: Any) -> None:
        self.page = 0
        super().__init__(**kwargs)
        ids = self.ids
        for rows in (ids.bags, ids.actions, ids.pages):
            rows.heard = self.tapped
        ids.actions.fill = True
        ids.lines.heard = self.tapped
        ids.lines.bind(size=lambda *_: self._show_pages())

    def refresh(self) -> None:
        context, ids = self.shell.context, self.ids
        ids.title.text = context.title()
        self._show_bags()
        rows = context.rows()
        ids.lines.show(rows)
        ids.empty.text = "" if rows else say("context.none")
        self._show_pages()
        last = self.shell.desk.last
        wanted = context.problem_count()
        actions = [
            Choice("go.contexts", say("go.contexts"), sign="leave"),
            Choice("go.more", say("go.more"), sign="down"),
            Choice(
                "context.undo",
                say("context.undo", label=last[1].partition(" ")[2]) if last else say("action.undo"),
                sign="undo",
                enabled=last is not None,
            ),
            Choice("docket.quick", say("docket.quick"), sign="more"),
            Choice("docket.new", say("docket.new"), sign="more", tone="primary"),
        ]
        ids.actions.show(self.column(actions))
        ids.count.text = say("context.counts", n=len(rows), wanted=wanted, held=len(context.held()))
        held = context.held()
        shown = ", ".join(held[:2]) + (" …" if len(held) > 2 else "")
        ids.caution.text = say("context.held", labels=shown) if held else ""
        if not held and context.waits():
            ids.caution.text = say("context.waits", labels=", ".join(context.waits()[:2]))
        elif not held and context.grave_like():
            ids.caution.text = say("context.grave")

    def _show_bags(self) -> None:
        context, ids = self.shell.context, self.ids
        if context.making_bag:
            ids.bag_name.text = ""
            found = context.new_bags()
            ids.bags.show(self.column([*found, Choice("bag.cancel", say("action.back"), sign="leave")]))
            return
        ids.bag_name.text = say("bags")
        bags = context.bags()
        self.page, pages = pager(len(bags), self.BAGS, self.page)
        shown = bags[self.page * self.BAGS :][: self.BAGS]
        pads = [Choice("bag.new", say("bag.new"), sign="more"), *shown]
        if pages > 1:
            pads.append(Choice("bag.page", say("page", n=self.page + 1, of=pages), sign="after"))
        ids.bags.show(self.column(pads))

    def _show_pages(self) -> None:
        ids = self.ids
        paged = not ids.lines.fits()
        ids.pages.show([[Choice("lines.up", "", sign="up"), Choice("lines.down", "", sign="down")]] if paged else [])

    def tapped(self, ident: str) -> None:
        shell, context = self.shell, self.shell.context
        group, _, key = ident.partition(".")
        shell.said = ""
        if group == "go":
            shell.show(key)
            return
        if group == "lines":
            self.ids.lines.page(1 if key == "down" else -1)
            return
        if ident in ("docket.new", "docket.quick"):
            shell.new_docket(depth="quick" if key == "quick" else "full")
            return
        if group == "docket":
            for one in shell.desk.dockets(shell.desk.context or ""):
                if one.value("label") == key and shell.desk.standing(one) in human.RAISED:
                    shell.open_hold(one.id)
                elif one.value("label") == key:
                    shell.open_docket(one.id)
            return
        if ident == "context.undo":
            label: list[str] = []
            if shell.do(lambda: label.append(shell.desk.take_back_last())) and label[0]:
                shell.said = say("taken_back", label=label[0])
        elif ident == "bag.new":
            context.making_bag = True
        elif ident == "bag.cancel":
            context.making_bag = False
        elif ident == "bag.page":
            self.page = self.page + 1 if (self.page + 1) * self.BAGS < len(context.bags()) else 0
        elif group == "recovery":
            way, mesh = key.split(".", 1)
            self.page = 0
            shell.do(lambda: context.make_bag(way, float(mesh)))
        elif group == "bag":
            shell.do(lambda: context.choose_bag(key))
        shell.heard()

    def message(self) -> tuple[str, bool]:
        return self.shell.said, False

    def back(self) -> None:
        if self.shell.context.making_bag:
            self.tapped("bag.cancel")
        else:
            self.shell.show("contexts")
