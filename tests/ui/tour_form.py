"""The stops of the tour at the docket's form: its pages, skeletons and shelves. Not here: the other screens (tour)."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp import assets
from fieldapp.ui.presenters import shelves
from tests.ui.conftest import Tablet

PLATED = ("tibia", "femur", "humerus", "radius")


def form_stops(tablet: Tablet) -> Iterator[str]:
    """The form's bodies, from a new docket to the note."""
    press = tablet.press
    yield "form material"
    press("material.bone")
    yield "form human"
    press("go.aid")
    yield "aid, a question"
    press("aid.say.no", "aid.say.unclear", "aid.result")
    yield "aid, what it comes to"
    press("aid.leave", "human.no_sign")
    yield "form element"
    press("field.portions")
    yield "form portions without element"
    for element in PLATED:
        press("field.element", f"element.{element}", "field.portions")
        yield f"form portions, {element}"
    press("field.element", "element.skull", "field.portions")
    yield "form portions, skull"
    press("field.element", "element.femur", "field.taxon")
    yield "form taxon"
    yield from shelf_stops(tablet, "taxon")
    press("field.element")
    yield from shelf_stops(tablet, "element")
    yield from skeleton_stops(tablet)
    press("field.taxon", "taxon.fowl", "field.side")
    yield "form side"
    press("field.element", "element.astragalus")
    yield "form, impossible"
    press("action.problems")
    yield "form problems"
    press("field.portions", "portion.rest_most")
    yield "form, portions filled"
    press("field.element", "element.femur", "field.taxon", "taxon.cattle", "field.portions", "portion.rest_most")
    yield "form fusion"
    press("field.human", "go.aid")
    yield "aid, a question of a bone"
    press("aid.say.yes")
    yield "aid, possible human"
    press("aid.leave", "action.undo", "field.human", "go.beside")
    yield "human beside animals"
    press("beside.page")
    yield "human beside animals, more signs"
    press("beside.leave")
    press("field.more")
    yield "form note"
    press("note.worked", "find.more", "burning.calcined")
    yield "form note filled"


def skeleton_stops(tablet: Tablet) -> Iterator[str]:
    """Every skeleton and each of its regions, as the element is chosen by them."""
    press = tablet.press
    press("field.element", "shelf.map")
    for at in range(len(assets.MAPS)):
        body = assets.MAPS[at]
        yield f"form element, skeleton {body}"
        for region in assets.skeleton(body).regions():
            press(f"region.{region}")
            yield f"form element, skeleton {body} {region}"
            press(f"shelf.map:{body}")
        press(f"shelf.map:{assets.MAPS[(at + 1) % len(assets.MAPS)]}")
    press("shelf.")


def shelf_stops(tablet: Tablet, name: str) -> Iterator[str]:
    """The shelves of the open field, and every page of each."""
    press = tablet.press
    press("shelf.list")
    yield f"form {name}, shelves"
    press("shelf.search", "key.2", "key.2")
    yield f"form {name}, by letters"
    press("shelf.", "shelf.list")
    for shelf in shelves.shelves(name, tablet.app.desk.knowledge):
        press(f"shelf.{shelf}")
        for at in range(shelves.page(shelves.shelves(name, tablet.app.desk.knowledge)[shelf], 0)[1]):
            if at:
                press(f"shelf.{shelf}:{at}")
            yield f"form {name}, shelf {shelf} {at + 1}"
        press("shelf.", "shelf.list")
    press("shelf.")
