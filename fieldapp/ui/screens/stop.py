"""The in-situ stop: the whole window, until it is confirmed or the tap that opened it is taken back."""

from __future__ import annotations

from typing import Any

from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.hold import place_rules, stop_steps
from fieldapp.ui.screens.view import View, load_kv
from fieldapp.ui.texts import say

load_kv(__file__)


class StopScreen(View):
    """Shows the steps, and the two ways on. `placing`: the site's own words for its place instead."""

    full = True

    def __init__(self, **kwargs: Any) -> None:
        self.placing = False
        super().__init__(**kwargs)
        self.ids.ways.heard = self.tapped
        self.ids.ways.fill = True
        self.ids.ways.level = "big"

    def refresh(self) -> None:
        shell, ids = self.shell, self.ids
        if shell.form is None:
            return
        ids.title.text = say("stop.title")
        ids.label.text = say("stop.label", label=shell.form.state.label)
        licensed = shell.desk.site_value("mode") == "licensed"
        rules = place_rules(shell.desk)
        self.placing = self.placing and bool(rules)
        steps = rules if self.placing else stop_steps(licensed)
        half = -(-len(steps) // 2)
        for box, part, first in ((ids.left, steps[:half], 1), (ids.right, steps[half:], half + 1)):
            box.show([(f"{first + at}", text) for at, text in enumerate(part)])
        ids.trouble.text = shell.trouble
        turn = say("stop.steps" if self.placing else "stop.place")
        ids.ways.show(
            [
                [
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
            self.placing = not self.placing
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
