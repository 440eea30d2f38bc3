"""The words of the screens, by key. For what is shown; not for what is stored."""

from __future__ import annotations

from typing import Any

from fieldapp import assets


def say(key: str, **fields: Any) -> str:
    """The sentence at `ui.<key>`, filled with `fields`. Raises KeyError for a key that has none."""
    sentence = assets.texts()[f"ui.{key}"]
    return sentence.format(**fields) if fields else sentence


def word(of: str, key: object) -> str:
    """The word for a vocabulary key, such as `word("side", "left")`; the short form where a button needs one.

    A key of a newer vocabulary is shown as it is; null is "".
    """
    if not isinstance(key, str) or not key:
        return ""
    texts = assets.texts()
    return texts.get(f"ui.short.{of}.{key}") or texts.get(f"{of}.{key}") or key.replace("_", " ")
