"""Rules about where and when an animal is to be expected."""

from __future__ import annotations

from fieldapp.domain.rules.findings import Rule, by_name

RULES: dict[str, Rule] = by_name()
SITE_RULES: dict[str, Rule] = by_name()
