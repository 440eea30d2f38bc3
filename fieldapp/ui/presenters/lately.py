"""What was recorded lately on this tablet: the docket before, and the elements and taxa chosen last. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.records.choosing import AGAIN
from fieldapp.ui.presenters.desk import Desk

NAMES = ("element", "taxon")
MOST = 15
"""Elements and taxa that are kept at hand as chosen lately."""


def before(desk: Desk) -> dict[str, Any]:
    """What the docket before was, for "same again"; {} where there was none."""
    kept = desk.place.get("before")
    return kept if isinstance(kept, dict) else {}


def recent(desk: Desk, name: str) -> list[str]:
    """The elements or taxa that were saved last, newest first."""
    kept = desk.place.get("recent")
    found = kept.get(name) if isinstance(kept, dict) else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else []


def note(desk: Desk, answers: Mapping[str, Any]) -> None:
    """A new docket was saved with these answers."""
    own = {name: answers[name] for name in NAMES if isinstance(answers.get(name), str)}
    if "element" in own:
        kept = {
            name: list(dict.fromkeys([*([own[name]] if name in own else []), *recent(desk, name)]))[:MOST]
            for name in NAMES
        }
        desk.go(before={slot: answers[slot] for slot in AGAIN if slot in answers}, recent=kept)
