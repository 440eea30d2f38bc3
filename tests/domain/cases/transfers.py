"""Cases of the rules about transfers and photos."""

from __future__ import annotations

from tests.domain.cases.records import Cases

CASES: Cases = []
