"""A tablet's carry-file at the cabin: who may bring it, who may load it, and what is refused."""

from __future__ import annotations

import io
import uuid
from pathlib import Path

import pytest

from fieldapp.records import carrying
from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry, carry_answer, carry_keys
from server import carry as cabin_carry
from server.cabin import set_up
from server.config import Config
from server.errors import (
    CabinError,
    CarryCut,
    CarryDamaged,
    CarryForeign,
    CarryKeyUnknown,
    CarryNewer,
    CarryNoAnswer,
    CarryNone,
    CarryNotEnrolled,
    CarryNotSigned,
    CarryRefused,
    CarryWithdrawn,
)
from tests.server.conftest import Clock
from tests.server.tablets import an_id
from tests.sync.carrying import Stick
from tests.sync.conftest import BY, Site


def new_id() -> str:
    return str(uuid.uuid4())


@pytest.fixture
def site(config: Config):
    found = Site(config)
    yield found
    found.close()


@pytest.fixture
def notebook(site: Site, tmp_path: Path, clock: Clock):
    with Notebook.open(tmp_path / "tablet", clock, new_id) as found:
        site.enrolled(found)
        found.save("docket", an_id("a"), {"count": 1}, {}, BY)
        yield found


@pytest.fixture
def stick(tmp_path: Path, site: Site) -> Stick:
    return Stick(tmp_path / "stick", site)


def refused(stick: Stick, path: Path, kind: type[CarryRefused], **how) -> str:
    before = stick.site.ledger.names(), len(stick.site.ledger.events(999))
    with pytest.raises(kind) as fault:
        stick.loaded(path, **how)
    assert type(fault.value) is kind
    assert (stick.site.ledger.names(), len(stick.site.ledger.events(999))) == before
    assert "{" not in str(fault.value)
    return str(fault.value)


def test_a_file_that_is_cut_altered_newer_or_none_is_refused_whole(stick, notebook, tmp_path):
    data, path = stick.packed(notebook).read_bytes(), tmp_path / "altered"
    kinds = {
        data[:-1]: CarryCut,
        data[:30]: CarryCut,
        data[:-100] + bytes([data[-100] ^ 1]) + data[-99:]: CarryDamaged,
        data[:-1] + bytes([data[-1] ^ 1]): CarryNotSigned,
        data + b"x": CarryDamaged,
        b"a letter": CarryNone,
        data.replace(b"file 1\n", b"file 2\n", 1): CarryNewer,
    }
    for altered, kind in kinds.items():
        path.write_bytes(altered)
        refused(stick, path, kind)


def test_a_file_for_another_cabin_or_site_or_an_answer_is_refused(stick, notebook, tmp_path, clock):
    answer = tmp_path / "answer"
    cabin_carry.write_answer(stick.site.cabin, stick.loaded(stick.packed(notebook)), answer)
    refused(stick, answer, CarryForeign)
    for code in ("TST26", "OTH26"):
        config = Config(tmp_path / f"cabin {code}", clock=clock, testing=True)
        set_up(config, code=code, name="Another field")
        elsewhere = Site(config)
        with Notebook.open(tmp_path / f"stranger {code}", clock, new_id) as stranger:
            elsewhere.enrolled(stranger)
            refused(stick, Stick(tmp_path / code, elsewhere).packed(stranger), CarryForeign)
        elsewhere.close()


def test_a_file_from_a_tablet_that_was_never_enrolled_names_its_notebook(stick, notebook):
    path = stick.packed(notebook)
    notebook.new_life("Q")  # an identity the cabin has never let in
    words = refused(stick, stick.packed(notebook), CarryNotEnrolled)
    assert notebook.id in words
    assert "bonedocket cabin enrol" in words
    assert stick.loaded(path).number("taken") == 1


def test_another_tablet_cannot_write_in_a_tablets_name(stick, notebook, tmp_path, clock):
    """He knows the notebook's id and what is public, and signs with his own key."""
    with Notebook.open(tmp_path / "rogue", clock, new_id) as rogue:
        stick.site.enrolled(rogue)
        own, theirs = carry_keys.keys(rogue), carry_keys.keys(notebook)
        for signer, kind in ((own.public["sign"], CarryKeyUnknown), (theirs.public["sign"], CarryNotSigned)):
            path = tmp_path / "forged"
            header = carrying.Header(
                "to_cabin", new_id(), notebook.site, "TST26", notebook.id, stick.site.cabin.fingerprint, "now", signer
            )
            with path.open("wb") as file:
                writer = carrying.Writer(file, header, stick.site.cabin.seal_key, carrying.tablets_sign(own.sign))
                writer.line("about", epoch="", mark="", seal=own.public["seal"], seq=0, n=1, everything=False)
                writer.line("change", id="x", body="x")
                writer.finish()
            refused(stick, path, kind)


def test_a_withdrawn_tablets_file_waits_for_a_person_and_gets_no_answer(stick, notebook):
    path = stick.packed(notebook)
    stick.site.cabin.devices.withdraw(notebook.letter)
    assert notebook.letter in refused(stick, path, CarryWithdrawn)
    loaded = stick.loaded(path, from_withdrawn=True)
    assert loaded.number("taken") == 1
    (noted,) = stick.site.ledger.events(9, "carry_from_withdrawn")
    assert (noted.fields["by"], noted.fields["notebook"]) == ("S. Visor", notebook.id)
    with pytest.raises(CarryNoAnswer):
        cabin_carry.answer(stick.site.cabin, loaded, io.BytesIO())
    assert stick.site.ledger.record(an_id("a")) is not None


def test_a_key_that_was_never_told_is_believed_only_as_the_tablet_shows_it(stick, notebook):
    notebook.set_setting(f"carry/keys/{notebook.id}", None)
    packed = carry.pack(notebook, stick.folder / "new key")
    assert not packed.known
    assert packed.code in refused(stick, packed.path, CarryKeyUnknown)
    refused(stick, packed.path, CarryKeyUnknown, accept_key="0000000000")
    refused(stick, packed.path, CarryKeyUnknown, accept_key=packed.code[:-1])
    answer = stick.answer(packed.path, accept_key=packed.code.lower().replace("-", " "))
    assert carry_answer.load(notebook, answer).sent == 1
    assert [one.fields["by"] for one in stick.site.ledger.events(9, "carry_key_accepted")] == ["S. Visor"]
    assert stick.loaded(packed.path).number("known") == 1  # and from now on without it


def test_a_part_of_the_wrong_shape_is_damage_and_takes_nothing_in(stick, notebook, tmp_path):
    own, cabin = carry_keys.keys(notebook), stick.site.cabin
    about = {"epoch": "", "mark": "", "seal": own.public["seal"], "seq": 0, "n": 1, "everything": False}
    change = ("change", {"id": "x", "body": "x"})
    wrong = [
        [],
        [change],
        [("about", {**about, "seq": "1"})],
        [("about", {**about, "n": -1})],
        [("about", {**about, "everything": 1})],
        [("about", {**about, "seal": None})],
        [("about", about), change, ("change", {"id": 1, "body": "x"})],
        [("about", about), change, ("change", {"id": "x"})],
        [("about", about), change, ("photo", {"sha256": "../../x", "sealed": False, "size": 0})],
        [("about", about), change, ("photo", {"sha256": "ab" * 32, "sealed": True})],
    ]
    for parts in wrong:
        header = carrying.Header(
            "to_cabin", new_id(), notebook.site, "TST26", notebook.id, cabin.fingerprint, "now", own.public["sign"]
        )
        path = tmp_path / "wrong"
        with path.open("wb") as file:
            writer = carrying.Writer(file, header, cabin.seal_key, carrying.tablets_sign(own.sign))
            for what, values in parts:
                if "size" in values:
                    writer.blob(what, 0, io.BytesIO(), **{k: v for k, v in values.items() if k != "size"})
                else:
                    writer.line(what, **values)
            writer.finish()
        refused(stick, path, CarryDamaged)


def test_what_was_loaded_is_told_in_sentences(stick, notebook):
    notebook.save("person", an_id("p"), {"name": "I", "role": "director"}, {}, BY)
    path = stick.packed(notebook)
    first, second = cabin_carry.told(stick.loaded(path)), cabin_carry.told(stick.loaded(path))
    assert "2 changes, 1 of them new" in first[0]
    assert "1 changes are kept without effect" in first[1]
    assert "loaded before" in second[0]
    assert all("{" not in one for one in first + second)


def test_every_refusal_has_a_sentence_of_its_own():
    kinds = CarryRefused.__subclasses__()
    assert len({kind.key for kind in kinds}) == len(kinds) == 10
    fields = dict.fromkeys("theirs own notebook what name letter at code".split(), "X")
    for kind in (CarryRefused, *kinds):
        assert isinstance(kind(**fields), CabinError)
        assert str(kind(**fields)).endswith((".", ")."))
