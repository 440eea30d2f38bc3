"""Saving and undoing as every form of a docket does it, and where the recorder is afterwards."""

from __future__ import annotations

from fieldapp.ui.shell import Shell
from fieldapp.ui.texts import say


def save(shell: Shell, again: bool) -> None:
    """Saves the open form; goes to its hold if one follows, to a next docket if wanted, else to where it was opened."""
    form = shell.form
    assert form is not None
    if form.missing():
        shell.said = say("need.material")
        shell.do(lambda: form.open_field("material"))
        shell.heard()
        return
    # Short form and lab say of what material each piece is.
    depth, second = form.state.depth, form.state.second
    carry = form.carry() if depth == "full" else {}
    saved = shell.save()
    if saved is None:
        return
    said = say("saved", label=saved.label)
    if saved.place_lost:
        said = f"{said} {say('place.not_kept')}"
    if saved.rule:
        said = f"{said} {say(f'by_rule.{saved.rule}')}"
    if saved.hold:
        shell.open_hold(saved.docket, said)
    elif again and not second:
        shell.new_docket(carry, said, depth)
    else:
        shell.back_from_docket(said)


def undo(shell: Shell) -> None:
    """Takes the last tap back; in a form where there is none, the last docket saved."""
    form = shell.form
    assert form is not None
    if form.state.undo:
        shell.do(form.undo)
    elif form.state.new and shell.desk.last is not None:
        label: list[str] = []
        if shell.do(lambda: label.append(shell.desk.take_back_last())) and label[0]:
            shell.said = say("taken_back", label=label[0])
    shell.heard()


def delete(shell: Shell) -> None:
    """Deletes the docket of the open form; it can be found among the deleted ones and brought back."""
    form, label = shell.form, []
    assert form is not None
    if shell.do(lambda: label.append(shell.desk.delete(form.state.docket))) and shell.do(form.leave):
        shell.form = None
        shell.home(say("deleted", label=label[0]))
    else:
        shell.heard()
