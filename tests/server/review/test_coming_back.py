"""Nobody loses her place: back to the list as it was, on to the next of it, and what was just written is there."""

from __future__ import annotations

import re
from html import unescape

import pytest

from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, label, seen
from tests.server.review.test_second import drawn, of
from tests.server.tablets import an_id

LIST = "/review/dockets?find=A&sort=-label"


def test_a_docket_leads_back_to_the_list_that_it_was_opened_from(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    listed = visitor.get(LIST).text
    found = re.search(rf'href="(/review/docket/{an_id("heavy")}\?back=[^"]*)"', listed)
    assert found
    page = visitor.get(unescape(found[1])).text
    assert f'href="{LIST.replace("&", "&amp;")}#r-{an_id("heavy")}"' in page
    assert f'id="r-{an_id("heavy")}"' in listed
    edit = re.search(rf'href="(/review/docket/{an_id("heavy")}/edit\?back=[^"]*)"', page)
    assert edit
    save = re.search(r'<form method="post" class="edit" action="([^"]*)"', visitor.get(unescape(edit[1])).text)
    assert save
    form = visitor.form(unescape(edit[1]), save[1])
    saved = visitor.post(unescape(save[1]), {**form, "do": "save", "weight_g": "9"})
    assert saved.status_code == 302
    assert 'class="back"' in visitor.get(saved.location).text, "and after it was saved"
    assert 'class="back"' not in visitor.get(f"/review/docket/{an_id('heavy')}").text


@pytest.mark.parametrize(
    "back",
    [
        "https://elsewhere.test/",
        "//elsewhere.test",
        "/elsewhere",
        "/review/\\x",
        "javascript:x",
        "/review/" + "x" * 900,
    ],
)
def test_nothing_but_an_address_of_these_pages_is_led_back_to(scene: Scene, back: str) -> None:
    page = scene.signed_in("director").client.get(
        f"/review/docket/{an_id('heavy')}", query_string={"back": back}, base_url="https://localhost"
    )
    assert page.status_code == 200
    assert 'class="back"' not in page.text
    assert "back=" not in page.text.partition("<footer")[0], "nor is it carried on"


@BOTH
def test_settling_goes_on_to_the_next_of_the_narrowed_list(scene: Scene) -> None:
    for n in (60, 61, 62):
        scene.a.docket(f"two {n}", reading=seen("sheep", "rib" if n == 61 else "femur"), label=label("A", n))
        scene.b.write("docket", an_id(f"two {n}"), {"reading": seen("pig", "rib" if n == 61 else "femur")})
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    back = "/review/disagreements?find=femur"
    first, settled = f"/review/disagreement/{an_id('two 60')}/reading", {"reason": "seen", "do": "next"}
    form = visitor.form(first, first)
    choice = next(iter(scene.record("two 60").heads["reading"]))
    answer = visitor.post(f"{first}?back={back}", {**form, **settled, "choice": choice})
    assert f"/review/disagreement/{an_id('two 62')}/reading" in answer.location, "61 is no femur"
    page = visitor.get(answer.location).text
    assert "settled." in page
    assert back in page
    # Somebody wrote another version meanwhile: she is told on the next page.
    form = visitor.form(
        f"/review/disagreement/{an_id('two 62')}/reading", f"/review/disagreement/{an_id('two 62')}/reading"
    )
    scene.b.write("docket", an_id("two 62"), {"reading": seen("goat", "femur")})
    scene.send()
    choice = form["heads"].split('"')[3]
    answer = visitor.post(f"/review/disagreement/{an_id('two 62')}/reading", {**form, **settled, "choice": choice})
    assert "it is still open" in visitor.get(answer.location).text


def test_a_second_reader_goes_on_unless_something_is_to_be_mended(scene: Scene) -> None:
    draw = drawn(scene)
    oswin = scene.signed_in("human_osteologist")
    where = f"/review/second/{of(draw, 'rib')}"
    form = {**oswin.form(where, where), "parts_of": "tibia/cattle", "element": "tibia", "taxon": "cattle", "do": "next"}
    form |= {"side": "left", "portions.distal_medial": "most", "rest": "absent"}
    answer = oswin.post(where, form)
    assert answer.location.startswith("/review/second/")
    assert of(draw, "rib") not in answer.location.partition("?")[0]
    assert f"{label('A', 3)} was saved." in oswin.get(answer.location).text
    where = f"/review/second/{of(draw, 'heavy')}"
    form = {**oswin.form(where, where), "parts_of": "astragalus/fowl", "element": "astragalus", "taxon": "fowl"}
    answer = oswin.post(where, {**form, "do": "next"})
    assert of(draw, "heavy") in answer.location, "a fowl has no astragalus of its own: she is shown that first"


@BOTH
def test_a_box_is_there_before_the_rules_have_looked(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = visitor.form("/review/boxes", "/review/boxes")
    shown = visitor.post("/review/boxes", {**form, "box": "Box 1", "labels": "1042-1"}).text
    put = {name: unescape(value) for name, value in re.findall(r'name="(put|left)" value="([^"]*)"', shown)}
    answer = visitor.post("/review/boxes", {**form, "box": "Box 1", **put})
    page = visitor.get(answer.location)
    assert page.status_code == 200
    assert "1042-1" in page.text


def test_a_list_is_searched_by_the_number_of_a_context(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    assert an_id("blank") in visitor.get("/review/dockets?find=1057").text
    assert an_id("heavy") not in visitor.get("/review/dockets?find=1057").text
    assert an_id("disputed") in visitor.get("/review/disagreements?find=1042").text
