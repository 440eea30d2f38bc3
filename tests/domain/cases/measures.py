"""Cases of the rules about measurements."""

from __future__ import annotations

from tests.domain.cases.records import Cases

CASES: Cases = []
