"""Combining readings, writing a third, and settling many of one cause at once: nothing newer is lost, all is undone."""

from __future__ import annotations

import json
import re
from html import unescape
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.combining import combined, differing, unseen
from fieldapp.domain.readings import coarser, compare
from fieldapp.records.changes import Change
from fieldapp.records.fold import fold
from server.ledger import causes, lots
from server.ledger.ledger import Edit
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.review.test_pages import text_of
from tests.server.tablets import SITE, Tablet, an_id, context_id

K = knowledge()
CAUSES, LOTS = "/review/disagreements/causes", "/review/disagreements/lots"
DISPUTED = an_id("disputed")


def many(scene: Scene, number: int = 4) -> list[str]:
    """So many dockets that one tablet calls cattle and the other a large mammal, and one that the other calls pig."""
    for n in range(number):
        scene.a.docket(f"alike {n}", reading=seen("cattle", "humerus"), label=label("A", 50 + n))
        scene.b.write("docket", an_id(f"alike {n}"), {"reading": seen("large_mammal", "humerus")})
    scene.a.docket("unlike", reading=seen("cattle", "humerus"), label=label("A", 60))
    scene.b.write("docket", an_id("unlike"), {"reading": seen("pig", "humerus")})
    scene.send()
    return [f"alike {n}" for n in range(number)]


def cause_with(visitor: Visitor, words: str, n: int) -> str:
    """The address of the cause in whose line these words and this number stand."""
    for line in re.findall(r"<tr><td class=\"n\".*?</tr>", visitor.get(CAUSES).text, re.S):
        if words in line and f">{n}</td>" in line:
            return unescape(re.search(r'href="([^"]*)"', line)[1])  # type: ignore[index]
    raise AssertionError(f"no cause with {words} and {n}")


def tick(visitor: Visitor, page: str, do: str = "look", **more: Any) -> dict[str, Any]:
    """The form of a cause with all of its page ticked."""
    text = visitor.get(page + "?all=1").text
    form = visitor.form(page + "?all=1", page)
    ones = [unescape(one) for one in re.findall(r'name="one"[^>]*value="([^"]*)"', text)]
    return {**form, "one": ones, "choice": "coarser", "reason": "compared with the collection", "do": do, **more}


def values(scene: Scene, names: list[str], path: str = "reading") -> list[list[str]]:
    return [
        sorted(json.dumps(one, sort_keys=True) for one in scene.record(name).heads[path].values()) for name in names
    ]


def test_many_of_one_cause_are_looked_at_settled_and_opened_again_together(scene: Scene) -> None:
    names = many(scene)
    visitor = scene.signed_in("zooarchaeologist")
    before = values(scene, names)
    page = cause_with(visitor, "cattle / large mammal (cattle size)", 4)
    shown = text_of(visitor, page)
    assert "Take what Moss said" in shown
    head = scene.cabin.ledger.names().head
    form = tick(visitor, page)
    looked = visitor.post(page, form).text
    assert looked.count("<b>left humerus, large mammal (cattle size)</b>") >= 4
    assert scene.cabin.ledger.names().head == head, "looking writes nothing"
    answer = visitor.post(page, {**form, "do": "write"})
    assert answer.status_code == 302
    for name in names:
        record = scene.record(name)
        assert record.disagreements() == {}
        assert record.value("reading") == coarser(seen("cattle", "humerus"), seen("large_mammal", "humerus"), K)
        assert any(note["text"].endswith("compared with the collection") for note in record.items("note").values())
    assert scene.record("unlike").disagreements(), "another cause stays"
    lot = answer.location
    assert lot in visitor.get(LOTS).text
    assert visitor.post(page, {**form, "do": "write"}).location == lot, "sent twice, it leads to what it has done"
    # One of them is written by somebody since: it is left as it is, and said.
    one = next(iter(scene.record("alike 0").heads["reading"]))
    scene.b.write("docket", an_id("alike 0"), {"reading": seen("goat", "humerus")}, {"reading": [one]})
    scene.send()
    back = visitor.form(lot, lot + "/open")
    other = scene.signed_in("director")
    token = other.form("/review/today", "/review/sign-out")["csrf"]
    assert other.post(lot + "/open", {**back, "csrf": token, "reason": "x"}).status_code == 403
    opened = visitor.post(lot + "/open", {**visitor.form(lot, lot + "/open"), "reason": "looked at again"})
    assert opened.status_code == 302
    assert values(scene, names[1:]) == before[1:]
    assert scene.record("alike 0").value("reading") == seen("goat", "humerus")
    assert "Left as they were when it was opened again" in text_of(visitor, opened.location)
    assert visitor.get(lot).text.count("/open") == 0, "nothing of it is left to open"
    # They are still Moss's and Wren's, not hers who opened them again: another choice can be made.
    page = cause_with(visitor, "cattle / large mammal (cattle size)", 3)
    wren = scene.a.by["person"]
    assert visitor.post(page, tick(visitor, page, "write", choice=f"by:{wren}")).status_code == 302
    assert [scene.record(name).value("reading") for name in names[1:]] == [seen("cattle", "humerus")] * 3
    assert scene.cabin.ledger.rebuild_matches()


def test_who_spoke_later_is_told_by_the_moment_and_not_by_what_their_clocks_show(scene: Scene) -> None:
    for one, name in ((scene.a, "Tansy"), (scene.b, "Oswin")):
        one.by = {"person": an_id(name), "name": name, "role": "human_osteologist"}
    for n in range(2):
        scene.a.docket(f"apart {n}", label=label("A", 50 + n))
        docket = an_id(f"apart {n}")
        scene.a.write("docket", docket, {"reading": seen("cattle", "humerus")}, at="2026-06-02T10:00:00+02:00")
        scene.b.write("docket", docket, {"reading": seen("red_deer", "humerus")}, at="2026-06-02T09:00:00+00:00")
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    page = cause_with(visitor, "red deer", 2)
    assert visitor.post(page, tick(visitor, page, "write", choice="later")).status_code == 302
    assert [scene.record(f"apart {n}").value("reading")["taxon"] for n in range(2)] == ["red_deer"] * 2


def test_what_changed_meanwhile_is_left_out_of_a_lot_and_nothing_is_lost(scene: Scene) -> None:
    names = many(scene)
    visitor = scene.signed_in("zooarchaeologist")
    page = cause_with(visitor, "cattle / large mammal (cattle size)", 4)
    form = tick(visitor, page)
    late = scene.b.write("docket", an_id("alike 2"), {"reading": seen("goat", "humerus")})
    # One is put on hold meanwhile: it is settled by itself, with the bone seen.
    scene.a.human("alike 3", "query", "alike 3 may be")
    scene.send()
    answer = visitor.post(page, {**form, "do": "write"})
    assert answer.status_code == 302
    assert late.id in scene.record("alike 2").heads["reading"]
    assert [bool(scene.record(name).disagreements()) for name in names] == [False, False, True, True]
    told = text_of(visitor, answer.location)
    assert "left out" in told
    assert label("A", 52) in told
    assert label("A", 53) in told


def test_bones_on_hold_deletions_and_what_asks_for_care_are_in_no_cause(scene: Scene) -> None:
    many(scene, 1)
    pit = context_id(SITE, "1057")
    for tablet, said in ((scene.a, "yes"), (scene.b, "no")):
        tablet.write("context", pit, {"grave_like": said, "type": "grave" if said == "yes" else "pit_fill"})
        tablet.write(
            "docket",
            an_id("query"),
            {"reading": seen("sheep" if said == "yes" else "pig", "humerus"), "count": len(said)},
        )
        tablet.write("docket", an_id("rib"), {f"same_as/{an_id('heavy')}": said == "yes" or None})
        tablet.write("docket", an_id("heavy"), {"reading": seen("human" if said == "yes" else "pig", "femur")})
    scene.send()
    ledger = scene.cabin.ledger
    never = frozenset(each for one in ledger.holds() for each in (one.docket, *one.joined))
    found = causes.causes(ledger.cases(), never)
    there = {(case.disputed.record, case.disputed.path) for one in found for case in one.cases}
    assert (an_id("alike 0"), "reading") in there
    assert (pit, "phase") in there
    assert {path.partition("/")[0] for _, path in there}.isdisjoint(
        {"grave_like", "type", "same_as", "deleted", "human"}
    )
    assert {record for record, _ in there}.isdisjoint({an_id("query"), an_id("stop"), an_id("heavy"), an_id("twin")})
    # A form that was made up settles none of them either.
    visitor = scene.signed_in("zooarchaeologist")
    page = cause_with(visitor, "cattle / large mammal (cattle size)", 1)
    query = scene.record("query").heads
    made_up = [json.dumps([an_id("query"), path, sorted(query[path])]) for path in ("reading", "count")]
    answer = visitor.post(page, {**tick(visitor, page, "write"), "one": made_up})
    assert answer.status_code == 409
    assert {"reading", "count"} <= set(scene.record("query").disagreements())


def test_a_lot_is_refused_without_a_choice_a_reason_or_a_tick_and_to_who_may_not(scene: Scene) -> None:
    many(scene, 2)
    visitor = scene.signed_in("zooarchaeologist")
    page = cause_with(visitor, "cattle / large mammal (cattle size)", 2)
    form = tick(visitor, page, "write")
    head = scene.cabin.ledger.names().head
    for wrong in (
        {"choice": ""},
        {"choice": "by:nobody"},
        {"reason": " "},
        {"one": []},
        {"one": ["{" * 5000]},
        {"once": "x"},
    ):
        assert visitor.post(page, {**form, **wrong}).status_code == 400, wrong
    other = scene.signed_in("supervisor")
    token = other.form("/review/today", "/review/sign-out")["csrf"]
    assert other.post(page, {**form, "csrf": token}).status_code == 403
    assert scene.cabin.ledger.names().head == head
    phase = cause_with(other, "phase", 1)
    assert other.post(phase, tick(other, phase, "write", choice='value:"2"')).status_code == 302, "a context's she may"


def test_a_plain_field_takes_a_third_value_of_its_shape_alone(scene: Scene) -> None:
    scene.b.write("docket", an_id("rib"), {"count": 3})
    scene.b.write("docket", DISPUTED, {"weight_g": 15.0})
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    page = f"/review/disagreement/{an_id('rib')}/count"
    form = {**visitor.form(page, page + "/third"), "reason": "counted again"}
    for wrong in ("", "four", "2.5", "nan", "-1"):
        answer = visitor.post(page + "/third", {**form, "value": wrong})
        assert answer.status_code == 400, wrong
        assert "no value for this field" in answer.text
    assert visitor.post(page + "/third", {**form, "value": "4"}).status_code == 302
    assert scene.record("rib").value("count") == 4
    assert scene.record("rib").disagreements() == {}
    assert "Open it again" in text_of(visitor, page)
    weight = f"/review/disagreement/{DISPUTED}/weight_g"
    visitor.post(weight + "/third", {**visitor.form(weight, weight + "/third"), "reason": "weighed", "value": "14,8"})
    assert scene.record("disputed").value("weight_g") == 14.8
    reading = f"/review/disagreement/{DISPUTED}/reading/third"
    assert visitor.post(reading, {**form, "value": "x"}).status_code == 404


def test_readings_are_combined_field_by_field_looked_at_and_said_by_who_combines(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    before = scene.record("disputed").heads["reading"]
    ids = {one["taxon"]: change for change, one in before.items()}
    page, write = f"/review/combine/{DISPUTED}", f"/review/third-reading/{DISPUTED}"
    form = visitor.form(page, page)
    assert visitor.post(page, {**form, "pick-taxon": ids["sheep"]}).status_code == 400, "the side is not chosen"
    shown = visitor.post(page, {**form, "pick-taxon": ids["sheep"], "pick-side": ids["pig"]})
    assert shown.status_code == 200
    assert "right tibia, sheep" in shown.text
    assert "<svg" in shown.text
    sent = sent_back(shown.text)
    altered = visitor.post(write, {**sent, "certainty": "cf", "reason": "both seen"})
    assert altered.status_code == 200, "what was altered is shown first"
    assert set(scene.record("disputed").heads["reading"]) == set(before)
    assert visitor.post(write, {**sent, "reason": ""}).status_code == 400
    assert visitor.post(write, {**sent, "reason": "both seen"}).status_code == 302
    after = scene.record("disputed")
    assert after.disagreements() == {}
    reading = after.value("reading")
    assert (reading["side"], reading["taxon"], reading["stage"]) == ("right", "sheep", "analysis")
    assert reading["portions"] == seen("sheep")["portions"]
    (change,) = after.heads["reading"]
    written = scene.cabin.ledger.who([change])[change].change
    assert written.by["name"] == "Tansy"
    assert sorted(written.over["reading"]) == sorted(before)


def test_a_bone_that_nobody_could_have_seen_is_not_put_together(scene: Scene) -> None:
    other = seen("sheep", "mandible")
    scene.b.write("docket", an_id("rib"), {"reading": {**other, "side": "left"}})
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    page = f"/review/combine/{an_id('rib')}"
    ids = {one["element"]: change for change, one in scene.record("rib").heads["reading"].items()}
    picks = {f"pick-{name}": ids["rib"] for name in ("element", "taxon", "side", "certainty", "fusion")}
    answer = visitor.post(page, {**visitor.form(page, page), **picks, "pick-portions": ids["mandible"]})
    assert answer.status_code == 400
    assert "Nobody could have seen that on one bone" in answer.text
    assert "take both from the same version" in answer.text


def sent_back(text: str) -> dict[str, str]:
    """What a browser would send of the form of a third reading, as it stands."""
    form = text[text.index("/review/third-reading/") :]
    sent = {name: unescape(value) for name, value in re.findall(r'<input[^>]*name="([^"]*)"[^>]*value="([^"]*)"', form)}
    for name, inside in re.findall(r'<select[^>]*name="([^"]*)">(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', inside)
        sent[name] = chosen[1] if chosen else ""
    return sent


_readings = st.builds(
    lambda element, taxon, side: seen(taxon, element, side),
    st.sampled_from(["tibia", "femur", "mandible", "atlas", "horn_core"]),
    st.sampled_from(["sheep", "cattle", "pig", "fowl", None]),
    st.sampled_from(["left", "right", "midline", None]),
)


@settings(max_examples=60)
@given(st.lists(_readings, min_size=2, max_size=3), st.data())
def test_combining_takes_what_was_picked_and_picking_all_from_one_gives_that_one(
    readings: list[Any], data: st.DataObject
) -> None:
    names = differing(readings, K)
    own = {"stage": "analysis", "compared": ""}
    picks = {name: data.draw(st.integers(0, len(readings) - 1)) for name in names}
    made = combined(readings, picks, own, K)
    for name, pick in picks.items():
        if name not in ("portions", "fusion"):
            assert made[name] == readings[pick].get(name)
    if "portions" not in unseen(readings, picks, made, K):
        keys = {one.key for one in K.portions_of(made["element"], made["taxon"])}
        assert {key for key, state in made["portions"].items() if state != "not_examined"} <= keys
    for n, one in enumerate(readings):
        alone = combined(readings, dict.fromkeys(names, n), own, K)
        assert compare(alone, {**one, **own}, K) == "same"


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 3), st.integers(1, 3), st.booleans()), min_size=1, max_size=6), st.integers(0, 1)
)
def test_settling_many_and_opening_them_again_gives_the_values_that_stood(
    cases: list[tuple[int, int, bool]], take: int
) -> None:
    """Any counts, either side taken, some written again between: those stay as they were written."""
    a, b, desk = Tablet("one"), Tablet("two"), Tablet("desk")
    changes: list[Change] = []

    def write(edits: list[Edit]) -> list[Change]:
        return [desk.write(one.kind, one.record, one.set, one.over) for one in edits]

    for n, counts in enumerate(cases):
        changes += [
            one.write("docket", an_id(f"d{n}"), {"count": count}) for one, count in zip((a, b), counts, strict=False)
        ]
    before = fold(changes).records
    values = {one: sorted(set(record.heads["count"].values())) for one, record in before.items()}
    edits = [
        lots.settled(one, "count", list(one.heads["count"]), list(one.heads["count"].values())[take])
        for one in before.values()
    ]
    assert lots.settled(next(iter(before.values())), "count", ["other"], 1) is None
    lot = write([one for one in edits if one])
    changes += lot
    changes += [
        b.write("docket", one.record, {"count": 9}, {"count": [one.id]})
        for one, case in zip(lot, cases, strict=True)
        if case[2]
    ]
    found, left = lots.opened(lot, {one.id: one for one in changes}, fold(changes).records)
    changes += write([one for edits in found for one in edits])
    after = fold(changes).records
    for one, case in zip(lot, cases, strict=True):
        stands = sorted(after[one.record].heads["count"].values())
        if case[2]:
            assert stands == [9]
        elif case[0] == case[1]:
            assert one in left
            assert stands == [case[0]]
        else:
            assert stands == values[one.record]
