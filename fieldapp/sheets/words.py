"""Words for what a sheet shows: texts by key, vocabulary keys in words, people, times and figures.

A key that the texts do not hold is printed as it came, and what was not recorded says so: a blank is not a no.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from math import floor, log10
from typing import Any

from fieldapp.domain.samples import amount
from fieldapp.records.changes import canonical
from fieldapp.sheets.entries import Reading, Said, Span

NOTHING = "–"  # noqa: RUF001
"""Stands where there is nothing to say: a blank would be taken for a no, and a nought for a count."""
UNBROKEN = "\u00a0"

RULES = ("rules", "recorder")
"""By whom and as what the rules write."""


class Words:
    """The texts of one language."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self.texts = texts

    def say(self, key: str, **values: Any) -> str:
        """The text `sheets.<key>`, filled in."""
        return self.texts[f"sheets.{key}"].format(**values)

    def has(self, key: str) -> bool:
        """Whether there is a text `sheets.<key>`."""
        return f"sheets.{key}" in self.texts

    def word(self, of: str, value: Any) -> str:
        """A value of the vocabulary list `of` in words."""
        if value is None or value == "":
            return self.say("not_recorded")
        if isinstance(value, str):
            return self.texts.get(f"{of}.{value}", value)
        return self.plain(value)

    def plain(self, value: Any) -> str:
        """A value without a vocabulary, as it was written."""
        if value is None or value == "":
            return self.say("not_recorded")
        if isinstance(value, bool):
            return self.say("yes" if value else "no")
        return value if isinstance(value, str) else number(value) if isinstance(value, float) else canonical(value)

    def field(self, path: str, labels: Mapping[str, str] | None = None) -> str:
        """The name of a path or of a reading's field."""
        name, _, rest = path.partition("/")
        key = f"field.{name}"
        return self.say(key, what=(labels or {}).get(rest, rest)) if self.has(key) else path

    def value(self, path: str, value: Any, of: str = "") -> str:
        """The value at a path of any record, in words; `of` the vocabulary list, if not named as the path is."""
        if value is None:
            return self.say("difference.taken_away" if "/" in path else "difference.nothing")
        if path == "weight_g":
            return self.say("grams", value=self.plain(value))
        if path == "mesh_mm":
            return self.say("millimetres", value=self.plain(value))
        if path.startswith("note/") and isinstance(value, Mapping) and isinstance(value.get("text"), str):
            return str(value["text"])
        lists = {"type": "context_type", "tier": "human_answer"}
        return self.word(of or lists.get(path, path), value)

    def said(self, *said: Said) -> str:
        """Who said something and when; the rules are nobody's, and have no role."""
        return self.say("and").join(
            f"{self.say('by_the_rules')}, {self.when(one.at)}"
            if (one.name, one.role) == RULES
            else self.say(
                "said",
                name=one.name or self.say("not_known_who"),
                role=self.word("role", one.role),
                at=self.when(one.at),
            )
            for one in said
        ) or self.say("not_known_who")

    def when(self, at: str) -> str:
        """An ISO 8601 time to the minute with its zone; any other text as it came."""
        try:
            time = datetime.fromisoformat(at)
        except ValueError:
            return self.plain(at)
        if time.tzinfo is None:
            return f"{time:%Y-%m-%d %H:%M}"
        zone = f"{time:%z}"
        # The parts of a time stay on one line.
        return f"{time:%Y-%m-%d %H:%M} {zone[:3]}:{zone[3:5]}".replace(" ", "\u00a0")

    def span(self, span: Span) -> str:
        """A figure, or its range."""
        low, high = number(span.low), number(span.high)
        return low if low == high else self.say("range", low=low, high=high)

    def way(self, recovery: str | None, mesh_mm: float | None) -> str:
        """How bones were got: by hand, or on which mesh."""
        if recovery is None and mesh_mm is None:
            return self.say("not_recorded")
        said = self.word("recovery", recovery)
        # A figure and its unit stay on one line.
        return f"{said} {self.say('millimetres', value=number(mesh_mm)).replace(' ', UNBROKEN)}" if mesh_mm else said

    def ways(self, of: Iterable[tuple[Any, Any]]) -> str:
        """Each way in which bones were got, once."""
        shown = [
            self.way(
                recovery if isinstance(recovery, str) else None,
                amount(mesh) if recovery != "hand" else None,
            )
            for recovery, mesh in of
        ]
        return self.say("and").join(dict.fromkeys(shown)) or self.say("not_recorded")

    def title(self, reading: Reading | None, disputed: Iterable[str] = ()) -> str:
        """A reading in one line: side, element and taxon, and which of its fields are in dispute."""
        if reading is None:
            return self.say("docket.no_reading")
        if "" in reading.rest:
            return self.say("docket.as_written", value=self.plain(reading.rest[""]))
        disputed = sorted({one.partition("/")[0] for one in disputed})
        parts = []
        if reading.element is not None:
            element = self.word("element", reading.element)
            if reading.side is not None:
                element = self.say("docket.sided", side=self.word("side", reading.side), element=element)
            parts.append(element)
        elif "element" not in disputed:
            parts.append(self.say("docket.no_element"))
        if reading.taxon is not None:
            taxon = self.word("taxon", reading.taxon)
            parts.append(self.say("docket.cf", taxon=taxon) if reading.certainty == "cf" else taxon)
        elif "taxon" not in disputed:
            parts.append(self.say("docket.no_taxon"))
        if disputed:
            parts.append(self.say("docket.disputed", fields=", ".join(self.field(one) for one in disputed)))
        return ", ".join(parts)


def number(value: float) -> str:
    """A figure with no more decimals than it has, at most two; below a tenth two that say something, since a fish bone
    of 0.004 g weighs more than nothing."""
    small = 0 < abs(value) < 0.1
    shown = f"{value:.{min(9, 1 - floor(log10(abs(value)))) if small else 2}f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown
