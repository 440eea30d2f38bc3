"""Cases of the rules about where and when animals lived."""

from __future__ import annotations

from tests.domain.cases.records import Cases

CASES: Cases = []
