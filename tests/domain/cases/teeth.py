"""Cases of the rules about teeth."""

from __future__ import annotations

from tests.domain.cases.records import Cases

CASES: Cases = []
