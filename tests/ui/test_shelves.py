"""Every element and animal of the tables can be reached on the form, and is found where it is looked for."""

from __future__ import annotations

import pytest

from fieldapp.domain.usual import USUAL
from fieldapp.ui.presenters import form_fields, lately, shelves
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from tests.ui.test_form import new


def test_every_element_and_taxon_of_the_tables_can_be_chosen(desk: Desk) -> None:
    for name, table in (("element", desk.knowledge.elements), ("taxon", desk.knowledge.taxa)):
        found = [key for keys in shelves.shelves(name, desk.knowledge).values() for key in keys]
        assert sorted(found) == sorted(table)
        assert {key for row in USUAL[name] for key in row} <= set(table)
    assert {key for row in form_fields.MATERIALS for key in row} == set(desk.knowledge.words["material"])


def idents(form: Form) -> list[str]:
    return [one.ident for row in form_fields.rows(form) for one in row]


@pytest.mark.parametrize("name", ["element", "taxon"])
def test_whatever_is_not_among_the_usual_ones_is_one_shelf_away(desk: Desk, name: str) -> None:
    form = new(desk)
    form.open_field(name)
    form.open_shelf("list")
    reached = set()
    for shelf in [one for one in idents(form) if one != "shelf."]:
        form.open_shelf(shelf.removeprefix("shelf."))
        for _ in range(20):
            reached |= {one for one in idents(form) if one.startswith(f"{name}.")}
            assert all(len(row) <= shelves.ACROSS for row in form_fields.rows(form))
            assert len(form_fields.rows(form)) <= shelves.DOWN
            on = [one for one in idents(form) if one.startswith("shelf.") and one != "shelf."]
            if not on:
                break
            form.open_shelf(on[0].removeprefix("shelf."))
        form.open_shelf("list")
    table = desk.knowledge.elements if name == "element" else desk.knowledge.taxa
    assert reached == {f"{name}.{key}" for key in table}


def test_choosing_closes_the_shelf_and_a_shelf_is_no_tap_to_take_back(desk: Desk) -> None:
    form = new(desk)
    form.open_field("taxon")
    form.open_shelf("fish")
    assert form.state.undo == []
    form.choose("taxon", "fish")
    assert form.state.shelf == ""
    form.open_field("taxon")
    more = next(one for row in form_fields.rows(form) for one in row if one.ident == "shelf.list")
    assert more.chosen
    assert more.note == "fish"


def test_a_bone_of_several_classes_stands_with_those_of_the_animal_in_hand(desk: Desk) -> None:
    know = desk.knowledge
    assert "coracoid" in shelves.shelves("element", know)["bird"]
    assert "quadrate" in shelves.shelves("element", know, "cod")["fish"]
    assert "bird" not in shelves.shelves("element", know, "cod")
    assert "fish" not in shelves.shelves("element", know, "cattle")


def test_names_are_found_by_keys_of_several_letters() -> None:
    names = {"calcaneum": "calcaneum", "cattle": "cattle", "horn_core": "horn core", "baer": "Bär"}
    assert shelves.by_letters(names, "") == []
    assert shelves.by_letters(names, "22") == ["calcaneum", "cattle", "baer"]
    assert shelves.by_letters(names, "225") == ["calcaneum"]
    assert shelves.by_letters(names, "2673") == ["horn_core"]
    assert shelves.by_letters(names, "9999") == []


def test_every_element_and_taxon_is_found_by_its_letters(desk: Desk) -> None:
    know = desk.knowledge
    for rows in (know.elements, know.taxa):
        names = {key: one.name for key, one in rows.items()}
        for key, name in names.items():
            typed = "".join(next((k for k, own in shelves.LETTERS.items() if c in own), "1") for c in name.lower()[:4])
            if "1" not in typed:
                assert key in shelves.by_letters(names, typed), key


def test_what_was_saved_lately_is_at_hand_and_newest_first(desk: Desk) -> None:
    for element in ("rib", "tibia", "rib", "femur"):
        form = new(desk)
        form.choose("material", "bone")
        form.choose("element", element)
        form.save()
    assert lately.recent(desk, "element") == ["femur", "rib", "tibia"]
    assert lately.before(desk) == {"element": "femur"}
