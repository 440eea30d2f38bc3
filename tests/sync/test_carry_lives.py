"""Carry-files after backups, of copies of a notebook, with its keys, and with photographs."""

from __future__ import annotations

import shutil
import uuid

import pytest

from fieldapp.store.notebook import Notebook
from fieldapp.store.photos import Photos
from fieldapp.sync import carry, carry_answer, carry_keys
from fieldapp.sync.errors import (
    CarryOld,
)
from fieldapp.sync.exchange import exchange
from tests.server.tablets import an_id
from tests.sync.carrying import Stick, refusing, unsent
from tests.sync.conftest import BY, Site
from tests.sync.test_exchange import copy_of, docket, known_to


@pytest.fixture
def pair(site, new_notebook):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    return one, other


@pytest.fixture
def stick(tmp_path, site) -> Stick:
    return Stick(tmp_path / "stick", site)


# -- backups and copies


def put_back(site: Site, kept) -> None:
    site.close()
    shutil.rmtree(site.config.data)
    shutil.copytree(kept, site.config.data)
    site.open()


def kept_copy(site: Site, tmp_path):
    site.close()
    shutil.copytree(site.config.data, tmp_path / "kept")
    site.open()
    return tmp_path / "kept"


@pytest.mark.parametrize("told", [True, False])
def test_after_a_backup_was_put_back_the_second_file_brings_everything(site, pair, stick, tmp_path, told):
    one, other = pair
    kept = kept_copy(site, tmp_path)
    docket(one, "a", count=1)
    docket(other, "b", count=2)
    stick.round(other)
    stick.round(one)
    before = known_to(one)
    put_back(site, kept)
    if told:
        site.ledger.renew("put back")
    docket(one, "c", count=3)
    first = stick.round(one)
    assert first.epoch_changed
    assert any("another carry-file" in words for words in first.notices)
    second = stick.round(one)
    assert second.epoch_changed
    assert before < known_to(one)
    assert {row[1] for row in site.ledger.pull(0, 100).rows} == known_to(one)
    assert unsent(one, site) == 0
    third = stick.round(one)
    assert (third.epoch_changed, third.sent, third.received) == (False, 0, 0)
    report = exchange(one, site.way(one))
    assert (report.epoch_changed, report.sent, report.known, report.received) == (False, 0, 0, 0)


def test_an_exchange_after_an_answer_that_told_of_a_backup_sends_everything_too(site, pair, stick, tmp_path):
    one, other = pair
    kept = kept_copy(site, tmp_path)
    docket(other, "b", count=2)
    exchange(other, site.way(other))
    exchange(one, site.way(one))
    put_back(site, kept)
    site.ledger.renew("put back")
    late = stick.answer(stick.packed(one))
    assert carry_answer.load(one, late).epoch_changed
    assert exchange(one, site.way(one)).epoch_changed
    assert site.ledger.record(an_id("b")) is not None
    assert not carry.pack(one, stick.folder / "after").everything


def test_an_answer_from_before_a_backup_is_too_old_once_the_tablet_has_gone_on(site, pair, stick, tmp_path):
    one, _ = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    old = stick.answer(stick.packed(one))
    site.ledger.renew("put back")
    exchange(one, site.way(one))
    docket(one, "b", count=1)
    refusing(one, old, CarryOld)
    assert stick.round(one).sent == 1


def test_a_copy_that_writes_the_same_number_is_told_though_the_first_answer_was_lost(
    site, pair, stick, clock, tmp_path
):
    one, _ = pair
    docket(one, "a", count=1)
    stick.round(one)
    with copy_of(one, clock, tmp_path) as copy, Notebook.open(one.folder, clock, lambda: str(uuid.uuid4())) as again:
        docket(again, "b", count=1)
        docket(copy, "c", count=1)
        assert not stick.round(again).forks
        lost = stick.packed(copy)
        stick.answer(lost)
        report = carry_answer.load(copy, stick.answer(lost))
        assert report.forks
        assert copy.lives_elsewhere
        assert copy.record("docket", an_id("b")) is not None
        assert {an_id("b"), an_id("c")} <= {record.id for record in site.ledger.records("docket")}


def test_an_old_copy_notices_by_the_first_answer(site, pair, stick, clock, tmp_path):
    one, _ = pair
    docket(one, "a", count=1)
    stick.round(one)
    with copy_of(one, clock, tmp_path) as copy, Notebook.open(one.folder, clock, lambda: str(uuid.uuid4())) as again:
        docket(again, "b", count=1)
        stick.round(again)
        assert stick.round(copy).forks
        assert copy.record("docket", an_id("b")) is not None


# -- keys


def test_the_keys_are_made_once_and_told_at_enrolment_or_at_the_next_exchange(site, new_notebook, monkeypatch):
    one = new_notebook("one")
    monkeypatch.setattr(carry_keys, "register", lambda *_: None)
    site.enrolled(one)
    assert site.cabin.carry_keys.of(one.id) == []
    monkeypatch.undo()
    exchange(one, site.way(one))
    (found,) = site.cabin.carry_keys.of(one.id)
    public = carry_keys.keys(one).public
    assert (found.sign, found.seal) == (public["sign"], public["seal"])
    asked = []
    way = site.way(one)
    ask = way.ask
    way.ask = lambda *args, **more: (asked.append(args[1]), ask(*args, **more))[1]
    exchange(one, way)
    assert "/api/v1/carry-keys" not in asked


def test_a_new_life_has_keys_of_its_own_and_old_answers_still_open(site, pair, stick):
    one, _ = pair
    docket(one, "a", count=1)
    answer = stick.answer(stick.packed(one))
    before = carry_keys.keys(one).public
    one.new_life("Z")
    assert carry_keys.keys(one).public != before
    carry_answer.load(one, answer)
    assert unsent(one, site) == 0


def test_a_second_key_of_a_notebook_stands_beside_the_first_and_is_noted(site, pair, stick):
    one, _ = pair
    docket(one, "a", count=1)
    first = stick.packed(one)
    one.set_setting(f"carry/keys/{one.id}", None)  # as in a copy that was made before there were keys
    carry_keys.register(one, site.way(one))
    assert len(site.cabin.carry_keys.of(one.id)) == 2
    assert [event.who for event in site.ledger.events(9, "carry_key_second")] == [one.id]
    assert stick.loaded(first).number("taken") == 1
    assert stick.round(one).known == 1


# -- photographs


def test_photographs_come_along_once_and_sealed_ones_stay_sealed(site, pair, stick):
    one, _ = pair
    photos = Photos(one.folder)
    plain = photos.keep(b"an invented picture" * 1000)
    closed = photos.keep_sealed(b"of a hold, invented", site.cabin.seal_key)
    for sha256, shut in ((plain, False), (closed, True)):
        one.save("photo", str(uuid.uuid4()), {"sha256": sha256, "closed": shut}, {}, BY)
    loaded = stick.loaded(packed := stick.packed(one))
    assert loaded.photos == {(plain, False): "taken", (closed, True): "taken"}
    found = site.cabin.photos.found([plain, closed])
    assert (found[plain].sealed, found[closed].sealed) == (False, True)
    assert site.cabin.photos.read(found[plain]) == b"an invented picture" * 1000
    assert site.cabin.photos.read(found[closed]) == b"of a hold, invented"
    assert carry.pack(one, stick.folder / "again").photos == 2
    carry_answer.load(one, stick.answer(packed))
    assert carry.pack(one, stick.folder / "again").photos == 0
    assert carry.pack(one, stick.folder / "again", everything=True).photos == 2
    assert carry.pack(one, stick.folder / "again", everything=True, photos=False).photos == 0


def test_a_picture_that_is_not_what_it_is_called_is_damage_and_nothing_is_taken(site, pair, stick, monkeypatch):
    from server.errors import CarryDamaged as AtTheCabin

    one, _ = pair
    docket(one, "a", count=1)
    monkeypatch.setattr("fieldapp.sync.photos._is_whole", lambda path, sha256: True)
    sha256 = Photos(one.folder).keep(b"one thing")
    one.save("photo", str(uuid.uuid4()), {"sha256": sha256}, {}, BY)
    Photos(one.folder).path(sha256).write_bytes(b"another")
    with pytest.raises(AtTheCabin):
        stick.loaded(stick.packed(one))
    assert site.ledger.names().head == 1
    assert not site.cabin.photos.found([sha256])
