"""All that an open docket form is, as plain values, and what a save of it made. Not here: what changes it (form)."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as made
from typing import Any


@dataclass
class State:
    """All of a form, as JSON values.

    answers  {slot: value}; see records.answers
    opening  the answers when the form was opened
    heads    {path: [change ids]} that the form showed
    base     the reading that the form started from, None for a new docket or one without a reading
    took     the reader chose between readings, so the reading is written even if it changed nothing else
    undo     [[field, {slot: value before, None for none}]], newest last
    stop     the stop screen is open and not yet confirmed
    shelf    the place within the field that is open, see open_shelf; "" for where it begins
    typed    what has been entered by keypad and not taken yet
    depth    the form that is shown: "full", "quick" or "lab"
    second   id of the second reading that is made, "" for a form over the docket itself (presenters.second)
    """

    docket: str
    label: str
    context: str
    bag: str | None
    new: bool
    field: str
    answers: dict[str, Any] = made(default_factory=dict)
    opening: dict[str, Any] = made(default_factory=dict)
    heads: dict[str, list[str]] = made(default_factory=dict)
    base: Any = None
    took: bool = False
    undo: list[Any] = made(default_factory=list)
    stop: bool = False
    shelf: str = ""
    typed: str = ""
    depth: str = "full"
    second: str = ""


@dataclass(frozen=True)
class Saved:
    """What a save wrote.

    hold  id of the hold it opened or that was there, "" if none follows the docket
    place_lost  an exact place was entered and could not be sealed, so it was not kept
    rule  the rule that answered the human question more cautiously than the recorder, "" for none
    """

    docket: str
    label: str
    new: bool
    hold: str
    stop: bool
    rule: str = ""
    place_lost: bool = False
