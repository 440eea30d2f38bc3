"""The in-situ stop: the whole window, until it is confirmed or the tap that opened it is taken back."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.hold import place_rules
from fieldapp.ui.presenters.licensed import stop_steps, stop_title
from fieldapp.ui.screens.view import View, load_kv, pager
from fieldapp.ui.texts import say

load_kv(__file__)


class StopScreen(View):
    """Shows the steps, and the two ways on. `placing`: the site's own words for its place instead."""

    full = True
    PER_PAGE = 10

    def __init__(self, **kwargs: Any) -> None:
        self.placing, self.page = False, 0
        super().__init__(**kwargs)
        self.ids.ways.heard = self.tapped
        self.ids.ways.fill = True
        self.ids.ways.level = "big"

    def refresh(self) -> None:
        shell, ids = self.shell, self.ids
        if shell.form is None:
            return
        ids.title.text = stop_title(shell.desk)
        ids.label.text = say("stop.label", label=shell.form.state.label)
        rules = place_rules(shell.desk)
        self.placing = self.placing and bool(rules)
        steps = rules if self.placing else stop_steps(shell.desk)
        self.page, pages = pager(len(steps), self.PER_PAGE, self.page)
        first = self.page * self.PER_PAGE
        steps = steps[first:][: self.PER_PAGE]
        half = -(-len(steps) // 2)
        for box, part, number in ((ids.left, steps[:half], first + 1), (ids.right, steps[half:], first + half + 1)):
            box.show([(f"{number + at}", text) for at, text in enumerate(part)])
        ids.trouble.text = shell.trouble
        turn = say("stop.steps" if self.placing else "stop.place")
        ids.ways.show(
            [
                [
                    *([Choice("stop.page", say("page", n=self.page + 1, of=pages), sign="down")] if pages > 1 else []),
                    *([Choice("stop.place", turn, sign="after", tone="sheet")] if rules else []),
                    Choice("stop.take_back", say("stop.take_back"), sign="undo", tone="sheet"),
                    Choice("stop.confirm", say("stop.confirm"), tone="black", sign="hold", weight=1.6),
                ]
            ]
        )

    def tapped(self, ident: str) -> None:
        shell, form = self.shell, self.shell.form
        if form is None:
            return
        if ident == "stop.place":
            self.placing, self.page = not self.placing, 0
        elif ident == "stop.page":
            self.page += 1
        elif ident == "stop.take_back":
            if shell.do(form.take_back_stop):
                shell.show(shell.form_screen(), say("stop.taken_back"))
                return
        elif ident == "stop.confirm":
            saved = shell.save()
            if saved is not None:
                more = say("place.not_kept" if saved.place_lost else "hold.bone")
                shell.open_hold(saved.docket, f"{say('saved', label=saved.label)} {more}")
                return
        shell.heard()
