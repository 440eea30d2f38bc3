"""A carry-file comes to the same as an exchange, whatever becomes of the stick on its way."""

from __future__ import annotations

import io
import tracemalloc
import uuid

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldapp.records import sealing
from fieldapp.records.carrying import CarryFault, Reader
from fieldapp.records.changes import change_id
from fieldapp.store.notebook import Edit, Notebook
from fieldapp.sync import carry, carry_answer, carry_keys
from fieldapp.sync.errors import (
    CarryCut,
    CarryDamaged,
    CarryForeign,
    CarryNewer,
    CarryNone,
    CarryNotSigned,
    CarryRefused,
    NotEnrolled,
)
from fieldapp.sync.exchange import exchange
from server.cabin import set_up
from server.config import Config
from tests.server.tablets import an_id, hold_of
from tests.sync.carrying import Stick, cursor_of, refusing, unsent
from tests.sync.conftest import BY, Site
from tests.sync.test_exchange import STEPS, docket, known_to, states


@pytest.fixture
def pair(site, new_notebook):
    one, other = new_notebook("one"), new_notebook("other")
    site.enrolled(one)
    site.enrolled(other)
    return one, other


@pytest.fixture
def stick(tmp_path, site) -> Stick:
    return Stick(tmp_path / "stick", site)


def test_two_notebooks_come_to_the_same_records_as_the_cabin_by_stick_alone(site, pair, stick):
    one, other = pair
    docket(one, "a", count=1)
    docket(one, "b", count=5)
    docket(other, "a", count=2)
    first, second, third = stick.round(one), stick.round(other), stick.round(one)
    assert (first.sent, first.received) == (2, 1)  # the site's own record
    assert (second.sent, second.received) == (1, 3)
    assert (third.sent, third.known, third.received) == (0, 0, 1)
    for notebook in pair:
        assert states(notebook.records("docket")) == states(site.ledger.records("docket"))
        assert unsent(notebook, site) == 0
    assert site.ledger.rebuild_matches()


def test_a_carry_file_leaves_cabin_and_tablet_where_an_exchange_leaves_them(site, pair, stick):
    """The anchor is the exchange itself: then there is nothing left for it to do."""
    one, other = pair
    for number in range(30):
        docket(other, f"o{number}", count=number)
        docket(one, f"o{number}", count=number + 1)
    exchange(other, site.way(other))
    report = stick.round(one)
    assert (report.sent, report.received) == (30, 31)
    before = cursor_of(one, site)
    after = exchange(one, site.way(one))
    assert (after.sent, after.known, after.received, after.epoch_changed, after.forks) == (0, 0, 0, False, False)
    assert cursor_of(one, site) == before


def test_between_a_file_and_its_answer_an_exchange_changes_nothing(site, pair, stick):
    one, other = pair
    docket(one, "a", count=1)
    packed = stick.packed(one)
    docket(one, "b", count=1)
    exchange(one, site.way(one))
    answer = stick.answer(packed)
    docket(other, "c", count=1)
    exchange(other, site.way(other))
    exchange(one, site.way(one))
    before, cursor = known_to(one), cursor_of(one, site)
    report = carry_answer.load(one, answer)
    assert (report.sent, report.known, report.received) == (0, 1, 0)
    assert (known_to(one), cursor_of(one, site)) == (before, cursor)
    assert exchange(one, site.way(one)).received == 0


def test_nothing_counts_as_sent_before_the_answer_says_so(site, pair, stick):
    one, _ = pair
    docket(one, "a", count=1)
    packed = stick.packed(one)
    stick.loaded(packed)
    assert unsent(one, site) == 1
    docket(one, "b", count=1)
    carry_answer.load(one, stick.answer(packed))
    assert unsent(one, site) == 1  # written after the file


def test_a_file_loaded_twice_doubles_nothing_and_is_told(site, pair, stick):
    one, _ = pair
    docket(one, "a", count=1)
    packed = stick.packed(one)
    first, second = stick.loaded(packed), stick.loaded(packed)
    assert (first.before, first.number("taken"), second.number("known")) == ("", 1, 1)
    assert second.before
    assert site.ledger.names().head == 2
    answer = stick.answer(packed)
    assert carry_answer.load(one, answer).received == 1
    before = cursor_of(one, site)
    assert carry_answer.load(one, answer).received == 0
    assert cursor_of(one, site) == before


def test_answers_that_come_late_and_in_any_order_take_nothing_back(site, pair, stick):
    one, other = pair
    answers = []
    for name in "abc":
        docket(one, name, count=1)
        docket(other, f"other {name}", count=2)
        exchange(other, site.way(other))
        answers.append(stick.answer(stick.packed(one)))
    carry_answer.load(one, answers[1])
    middle = cursor_of(one, site)
    assert unsent(one, site) == 1
    carry_answer.load(one, answers[0])
    assert (cursor_of(one, site), unsent(one, site)) == (middle, 1)
    carry_answer.load(one, answers[2])
    assert unsent(one, site) == 0
    assert states(one.records("docket")) == states(site.ledger.records("docket"))
    assert exchange(one, site.way(one)).received == 0


def test_a_lost_answer_costs_nothing_but_another_file(site, pair, stick):
    one, _ = pair
    docket(one, "a", count=1)
    stick.answer(stick.packed(one))
    docket(one, "b", count=1)
    report = stick.round(one)
    assert (report.sent, report.known, unsent(one, site)) == (1, 1, 0)


def test_a_sealed_place_of_another_tablet_is_in_no_answer(site, pair, stick):
    one, other = pair
    sealed = sealing.seal("under the hazel", site.cabin.seal_key, hold_of("x"))
    other.save("hold", hold_of("x"), {"docket": an_id("x"), "tier": "in_situ"}, {}, BY)
    other.save("hold", hold_of("x"), {"place_sealed": sealed}, {}, BY)
    stick.round(other)
    stick.round(one)
    hold = one.record("hold", hold_of("x"))
    assert hold.value("tier") == "in_situ"
    assert hold.value("place_sealed") is None
    assert not any(sealed in body for _, _, body in one.bodies())


# -- refused


def test_an_answer_that_is_cut_altered_or_none_is_refused_whole(site, pair, stick, tmp_path):
    one, other = pair
    docket(other, "a", count=1)
    exchange(other, site.way(other))
    data = stick.answer(stick.packed(one)).read_bytes()
    path = tmp_path / "altered"
    kinds = {
        data[:-1]: CarryCut,
        data[: len(data) // 2]: CarryCut,
        data[:-200] + bytes([data[-200] ^ 1]) + data[-199:]: CarryDamaged,
        data[:-1] + bytes([data[-1] ^ 1]): CarryNotSigned,
        data + b"x": CarryDamaged,
        b"": CarryNone,
        b"a photograph": CarryNone,
        data.replace(b"file 1\n", b"file 2\n", 1): CarryNewer,
    }
    for altered, kind in kinds.items():
        path.write_bytes(altered)
        refusing(one, path, kind)


def test_an_answer_with_any_byte_cut_or_altered_takes_nothing_in(site, pair, stick, tmp_path):
    one, _ = pair
    data = stick.answer(stick.packed(one)).read_bytes()
    before, path = known_to(one), tmp_path / "altered"
    for at in range(0, len(data), 7):
        for altered in (data[:at], data[:at] + bytes([data[at] ^ 0x10]) + data[at + 1 :]):
            path.write_bytes(altered)
            with pytest.raises(CarryRefused):
                carry_answer.load(one, path)
    assert known_to(one) == before


def test_an_answer_for_another_tablet_of_another_cabin_or_site_or_a_tablets_file_is_refused(
    site, pair, stick, new_notebook, tmp_path, clock
):
    one, other = pair
    refusing(one, stick.answer(stick.packed(other)), CarryForeign)
    refusing(one, stick.packed(one), CarryForeign)
    for code in ("TST26", "OTH26"):
        config = Config(tmp_path / f"cabin {code}", clock=clock, testing=True)
        set_up(config, code=code, name="Another field")
        elsewhere, stranger = Site(config), new_notebook(f"stranger {code}")
        elsewhere.enrolled(stranger)
        path = Stick(tmp_path / code, elsewhere)
        refusing(one, path.answer(path.packed(stranger)), CarryForeign)
        elsewhere.close()


def test_an_answer_that_somebody_else_made_for_this_tablet_is_not_signed(site, pair, stick, tmp_path, monkeypatch):
    """He has everything that is public: the tablet's key, the cabin's certificate, and a key of his own."""
    from cryptography.hazmat.primitives.asymmetric import ec

    one, _ = pair
    certificate, _ = site.cabin.certificate_key()
    forged = certificate, ec.generate_private_key(ec.SECP256R1())
    monkeypatch.setattr(type(site.cabin), "certificate_key", lambda self: forged)
    refusing(one, stick.answer(stick.packed(one)), CarryNotSigned)
    # With a certificate of his own it is another cabin's.
    from server import keys

    keys.make_certificate(tmp_path / "own.crt", tmp_path / "own.key")
    own = keys.certificate_and_key(tmp_path / "own.crt", tmp_path / "own.key")
    monkeypatch.setattr(type(site.cabin), "certificate_key", lambda self: own)
    refusing(one, stick.answer(stick.packed(one)), CarryForeign)


def test_a_notebook_that_was_never_enrolled_cannot_write_a_file_and_says_why(new_notebook, tmp_path):
    with pytest.raises(NotEnrolled):
        carry.pack(new_notebook("alone"), tmp_path / "file")
    assert not (tmp_path / "file").exists()


def test_a_full_stick_leaves_no_half_file(site, pair, tmp_path, monkeypatch):
    one, _ = pair
    docket(one, "a", count=1)
    target = tmp_path / "stick" / "file"

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fieldapp.store.disk.sync", full)
    with pytest.raises(OSError, match="No space"):
        carry.pack(one, target)
    assert list(target.parent.iterdir()) == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=300), at=st.integers(0, 2000))
def test_any_bytes_are_refused_at_both_ends_and_nothing_is_taken(site, pair, stick, data, at):
    one, _ = pair
    path = stick.folder / "any"
    good = getattr(stick, "good", None)
    if good is None:
        docket(one, "a", count=1)
        good = stick.good = stick.packed(one).read_bytes()
    head = site.ledger.names().head
    for altered in (data, good[: at % len(good)] + data):
        if altered == good:
            continue
        path.write_bytes(altered)
        with pytest.raises(CarryRefused):
            carry_answer.load(one, path)
        from server.errors import CarryRefused as AtTheCabin

        with pytest.raises(AtTheCabin):
            stick.loaded(path)
    assert site.ledger.names().head == head


# -- large, and anything at all


@pytest.mark.proof
def test_a_notebook_of_twenty_thousand_changes_is_packed_in_some_tens_of_megabytes(site, new_notebook, tmp_path):
    one = new_notebook("large")
    site.enrolled(one)
    text = {"text": "invented, and as long as a note may be that somebody writes in the rain " * 4, "stage": "trench"}
    for start in range(0, 20_000, 1000):
        edits = [Edit("docket", an_id(f"d{start + at}"), {"count": at, "note/x": text}, {}) for at in range(1000)]
        one.save_many(edits, BY)
    tracemalloc.start()
    packed = carry.pack(one, tmp_path / "large.carry")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert packed.changes == 20_000
    print(f"peak {peak / 1e6:.0f} MB, journal {(one.folder / 'journal').stat().st_size / 1e6:.0f} MB")
    assert peak < 70_000_000


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS, ways=st.lists(st.sampled_from("net stick lost twice late".split()), min_size=30, max_size=30))
def test_after_any_history_by_net_and_stick_all_hold_the_same(tmp_path_factory, clock, steps, ways):
    base = tmp_path_factory.mktemp("any")
    config = Config(base / "cabin", clock=clock, testing=True)
    set_up(config, code="TST26", name="x")
    site = Site(config)
    notebooks = {name: Notebook.open(base / name, clock, lambda: str(uuid.uuid4())) for name in ("one", "other")}
    stick, late = Stick(base / "stick", site), []
    try:
        for notebook in notebooks.values():
            site.enrolled(notebook)
        for (who, name, path, value, knowing), way in zip(steps, ways, strict=False):
            where, _, which = who.partition(" ")
            if where == "exchange":
                notebook = notebooks[which]
                if way == "net":
                    exchange(notebook, site.way(notebook))
                    continue
                packed = stick.packed(notebook)
                if way != "lost":
                    answer = stick.answer(packed)
                    for _ in range({"stick": 1, "twice": 2}.get(way, 0)):
                        carry_answer.load(notebook, answer)
                    late.append((notebook, answer))
                continue
            held = site.ledger.record(an_id(name)) if who == "cabin" else notebooks[who].record("docket", an_id(name))
            heads = held.head_ids() if held is not None and knowing else {}
            over = heads if path == "deleted" else {path: heads[path]} if path in heads else {}
            save = site.ledger.write if who == "cabin" else notebooks[who].save
            save("docket", an_id(name), {path: value}, over, BY)
        for notebook, answer in reversed(late):
            carry_answer.load(notebook, answer)
        while site.ledger.check_due():
            pass
        for _ in range(2):
            for notebook in notebooks.values():
                stick.round(notebook)
                while site.ledger.check_due():
                    pass
        for notebook in notebooks.values():
            stick.round(notebook)
        wanted = states(site.ledger.records("docket", deleted=True))
        for notebook in notebooks.values():
            assert states(notebook.records("docket", deleted=True)) == wanted
            assert unsent(notebook, site) == 0
            report = exchange(notebook, site.way(notebook))
            assert (report.sent, report.known, report.received, report.forks) == (0, 0, 0, False)
        assert site.ledger.rebuild_matches()
    finally:
        for notebook in notebooks.values():
            notebook.close()
        site.close()


def test_what_lies_in_a_file_is_every_body_as_it_was_written(site, pair, stick):
    one, _ = pair
    wanted = [docket(one, name, count=1).body for name in "abc"]
    with stick.packed(one).open("rb") as file:
        bodies = [line["body"] for line, _ in Reader(file).parts(site.cabin.opening_key()) if line["what"] == "change"]
    assert bodies == wanted
    data = io.BytesIO(stick.packed(one).read_bytes())
    with pytest.raises(CarryFault):
        list(Reader(data).parts(carry_keys.keys(one).seal))
    assert all(change_id(body) for body in bodies)
