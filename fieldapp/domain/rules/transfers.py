"""Rules about what is sent away, sampled or thrown away, and about photos."""

from __future__ import annotations

from fieldapp.domain.rules.findings import Rule, by_name

RULES: dict[str, Rule] = by_name()
DOCKET_RULES: dict[str, Rule] = by_name()
PHOTO_RULES: dict[str, Rule] = by_name()
