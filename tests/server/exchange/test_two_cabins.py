"""A table read at one cabin of a site and carried to another by a tablet's file: nothing is doubled, holds stay."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from fieldapp.domain.ids import hold_id
from fieldapp.records import sealing
from fieldapp.store.notebook import Notebook
from fieldapp.sync.exchange import exchange
from server import keys
from server.cabin import set_up
from server.config import Config
from server.ledger import CABIN, Ledger
from tests.server.conftest import Clock
from tests.server.exchange.made import HEAD, csv_of, typed
from tests.server.tablets import CODE
from tests.sync.carrying import Stick
from tests.sync.conftest import Site

MAP = (
    HEAD + '[file]\nexact = ["E", "N"]\n[every]\nrecovery = "hand"\n[column.Ctx]\nto = "context"\n'
    '[column.Kind]\nto = "context_type"\n[column.Animal]\nto = "taxon"\n'
)
TABLE = csv_of("1,layer,cattle,71.25,81.25", "1,layer,human,72.25,82.25", "2,grave,sheep,73.25,83.25",
               head="Ctx,Kind,Animal,E,N")  # fmt: skip


@dataclass
class Two:
    """A table and its map; the cabin where it was read, another one of its site, a tablet that meets both."""

    first: Config
    second: Config
    table: Path
    map: Path
    tablet: Notebook
    stick: Path

    def read(self, config: Config, *more: object) -> int:
        return typed(self.table, "--map", self.map, "--data", config.data, *more)

    def carry(self) -> None:
        """What the first cabin has, by the tablet, to the second."""
        first = Site(self.first)
        first.enrolled(self.tablet)
        exchange(self.tablet, first.way(self.tablet))
        first.close()
        second = Site(self.second)
        second.enrolled(self.tablet)
        stick = Stick(self.stick, second)
        stick.round(self.tablet, everything=True)
        while second.ledger.check_due():
            pass
        second.close()


@pytest.fixture
def two(config: Config, tmp_path: Path, clock: Clock) -> Iterator[Two]:
    other = Config(tmp_path / "other", clock=clock, testing=True)
    set_up(other, code=CODE, name="Test field")
    table, by = tmp_path / "low.csv", tmp_path / "low.toml"
    table.write_text(TABLE, encoding="utf-8")
    by.write_text(MAP, encoding="utf-8")
    with Notebook.open(tmp_path / "tablet", clock, lambda: str(uuid.uuid4())) as tablet:
        yield Two(config, other, table, by, tablet, tmp_path / "stick")


def opened(config: Config) -> Ledger:
    return Ledger.open(config.place, clock=config.clock)


def standing(config: Config) -> dict[str, dict[str, object]]:
    """Every record and what stands in it, but what is sealed."""
    ledger = opened(config)
    found = {
        one.id: {path: heads for path, heads in one.heads.items() if not path.endswith("_sealed")}
        for kind in ("context", "bag", "docket", "hold")
        for one in ledger.records(kind)
    }
    assert ledger.rebuild_matches()
    ledger.close()
    return found


def exact_places(config: Config) -> dict[str, str]:
    """{label: where it lay exactly} of what this cabin can open."""
    ledger, key = opened(config), keys.seal_key(config.seal_key)
    holds = {one.label: one.hold_record for one in ledger.holds() if one.hold_record is not None}
    sealed = {label: (str(one.value("place_sealed") or ""), one.id) for label, one in holds.items()}
    ledger.close()
    return {label: sealing.unseal(told, key, hold) for label, (told, hold) in sealed.items() if told}


def test_carried_to_another_cabin_and_read_again_there_nothing_is_doubled(
    two: Two, capsys: pytest.CaptureFixture[str]
) -> None:
    two.read(two.first)
    two.carry()
    there = standing(two.first)
    assert standing(two.second) == there
    for more in (), ("--again",), ("--more",):
        assert two.read(two.second, *more) == 0
        assert "0 dockets written, 3 were here already" in capsys.readouterr().out
    assert standing(two.second) == there
    ledger = opened(two.second)
    assert {one.label for one in ledger.holds() if one.raised} == {"LB 3", "LB 4"}
    ledger.close()


def test_saved_anew_it_is_refused_at_the_cabin_it_was_carried_to_as_well(
    two: Two, capsys: pytest.CaptureFixture[str]
) -> None:
    two.read(two.first)
    two.carry()
    there = standing(two.second)
    two.table.write_text(TABLE.replace("cattle", "sheep"), encoding="utf-8")
    assert two.read(two.second) == 2
    assert "Another file of Low Barrow was read at another cabin" in capsys.readouterr().out
    assert standing(two.second) == there
    assert two.read(two.second, "--more") == 0
    assert "3 dockets written" in capsys.readouterr().out
    assert two.read(two.second) == 0, "and from then on it goes on"


def test_a_sealed_place_is_handed_to_no_tablet_and_stays_where_it_was_sealed(two: Two) -> None:
    two.read(two.first)
    two.carry()
    assert not any("place_sealed" in body for _, _, body in two.tablet.bodies())
    assert exact_places(two.first) == {"LB 3": "E: 72.25; N: 82.25", "LB 4": "E: 73.25; N: 83.25"}
    assert exact_places(two.second) == {}


def test_a_hold_that_came_before_its_row_still_gets_the_place(two: Two) -> None:
    two.read(two.first)
    ledger = opened(two.first)
    (hold,) = [one for one in ledger.holds() if one.label == "LB 3"]
    docket = hold.docket
    ledger.close()
    ledger = opened(two.second)
    early = {"docket": docket, "tier": "query", "zone": "", "in_place": None}
    ledger.write("hold", hold_id(docket), early, {}, CABIN)
    ledger.close()
    two.read(two.second)
    assert exact_places(two.second) == exact_places(two.first)
