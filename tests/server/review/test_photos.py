"""Photographs on the pages: in a strip, closed ones by role and noted, none of them kept. Everything invented."""

from __future__ import annotations

import hashlib
import re
from io import BytesIO

import pytest
from PIL import Image

from fieldapp.assets import texts
from server.photos import Part
from tests.server.review.scene import PEOPLE, Scene
from tests.server.tablets import SITE, an_id, context_id

SEE = ("supervisor", "zooarchaeologist", "human_osteologist", "director")


def picture(colour: str = "red") -> bytes:
    out = BytesIO()
    Image.new("RGB", (640, 480), colour).save(out, "JPEG")
    return out.getvalue()


def bring(scene: Scene, data: bytes, name: str = "photo", at: str = "", **values: object) -> str:
    """A picture with its record, from tablet one; its address without the size."""
    sha256 = hashlib.sha256(data).hexdigest()
    scene.cabin.photos.take(scene.a.id, Part(sha256, len(data), False), 0, [data])
    scene.a.write("photo", an_id(name), {"sha256": sha256, "scale": True, **values}, at=at)
    scene.send()
    return f"/review/photo/{an_id(name)}/0"


def noted(scene: Scene) -> list[tuple[str, str]]:
    return [(one.fields["role"], one.fields["what"]) for one in scene.cabin.ledger.events(100, "closed_seen")]


def copies(scene: Scene) -> list[str]:
    return [one.name for one in (scene.cabin.config.data / "photos-small").rglob("*.jpg")]


@pytest.mark.parametrize("role", sorted(PEOPLE))
def test_a_photograph_stands_on_the_page_of_its_docket_and_of_its_context(scene: Scene, role: str) -> None:
    data = picture()
    where = bring(scene, data, docket=an_id("rib"))
    visitor = scene.signed_in(role)
    for page in (f"/review/docket/{an_id('rib')}", f"/review/context/{context_id(SITE, '1042')}"):
        text = visitor.get(page).text
        assert f'src="{where}/small"' in text
        assert f'href="{where}/whole"' in text
        assert "scale in it" in text
    whole = visitor.get(f"{where}/whole")
    assert (whole.mimetype, whole.data) == ("image/jpeg", data)
    assert Image.open(BytesIO(visitor.get(f"{where}/small").data)).size == (240, 180)
    assert copies(scene) == [f"{hashlib.sha256(data).hexdigest()}.small.jpg"]
    assert noted(scene) == []


def test_a_browser_asks_each_time_whether_it_may_still_show_one(scene: Scene) -> None:
    where = bring(scene, picture(), docket=an_id("rib"))
    visitor = scene.signed_in("recorder")
    first = visitor.get(f"{where}/small")
    assert first.headers["Cache-Control"] == "private, no-cache"
    again = visitor.client.get(
        f"{where}/small", base_url="https://localhost", headers={"If-None-Match": first.headers["ETag"]}
    )
    assert again.status_code == 304
    scene.a.human("rib", "query", "raised afterwards")
    scene.send()
    again = visitor.client.get(
        f"{where}/small", base_url="https://localhost", headers={"If-None-Match": first.headers["ETag"]}
    )
    assert again.status_code == 403


@pytest.mark.parametrize("how", ["record", "raised", "joined", "another record", "sealed"])
@pytest.mark.parametrize("role", sorted(PEOPLE))
def test_a_closed_one_is_seen_by_those_who_may_and_each_look_is_noted(scene: Scene, role: str, how: str) -> None:
    data = picture("blue")
    about = {"record": "rib", "raised": "stop", "joined": "twin"}.get(how, "rib")
    where = bring(scene, data, docket=an_id(about), closed=how == "record")
    if how == "another record":
        bring(scene, data, "other", docket=an_id("stop"))
    if how == "sealed":
        bring(scene, data, "other", docket=an_id("heavy"), closed=True)
    visitor = scene.signed_in(role)
    page = visitor.get(f"/review/docket/{an_id(about)}").text
    assert f"{where}/small" not in page
    assert hashlib.sha256(data).hexdigest() not in page
    assert (f"{where}/middle" in page) is (role in SEE)
    assert [one for one in noted(scene) if one[1] == "photo"] == []
    for number, size in enumerate(("small", "middle", "whole")):
        answer = visitor.get(f"{where}/{size}")
        if role not in SEE:
            assert answer.status_code == 403
            assert b"JFIF" not in answer.data
            continue
        assert Image.open(BytesIO(answer.data)).format == "JPEG"
        assert answer.headers["Cache-Control"] == "no-store"
        assert "ETag" not in answer.headers
        assert [one for one in noted(scene) if one[1] == "photo"] == [(role, "photo")] * (number + 1)
    assert copies(scene) == []


def test_copies_of_what_is_closed_afterwards_are_taken_away(scene: Scene) -> None:
    where = bring(scene, picture("green"), docket=an_id("rib"))
    visitor = scene.signed_in("director")
    visitor.get(f"{where}/small")
    assert len(copies(scene)) == 1
    scene.a.write("photo", an_id("photo"), {"closed": True})
    scene.send()
    scene.cabin.rules_due()
    assert copies(scene) == []


def test_a_broken_picture_is_drawn_as_one_and_what_is_none_is_only_to_be_saved(scene: Scene) -> None:
    where = bring(scene, b"<html><script>alert(1)</script>", docket=an_id("rib"))
    visitor = scene.signed_in("recorder")
    assert Image.open(BytesIO(visitor.get(f"{where}/small").data)).size == (240, 180)
    whole = visitor.get(f"{where}/whole")
    assert whole.mimetype == "application/octet-stream"
    assert whole.headers["Content-Disposition"] == "attachment"
    assert whole.headers["X-Content-Type-Options"] == "nosniff"


def test_one_that_has_not_come_is_said_to_be_on_its_way(scene: Scene) -> None:
    scene.a.write("photo", an_id("photo"), {"sha256": "ab" * 32, "docket": an_id("rib")})
    scene.send()
    visitor = scene.signed_in("recorder")
    assert "Not sent yet" in visitor.get(f"/review/docket/{an_id('rib')}").text
    assert visitor.get(f"/review/photo/{an_id('photo')}/0/small").status_code == 404
    assert visitor.get(f"/review/photo/{an_id('photo')}/1/small").status_code == 404
    assert visitor.get(f"/review/photo/{an_id('rib')}/0/small").status_code == 404


def test_a_store_that_is_away_is_told_on_a_page_and_the_docket_is_shown(scene: Scene) -> None:
    where = bring(scene, picture(), docket=an_id("rib"))
    folder = scene.cabin.config.data / "photos"
    folder.rename(folder.with_name("gone"))
    folder.write_bytes(b"")
    visitor = scene.signed_in("recorder")
    answer = visitor.get(f"{where}/whole")
    assert answer.status_code == 503
    assert "does not answer" in answer.text
    assert visitor.get(f"/review/docket/{an_id('rib')}").status_code == 200


def test_pages_take_pictures_from_this_cabin_only(scene: Scene) -> None:
    policy = scene.signed_in("recorder").get("/review/today").headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "img-src" not in policy
    assert "data:" not in policy


def test_what_came_in_of_a_photograph_is_told_in_words(scene: Scene) -> None:
    bring(scene, picture(), docket=an_id("rib"), view="cranial", closed=False, north=True)
    page = scene.signed_in("supervisor").get("/review/today").text
    came = page[page.index('id="came"') :]
    assert "sha256" not in came
    for key in ("sha256", "view", "north", "closed", "scale"):
        assert texts()[f"review.field.{key}"] in came
    assert f"{texts()['review.kind.photo']} </td>" in came


def test_a_strip_says_who_took_each_picture_and_when_the_first_first(scene: Scene) -> None:
    # In zones of their own: what counts is the moment and not how it is written.
    times = {
        "late": "2026-06-01T09:00:00-05:00",
        "early": "2026-06-01T12:30:00+02:00",
        "middle": "2026-06-01T11:00:00Z",
    }
    for name, at in times.items():
        scene.a.by = {**scene.a.by, "name": f"Digger {name}"}
        bring(scene, picture(), name, docket=an_id("rib"), at=at)
    page = scene.signed_in("supervisor").get(f"/review/docket/{an_id('rib')}").text
    strip = page[page.index('class="photos"') : page.index('id="fields"')]
    assert re.findall(r"Digger (\w+), recorder", strip) == ["early", "middle", "late"]
    assert re.findall(r'<time datetime="([^"]+)">', strip) == [times[one] for one in ("early", "middle", "late")]


def test_a_picture_whose_time_is_none_is_shown_all_the_same(scene: Scene) -> None:
    bring(scene, picture(), docket=an_id("rib"), at="the day before yesterday")
    assert "the day before yesterday" in scene.signed_in("supervisor").get(f"/review/docket/{an_id('rib')}").text
