"""Rules about the surface of a bone: burning, gnawing, butchery, weathering, breakage."""

from __future__ import annotations

from fieldapp.domain.rules.findings import Rule, by_name

RULES: dict[str, Rule] = by_name()
MARK_RULES: dict[str, Rule] = by_name()
