"""What a tablet does that finds out that it is a copy, or was put back from an old one: it goes on as a new tablet.

Two notebooks under one number are no loss: both forks are kept, here and at the cabin, and both go on syncing. But
they hand out the same labels. So a person may say *go on as a new tablet*, and then, in one step:

1. A new notebook's id is made and noted here, before anything is asked.
2. The cabin is asked, with the token that this tablet has, for a token and a letter for that id. If the answer is lost,
   asking again with the same id gives another token and the same letter.
3. The answer is noted, then the notebook begins its new life, then the token is put in the old one's place.

Cut off anywhere, `finish` goes on where it stood. What was written before stays as it was and is sent under its old
number; the other copy keeps the old number, letter and token. Not here: how a fork is noticed (exchange).
"""

from __future__ import annotations

from dataclasses import asdict, replace

from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import SETTING, enrolled
from fieldapp.sync.errors import NotEnrolled, NotUnderstood, Refused
from fieldapp.sync.patience import Means, Patience
from fieldapp.sync.transport import Transport

NEXT = "next_life"


def go_on_as_new(notebook: Notebook, transport: Transport, means: Means | None = None) -> str:
    """Gives this tablet a new notebook, token and letter; the letter. Raises SyncError; then nothing has changed."""
    found = enrolled(notebook)
    if found is None:
        raise NotEnrolled
    kept = notebook.setting(NEXT)
    # The id is asked for again only from the life that asked first: a copy of this notebook makes one of its own.
    wanted = kept["notebook"] if isinstance(kept, dict) and kept.get("from") == notebook.id else notebook.new_id()
    notebook.set_setting(NEXT, {"notebook": wanted, "from": notebook.id})
    try:
        answer = Patience(means or Means()).ask(
            lambda: transport.ask("POST", "/api/v1/life", body={"notebook": wanted})
        )
    except Refused:
        # A copy made in this very moment was first with the id: the next try makes another one.
        notebook.set_setting(NEXT, None)
        raise
    token, letter = answer.get("token"), answer.get("letter")
    if not isinstance(token, str) or not isinstance(letter, str) or not letter:
        raise NotUnderstood(what="life")
    notebook.set_setting(NEXT, {"notebook": wanted, "from": notebook.id, "token": token, "letter": letter})
    finish(notebook)
    return letter


def finish(notebook: Notebook) -> None:
    """Ends what `go_on_as_new` began, if the tablet was switched off in between. Otherwise does nothing."""
    kept, found = notebook.setting(NEXT), enrolled(notebook)
    if not isinstance(kept, dict) or "token" not in kept or found is None:
        return
    if notebook.id == kept["from"]:
        notebook.new_life(kept["letter"], as_id=kept["notebook"])
    if notebook.id == kept["notebook"]:
        notebook.set_setting(SETTING, asdict(replace(found, token=kept["token"], letter=kept["letter"])))
    notebook.set_setting(NEXT, None)
