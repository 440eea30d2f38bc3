"""Under a licence the stop gives way to its conditions, skeletons have numbers, and nothing is cleared by it."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldapp.domain import human
from fieldapp.records.sealing import unseal_bytes
from fieldapp.ui.presenters import licensed
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.presenters.photographs import Photographs
from tests.ui.conftest import Tablet, save_as_other
from tests.ui.test_assess import raised
from tests.ui.test_closing import KEY, keyed

__all__ = ["keyed"]


def under_licence(desk: Desk, conditions: str | None = None) -> None:
    values = {"mode": "licensed", "licence": "L 17 (invented)", "licence_conditions": conditions}
    save_as_other(desk, "site", desk.site, values, {})


def test_the_conditions_take_the_place_of_the_steps_and_doubt_is_still_a_stop(desk: Desk) -> None:
    before = licensed.stop_steps(desk)
    under_licence(desk, "Screen the work from view.\n\nKeep each skeleton apart.")
    steps = licensed.stop_steps(desk)
    assert steps[:2] == ["Screen the work from view.", "Keep each skeleton apart."]
    assert before[0] not in steps
    assert any("any doubt: stop" in one for one in steps)
    assert any("Local law comes first" in one for one in steps)
    assert "L 17" in licensed.stop_title(desk)


def test_without_its_conditions_the_written_licence_is_pointed_to(desk: Desk) -> None:
    under_licence(desk)
    assert "written licence" in licensed.stop_steps(desk)[0]


def test_a_site_about_whose_licence_the_records_disagree_has_none(desk: Desk) -> None:
    under_licence(desk)
    save_as_other(desk, "site", desk.site, {"mode": "excavation"}, {})
    assert not licensed.is_licensed(desk)
    assert "This may be human" in licensed.stop_title(desk)


def test_a_skeletons_number_or_charnel_is_noted_and_the_hold_stays(desk: Desk) -> None:
    under_licence(desk)
    docket = raised(desk, human.STOP)
    hold = Hold(desk, docket)
    assert not licensed.keep_skeleton(hold, "  ")
    assert licensed.keep_skeleton(hold, " SK  104 ")
    assert licensed.skeleton(hold) == "Skeleton SK 104"
    licensed.toggle_charnel(hold)
    assert licensed.skeleton(hold) == "Skeleton SK 104 · Charnel: disturbed and mixed"
    licensed.toggle_charnel(hold)
    assert licensed.skeleton(hold) == "Skeleton SK 104"
    record = desk.record(docket)
    assert record is not None
    assert desk.standing(record) == human.STOP


def test_by_touch_a_skeleton_gets_its_number(tablet: Tablet) -> None:
    tablet.begin()
    under_licence(tablet.app.desk)
    docket = raised(tablet.app.desk, human.STOP)
    tablet.shell.open_hold(docket)
    tablet.hand.frames(2)
    tablet.press("hold.more", "hold.skeleton", "hold.note")
    tablet.hand.type("SK 104")
    tablet.press("hold.number")
    assert "Skeleton SK 104" in tablet.app.views["hold"].ids.zone.text


# -- pictures of bone on hold


@pytest.fixture
def shots(keyed: Desk, tmp_path: Path) -> Photographs:
    """The pictures of a docket on hold, where the site allows them and a supervisor records."""
    save_as_other(keyed, "site", keyed.site, {"hold_photos": True}, {})
    docket = raised(keyed, human.STOP)
    keyed.go(person={"person": "p-sup", "name": "Sven Example", "role": "supervisor"})
    found = Photographs(keyed, [tmp_path])
    found.begin(None, docket)
    return found


def test_a_picture_of_a_hold_is_sealed_as_it_is_taken_and_its_open_file_goes(
    shots: Photographs, tmp_path: Path
) -> None:
    path = tmp_path / "bone.jpg"
    path.write_bytes(b"PICTURE, invented")
    assert "sealed" in shots.take(path)
    assert not path.exists()
    folder = shots.desk.notebook.folder
    assert not any(b"PICTURE" in one.read_bytes() for one in folder.rglob("*") if one.is_file())
    (sealed,) = (folder / "photos").glob("*.sealed")
    assert unseal_bytes(sealed.read_bytes(), KEY, sealed.name.removesuffix(".sealed")) == b"PICTURE, invented"
    (photo,) = shots.desk.notebook.records("photo")
    assert photo.value("closed") is True
    assert any("photographed" in one.what for one in Hold(shots.desk, shots.hold).log())


def test_none_is_taken_where_the_site_has_not_allowed_it_by_a_recorder_or_without_the_cabins_key(
    shots: Photographs, tmp_path: Path
) -> None:
    desk, path = shots.desk, tmp_path / "bone.jpg"
    path.write_bytes(b"PICTURE, invented")

    def refused(words: str) -> None:
        assert words in shots.refused()
        assert words in shots.take(path)
        assert path.exists()
        assert desk.notebook.records("photo") == []

    desk.go(person={"person": "p-rec", "name": "Ana", "role": "recorder"})
    refused("named person")
    desk.go(person={"person": "p-sup", "name": "Sven Example", "role": "supervisor"})
    desk.notebook.set_setting("cabin", {"seal_key": ""})
    refused("could not be closed")
    site = desk.site_record()
    assert site is not None
    save_as_other(desk, "site", desk.site, {"hold_photos": False}, {"hold_photos": site.head_ids()["hold_photos"]})
    refused("no picture is taken here")
