"""Rules about measurements: what they need, between what limits they lie, and how they stand to each other."""

from __future__ import annotations

from fieldapp.domain.rules.findings import Rule, by_name

RULES: dict[str, Rule] = by_name()
