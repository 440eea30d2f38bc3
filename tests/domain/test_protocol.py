"""What a site always records is asked for in analysis, and only where the bone can answer."""

from __future__ import annotations

import pytest

from fieldapp.domain import rules
from tests.domain.cases.protocol import agreed
from tests.domain.cases.records import K


def asked(case) -> list[str]:
    found = rules.check_docket(case.values, case.around, K)
    return [one.path for one in found if one.rule == "agreed_not_recorded"]


@pytest.mark.parametrize(
    ("case", "paths"),
    [
        (agreed("weight_g", weight_g=None), ["weight_g"]),
        (agreed("weight_g", "count"), []),
        (agreed("side", read={"side": None}), ["reading/side"]),
        (agreed("burn_colour", burning="charred"), ["burn_colour"]),
        (agreed("burn_colour", burning="unburnt"), []),
        (agreed("portions", read={"portions": {"distal_metaphysis": "not_examined"}}), ["reading/portions"]),
        (agreed("roots", "breaks"), ["roots", "breaks"]),
        (agreed("roots", stage="trench"), []),
        (agreed("mark", "tooth"), []),
        (agreed(), []),
    ],
)
def test_what_is_agreed_is_asked_for_where_there_is_an_answer(case, paths):
    assert asked(case) == paths
