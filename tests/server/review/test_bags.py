"""Bags, boxes and transfers at the desk: nothing newer is lost, no label is misread, and what may be human stays."""

from __future__ import annotations

import re
from typing import Any

import pytest

from server.ledger import bags
from server.review.bags import steps
from server.review.boxes import key_of
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.tablets import SITE, an_id, context_id

pytestmark = BOTH
BAG = f"/review/bag/{an_id('b1')}"


@pytest.fixture
def packed(scene: Scene) -> Scene:
    """Three bags beside the scene's own: one with bones, one with a tally, one empty."""
    a, pit = scene.a, context_id(SITE, "1057")
    for number in (1, 2, 3):
        values: dict[str, Any] = {"label": label("A", 100 + number), "context": pit, "recovery": "hand"}
        a.write("bag", an_id(f"b{number}"), values | ({"weight_g": 20.5, "box": "Box 1"} if number == 1 else {}))
    for number, weight in ((1, 14.0), (2, 16.5)):
        a.docket(
            f"in {number}", label=label("A", 110 + number), bag=an_id("b1"), context=None, weight_g=weight, count=1,
            reading=seen("sheep"),
        )  # fmt: skip
    a.write("tally", an_id("t"), {"label": label("A", 120), "bag": an_id("b2"), "context": pit, "count": 7})
    scene.send()
    return scene


def rows(page: str) -> dict[str, str]:
    """{what a row of the list is about: all of the row, without tags}."""
    found = re.findall(r'<tr>\s*<th scope="row"[^>]*>(.*?)</th>(.*?)</tr>', page, re.S)
    plain = re.compile(r"\s*<[^>]*>\s*")
    return {plain.sub(" ", head).strip(): " ".join(plain.sub(" ", rest).split()) for head, rest in found}


def keep(visitor: Visitor, where: str, **more: Any) -> Any:
    """The form of a page as it stands there, with something changed in it, sent."""
    page = visitor.get(where).text
    form = {**visitor.form(where, where)}
    for tag in re.findall(r"<input [^>]*>", page):
        name, value = re.search(r' name="(\w+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and value and 'type="' not in tag:
            form[name[1]] = value[1]
    for name, inside in re.findall(r'<select id="\w+" name="(\w+)"[^>]*>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        form[name] = chosen[1] if chosen else ""
    form.pop("find", None)
    form["step"] = ["", *re.findall(r'name="step" value="(\w+)" checked', page)]
    return visitor.post(where, {**form, **more})


def test_what_is_in_a_bag_is_counted_as_by_going_through_all_there_is(packed: Scene) -> None:
    a, ledger = packed.a, packed.cabin.ledger
    a.write("tally", an_id("t2"), {"label": label("A", 121), "bag": an_id("b1"), "count": 2})
    a.write("transfer", an_id("x"), {"bag": an_id("b1"), "kind": "loan", "to": "an invented laboratory"})
    for name in ("in 1", "t"):
        record = ledger.record(an_id(name))
        assert record is not None
        a.write(record.kind, record.id, {"deleted": True}, {path: list(ids) for path, ids in record.head_ids().items()})
    packed.send()
    with ledger.database.reading() as connection:
        found = bags.numbers(connection)
    counted: dict[str, list[int]] = {}
    for n, kind in enumerate(("docket", "tally")):
        for one in ledger.records(kind):
            if isinstance(bag := one.value("bag"), str):
                counted.setdefault(bag, [0, 0])[n] += 1
    assert {bag: [*each] for bag, each in found.items() if any(each)} == counted
    assert counted[an_id("b1")] == [1, 1]
    assert an_id("b2") not in counted


def test_what_a_page_of_bags_says_is_what_the_records_in_them_say_looked_at_or_not(packed: Scene) -> None:
    a, ledger, mine = packed.a, packed.cabin.ledger, [an_id(f"b{n}") for n in (1, 2, 3)]
    a.write("tally", an_id("t2"), {"label": label("A", 121), "bag": an_id("b1"), "weight_g": 3.25})
    heads = {path: list(ids) for path, ids in packed.record("in 1").head_ids().items()}
    a.write("docket", an_id("in 1"), {"weight_g": 0.1}, {"weight_g": heads["weight_g"]})
    a.docket("new", label=label("A", 130), bag=an_id("b3"), context=None, weight_g=0.2, count=1)
    ledger.accept(a.entries(packed.sent[a.id]), a.id)
    for looked in (False, True):
        assert bool(ledger.due()) is not looked
        with ledger.database.reading() as connection:
            every, weights = bags.numbers(connection), bags.weights(connection, mine)
            assert weights == bags.weights_of(bags.inside(connection, mine))
            assert bags.numbers_in(connection, mine) == {one: every[one] for one in mine}
        assert weights == {an_id("b1"): 0.1 + 16.5 + 3.25, an_id("b3"): 0.2}
        packed.send()


def test_the_list_says_what_is_in_each_bag_and_what_is_left_to_do(packed: Scene) -> None:
    visitor = packed.signed_in("recorder")
    all_of = rows(visitor.get("/review/bags").text)
    first = all_of[label("A", 101)]
    nothing = "\N{EN DASH}"
    assert first == f"1057 by hand {nothing} {nothing} 20.5 g 2 30.5 g bag weighs less Box 1 {nothing}"
    assert "+ 1 counted" in all_of[label("A", 102)]
    assert "nothing yet" in all_of[label("A", 103)]
    mine = {label("A", 101), label("A", 102), label("A", 103)}
    for only, expected in {
        "unweighed": mine - {label("A", 101)}, "no_box": mine - {label("A", 101)}, "unwashed": mine,
        "unrecorded": {label("A", 103)}, "lighter": {label("A", 101)}, "away": set(),
    }.items():  # fmt: skip
        assert set(rows(visitor.get(f"/review/bags?only={only}").text)) & mine == expected, only
    assert set(rows(visitor.get("/review/bags?find=box+1").text)) == {label("A", 101)}


def test_a_bag_is_washed_weighed_boxed_and_lent_with_who_did_it(packed: Scene) -> None:
    visitor = packed.signed_in("recorder")
    answer = keep(visitor, BAG, step=["washed", "dried"], weight_g="31,25", box="Box 9", held_by="Tansy, laboratory")
    assert answer.location.endswith("done=kept")
    record = packed.record("b1")
    assert record.value("weight_g") == 31.25
    assert (record.value("box"), record.value("held_by")) == ("Box 9", "Tansy, laboratory")
    page = visitor.get(BAG).text
    assert re.search(r"washed</th><td>yes</td><td><span class=\"said\">Wren, recorder", page)
    # The same form sent as it stands writes nothing.
    before = len(packed.cabin.ledger.history(an_id("b1")))
    assert keep(visitor, BAG).location.endswith("done=same")
    assert len(packed.cabin.ledger.history(an_id("b1"))) == before
    assert packed.cabin.ledger.events(1, "bag_kept")[0].fields["label"] == label("A", 101)
    assert set(rows(visitor.get("/review/bags?only=away").text)) == {label("A", 101)}
    refused = keep(visitor, BAG, weight_g="much", note="kept in the form")
    assert refused.status_code == 400
    assert "no figure" in refused.text
    assert 'value="much"' in refused.text
    assert "kept in the form" in refused.text
    assert packed.signed_in("administrator").post(BAG, {}).status_code == 400  # no token
    assert keep_as(packed, "administrator").status_code == 403


def test_a_step_that_was_ticked_by_mistake_is_unticked_and_who_did_so_stays_written(packed: Scene) -> None:
    visitor = packed.signed_in("recorder")
    keep(visitor, BAG, step=["", "washed", "marked"])
    packed.b.write("bag", an_id("b1"), {"step/dried": True})
    packed.send()
    form = visitor.form(BAG, BAG)
    # Ticked by somebody else while the form is open: the form did not show it, and does not take it back.
    packed.a.write("bag", an_id("b1"), {"step/marked": True})
    packed.send()
    sent = {**form, "recovery": "hand", "weight_g": "20.5", "box": "Box 1", "step": ["", "dried"]}
    assert visitor.post(BAG, sent).location.endswith("done=kept")
    assert set(steps(packed.record("b1"))) == {"dried", "marked"}
    before = len(packed.cabin.ledger.history(an_id("b1")))
    visitor.post(BAG, sent)
    assert len(packed.cabin.ledger.history(an_id("b1"))) == before, "sent twice it takes nothing back a second time"
    page = visitor.get(BAG).text
    assert re.search(r"washed</th><td>\N{EN DASH}</td><td>taken back by <span class=\"said\">Wren, recorder", page)
    assert packed.cabin.ledger.events(1, "bag_unticked")[0].fields["label"] == label("A", 101)
    keep(visitor, BAG, step=["", "dried", "washed"])
    assert set(steps(packed.record("b1"))) == {"dried", "washed"}, "ticked again it stands, and marked goes"
    assert "washed" in rows(visitor.get("/review/bags").text)[label("A", 101)]
    # A form of other fields alone says nothing of the steps.
    visitor.post(BAG, {**{k: v for k, v in visitor.form(BAG, BAG).items() if k != "step"}, "note": "a note"})
    assert set(steps(packed.record("b1"))) == {"dried", "washed"}


def keep_as(scene: Scene, role: str) -> Any:
    visitor = scene.signed_in(role)
    csrf = re.search(r'name="csrf" value="([^"]*)"', visitor.get("/review/bags").text)
    assert csrf
    return visitor.post(BAG, {"csrf": csrf[1], "heads": "{}"})


def test_what_came_meanwhile_stands_beside_what_the_form_says(packed: Scene) -> None:
    visitor = packed.signed_in("supervisor")
    form = visitor.form(BAG, BAG)
    old = packed.record("b1").head_ids()["box"]
    packed.b.write("bag", an_id("b1"), {"box": "Box 4"}, {"box": old})
    packed.send()
    visitor.post(BAG, {**form, "box": "Box 7", "recovery": "hand", "weight_g": "20.5", "context": "1057"})
    assert set(packed.record("b1").heads["box"].values()) == {"Box 4", "Box 7"}
    # In dispute it is settled side by side, and this form does not ask for it.
    assert 'name="box"' not in visitor.get(BAG).text


def test_a_bag_goes_to_another_context_only_by_whom_and_where_that_may_be(packed: Scene) -> None:
    assert 'name="context"' not in packed.signed_in("recorder").get(BAG).text
    visitor = packed.signed_in("supervisor")
    assert "No context with this number" in keep(visitor, BAG, context="4711").text
    assert keep(visitor, BAG, context="10 42").status_code == 302
    assert packed.record("b1").value("context") == context_id(SITE, "1042")
    packed.a.write("context", context_id(SITE, "1042"), {"locked": True})
    packed.send()
    assert "locked" in keep(visitor, BAG, context="1057").text
    assert packed.record("b1").value("context") == context_id(SITE, "1042")


def test_a_bag_whose_context_was_numbered_anew_or_has_not_come_is_kept_and_stays_there(packed: Scene) -> None:
    pit = context_id(SITE, "1057")
    there = packed.cabin.ledger.record(pit)
    assert there is not None
    packed.a.write("context", pit, {"number": "1099"}, {"number": sorted(there.heads["number"])})
    packed.a.write("bag", an_id("b4"), {"label": label("A", 104), "context": an_id("a context of no tablet yet")})
    packed.send()
    visitor = packed.signed_in("supervisor")
    for bag in ("b1", "b4"):
        was = packed.record(bag).value("context")
        assert keep(visitor, f"/review/bag/{an_id(bag)}", box="Box 9").status_code == 302
        assert [packed.record(bag).value(path) for path in ("box", "context")] == ["Box 9", was]
    assert keep(visitor, f"/review/bag/{an_id('b4')}", context="10 99").status_code == 302
    assert packed.record("b4").value("context") == pit
    # The old number is nobody's now: what is to go there does not go to the context that had it.
    assert "No context with this number" in keep(visitor, BAG, context="1057").text


def fill(visitor: Visitor, box: str, labels: str) -> str:
    form = visitor.form("/review/boxes", "/review/boxes")
    return visitor.post("/review/boxes", {**form, "box": box, "labels": labels}).text


def test_a_box_is_filled_from_a_scanner_and_no_misread_label_gets_in(packed: Scene) -> None:
    visitor = packed.signed_in("recorder")
    good, bare = label("A", 102), label("A", 103).removeprefix("TST26 ").lower()
    wrong = good[:-1] + ("X" if good[-1] != "X" else "Y")
    page = fill(visitor, "Box 3", f"{good}\r\n\r\n{bare}\r\n{wrong}\r\n1042-1\r\nTST26 A999-0\r\n{good}")
    assert packed.record("b2").value("box") is None  # only shown
    assert page.count("not put in") == 2
    assert "The check character does not fit" in page
    left = re.search(r'name="left" value="([^"]*)"', page)
    put = re.search(r'name="put" value="([^"]*)"', page)
    assert left
    assert put
    assert left[1].split("\n") == [wrong, "TST26 A999-0"]
    form = {**visitor.form("/review/boxes", "/review/boxes"), "box": "Box 3", "put": put[1].replace("&#34;", '"')}
    done = visitor.post("/review/boxes", {**form, "left": left[1]})
    assert "3 bags are in the box" in done.text
    assert wrong in done.text
    for bag in ("b2", "b3", "bag"):
        assert packed.record(bag).value("box") == "Box 3"
    assert packed.record("b1").value("box") == "Box 1"
    [line] = packed.cabin.ledger.events(9, "boxed")
    assert (line.fields["label"], line.fields["n"]) == ("Box 3", 3)
    # Sent twice: nothing more.
    visitor.post("/review/boxes", form)
    assert len(packed.record("b2").heads["box"]) == 1
    assert len(packed.cabin.ledger.events(9, "boxed")) == 1
    # The scene's own bag holds what may be human: its box says so.
    where = f"/review/box/{key_of('box  3', SITE)}"
    listed = visitor.get(where).text
    assert "bone that may be human" in listed
    assert label("B", 1) in listed
    keep(visitor, where, place="container 2, shelf C", held_by="")
    assert "container 2, shelf C" in rows(visitor.get("/review/boxes").text)["Box 3"]
    assert packed.cabin.ledger.events(1, "site_set")[0].who == packed.accounts["recorder"][0].person


def send(visitor: Visitor, what: str, **more: str) -> Any:
    form = visitor.form("/review/transfers", "/review/transfers")
    usual = {"kind": "loan", "to": "a laboratory (invented)", "authority": "Linnet", "what": what}
    return visitor.post("/review/transfers", {**form, **usual, **more})


def test_a_transfer_is_written_once_and_what_is_out_is_seen_until_it_is_back(packed: Scene) -> None:
    visitor = packed.signed_in("zooarchaeologist")
    form = visitor.form("/review/transfers", "/review/transfers")
    data = {**form, "kind": "loan", "to": "Moss", "authority": "Linnet", "what": f"{label('A', 101)}\n{label('A', 3)}"}
    for _ in range(2):
        assert visitor.post("/review/transfers", data).status_code == 302
    found = packed.cabin.ledger.records("transfer")
    assert {one.value("bag") or one.value("docket") for one in found} == {an_id("b1"), an_id("rib")}
    assert set(rows(visitor.get("/review/bags?only=away").text)) == {label("A", 101)}
    one = next(one for one in found if one.value("bag"))
    where = f"/review/transfer/{one.id}"
    assert keep(visitor, where, back="yes", note="came back whole").status_code == 302
    assert packed.cabin.ledger.get([one.id])[one.id].value("back") is True
    assert rows(visitor.get("/review/bags?only=away").text) == {}
    assert "came back whole" in visitor.get(where).text
    assert "look at each character" in send(visitor, "TST26 A101-Q").text
    assert len(packed.cabin.ledger.records("transfer")) == 2
    assert send(visitor, f"{label('A', 101)}\n{label('A', 102)}", taken_g="2").status_code == 400


def test_a_transfer_stands_under_the_time_when_it_was_made_whatever_became_of_it_since(packed: Scene) -> None:
    visitor = packed.signed_in("zooarchaeologist")
    sent = [label("A", 101), label("A", 102), label("A", 103), label("A", 3), label("A", 4), label("A", 2)]
    send(visitor, "\n".join(sent))
    send(visitor, label("A", 101), to="Alder laboratory (invented)")
    away = rows(visitor.get("/review/bags?only=away").text)[label("A", 101)]
    assert "a laboratory (invented), Alder laboratory (invented)" in away, "what went apart is with both"
    packed.cabin.ledger.clock.forward(days=3)  # type: ignore[attr-defined]
    visitor = packed.signed_in("zooarchaeologist")
    for one in packed.cabin.ledger.records("transfer"):
        keep(visitor, f"/review/transfer/{one.id}", back="yes", lab_code="LAB 4")
    listed = rows(visitor.get("/review/transfers").text)
    assert len(listed) == len(sent)
    for line in listed.values():
        assert "LAB 4" in line
        assert "2026-06-03" in line


def test_nothing_that_may_be_human_is_sent_sampled_or_thrown_away_from_the_desk(packed: Scene) -> None:
    director = packed.signed_in("director")
    # On hold itself; said to be the same bone; a bag that holds it.
    for what in (label("A", 7), label("A", 8), "1042-1"):
        for kind in ("loan", "discard", "destructive_sample", "display", "worked_bone"):
            answer = send(director, what, kind=kind, sure="yes", reference="17")
            assert answer.status_code == 409, (what, kind)
            assert "on hold as possible human bone" in answer.text
            assert "Local law" in answer.text
    # Not excluded: nobody can look again afterwards, so whoever decides says that they know.
    assert send(director, label("A", 9), kind="discard").status_code == 400
    assert packed.cabin.ledger.records("transfer") == []
    assert send(director, label("A", 9), kind="discard", sure="yes").status_code == 302
    assert send(director, label("A", 9), kind="loan").status_code == 302
    while packed.cabin.ledger.check_due():
        pass
    assert "transfer_of_possible_human" in {one.rule for one in packed.cabin.ledger.problems()}


def test_a_loan_that_was_raised_since_can_come_back_and_nothing_else(packed: Scene) -> None:
    visitor = packed.signed_in("supervisor")
    where = send(visitor, label("A", 102)).location.split("?")[0].removeprefix("https://localhost")
    packed.a.docket("late", label=label("A", 130), bag=an_id("b2"), context=None)
    packed.a.human("late", "query", "late first")
    packed.send()
    assert keep(visitor, where, to="somebody else").status_code == 409
    assert keep(visitor, where, back="yes").status_code == 302
