"""The card of a context, bag, sample, group or tally."""

from __future__ import annotations

from fieldapp.ui.presenters.cards import Card
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.screens.slip import SlipView
from fieldapp.ui.texts import say


class CardScreen(SlipView):
    """Shows the open card."""

    @property
    def card(self) -> Card:
        """The card that is open."""
        assert self.shell.card is not None
        return self.shell.card

    def refresh(self) -> None:
        if self.shell.card is None or not self.has_size():
            return
        card = self.card
        tabs = [
            Choice(
                f"slot.{one.path}",
                card.value(one) or say("blank"),
                note=say(f"card.slot.{one.path}"),
                chosen=one.path == card.slot.path,
            )
            for one in card.slots
        ]
        actions = [
            Choice("card.leave", say("action.leave"), sign="leave"),
            Choice("card.undo", say("action.undo"), sign="undo", enabled=bool(card.state.undo)),
            Choice("card.save", say("action.save"), sign="tick", tone="primary"),
        ]
        if card.state.new and card.state.kind == "tally":
            actions.insert(2, Choice("card.again", say("action.save_same"), sign="again"))
        self.show_slip(f"{card.state.label}", tabs, actions)
        self.show_body(card.body)
        if self.body_shown and self.body_shown.keys:
            self.show_found((), "")
        else:
            self.show_found(card.cautions(), self.shell.said or card.title())

    def keyed(self, key: str) -> None:
        self.tapped(f"card.key.{key}")

    def tapped(self, ident: str) -> None:
        shell, card = self.shell, self.card
        group, _, key = ident.partition(".")
        shell.said = ""
        if group == "slot":
            shell.do(lambda: card.open_slot(key))
        elif key == "leave":
            shell.leave_card()
            return
        elif key == "undo":
            shell.do(card.undo)
        elif key in ("save", "again"):
            shell.save_card(again=key == "again")
            return
        else:
            shell.do(lambda: card.tap(key))
        shell.heard()

    def wrote(self, text: str) -> None:
        if self.shell.card is not None and self.card.slot.how == "text":
            self.shell.do(lambda: self.card.write(text))

    def message(self) -> tuple[str, bool]:
        return "", False

    def back(self) -> None:
        """The card is left by its button only: a wet sleeve on the system's back must not lose it."""
