"""Cases of the rules about the surface."""

from __future__ import annotations

from tests.domain.cases.records import Cases

CASES: Cases = []
