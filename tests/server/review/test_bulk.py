"""One field of many dockets: looked at first, over the heads that were shown, put back as one; never what is human."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from typing import Any

import pytest

from fieldapp.records.fold import Record
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.review.test_editing import fields_of
from tests.server.tablets import SITE, an_id, context_id

pytestmark = BOTH
DITCH, PIT = context_id(SITE, "1042"), context_id(SITE, "1057")
LOT = "/review/bulk"
NAMES = ("one", "two", "three")


@pytest.fixture
def some(scene: Scene) -> Scene:
    """Three more dockets in the ditch: a cow's and two sheep's."""
    for n, name in enumerate(NAMES):
        reading = seen("cattle" if name == "one" else "sheep", "tibia")
        scene.a.docket(name, label=label("A", 61 + n), context=DITCH, reading=reading, finder="Rowan")
    scene.send()
    return scene


def ids(names: Iterable[str]) -> str:
    return " ".join(an_id(name) for name in names)


def looked(visitor: Visitor, names: Iterable[str], **fields: str) -> Any:
    """The preview."""
    choose = visitor.get(f"{LOT}?" + "&".join(f"docket={an_id(name)}" for name in names))
    form = fields_of(choose.text.partition('class="edit"')[2].partition("</form>")[0])
    assert form["dockets"] == ids(names)
    return visitor.post(LOT, {**form, **fields})


def form_of(page: Any, action: str = LOT) -> dict[str, str]:
    form = page.text.partition(f'action="{action}"')[2].partition("</form>")[0]
    return {name: html.unescape(value) for name, value in fields_of(form).items()}


def written(visitor: Visitor, page: Any) -> Any:
    return visitor.post(LOT, {**form_of(page), "do": "write"})


def left(page: Any) -> dict[str, list[str]]:
    """{reason: labels} of those left out."""
    found = re.findall(r"<dt>(.*?) <span.*?<dd>(.*?)</dd>", page.text.partition('id="left"')[2], re.S)
    return {why: re.findall(r">([^<>]+)</a>", labels) for why, labels in found}


def values(scene: Scene, path: str) -> list[Any]:
    return [scene.record(name).value(path) for name in NAMES]


def test_a_lot_is_shown_written_over_what_was_shown_and_put_back(some: Scene) -> None:
    visitor, ledger = some.signed_in("zooarchaeologist"), some.cabin.ledger
    some.b.write("docket", an_id("three"), {"weathering": 2})
    some.send()
    head = ledger.names().head
    page = looked(visitor, NAMES, weathering="3")
    assert "Nothing is written yet" in page.text
    assert ledger.names().head == head
    heads = {name: some.record(name).head_ids().get("weathering", []) for name in NAMES}
    answer = written(visitor, page)
    assert answer.status_code == 302
    assert values(some, "weathering") == [3, 3, 3]
    for name in NAMES:
        change = ledger.history(an_id(name))[-1].change
        assert change.set == {"weathering": 3}
        assert change.over.get("weathering", []) == heads[name]
    assert (ledger.names().head, ledger.counts()["due"]) == (head + 3, 0)
    event = ledger.events(1)[0]
    assert (event.what, event.fields["n"], event.fields["path"]) == ("bulk_set", 3, "weathering")
    # Sent once more, what it shows has gone: nothing is written twice.
    assert written(visitor, page).status_code == 409
    assert ledger.names().head == head + 3
    some.b.write("docket", an_id("one"), {"weathering": 1}, {"weathering": some.record("one").head_ids()["weathering"]})
    some.send()
    lot = visitor.get(answer.location)
    assert "1 is left out" in lot.text
    back = visitor.post(answer.location, form_of(lot, answer.location))
    assert back.status_code == 302
    assert values(some, "weathering") == [1, None, 2]
    assert ledger.events(1)[0].what == "bulk_put_back"
    assert visitor.get("/review/bulk-list").text.count('<li><a href="/review/bulk/') == 2
    assert "set weathering (0 to 5) of 3 dockets at once" in some.signed_in("director").get("/review/log").text
    assert ledger.rebuild_matches()


def test_what_changes_between_the_look_and_the_write_is_left_out_and_said(some: Scene) -> None:
    visitor = some.signed_in("recorder")
    page = looked(visitor, NAMES, finder="Hazel")
    some.b.write("docket", an_id("two"), {"finder": "Sorrel"}, {"finder": some.record("two").head_ids()["finder"]})
    some.b.human("three", "query", "three raised")
    some.send()
    answer = written(visitor, page)
    assert values(some, "finder") == ["Hazel", "Sorrel", "Rowan"]
    assert left(visitor.get(answer.location)) == {
        "On hold: may be human": [label("A", 63)], "Changed meanwhile by somebody else": [label("A", 62)],
    }  # fmt: skip


def test_who_is_left_out_and_why(some: Scene) -> None:
    visitor, ledger = some.signed_in("zooarchaeologist"), some.cabin.ledger
    director = {"person": "", "name": "x", "role": "director"}
    ledger.write(
        "docket", an_id("one"), {"context": PIT}, {"context": some.record("one").head_ids()["context"]}, director
    )
    for tablet, roots in ((some.a, "some"), (some.b, "none")):
        tablet.write("docket", an_id("two"), {"roots": roots})
    some.a.write("docket", an_id("three"), {"roots": "most"})
    some.send()
    ledger.write("context", PIT, {"locked": True}, {}, director)
    names = (*NAMES, "stop", "query", "twin")
    page = looked(visitor, names, roots="most")
    told = left(page)
    assert told["Its context is locked"] == [label("A", 61)]
    assert told["People disagree about this field: settle it first"] == [label("A", 62)]
    assert told["It says so already"] == [label("A", 63)]
    assert len(told["On hold: may be human"]) == 3
    assert "Nothing would be written" in page.text
    # Nor does it hang on which of two words comes first whether somebody is said to disagree.
    for roots in ("some", "none"):
        assert (
            label("A", 62)
            in left(looked(visitor, names, roots=roots))["People disagree about this field: settle it first"]
        )
    page = looked(visitor, ["disputed", "precise"], taxon="large_mammal")
    assert left(page) == {"People disagree about this field: settle it first": [label("A", 1), label("A", 2)]}
    assert looked(visitor, ["three"], context="1057").status_code == 422, "nothing goes into a locked context"


def test_an_animal_is_only_ever_called_by_a_wider_name(some: Scene) -> None:
    visitor = some.signed_in("zooarchaeologist")
    page = looked(visitor, NAMES, taxon="sheep_goat")
    assert left(page) == {"The name is no wider one for its animal": [label("A", 61)]}
    before = some.record("two").value("reading")
    written(visitor, page)
    assert [one["taxon"] for one in values(some, "reading")] == ["cattle", "sheep_goat", "sheep_goat"]
    assert some.record("two").value("reading") == {**before, "taxon": "sheep_goat"}, "a whole reading, as it was"
    assert len(left(looked(visitor, NAMES, taxon="sheep"))["The name is no wider one for its animal"]) == 3
    stage = looked(visitor, NAMES, stage="scan")
    written(visitor, stage)
    assert [one["stage"] for one in values(some, "reading")] == ["scan"] * 3


def test_where_a_rule_would_ask_the_human_question_it_is_one_docket_s_matter(some: Scene) -> None:
    visitor = some.signed_in("supervisor")
    grave = context_id(SITE, "3001")
    some.a.write("context", grave, {"number": "3001", "type": "grave", "grave_like": "yes"})
    some.send()
    head = some.cabin.ledger.names().head
    page = looked(visitor, NAMES, context="3001")
    assert left(page) == {
        "A rule asks the human question here: one docket at a time": [label("A", n) for n in (61, 62, 63)]
    }
    assert some.cabin.ledger.names().head == head


def test_nothing_else_is_ever_set_for_many(some: Scene) -> None:
    visitor = some.signed_in("zooarchaeologist")
    head = some.cabin.ledger.names().head
    form = form_of(looked(visitor, NAMES, roots="some"))
    for name in ("human", "human/x", "deleted", "reading", "element", "place", "label", "checked", "assessment/x"):
        assert looked(visitor, NAMES, **{name: "query"}).status_code == 422
        assert visitor.post(LOT, {**form, "path": name, "text": "query", "do": "write"}).status_code == 422
    assert looked(visitor, NAMES, burning="burnt", finder="Hazel").status_code == 422, "one field, not two"
    assert looked(visitor, NAMES, burning="no such word").status_code == 422
    assert some.cabin.ledger.names().head == head


def test_a_bag_a_note_and_the_question_taken_off(some: Scene) -> None:
    visitor = some.signed_in("recorder")
    some.a.write("docket", an_id("one"), {"ask": True})
    some.send()
    written(visitor, looked(visitor, NAMES, ask="yes"))
    assert some.record("one").value("ask") is None
    note = written(visitor, looked(visitor, NAMES, note="from the west end"))
    assert [[one["text"] for one in some.record(name).items("note").values()] for name in NAMES] == [
        ["from the west end"]
    ] * 3
    written(visitor, looked(visitor, NAMES, bag="1042-1"))
    assert values(some, "bag") == [an_id("bag")] * 3
    assert values(some, "context") == [None] * 3
    where = note.location
    visitor.post(where, form_of(visitor.get(where), where))
    assert [some.record(name).items("note") for name in NAMES] == [{}] * 3


def test_what_somebody_is_to_read_a_second_time_is_neither_shown_nor_set(some: Scene) -> None:
    from tests.server.review.test_entry import BAG, Session
    from tests.server.review.test_second import drawn

    made = Session(some).type("humerus l cattle x7").made()
    drawn(some)
    reader = some.signed_in("human_osteologist")
    page = looked(reader, NAMES, taxon="sheep_goat")
    assert left(page) == {"You are to read it a second time": [label("A", n) for n in (61, 62, 63)]}
    assert made.value("label") in some.signed_in("zooarchaeologist").get(BAG).text
    again = Session(some, "human_osteologist")
    assert made.value("label") not in again.page.text
    page = again.type("= r").page
    assert "no docket before this one" in page.text
    assert page.status_code == 422


def test_a_whole_list_is_taken_as_it_is_narrowed_down(some: Scene) -> None:
    visitor = some.signed_in("recorder")
    assert "Edit those ticked" in visitor.get("/review/dockets?find=sheep").text
    page = visitor.get(f"{LOT}?all=yes&find=tibia+sheep&context={DITCH}")
    chosen = fields_of(page.text.partition('class="edit"')[2])["dockets"].split()
    assert {an_id("two"), an_id("three")} <= set(chosen)
    assert an_id("one") not in chosen

    def is_sheep(record: Record | None) -> bool:
        return record is not None and record.value("reading")["taxon"] in ("sheep", "sheep_goat")

    assert all(is_sheep(some.cabin.ledger.record(one)) for one in chosen)
    assert "No docket is ticked" in visitor.get(LOT).text
    assert visitor.get(f"{LOT}/{an_id('one')}").status_code == 404
    assert some.signed_in("director").get(LOT).status_code == 403


def test_the_page_of_keys_names_every_key_there_is(scene: Scene) -> None:
    from server.review import keys
    from tests.server.review.test_pages import text_of

    shown = text_of(scene.signed_in("director"), "/review/keys")
    folder = next(iter(scene.app.blueprints["review"].jinja_loader.searchpath))  # type: ignore[union-attr]
    from pathlib import Path

    used = {one for file in Path(folder).rglob("*.html") for one in re.findall(r'accesskey="(\w)"', file.read_text())}
    assert used == set(keys.KEYS)
    assert "save" in shown
