"""Editing at the desk: only what was altered, over what was shown, by the rules of the tablet, nothing typed lost."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from fieldapp.domain.ids import hold_id
from fieldapp.domain.labels import Label, read
from fieldapp.records import checked
from fieldapp.records.changes import Change
from server.ledger import letters
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.review.test_pages import text_of
from tests.server.tablets import SITE, an_id, context_id

pytestmark = BOTH
DITCH = context_id(SITE, "1042")


def page(name: str) -> str:
    return f"/review/docket/{an_id(name)}/edit"


def saved(visitor: Visitor, where: str, do: str = "save", **fields: Any) -> Any:
    """Sends the form of a page with some fields filled in; dots in names are written as double underscores."""
    told = {name.replace("__", "."): value for name, value in fields.items()}
    return visitor.post(where, {**visitor.form(where, where), "do": do, **told})


def last(scene: Scene, name: str) -> Change:
    return scene.cabin.ledger.history(an_id(name))[-1].change


def typed(visitor: Visitor, where: str, more: str = "") -> dict[str, str]:
    """Every field of the page's form as a browser would send it back untouched."""
    text = visitor.get(where + more).text
    form = re.search(rf'<form[^>]*class="edit"[^>]*action="{re.escape(where)}"[^>]*>(.*?)</form>', text, re.S)
    assert form
    return fields_of(form[1])


def fields_of(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", text):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and ("checked" in tag or not re.search(r'type="(radio|checkbox)"', tag)):
            found[name[1]] = value[1].replace("&#34;", '"').replace("&#39;", "'") if value else ""
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', text, re.S):
        chosen = re.search(r'<option value="([^"]*)"[^>]* selected', options)
        found[name] = chosen[1] if chosen else ""
    for name, words in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', text, re.S):
        found[name] = words
    return found


@pytest.mark.parametrize("name", ["disputed", "precise", "rib", "stop", "worn", "blank"])
def test_a_form_that_comes_back_untouched_writes_nothing(scene: Scene, name: str) -> None:
    visitor = scene.signed_in("recorder")
    head = scene.cabin.ledger.names().head
    form = typed(visitor, page(name))
    assert visitor.post(page(name), {**form, "do": "save"}).status_code == 302
    assert scene.cabin.ledger.names().head == head


def test_a_change_has_only_what_was_altered_over_the_heads_that_were_shown(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("rib").head_ids()
    answer = saved(visitor, page("rib"), count="3", weight_g="12,5", roots="some", fracture__angle="1")
    assert answer.location.endswith("?done=saved")
    change = last(scene, "rib")
    assert change.set == {"count": 3, "weight_g": 12.5, "roots": "some", "fracture": {"angle": 1}}
    # Two tablets weighed it alike or not: what was not shown is not replaced.
    assert change.over["count"] == before["count"]
    assert change.by["name"] == "Tansy"
    assert scene.cabin.ledger.counts()["due"] == 0, "and the rules have looked at it"


def test_the_reading_is_written_whole(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = typed(visitor, page("worn"))
    assert not any(one.startswith("portion.") for one in form)
    form |= {"element": "tibia", "taxon": "sheep", "side": "left", "do": "save"}
    shown = visitor.post(page("worn"), form)
    assert shown.status_code == 200
    assert "Another bone has other parts" in shown.text
    assert scene.record("worn").value("reading")["element"] == "long_bone", "nothing is saved yet"
    form = fields_of(shown.text.partition('class="edit"')[2].partition("</form>")[0])
    assert form["element"] == "tibia"
    assert form["side"] == "left"
    form |= {"portion.upper_shaft": "most", "fusion.distal": "fused", "rest": "absent", "do": "save"}
    assert visitor.post(page("worn"), form).status_code == 302
    change = last(scene, "worn")
    reading = change.set["reading"]
    assert (reading["element"], reading["taxon"], reading["side"]) == ("tibia", "sheep", "left")
    assert reading["portions"]["upper_shaft"] == "most"
    assert {state for key, state in reading["portions"].items() if key != "upper_shaft"} == {"absent"}
    assert reading["fusion"]["distal"] == "fused"
    assert reading["fusion"]["proximal"] == "not_visible", "both sides of its line are absent"
    assert reading["stage"] == "analysis"
    assert set(change.set) >= {"reading"}


def test_where_people_disagree_only_the_version_that_was_shown_is_replaced(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("disputed")
    shown = min(before.heads["reading"])
    assert "replaces only that one" in text_of(visitor, page("disputed"))
    saved(visitor, page("disputed"), sex="female")
    after = scene.record("disputed").heads["reading"]
    assert shown not in after
    assert set(before.heads["reading"]) - {shown} < set(after)
    assert len(after) == 2


def test_what_came_meanwhile_stands_beside_it(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = visitor.form(page("rib"), page("rib"))
    scene.b.write("docket", an_id("rib"), {"count": 7}, {"count": scene.record("rib").head_ids()["count"]})
    scene.send()
    assert visitor.post(page("rib"), {**form, "do": "save", "count": "3"}).status_code == 302
    assert sorted(scene.record("rib").heads["count"].values()) == [3, 7]


def test_a_form_that_is_sent_twice_does_it_once(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = {**visitor.form(page("rib"), page("rib")), "do": "save", "count": "3", "new/note/0.text": "mended"}
    visitor.post(page("rib"), form)
    head = scene.cabin.ledger.names().head
    assert visitor.post(page("rib"), form).status_code == 302
    assert scene.cabin.ledger.names().head == head


def test_items_are_added_changed_and_taken_away(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    where = page("heavy")
    saved(
        visitor, where, **{
            "new/mark/0.kind": "cut", "new/mark/0.portion": "distal_shaft", "new/measure/GL.mm": "71,2",
            "new/tooth/0.tooth": "", "new/pathology/0.kind": "healed_break", "new/note/0.text": "two lines\nof words",
            "new/joins/0.docket": label("A", 3), "new/joins/0.break": "old",
        }
    )  # fmt: skip
    record = scene.record("heavy")
    (mark,) = [one for one in record.heads if one.startswith("mark/")]
    assert record.value(mark) == {"kind": "cut", "portion": "distal_shaft", "number": 1}
    assert list(record.items("measure").values()) == [{"code": "GL", "mm": 71.2}]
    assert list(record.items("note").values()) == [{"text": "two lines\nof words", "stage": "analysis"}]
    assert record.items("joins") == {an_id("rib"): {"break": "old"}}
    (note,) = [one for one in record.heads if one.startswith("note/")]
    saved(visitor, where, **{f"{mark}.number": "4", f"{note}.gone": "yes"})
    change = last(scene, "heavy")
    assert change.set == {mark: {"kind": "cut", "portion": "distal_shaft", "number": 4}, note: None}
    assert change.over == {path: record.head_ids()[path] for path in (mark, note)}


def test_what_cannot_be_taken_is_named_and_all_that_was_typed_is_there(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    head = scene.cabin.ledger.names().head
    answer = saved(
        visitor, page("rib"), count="2.5", weight_g="heavy", bag="no such bag", finder="Rowan",
        **{"new/mark/0.portion": "head", "new/note/0.text": "a long thought"},
    )  # fmt: skip
    assert answer.status_code == 422
    for words in ("4 fields could not be taken", "A whole number is wanted", "This is no number", "Nothing here is"):
        assert words in answer.text
    for kept in ('value="2.5"', 'value="heavy"', 'value="no such bag"', 'value="Rowan"', "a long thought"):
        assert kept in answer.text
    assert scene.cabin.ledger.names().head == head


def test_it_is_moved_to_a_bag_by_its_label(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    saved(visitor, page("rib"), bag="1042-1")
    assert last(scene, "rib").set == {"bag": an_id("bag")}
    saved(visitor, page("rib"), bag="", context="1057")
    assert last(scene, "rib").set == {"bag": None, "context": context_id(SITE, "1057")}


def test_problems_are_shown_beside_the_fields_before_and_a_record_can_always_be_saved(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    looked = saved(visitor, page("rib"), do="look", weight_g="-4")
    assert looked.status_code == 200
    assert "Not saved yet" in looked.text
    field = looked.text.partition('id="f-weight_g"')[2].partition("</p>")[0]
    assert 'class="found"' in field
    assert scene.record("rib").value("weight_g") != -4
    assert saved(visitor, page("rib"), weight_g="-4").status_code == 302
    assert "weight_not_positive" in {one.rule for one in scene.cabin.ledger.problems(record=an_id("rib"))}


def test_answers_that_rules_ask_for_are_in_the_same_change_and_no_mark_covers_them(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    form = typed(visitor, page("blank")) | {"element": "femur", "taxon": "human", "do": "check_next"}
    shown = visitor.post(page("blank"), form)
    form = fields_of(shown.text.partition('class="edit"')[2].partition("</form>")[0]) | {"do": "check_next"}
    answer = visitor.post(page("blank"), form)
    assert answer.location.endswith("?done=rule_asks#human")
    changes = [one.change for one in scene.cabin.ledger.history(an_id("blank"))]
    change = next(one for one in changes if "reading" in one.set)
    asked = {path: value for path, value in change.set.items() if path.startswith("human/")}
    assert asked
    assert all(value["by_rule"] for value in asked.values())
    assert checked.state_of(scene.record("blank")) == ""
    assert scene.cabin.ledger.record(hold_id(an_id("blank"))) is not None, "as on a tablet, the hold is opened with it"
    assert "A rule asks for more care" in text_of(visitor, answer.location)


def test_the_form_never_writes_the_human_question_an_assessment_a_place_or_a_label(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    reading = next(one for one in scene.record("stop").heads if one.startswith("human/"))
    for name in (
        reading,
        f"{reading}.answer",
        "human",
        "place",
        "place.east",
        "label",
        "deleted",
        "checked",
        "photo/x",
    ):
        answer = saved(visitor, page("stop"), **{name: "no_sign"})
        assert answer.status_code == 302, name
    for path in (reading, "deleted", "place"):
        form = visitor.form(page("stop"), page("stop"))
        heads = {path: scene.record("stop").head_ids().get(path, [])}
        assert visitor.post(page("stop"), {**form, "heads": json.dumps(heads), "do": "save"}).status_code == 400
    assert scene.cabin.ledger.names().head == head


@pytest.mark.parametrize("heads", ["", "[]", "{" * 5000, '{"count": ["x"]}', '{"count": "x"}', '{"weight_g": [1]}'])
def test_heads_that_no_form_showed_are_refused(scene: Scene, heads: str) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    assert saved(visitor, page("rib"), heads=heads, count="3").status_code == 400


def test_a_bag_is_worked_through_by_save_check_next(scene: Scene) -> None:
    for n in (41, 42, 110):
        scene.a.docket(f"quick {n}", label=label("A", n), bag=an_id("bag"), context=None, reading=seen("cattle", "rib"))
        scene.a.human(f"quick {n}", "no_sign", f"quick {n} first")
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    answer = saved(visitor, page("quick 41"), do="check_next", burning="unburnt")
    assert page("quick 42") in answer.location
    assert f"{label('A', 41)} is saved" in text_of(visitor, answer.location)
    assert checked.state_of(scene.record("quick 41")) == "checked"
    answer = saved(visitor, page("quick 42"), do="next", burning="unburnt")
    assert page("quick 110") in answer.location, "110 comes after 42, and 42 stays without a mark"
    assert checked.state_of(scene.record("quick 42")) == ""
    # With nothing altered the mark alone is set. Tablet B's docket is the last of the bag.
    answer = saved(visitor, page("quick 110"), do="check_next")
    assert page("query") in answer.location
    assert last(scene, "quick 110").set.keys() == {"checked"}
    assert saved(visitor, page("query"), do="next").location.endswith("?done=last")


def test_a_mark_is_set_taken_off_and_shows_what_came_since(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    where = f"/review/docket/{an_id('rib')}"
    assert visitor.post(f"{where}/check", visitor.form(where, f"{where}/check")).status_code == 302
    assert checked.state_of(scene.record("rib")) == "checked"
    assert "Take the mark off" in text_of(visitor, where)
    scene.b.write("docket", an_id("rib"), {"burning": "burnt"})
    scene.send()
    assert "changed since it was checked" in text_of(visitor, where)
    assert "changed since it was checked" in text_of(visitor, f"/review/context/{DITCH}")
    saved(visitor, page("rib"), do="check_next")
    assert checked.state_of(scene.record("rib")) == "checked"
    visitor.post(f"{where}/check", {**visitor.form(where, f"{where}/check"), "off": "yes"})
    assert checked.state_of(scene.record("rib")) == ""


def test_many_are_marked_only_where_nothing_is_open(scene: Scene) -> None:
    for n in (51, 52):
        reading = seen("cattle", "rib", compared="our own")
        scene.a.docket(f"quiet {n}", label=label("A", n), context=DITCH, weight_g=float(n), reading=reading)
        scene.a.human(f"quiet {n}", "no_sign", f"quiet {n} first")
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    where, action = f"/review/context/{DITCH}", f"/review/context/{DITCH}/check"
    form = visitor.form(where, action)
    offered = set(json.loads(form["shown"]))
    assert an_id("disputed") not in offered
    assert an_id("query") not in offered, "what may be human is marked by itself"
    assert an_id("impossible") not in offered
    assert {an_id("quiet 51"), an_id("quiet 52")} <= offered
    # Somebody writes meanwhile: the mark covers what the page showed, and no more.
    scene.b.write("docket", an_id("quiet 52"), {"note/x": {"text": "wet", "stage": "trench"}, "weight_g": 9.0})
    scene.send()
    assert visitor.post(action, form).status_code == 302
    assert checked.state_of(scene.record("quiet 51")) == "checked"
    assert checked.state_of(scene.record("quiet 52")) != "checked"
    for wrong in ("", "{}", json.dumps({an_id("blank"): []}), json.dumps({an_id("rib"): ["x"]}), '{"x": 1}'):
        assert visitor.post(action, {**form, "shown": wrong}).status_code == 400, wrong


def test_a_locked_context_is_edited_by_nobody_and_nothing_that_was_typed_is_lost(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    where = f"/review/context/{DITCH}"
    form = visitor.form(page("rib"), page("rib"))
    moving = visitor.form(page("blank"), page("blank"))
    visitor.post(f"{where}/lock", visitor.form(where, f"{where}/lock"))
    head = scene.cabin.ledger.names().head
    answer = visitor.post(page("rib"), {**form, "do": "save", "count": "3", "finder": "Rowan", "rest": "most"})
    assert answer.status_code == 409
    assert 'value="Rowan"' in answer.text
    assert "Context 1042 is locked" in answer.text
    assert f'href="{where}#lock"' in answer.text
    assert visitor.post(page("blank"), {**moving, "do": "save", "context": "1042"}).status_code == 409
    assert saved(visitor, f"{where}/edit", phase="9").status_code == 409
    docket = f"/review/docket/{an_id('rib')}"
    heads = {"csrf": form["csrf"], "heads": json.dumps(scene.record("rib").head_ids())}
    assert visitor.post(f"{docket}/check", heads).location.endswith("fault=locked")
    assert scene.cabin.ledger.names().head == head
    assert "Edit" not in re.findall(r'class="button"[^>]*>([^<]*)', visitor.get(docket).text)
    # A raise is never refused.
    raised = visitor.form(docket, f"{docket}/raise")
    assert visitor.post(f"{docket}/raise", {**raised, "answer": "query", "why": "a head"}).status_code == 302
    assert scene.cabin.ledger.names().head == head + 2


def test_what_comes_after_the_lock_is_listed_until_it_was_seen(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    where = f"/review/context/{DITCH}"
    visitor.post(f"{where}/lock", visitor.form(where, f"{where}/lock"))
    assert "Nothing came after it was locked" in text_of(visitor, where)
    scene.b.write("docket", an_id("rib"), {"breaks": "old"})
    scene.b.write("docket", an_id("query"), {"find_no": "17"})
    scene.b.write("docket", an_id("blank"), {"find_no": "18"})
    scene.send()
    shown = text_of(visitor, where)
    assert f"2 changes came after it was locked: {label('A', 3)} : breaks" in shown
    form = visitor.form(where, f"{where}/lock")
    scene.b.write("docket", an_id("rib"), {"finder": "Rowan"})
    scene.send()
    assert "done=came_meanwhile" in visitor.post(f"{where}/lock", form).location
    form = visitor.form(where, f"{where}/lock")
    visitor.post(f"{where}/lock", form)
    assert "Nothing came after it was locked" in text_of(visitor, where)
    head = scene.cabin.ledger.names().head
    visitor.post(f"{where}/lock", form)
    assert scene.cabin.ledger.names().head == head, "sent twice it is done once"
    visitor.post(f"{where}/open", visitor.form(where, f"{where}/open"))
    assert "Lock: the analysis is finished" in text_of(visitor, where)
    assert scene.cabin.ledger.rebuild_matches()


def test_a_context_is_edited_and_numbered_anew(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    where = f"/review/context/{DITCH}/edit"
    answer = saved(
        visitor, where, type="pit_fill", phase="4", dating__from="-120", dating__to="80",
        **{"new/note/0.text": "recut"},
    )  # fmt: skip
    assert answer.status_code == 302
    record = scene.cabin.ledger.record(DITCH)
    assert record is not None
    assert record.value("dating") == {"from": -120, "to": 80}
    assert (record.value("type"), record.value("phase"), record.value("trench")) == ("pit_fill", "4", "A")
    assert [one["text"] for one in record.items("note").values()] == ["recut"]
    assert saved(visitor, where, number="1057").status_code == 422, "another has it"
    assert saved(visitor, where, number=" ").status_code == 422
    assert saved(visitor, where, number="1042 b").status_code == 302
    assert scene.cabin.ledger.called("context", "1042B") == [DITCH]


def test_a_raise_at_the_desk_is_added_once_with_its_hold_and_lowers_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    where = f"/review/docket/{an_id('rib')}"
    form = visitor.form(where, f"{where}/raise")
    wanting = visitor.post(f"{where}/raise", {**form, "answer": "", "why": "round head"})
    assert wanting.status_code == 400
    assert "round head" in wanting.text
    assert visitor.post(f"{where}/raise", {**form, "answer": "no_sign", "why": "x"}).status_code == 400
    told = {**form, "answer": "stop", "why": "round head"}
    for _ in range(2):
        assert visitor.post(f"{where}/raise", told).status_code == 302
    hold = scene.cabin.ledger.record(hold_id(an_id("rib")))
    assert hold is not None
    assert (hold.value("tier"), hold.value("in_place"), hold.value("context")) == ("stop", True, DITCH)
    assert len(scene.record("rib").added("human")) == 1
    assert {one.docket: one.answer for one in scene.cabin.ledger.holds()}[an_id("rib")] == "stop"
    form = visitor.form(where, f"{where}/raise")
    visitor.post(f"{where}/raise", {**form, "answer": "not_excluded", "why": "small"})
    assert {one.docket: one.answer for one in scene.cabin.ledger.holds()}[an_id("rib")] == "stop"


def test_a_new_docket_gets_a_label_of_the_cabin_s_own_and_no_number_twice(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    where = f"/review/context/{DITCH}/docket"
    form = typed(visitor, where)
    assert form["context"] == "1042"
    assert visitor.post(where, {**form, "do": "save", "finder": "Rowan"}).status_code == 422, "its material is wanting"
    made = {**form, "do": "another", "material": "bone", "weight_g": "3", "finder": "Rowan"}
    answers = [visitor.post(where, made) for _ in range(2)]
    assert {answer.status_code for answer in answers} == {302}
    docket = scene.cabin.ledger.record(form["once"])
    assert docket is not None
    assert (docket.value("context"), docket.value("weight_g")) == (DITCH, 3.0)
    assert answers[0].location.endswith(f"?after={docket.id}")
    first = read(docket.value("label"))
    assert first.number == 1
    assert len(first.letter) == 2, "tablets have the short ones"
    assert first.letter not in {"A", "B"}
    form = typed(visitor, where, f"?after={docket.id}")
    assert (form["material"], form["finder"], form["weight_g"]) == ("bone", "Rowan", ""), (
        "what the next one begins with"
    )
    visitor.post(where, {**form, "do": "save", "bag": "1042-1", "context": ""})
    second = scene.cabin.ledger.record(form["once"])
    assert second is not None
    assert (second.value("bag"), second.value("context")) == (an_id("bag"), None)
    assert read(second.value("label")) == Label(first.site, first.letter, 2)
    ledger = scene.cabin.ledger
    with ledger.database.writing() as connection:
        assert letters.give(connection, an_id("another"), first.letter, "C").letter == "C", "no tablet gets the cabin's"
    scene.b.docket("borrowed", label=str(Label(first.site, first.letter, 9)))
    scene.send()
    assert ledger.events(1, "letter_of_other")[0].fields["holder"] == "cabin"
    ledger.renew("cabin.epoch.restored")
    with ledger.database.writing() as connection:
        third = read(ledger.new_label_in(connection))
        assert letters.free(connection) not in {first.letter, third.letter}
    assert third.letter != first.letter, "which numbers it had given since the backup nobody knows"
