"""How many pieces of an ordinary dig meet each tier by rule alone: two published assemblages, and the demo's weeks.

Nobody's answer is counted here, only what the rules add: a stop in the ground is never added by rule, it is said by
somebody who has the bone before them. So a working site is not stopped by its animal bone, and this holds it to that.
Human pieces are never traded for it: the nineteen pieces that the two analysts named as human are all queries.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

import pytest

from demo_data.site import earlier_weeks
from fieldapp import assets
from fieldapp.domain import human, rules
from fieldapp.records.fold import fold
from tests.open_data.reading import ASSEMBLAGES, rows

KNOW = assets.knowledge()
TIERS = (human.STOP, human.QUERY, human.NOT_EXCLUDED, human.NO_SIGN)
ORDINARY = {"number": "1", "type": "ditch_fill", "grave_like": "no"}
GRAVE = {"number": "2", "type": "grave", "grave_like": "yes"}


def in_trench(values: Mapping[str, Any], answer: str) -> dict[str, Any]:
    """A record as a digger makes it: the same bone read in the trench, the human question answered."""
    reading = values.get("reading")
    given = {"answer": answer, "why": "", "in_place": None, "by_rule": None, "stage": "trench"}
    kept = {path: value for path, value in values.items() if not path.startswith(("human/", "assessment/"))}
    if isinstance(reading, Mapping):
        kept["reading"] = {**reading, "stage": "trench"}
    return {**kept, "human/said": given}


def tier(values: Mapping[str, Any], context: Mapping[str, Any]) -> str:
    """The most cautious of the answer given and those that the rules add."""
    found = rules.check_docket(values, rules.Around(context=context, context_id="c"), KNOW)
    said = [human.answer_of(one) for path, one in values.items() if path.startswith("human/")]
    return max([*said, *(one.raises for one in found if one.raises)], key=human.CAUTION.__getitem__)


def shares(records: Iterable[Mapping[str, Any]], answer: str, context: Mapping[str, Any]) -> dict[str, float]:
    """{tier: pieces of 1,000} where every piece was answered alike."""
    counted = Counter(tier(in_trench(one, answer), context) for one in records)
    whole = sum(counted.values())
    return {one: 1000 * counted[one] / whole for one in TIERS}


def published(assemblage: str) -> list[dict[str, Any]]:
    return [row.values for row in rows(KNOW) if row.assemblage == assemblage and row.values["material"] != "not_bone"]


def demo() -> list[dict[str, Any]]:
    folded = fold(earlier_weeks(KNOW, 1000))
    return [dict(one.values()) for one in folded if one.kind == "docket"]


SETS = (*ASSEMBLAGES, "demo")


def records(name: str) -> list[dict[str, Any]]:
    return demo() if name == "demo" else published(name)


@pytest.mark.parametrize("name", SETS)
def test_of_an_ordinary_context_only_what_was_named_human_is_queried_by_rule(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    pieces = records(name)
    found = shares(pieces, human.NO_SIGN, ORDINARY)
    named = [one for one in pieces if isinstance(one.get("reading"), Mapping) and one["reading"]["taxon"] == "human"]
    with capsys.disabled():
        told = ", ".join(f"{one} {share:.0f}" for one, share in found.items())
        print(f"\n{name}, of 1,000 pieces in a ditch, all answered 'no sign': {told}; named human {len(named)}")
    assert found[human.STOP] == 0
    assert found[human.QUERY] == pytest.approx(1000 * len(named) / len(pieces))
    assert found[human.NO_SIGN] > 0


@pytest.mark.parametrize("name", SETS)
def test_everything_of_a_grave_is_a_query_and_none_a_stop_in_the_ground(name: str) -> None:
    found = shares(records(name), human.NO_SIGN, GRAVE)
    assert found[human.STOP] == 0
    # Eggs and shells have no bones of the dead in them; all else is asked about.
    assert found[human.QUERY] > 930


def test_every_piece_that_an_analyst_named_as_human_is_raised() -> None:
    named = [
        one
        for name in ASSEMBLAGES
        for one in published(name)
        if isinstance(one["reading"], dict) and one["reading"]["taxon"] == "human"
    ]
    assert len(named) == 19
    assert {tier(in_trench(one, human.NO_SIGN), ORDINARY) for one in named} == {human.QUERY}


@pytest.mark.parametrize("context", [ORDINARY, GRAVE])
@pytest.mark.parametrize("answer", [human.NO_SIGN, human.NOT_EXCLUDED, human.NOT_ASKED])
def test_a_piece_named_as_human_is_at_least_a_query_whatever_was_answered(context: dict[str, Any], answer: str) -> None:
    for row in published("barcin")[:400]:
        reading = row.get("reading")
        if isinstance(reading, dict):
            values = in_trench({**row, "reading": {**reading, "taxon": "human"}}, answer)
            assert human.CAUTION[tier(values, context)] >= human.CAUTION[human.QUERY]
