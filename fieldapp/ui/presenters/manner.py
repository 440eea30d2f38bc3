"""How this tablet is held and read: hand, gloves, light, language, and what is heard and felt at a save. Pure."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from fieldapp import assets
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say

SETTING = "manner"


@dataclass(frozen=True, slots=True)
class Manner:
    """All of it, as JSON values."""

    left_handed: bool = False
    gloves: bool = False
    dusk: bool = False
    sound: bool = True
    buzz: bool = True
    language: str = "en"


TOGGLES = ("left_handed", "gloves", "dusk", "sound", "buzz")


def read(desk: Desk) -> Manner:
    """What this tablet is set to; what cannot be read is as it was at the start."""
    kept: Any = desk.notebook.setting(SETTING)
    if not isinstance(kept, dict):
        return Manner()
    own = {one.name: type(getattr(Manner(), one.name)) for one in fields(Manner)}
    found = {name: value for name, value in kept.items() if name in own and type(value) is own[name]}
    manner = Manner(**found)
    return manner if manner.language in assets.languages() else replace(manner, language="en")


def choices(manner: Manner) -> list[list[Choice]]:
    """A button for each, and one for each language."""
    toggles = [
        Choice(
            f"manner.{name}",
            say(f"manner.{name}"),
            note=say("manner.on" if getattr(manner, name) else "manner.off"),
            chosen=getattr(manner, name),
            sign="tick" if getattr(manner, name) else "",
        )
        for name in TOGGLES
    ]
    languages = [
        Choice(f"language.{one}", assets.language_name(one), chosen=manner.language == one)
        for one in assets.languages()
    ]
    return [toggles, languages]


def change(desk: Desk, ident: str) -> Manner:
    """A button was tapped; how it is from now on. Saved like everything else."""
    manner, (group, _, key) = read(desk), ident.partition(".")
    if group == "language":
        manner = replace(manner, language=key)
    elif key in TOGGLES:
        manner = Manner(**{**asdict(manner), key: not getattr(manner, key)})
    desk.notebook.set_setting(SETTING, asdict(manner))
    return manner
