"""Rules about teeth: which there are, how far they have come through and worn, and in what order."""

from __future__ import annotations

from fieldapp.domain.rules.findings import Rule, by_name

RULES: dict[str, Rule] = by_name()
