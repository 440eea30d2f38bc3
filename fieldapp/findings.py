"""What a look at something has found: a level, and a sentence by key. For commands that examine a folder or machine.

Not here: any check.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.assets import texts

GOOD, NOTE, WRONG = "good", "note", "wrong"
"""As it should be; worth knowing, and no fault; wrong, with what to do in the sentence."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found. `key` names the sentence in the texts, `fields` fill it."""

    level: str
    key: str
    fields: Mapping[str, Any] = field(default_factory=dict)

    def __str__(self) -> str:
        return texts()[self.key].format(**self.fields)


def told(findings: Iterable[Finding]) -> int:
    """Prints each as it is found; 1 if anything is wrong, else 0."""
    bad = 0
    words = {level: texts()[f"finding.{level}"] for level in (GOOD, NOTE, WRONG)}
    width = max(map(len, words.values()))
    for one in findings:
        print(f"{words[one.level]:{width}}  {one}", flush=True)
        bad |= one.level == WRONG
    return int(bad)
