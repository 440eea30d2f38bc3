"""The words a site has set for its place: what local law and practice ask at possible human remains, and where the
words come from.

For: reading them off the site's record. Not for: writing them (the cabin's command), or adding anything of our own: a
place that has set nothing has no words here, and no deadline or distance is ever made up.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldapp.records.fold import Record

PATHS = ("place_text", "place_source", "place_checked", "zone_text", "zone_source")
"""What of a site's record is said at a stop."""


@dataclass(frozen=True, slots=True)
class Place:
    """The rules of the place, a line each; where they come from; when and by whom they were last checked."""

    rules: tuple[str, ...]
    source: str
    checked: str


def place_of(site: Record | None) -> Place | None:
    """The words of the place; None where none are set."""
    if site is None:
        return None
    text, source, checked = (str(site.value(path) or "") for path in PATHS[:3])
    rules = _lines(text)
    return Place(rules, source, checked) if rules else None


def is_licensed(site: Record | None) -> bool:
    """Whether the site works under a licence. One about which the records disagree does not: a stop is a stop there."""
    return site is not None and set(site.heads.get("mode", {}).values()) == {"licensed"}


def conditions_of(site: Record | None) -> tuple[str, ...]:
    """The conditions of the licence the site works under, as it has set them."""
    return _lines(str(site.value("licence_conditions") or "")) if site is not None else ()


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())
