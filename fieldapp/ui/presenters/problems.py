"""What the rules find, as the screens show it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.checking import SHAPE
from fieldapp.ui.texts import say

LEVELS = ("impossible", "check", "note")


@dataclass(frozen=True, slots=True)
class Found:
    """One thing a rule found: the problem itself, its sentence, and where the rule comes from."""

    problem: rules.Problem
    text: str
    source: str

    @property
    def key(self) -> str:
        """The rule's key."""
        return self.problem.rule

    @property
    def level(self) -> str:
        """One of LEVELS."""
        return self.problem.level

    @property
    def raises(self) -> str:
        """The answer to the human question that the rule asks for, or ""."""
        return self.problem.raises


def worst_first(problems: Iterable[rules.Problem], knowledge: Knowledge) -> list[Found]:
    """Problems with their sentences, in the order of LEVELS."""
    texts = assets.texts()
    found = [Found(one, _sentence(one, texts), _source(one.rule, knowledge)) for one in problems]
    return sorted(found, key=lambda one: LEVELS.index(one.level) if one.level in LEVELS else len(LEVELS))


def _sentence(problem: rules.Problem, texts: Mapping[str, str]) -> str:
    if problem.rule == SHAPE:
        return say("shape", **{name: str(value) for name, value in problem.fields.items()})
    text = rules.sentence(problem, texts)
    return text[:1].upper() + text[1:]


def _source(rule: str, knowledge: Knowledge) -> str:
    """Where a rule comes from; a source that was written down from memory is said to be."""
    row: Any = knowledge.rules.get(rule)
    if row is None:
        return ""
    return say("from_memory", source=row.source) if row.seen == "memory" else str(row.source)
