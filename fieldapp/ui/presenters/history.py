"""Who changed a docket, when, and what: every change that came here, newest first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp import assets
from fieldapp.sheets.observed import observed
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form_fields import reading_words
from fieldapp.ui.presenters.hold import when
from fieldapp.ui.texts import say, word


@dataclass(frozen=True, slots=True)
class Entry:
    """One change in words."""

    at: str
    by: str
    what: str
    change: str


def history(desk: Desk, docket: str) -> list[Entry]:
    """The docket's changes, newest first."""
    found = []
    for one in desk.notebook.history(docket):
        parts = [part for path, value in sorted(one.set.items()) if (part := _words(path, value))]
        found.append(Entry(when(one.at), str(one.by.get("name") or say("nobody")), "; ".join(parts), one.id))
    return found[::-1]


def _words(path: str, value: Any) -> str:
    name = path.partition("/")[0]
    if name in ("label", "bag", "context", "finder", "imported"):
        return ""
    if name == "reading":
        return say("said", name=say("history.reading"), value=reading_words(value))
    if name == "human" and isinstance(value, Mapping):
        by = f" ({say('by_rule')})" if value.get("by_rule") else ""
        return say("said", name=say("field.human"), value=word("human_answer", value.get("answer")) + by)
    if name == "note" and isinstance(value, Mapping):
        return say("said", name=say("field.note"), value=str(value.get("text") or ""))
    if name == "deleted":
        return say("history.deleted") if value else say("history.undeleted")
    if name == "material":
        return say("said", name=say("field.material"), value=word("material", value))
    texts = assets.texts()
    said = texts.get(f"sheets.field.{name}") or name.replace("_", " ")
    if value is None:
        return say("history.removed", name=said)
    return say("said", name=said, value=observed(path, value, texts) or str(value))
