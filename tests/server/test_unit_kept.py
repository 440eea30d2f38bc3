"""One server for several sites: each is backed up and put back by itself, and the server has one health."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from werkzeug.test import Client

from server import doctor, health
from server.cabin import Cabin
from server.config import Config
from server.keeping import archive, restoring
from server.keeping.backing_up import FAILED, back_up
from server.keeping.errors import OtherCabin
from server.unit import Unit, making
from tests.server.apps import QUICK
from tests.server.conftest import Clock
from tests.server.test_doctor import free_port, names, wrong


@pytest.fixture
def config(tmp_path: Path, clock: Clock) -> Config:
    config = Config(tmp_path / "unit", clock=clock, testing=True)
    making.add(config, code="AAA26", name="First field, invented")
    making.add(config, code="BBB26", name="Second field, invented")
    return config


@pytest.fixture
def unit(config: Config) -> Iterator[Unit]:
    unit = Unit(config, QUICK)
    yield unit
    unit.close()


def restored(path: Path, config: Config) -> None:
    with archive.reading(path) as backup:
        restoring.restore(backup, config)


def test_a_site_s_backup_makes_a_cabin_of_its_own_that_tablets_know(unit, tmp_path):
    site = unit.cabins["AAA26"]
    back_up(site.config, site.ledger, tmp_path / "a.zip", pictures=None)
    own = replace(site.config, data=tmp_path / "own")
    restored(tmp_path / "a.zip", own)
    again = Cabin(own, QUICK)
    assert (again.fingerprint, again.seal_key) == (site.fingerprint, site.seal_key)
    again.close()


def test_a_site_goes_back_into_its_unit_and_another_unit_s_does_not(unit, config, tmp_path, clock):
    site = unit.cabins["AAA26"]
    back_up(site.config, site.ledger, tmp_path / "a.zip", pictures=None)
    other = Config(tmp_path / "other unit", clock=clock, testing=True)
    making.add(other, code="CCC26", name="Third field, invented")
    with pytest.raises(OtherCabin):
        restored(tmp_path / "a.zip", replace(site.config, data=other.data / "sites" / "AAA26"))
    assert [one.name for one in (other.data / "sites").iterdir()] == ["CCC26"]
    unit.close()
    (config.data / "sites" / "AAA26").rename(tmp_path / "lost")
    restored(tmp_path / "a.zip", site.config)
    again = Unit(config, QUICK)
    assert sorted(again.cabins) == ["AAA26", "BBB26"]
    again.close()


def test_the_server_s_health_is_the_worst_of_its_sites_and_names_none(unit, monkeypatch, tmp_path):
    monkeypatch.setattr(health, "FRESH", 0.0)
    client = Client(unit)
    first, second = unit.cabins["AAA26"], unit.cabins["BBB26"]
    back_up(first.config, first.ledger, tmp_path / "a.zip", pictures=None)
    answer = client.get("/health")
    assert answer.status_code == 200
    assert answer.json["backup"] == {"at": None, "hours": None, "failed": False}
    back_up(second.config, second.ledger, tmp_path / "b.zip", pictures=None)
    assert client.get("/health").json["backup"]["hours"] == 0
    second.ledger.note(FAILED, "cabin", {"why": "OSError"})
    answer = client.get("/health")
    assert (answer.status_code, answer.json["state"]) == (503, "troubled")
    assert not [one for one in ("AAA", "BBB", "First", "Second") if one in answer.text]
    assert client.get("/AAA26/health").status_code == 200
    assert client.get("/BBB26/health").status_code == 503


def test_the_doctor_looks_at_every_site_of_a_unit(config):
    assert wrong(doctor.examine(config.data, free_port())) == {"backup_none"}
    assert [one.key for one in doctor.examine(config.data, free_port())].count("doctor.ledger") == 2
    (config.data / "sites" / "BBB26" / "seal.key").unlink()
    assert names(doctor.examine(config.data, free_port()))["keys_missing"] == "wrong"
