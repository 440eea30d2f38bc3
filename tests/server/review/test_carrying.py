"""Carry-files at the desk: who may load them, and what the page says."""

from __future__ import annotations

import io
import re
import uuid
from pathlib import Path

import pytest

from fieldapp.assets import texts
from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry, carry_answer
from tests.server.conftest import Clock
from tests.server.review.scene import BASE, PEOPLE, Scene
from tests.server.tablets import an_id
from tests.sync.conftest import BY, Site


def new_id() -> str:
    return str(uuid.uuid4())


@pytest.fixture
def brought(scene: Scene, tmp_path: Path, clock: Clock):
    """A tablet of the scene's cabin, and its file."""
    site = object.__new__(Site)
    site.config, site.cabin, site.ledger = scene.cabin.config, scene.cabin, scene.cabin.ledger
    site.client = scene.app.test_client()
    with Notebook.open(tmp_path / "tablet", clock, new_id) as notebook:
        site.enrolled(notebook)
        notebook.save("docket", an_id("carried"), {"count": 1}, {}, BY)
        yield notebook, carry.pack(notebook, tmp_path / "out.carry").path


def sent(visitor, path: Path | None, **more: str):
    token = re.search(r'name="csrf" value="([^"]*)"', visitor.get("/review/today").text)[1]
    data = {"csrf": token, **more}
    if path is not None:
        data["file"] = (io.BytesIO(path.read_bytes()), path.name)
    return visitor.client.post("/review/carry", data=data, base_url=BASE, content_type="multipart/form-data")


MAY = ("supervisor", "director", "administrator")


@pytest.mark.parametrize("role", PEOPLE)
def test_who_may_load_a_carry_file_stands_in_the_table_of_roles(scene, brought, role):
    visitor = scene.signed_in(role)
    allowed = role in MAY
    assert visitor.get("/review/carry").status_code == (200 if allowed else 403)
    assert ("/review/carry" in visitor.get("/review/today").text) == allowed
    tablets = visitor.get("/review/tablets")
    assert tablets.status_code != 200 or ("/review/carry" in tablets.text) == allowed
    assert sent(visitor, brought[1]).status_code == (200 if allowed else 403)
    assert (scene.cabin.ledger.record(an_id("carried")) is not None) == allowed


def test_the_page_loads_a_file_and_gives_the_answer_for_the_tablet(scene, brought, tmp_path):
    notebook, path = brought
    visitor = scene.signed_in("supervisor")
    page = sent(visitor, path)
    assert "1 changes, 1 of them new" in page.text
    link = re.search(r'href="(/review/carry/[^"]+)"', page.text)[1]
    answer = tmp_path / "answer.carry"
    answer.write_bytes(visitor.get(link).data)
    report = carry_answer.load(notebook, answer)
    assert report.sent == 1
    assert report.received > 10
    assert scene.signed_in("recorder").get(link).status_code == 403
    assert scene.visitor().get(link).status_code == 302
    (noted,) = scene.cabin.ledger.events(5, "carry_loaded")
    assert noted.fields["by"] == PEOPLE["supervisor"]


def test_the_page_says_what_is_wrong_with_a_file(scene, brought, tmp_path):
    notebook, path = brought
    visitor = scene.signed_in("director")
    assert "No file was chosen" in sent(visitor, None).text
    (tmp_path / "none").write_bytes(b"a letter")
    page = sent(visitor, tmp_path / "none")
    assert page.status_code == 409
    assert str(texts()["cabin.carry_none"]) in page.text
    scene.cabin.devices.withdraw(notebook.letter)
    assert "let in no more" in sent(visitor, path).text
    assert scene.cabin.ledger.record(an_id("carried")) is None
    page = sent(visitor, path, withdrawn="yes")
    assert page.status_code == 200
    assert "/review/carry/" not in page.text.replace('"/review/carry"', "")
    assert scene.cabin.ledger.record(an_id("carried")) is not None
    assert "decided to load a carry-file" in visitor.get("/review/today").text


def test_nobody_who_is_not_signed_in_sends_a_large_form(scene):
    part = b'--x\r\nContent-Disposition: form-data; name="file"; filename="x"\r\n\r\n' + bytes(2 * 2**20) + b"\r\n--x--"
    kind = "multipart/form-data; boundary=x"
    answer = scene.visitor().client.post("/review/carry", data=part, base_url=BASE, content_type=kind)
    assert answer.status_code == 413
