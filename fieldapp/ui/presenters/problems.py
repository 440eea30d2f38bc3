"""What the rules find, as the screens show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.ui.texts import say

if TYPE_CHECKING:
    from fieldapp.ui.presenters.desk import Desk


@dataclass(frozen=True, slots=True)
class Found:
    """One thing a rule found.

    level   "impossible", "check" or "note"
    text    the sentence;  source: where the rule comes from
    path    what it is about, `reading/side` for a part of a reading
    raises  the answer to the human question it asks for, or ""
    """

    key: str
    level: str
    text: str
    source: str
    path: str
    raises: str = ""


LEVELS = ("impossible", "check", "note")


def check_docket(desk: Desk, docket: str, values: Mapping[str, Any], context: str, new: bool = False) -> list[Found]:
    """What the rules find in a docket's values, worst first."""
    bag = desk.record(values.get("bag") or "")
    place = desk.record(context)
    around = rules.Around(
        record=docket,
        new=new,
        context=place.values() if place is not None else None,
        context_id=context,
        bag=bag.values() if bag is not None else None,
    )
    texts = assets.texts()
    found = [
        Found(
            key=one.rule,
            level=one.level,
            text=rules.sentence(one, texts),
            source=_source(desk, one.rule),
            path=one.path,
            raises=one.raises,
        )
        for one in rules.check_docket(values, around, desk.knowledge)
    ]
    return sorted(found, key=lambda one: LEVELS.index(one.level))


def _source(desk: Desk, rule: str) -> str:
    """Where a rule comes from; a source that was written down from memory is said to be."""
    row = desk.knowledge.rules[rule]
    return say("from_memory", source=row.source) if row.seen == "memory" else row.source
