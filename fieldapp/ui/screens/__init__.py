"""The screens: each draws what its presenter says and hands taps on. A .py and a .kv each."""

from __future__ import annotations

from importlib import import_module
from typing import Any


def view_class(name: str) -> Any:
    """The class of a screen by its name: `form` is FormScreen in screens.form."""
    return getattr(import_module(f"{__name__}.{name}"), f"{name.capitalize()}Screen")
