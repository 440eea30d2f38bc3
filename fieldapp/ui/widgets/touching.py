"""Between kivy's touches and the guard: which of them may press something. One guard for the whole window."""

from __future__ import annotations

import time
from typing import Any

from fieldapp.ui.guard import TouchGuard
from fieldapp.ui.theme import theme

guard = TouchGuard(time.monotonic)
"""The one in use; the app puts another clock in."""


def begins(touch: Any) -> bool:
    """The root tells that a contact begins; whether it may go on to the widgets."""
    if touch.is_mouse_scrolling:
        return True
    return guard.down(touch.uid)


def ends(touch: Any) -> None:
    """The root tells that a contact ends, before any widget hears of it."""
    if not touch.is_mouse_scrolling:
        touch.ud["bonedocket.tap"] = guard.up(touch.uid)


def is_finger(touch: Any) -> bool:
    """Whether the contact may press a pad: no wheel, no other mouse button."""
    return not touch.is_mouse_scrolling and touch.button in (None, "left")


def is_tap(touch: Any, target: str) -> bool:
    """Whether a contact that ended on `target` is a tap."""
    if not touch.ud.get("bonedocket.tap", True):
        return False
    x, y = touch.opos
    return guard.accepts(target, theme.in_mm(x), theme.in_mm(y))
