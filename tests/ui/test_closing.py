"""What was entered before a bone was raised: its exact place and its pictures are closed with the raise."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.records.changes import canonical
from fieldapp.records.sealing import unseal, unseal_bytes
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from tests.ui.test_form import new

PLACE = {"east": 412.3, "north": 208.0, "level": 5.1}
PICTURE = b"a picture, invented"
KEY = X25519PrivateKey.from_private_bytes(b"k" * 32)


@pytest.fixture
def keyed(desk: Desk) -> Desk:
    """A desk that knows the cabin's key."""
    public = base64.b64encode(KEY.public_key().public_bytes_raw()).decode()
    desk.notebook.set_setting("cabin", {"seal_key": public})
    return desk


def recorded(desk: Desk) -> Form:
    """A form with an exact place and a picture in it."""
    form = new(desk)
    form.choose("material", "bone")
    form.put("find", {"place": dict(PLACE)})
    sha256 = desk.photos.keep(PICTURE)
    form.put("note", {f"photo/{desk.new_id()}": {"sha256": sha256, "closed": False, "scale": True, "north": False}})
    return form


def everything_written(desk: Desk, docket: str) -> str:
    return str([one.set for one in desk.notebook.history(docket)])


@pytest.mark.parametrize("place", [{"east": 412.3, "level": None}, {"east": "412.3"}, {"east": 10**400}, "412.3", [1]])
def test_a_place_of_any_shape_from_elsewhere_is_sealed_with_the_raise(keyed: Desk, place: Any) -> None:
    docket = new(keyed).save().docket
    keyed.notebook.save("docket", docket, {"place": place}, {}, keyed.by)
    form = Form.of(keyed, keyed.record(docket))
    form.answer_human(human.QUERY)
    form.save()
    hold = keyed.record(hold_id(docket))
    assert hold is not None
    told = unseal(hold.value("place_sealed"), KEY, hold.id)
    assert told == (place if isinstance(place, str) else canonical(place))


def test_a_raise_before_saving_writes_no_place_in_the_clear(keyed: Desk) -> None:
    form = recorded(keyed)
    form.answer_human(human.QUERY)
    saved = form.save()
    record = keyed.record(saved.docket)
    assert record is not None
    assert record.value("place") is None
    assert "412.3" not in everything_written(keyed, saved.docket)
    # Nor in what is left of the half-made form: the journal was written anew.
    assert not any(b"412.3" in path.read_bytes() for path in keyed.notebook.folder.rglob("*") if path.is_file())
    hold = keyed.record(hold_id(saved.docket))
    assert hold is not None
    assert "412.3" in unseal(hold.value("place_sealed"), KEY, hold.id)
    assert not saved.place_lost


def test_its_pictures_are_closed_and_their_files_open_only_at_the_cabin(keyed: Desk) -> None:
    form = recorded(keyed)
    form.answer_human(human.QUERY)
    form.save()
    (photo,) = keyed.notebook.records("photo")
    assert photo.value("closed") is True
    sha256 = hashlib.sha256(PICTURE).hexdigest()
    assert not keyed.photos.path(sha256).exists()
    sealed = keyed.photos.path(sha256).with_name(f"{sha256}.sealed").read_bytes()
    assert PICTURE not in sealed
    assert unseal_bytes(sealed, KEY, sha256) == PICTURE


def test_a_later_raise_closes_what_was_saved_before(keyed: Desk) -> None:
    docket = recorded(keyed).save().docket
    record = keyed.record(docket)
    assert record is not None
    assert record.value("place") == PLACE
    again = Form.of(keyed, record)
    again.answer_human(human.QUERY)
    again.save()
    record, hold = keyed.record(docket), keyed.record(hold_id(docket))
    assert record is not None
    assert hold is not None
    assert record.value("place") is None
    assert record.disagreements() == {}
    assert "208" in unseal(hold.value("place_sealed"), KEY, hold.id)
    (photo,) = keyed.notebook.records("photo")
    assert photo.value("closed") is True
    assert not keyed.photos.path(str(photo.value("sha256"))).exists()


def test_without_the_cabin_s_key_the_place_is_not_kept_and_that_is_said(desk: Desk) -> None:
    form = recorded(desk)
    form.answer_human(human.QUERY)
    saved = form.save()
    assert saved.place_lost
    assert "412.3" not in everything_written(desk, saved.docket)
    (photo,) = desk.notebook.records("photo")
    assert photo.value("closed") is True
    assert desk.photos.path(str(photo.value("sha256"))).exists()


def test_what_may_not_be_human_keeps_its_place_in_the_clear(keyed: Desk) -> None:
    form = recorded(keyed)
    form.answer_human(human.NOT_EXCLUDED)
    record = keyed.record(form.save().docket)
    assert record is not None
    assert record.value("place") == PLACE
    assert keyed.photos.path(hashlib.sha256(PICTURE).hexdigest()).exists()
