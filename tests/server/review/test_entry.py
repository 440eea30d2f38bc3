"""Entry by keyboard: a line a docket, understood or kept in the field, a raise at once, labels never twice."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.domain.labels import read
from fieldapp.records.fold import Record
from server import review
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor
from tests.server.review.test_editing import fields_of
from tests.server.tablets import SITE, an_id, context_id

pytestmark = BOTH
DITCH = context_id(SITE, "1042")
BAG = f"/review/bag/{an_id('bag')}/entry"
LINE = 'hum l cattle +dis -* d:f Bd80.5 w120 x2 ?n "gnawed'


class Session:
    """Somebody who types at a page."""

    def __init__(self, scene: Scene, role: str = "zooarchaeologist", where: str = BAG) -> None:
        self.scene, self.where = scene, where
        self.visitor: Visitor = scene.signed_in(role)
        self.page = self.visitor.get(where)

    def type(self, line: str, do: str = "save") -> Session:
        """Types a line and Enter, as a browser sends it."""
        self.sent = {**self.fields(), "line": line, "do": do}
        self.answer = self.page = self.visitor.post(self.where, self.sent)
        if self.answer.status_code == 302:
            self.page = self.visitor.get(self.answer.location)
        return self

    def fields(self) -> dict[str, str]:
        return fields_of(self.page.text.partition('class="edit typing"')[2].partition("</form>")[0])

    def made(self) -> Record:
        record = self.scene.cabin.ledger.record(self.sent["once"])
        assert record is not None, self.page.text
        return record

    @property
    def head(self) -> int:
        return self.scene.cabin.ledger.names().head


def test_a_line_is_a_docket_and_the_field_is_empty_and_has_the_focus_again(scene: Scene) -> None:
    session = Session(scene).type(LINE)
    record = session.made()
    (human_path,) = [path for path in record.heads if path.startswith("human/")]
    assert {path: record.value(path) for path in ("bag", "context", "material", "count", "weight_g")} == {
        "bag": an_id("bag"), "context": None, "material": "bone", "count": 2, "weight_g": 120.0,
    }  # fmt: skip
    reading = record.value("reading")
    assert (reading["element"], reading["side"], reading["taxon"], reading["stage"]) == (
        "humerus", "left", "cattle", "analysis",
    )  # fmt: skip
    assert reading["portions"]["head"] == "absent"
    assert list(record.items("measure").values()) == [{"code": "Bd", "mm": 80.5}]
    assert list(record.items("note").values()) == [{"text": "gnawed", "stage": "analysis"}]
    assert next(iter(record.added("human").values()))["answer"] == human.NO_SIGN
    assert human_path.count("/") == 1
    assert 'name="line" value=""' in session.page.text
    assert "autofocus" in session.page.text
    listed = session.page.text.partition('class="made"')[2]
    for words in (record.value("label"), "left humerus", "80.5", "120", "gnawed", "<svg"):
        assert words in listed
    # The same form sent once more makes no second docket.
    head = session.head
    assert session.visitor.post(BAG, session.sent).status_code == 302
    assert session.head == head
    second = session.type("= r w80").made()
    assert (second.value("reading")["element"], second.value("reading")["side"]) == ("humerus", "right")
    assert second.added("human") == {}
    numbers = [read(one.value("label")).number for one in (record, second)]
    assert numbers == [1, 2]
    made = session.page.text.partition('class="made"')[2]
    assert made.index(second.value("label")) < made.index(record.value("label")), "newest first"


def test_of_a_line_that_is_not_understood_nothing_is_saved_and_the_nearest_words_are_named(scene: Scene) -> None:
    session = Session(scene)
    head = session.head
    page = session.type("humeris l catle Bq12 x2").page
    assert page.status_code == 422
    assert 'value="humeris l catle Bq12 x2"' in page.text
    assert "humeris is no word known here. Nearest: humerus" in page.text
    assert "Nearest: cattle" in page.text
    page = session.type("humerus l Bq12").page
    assert "Measurements of this bone: " in page.text
    assert "GLC" in page.text.partition("Measurements of this bone: ")[2].partition("</p>")[0]
    assert "Nothing says what it is of" in session.type("l w12").page.text
    looked = session.type("tibia l sheep", do="look").page
    assert looked.status_code == 200
    assert "left tibia" in looked.text
    assert 'value="tibia l sheep"' in looked.text
    assert session.head == head


def test_names_of_several_words_are_saved_as_they_are_meant_and_codes_are_shown_as_they_are_typed(scene: Scene) -> None:
    session = Session(scene).type("mc r red deer -*")
    reading = session.made().value("reading")
    assert (reading["element"], reading["taxon"]) == ("metacarpal", "red_deer")
    session.type("tib l cattle sheep +trochlea")
    assert session.answer.status_code == 422
    assert "the line has already said cattle" in session.page.text
    assert "It has: medial condyle, lateral condyle" in session.page.text
    how = session.page.text.partition('<details class="how">')[2]
    assert '<dt class="code"><code>?s ?q ?n ?c ??</code></dt>' in how
    css = (Path(review.__file__).parent / "static/review.css").read_text(encoding="utf-8")
    assert "dt.code::first-letter, thead th.unit::first-letter { text-transform: none; }" in css


def test_callipers_and_a_balance_type_figures_of_their_own(scene: Scene) -> None:
    session = Session(scene)
    head = session.head
    assert "Waiting for Bd" in session.type("hum l cattle Bd").page.text
    assert session.fields()["held"] == "hum l cattle Bd"
    assert "Enter saves it" in session.type("80.5").page.text
    assert "Waiting for w" in session.type("w").page.text
    session.type("120,4g")
    assert session.head == head, "it is in hand until Enter, or until words end it"
    record = session.type("").made()
    assert [one["mm"] for one in record.items("measure").values()] == [80.5]
    assert record.value("weight_g") == 120.4
    # A note in hand does not swallow the figure, and what is in hand can be put back into the field.
    session.type('tibia l Bd "worn')
    assert session.type("31").fields()["held"] == 'tibia l Bd 31 "worn'
    assert session.type("x2", do="back").fields() | {"once": "", "csrf": "", "before": ""} == {
        "held": "", "line": 'tibia l Bd 31 x2 "worn', "once": "", "csrf": "", "before": "",
    }  # fmt: skip
    assert session.type("31").page.status_code == 422, "nothing waits for it"


@pytest.mark.parametrize(("code", "answer", "tier"), [("?S", "stop", "stop"), ("?q", "query", "query")])
def test_a_raise_is_saved_at_once_whatever_else_was_typed(scene: Scene, code: str, answer: str, tier: str) -> None:
    scene.cabin.ledger.write("context", DITCH, {"locked": True}, {}, {"person": "", "name": "x", "role": "director"})
    session = Session(scene, "recorder")
    assert session.type("femur l").answer.status_code == 409, "the context is locked"
    session.type(f"femur l xyzzy {code} ?n w")
    record = session.made()
    assert [one["answer"] for one in record.added("human").values()] == [answer]
    assert (record.value("bag") is None) == (code == "?S"), "what is left in the ground is in no bag"
    hold = scene.cabin.ledger.record(hold_id(record.id))
    assert hold is not None
    assert (hold.value("tier"), hold.value("context"), hold.value("in_place")) == (tier, DITCH, code == "?S")
    assert [one["text"] for one in record.items("note").values()] == [
        "Typed with the raise and not understood: xyzzy w"
    ]
    assert "may be human" in session.page.text
    assert f"/review/hold/{record.id}" in session.page.text
    assert [one.what for one in scene.cabin.ledger.events(2)] == ["raised", "docket_made"]


def test_what_a_rule_asks_comes_with_the_docket_and_is_shown(scene: Scene) -> None:
    session = Session(scene).type("femur l human")
    record = session.made()
    assert all(one["by_rule"] for one in record.added("human").values())
    assert scene.cabin.ledger.record(hold_id(record.id)) is not None
    assert "may be human" in session.page.text


def undo(session: Session, record: Record, **other: str) -> Any:
    where = f"/review/docket/{record.id}/take-back"
    form = session.page.text.partition(f'action="{where}"')[2].partition("</form>")[0]
    return session.visitor.post(where, {**fields_of(form), **other})


def test_undo_deletes_what_was_shown_and_its_label_is_not_given_again(scene: Scene) -> None:
    session = Session(scene).type(LINE)
    record = session.made()
    page = undo(session, record).location
    ledger = scene.cabin.ledger
    assert f"undone={record.id}" in page
    gone = ledger.record(record.id)
    assert gone is not None
    assert gone.life() == "deleted"
    session.page = session.visitor.get(page)
    assert "Its label is not given again" in session.page.text
    second = session.type("tibia l").made()
    assert read(second.value("label")).number == 2
    # Something newer than what the list showed: nothing is taken back.
    scene.b.write("docket", second.id, {"count": 3}, {})
    scene.send()
    assert f"kept={second.id}" in undo(session, second).location
    raised = session.type("femur l ?q").made()
    assert f"docket/{raised.id}/take-back" not in session.page.text
    heads = {"csrf": session.fields()["csrf"], "heads": json.dumps(raised.head_ids())}
    assert "kept=" in session.visitor.post(f"/review/docket/{raised.id}/take-back", heads).location
    # A docket of a tablet's is not taken back by a list it is not in.
    heads["heads"] = json.dumps(scene.record("rib").head_ids())
    assert "kept=" in session.visitor.post(f"/review/docket/{an_id('rib')}/take-back", heads).location
    assert scene.record("rib").life() == "live"


def test_many_lines_are_saved_together_and_the_rest_stays_in_the_box(scene: Scene) -> None:
    session = Session(scene, where=f"{BAG}/many")
    text = "hum l cattle Bd\n80.5\n= r\ntibai l\n= r\n\nradius r pig ?n\nfemur human\nulna w\nrib x3"

    def send(do: str) -> Any:
        session.sent = {**session.fields(), "lines": text, "do": do}
        session.page = session.visitor.post(session.where, session.sent)
        return session.page

    head = session.head
    page = send("look")
    assert page.text.count(">understood</span>") == 3
    assert session.head == head
    page = send("save")
    assert "3 dockets are saved. 5 lines stay in the box." in page.text
    assert session.fields()["lines"].split("\n") == [
        "tibai l", "= r", "radius r pig ?n", "femur human", "ulna w",
    ]  # fmt: skip
    ledger = scene.cabin.ledger
    made = [ledger.record(one) for one in ledger.begun_here(an_id("bag"), 9)]
    assert [one.value("reading")["element"] for one in made if one] == ["rib", "humerus", "humerus"]
    assert [one.added("human") for one in made if one] == [{}, {}, {}]
    assert ledger.events(1)[0].fields["n"] == 3
    assert page.text.count("Enter this line now") == 2
    head = session.head
    assert session.visitor.post(session.where, session.sent).status_code == 200
    assert session.head == head, "sent twice it is done once"
    assert session.visitor.post(session.where, {**session.sent, "lines": "rib\n" * 201}).status_code == 413
    # Nothing of a long box is cut off: each line of it is saved, or stays.
    text = "\n".join(f'rib cattle "{"gnawed, with roots, " * 20}{n}' for n in range(30))
    assert len(text) > 12_000
    send("save")
    last = ledger.record(ledger.begun_here(an_id("bag"), 1)[0])
    assert last is not None
    (note,) = last.items("note").values()
    assert note["text"].endswith(" 29")


def test_who_may_not_edit_does_not_enter(scene: Scene) -> None:
    for role in ("director", "administrator"):
        assert scene.signed_in(role).get(BAG).status_code == 403
    visitor = scene.signed_in("recorder")
    assert visitor.get(f"/review/context/{an_id('bag')}/entry").status_code == 404
    assert visitor.get(f"/review/context/{DITCH}/entry").status_code == 200
