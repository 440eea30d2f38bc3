"""Human plates beside animal ones: what the page shows, and that it never clears a bone."""

from __future__ import annotations

import re

from fieldapp.assets import knowledge
from tests.server.review.scene import Scene
from tests.server.review.test_pages import text_of

FIGURES = re.compile(r'data-form="(\w+)"')


def test_the_bones_with_a_human_plate_are_listed_and_each_has_its_page(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    page = visitor.get("/review/beside").get_data(as_text=True)
    human = {element for form, element in knowledge().gallery.plates if form == "human"}
    assert set(re.findall(r'href="/review/beside/(\w+)"', page)) == human
    for element in sorted(human):
        shown = visitor.get(f"/review/beside/{element}")
        assert shown.status_code == 200
        forms = FIGURES.findall(shown.get_data(as_text=True))
        assert forms[0] == "human"
        assert "human" not in forms[1:]
        assert len(forms) == len(set(forms)) <= 4
        assert "Nothing on this page clears a bone" in text_of(visitor, f"/review/beside/{element}")


def test_the_animal_in_hand_stands_next_to_the_human_bone(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    for taxon, form in (("horse", "equid"), ("dog", "carnivore"), ("sheep", "ruminant"), ("pig", "pig")):
        page = visitor.get(f"/review/beside/femur?taxon={taxon}").get_data(as_text=True)
        assert FIGURES.findall(page)[:2] == ["human", form]
    assert FIGURES.findall(visitor.get("/review/beside/femur?taxon=no_such").get_data(as_text=True))[0] == "human"


def test_each_sign_is_shown_with_its_strength_its_pitfall_and_where_it_is_from(scene: Scene) -> None:
    """The table `human_criteria` is the source; the page may leave nothing of a row out."""
    page = text_of(scene.signed_in("human_osteologist"), "/review/beside/femur")
    rows = [one for one in knowledge().criteria.values() if "femur" in one.elements]
    assert len(rows) >= 6
    for one in rows:
        for part in (one.question, one.pitfall, one.source):
            assert " ".join(part.split()) in page.replace("&amp;", "&"), one.key
    assert page.count("weakly; weak signs never add up") == sum(
        one.strength == "weak" and one.points_to != "none" for one in rows
    )
    assert page.count("(from memory, not seen)") == sum(one.seen == "memory" for one in rows)


def test_a_bone_without_a_human_plate_has_no_page(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assert visitor.get("/review/beside/horn_core").status_code == 404
    assert visitor.get("/review/beside/no_such_bone").status_code == 404


def test_nobody_looks_without_signing_in(scene: Scene) -> None:
    assert scene.visitor().get("/review/beside").status_code in (302, 303, 401)
