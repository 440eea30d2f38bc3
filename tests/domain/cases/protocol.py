"""Cases of the rule about what the site has agreed to record."""

from __future__ import annotations

from typing import Any

from fieldapp.domain.rules import Around
from tests.domain.cases.records import BAG, CONTEXT, Case, Cases, d, shin


def agreed(*always: str, stage: str = "analysis", read: dict[str, Any] | None = None, **more: Any) -> Case:
    """A sound shin at a site that always records these."""
    site = {"code": "HLG26", "protocol": {"countable": "all", "always": list(always), "note": None}}
    return d(shin(stage=stage, **(read or {})), Around(record="d1", bag=BAG, context=CONTEXT, site=site), **more)


CASES: Cases = [
    ("docket", "agreed_not_recorded", "weathering", agreed("weathering"), agreed("weathering", weathering=0)),
]
