"""Pairs that may be one bone, pieces that fit, and groups: said by somebody, taken back, and never a hold lowered."""

from __future__ import annotations

import re
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp.assets import knowledge, plates_of
from fieldapp.domain.refits import Piece, candidates, held, may_join, touching
from server.ledger import pairs
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.review.test_analysis import links
from tests.server.review.test_pages import text_of
from tests.server.tablets import SITE, an_id, context_id

K = knowledge()
HERE = context_id(SITE, "1042")


def half(
    upper: bool, taxon: str = "sheep", side: str = "left", element: str = "tibia", **portions: str
) -> dict[str, Any]:
    """A reading of the upper or the lower half of a shin bone."""
    found = seen(taxon, element, side)
    keys = [one.key for one in K.portions_of(element, taxon)]
    middle = len(keys) // 2
    states = {key: "most" if (n < middle) == upper else "absent" for n, key in enumerate(keys)}
    return {**found, "portions": {**states, **portions}}


def recorded(scene: Scene) -> None:
    """Two that are alike, and two halves, all in one bag."""
    more: dict[str, Any] = {"bag": an_id("bag"), "context": None}
    for n, name in enumerate(("double one", "double two")):
        scene.a.docket(name, reading=seen("sheep", "femur"), label=label("A", 70 + n), weight_g=12.5, **more)
    scene.b.docket("upper", reading=half(True), label=label("B", 70), weight_g=20.0, breaks="fresh", **more)
    scene.b.docket("lower", reading=half(False), label=label("B", 71), weight_g=25.0, breaks="both", **more)
    scene.send()


def say(visitor: Visitor, one: str, two: str, said: str, reason: str = "held side by side", **more: Any) -> Any:
    page = f"/review/pair/{an_id(one)}/{an_id(two)}"
    return visitor.post(page, {**visitor.form(page, page), "said": said, "reason": reason, **more})


def noted(scene: Scene) -> set[str]:
    """Dockets that the rules take for doubles."""
    while scene.cabin.ledger.check_due():
        pass
    return {one.record for one in scene.cabin.ledger.problems() if one.rule == pairs.DOUBLE}


def test_one_bone_two_bones_and_taking_either_back(scene: Scene) -> None:
    recorded(scene)
    visitor = scene.signed_in("zooarchaeologist")
    one, two = an_id("double one"), an_id("double two")
    shown = text_of(visitor, "/review/doubles")
    assert label("A", 70) in shown
    assert label("A", 71) in shown
    for said, path in (("two_bones", "not_same"), ("one_bone", "same_as")):
        assert {one, two} & noted(scene)
        assert say(visitor, "double one", "double two", said).status_code == 302
        assert scene.record("double one").value(f"{path}/{two}") is True
        assert noted(scene).isdisjoint({one, two}), "it is not asked again"
        page = text_of(visitor, f"/review/docket/{two}")
        assert label("A", 70) in page or said == "two_bones"
        assert scene.record("double two").value("reading") == seen("sheep", "femur"), "neither is lost"
        head = scene.cabin.ledger.names().head
        assert say(visitor, "double one", "double two", said, reason=" ").status_code == 400
        assert scene.cabin.ledger.names().head == head
        assert say(visitor, "double one", "double two", "take_back").status_code == 302
    assert scene.cabin.ledger.rebuild_matches()


def test_pieces_of_one_context_that_complete_each_other_are_shown_and_said_to_fit(scene: Scene) -> None:
    recorded(scene)
    visitor = scene.signed_in("human_osteologist")
    shown = text_of(visitor, f"/review/refits/{HERE}")
    assert label("B", 70) in shown
    assert label("A", 70) not in shown, "alike is not a piece of it"
    laid = text_of(visitor, f"/review/pair/{an_id('upper')}/{an_id('lower')}")
    assert "only in the first" in laid
    assert "only in the second" in laid
    page = f"/review/pair/{an_id('upper')}/{an_id('lower')}"
    form = {**visitor.form(page, page), "said": "fits_fresh", "reason": "the edges meet"}
    assert visitor.post(page, form).status_code == 302
    head = scene.cabin.ledger.names().head
    assert visitor.post(page, form).status_code == 302, "sent twice, it does nothing a second time"
    assert scene.cabin.ledger.names().head == head
    upper = scene.record("upper")
    assert upper.value(f"joins/{an_id('lower')}") == {"break": "fresh"}
    assert upper.value(f"same_as/{an_id('lower')}") is True, "one bone until it was dug up"
    assert label("B", 70) not in text_of(visitor, f"/review/refits/{HERE}")
    assert "A piece that fits (new)" in text_of(visitor, f"/review/docket/{an_id('lower')}"), "seen from the other end"


def test_joining_takes_the_cautious_side_and_parting_never_lowers_a_hold(scene: Scene) -> None:
    recorded(scene)
    visitor = scene.signed_in("zooarchaeologist")
    page = f"/review/pair/{an_id('double one')}/{an_id('query')}"
    assert "is then on hold too" in text_of(visitor, page)
    assert say(visitor, "double one", "query", "one_bone").status_code == 302
    holds = {one.docket for one in scene.cabin.ledger.holds() if one.raised}
    assert an_id("double one") in holds
    for one, two in (("double one", "query"), ("query", "double one"), ("twin", "query")):
        answer = say(visitor, one, two, "take_back")
        assert answer.status_code == 409
        assert "That needs a signed assessment first" in answer.text
        assert say(visitor, one, two, "two_bones").status_code == 409
    # Nor is it by settling a dispute over the link.
    scene.b.write("docket", an_id("twin"), {f"same_as/{an_id('query')}": None})
    scene.send()
    heads = scene.record("twin").heads[f"same_as/{an_id('query')}"]
    page = f"/review/disagreement/{an_id('twin')}/same_as/{an_id('query')}"
    for head, value in sorted(heads.items(), key=lambda one: bool(one[1])):
        answer = visitor.post(page, {**visitor.form(page, page), "choice": head, "reason": "x"})
        assert answer.status_code == (302 if value else 409)
    assert {one.docket for one in scene.cabin.ledger.holds() if one.raised} == holds


def test_heads_that_no_form_showed_and_who_may_not_are_refused(scene: Scene) -> None:
    recorded(scene)
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    one, two = an_id("double one"), an_id("double two")
    strange = next(iter(scene.record("rib").heads["reading"]))
    for heads in ("", "[]", "{}", "{" * 5000, f'{{"{one}": {{"same_as/{two}": ["{strange}"]}}, "{two}": {{}}}}'):
        assert say(visitor, "double one", "double two", "one_bone", heads=heads).status_code == 400, heads
    assert say(visitor, "double one", "double two", "human").status_code == 400
    assert visitor.get(f"/review/pair/{one}/{one}").status_code == 404
    assert scene.signed_in("recorder").get(f"/review/pair/{one}/{two}").text.count("say_of_pair") == 0
    form = visitor.form(f"/review/pair/{one}/{two}", f"/review/pair/{one}/{two}")
    recorder = scene.signed_in("recorder")
    token = recorder.form("/review/today", "/review/sign-out")["csrf"]
    sent = {**form, "csrf": token, "said": "one_bone", "reason": "x"}
    assert recorder.post(f"/review/pair/{one}/{two}", sent).status_code == 403
    assert scene.cabin.ledger.names().head == head


def test_a_group_is_made_of_ticked_dockets_of_several_contexts_and_changed(scene: Scene) -> None:
    recorded(scene)
    visitor = scene.signed_in("zooarchaeologist")
    new = f"/review/groups/new?context={HERE}"
    form = {**visitor.form(new, "/review/groups/new"), "relation": "articulated_inferred", "reason": "one joint"}
    two = {**form, "docket": [an_id("upper"), an_id("lower")], "labels": label("A", 6)}
    for wrong in ({"relation": "x"}, {"docket": [], "labels": ""}, {"labels": "nobody's"}):
        assert visitor.post("/review/groups/new", {**two, **wrong}).status_code == 400
    answer = visitor.post("/review/groups/new", two)
    assert answer.status_code == 302, answer.text
    assert visitor.post("/review/groups/new", two).location == answer.location
    (group,) = scene.cabin.ledger.records("group")
    assert sorted(group.linked("member")) == sorted(an_id(one) for one in ("upper", "lower", "blank"))
    shown = text_of(visitor, answer.location)
    assert "1042" in shown
    assert "1057" in shown
    assert "1042, 1057" in text_of(visitor, "/review/groups?only=several")
    assert "Group:" in text_of(visitor, f"/review/docket/{an_id('upper')}")
    where = answer.location.partition("?")[0]
    form = {**visitor.form(where, where), "away": [an_id("blank")], "add": label("A", 70)}
    assert visitor.post(where, form).status_code == 302
    (group,) = scene.cabin.ledger.records("group")
    assert sorted(group.linked("member")) == sorted(an_id(one) for one in ("upper", "lower", "double one"))
    assert visitor.post(where, visitor.form(where, where)).status_code == 400


def test_lefts_and_rights_are_laid_side_by_side_and_made_pairs(scene: Scene) -> None:
    names = ("left one", "left two", "right one")
    for n, name in enumerate(names):
        read = seen("sheep", "tibia", name.partition(" ")[0])
        scene.a.docket(name, reading=read, label=label("A", 80 + n), **{"measure/1": {"code": "Bd", "mm": 24.5 + n}})
    scene.send()
    visitor = scene.signed_in("zooarchaeologist")
    new = "/review/groups/new"
    ids = [an_id(one) for one in names]
    (row,) = [
        one for one in links(visitor, "/review/analysis/counts/mne?taxon=sheep&ways=together&element=tibia", "records?")
        if "row" in one
    ]  # fmt: skip
    (begin,) = links(visitor, row, "relation=compared")
    assert all(one in begin for one in ids)
    made = visitor.post(new, {**visitor.form(begin, new), "relation": "compared", "docket": ids})
    page = made.location.partition("?")[0]
    shown = text_of(visitor, page)
    assert "Pairs: 0. Left ones alone: 2. Right ones alone: 1." in shown
    assert "Bd 25.5" in shown
    back = page.rpartition("/")[2]
    asked = f"{new}?relation=articulated_inferred&back={back}&docket={ids[0]}&docket={ids[2]}"
    form = visitor.form(asked, new)
    assert form["back"] == back
    assert 'value="articulated_inferred" required checked' in visitor.get(asked).text
    paired = {**form, "relation": "articulated_inferred"}
    assert visitor.post(new, {**paired, "docket": [ids[0], ids[2]]}).location.partition("?")[0] == page
    shown = text_of(visitor, page)
    assert "Pairs: 1. Left ones alone: 1. Right ones alone: 0." in shown
    assert f"with {label('A', 82)}" in shown
    # A bone that one calls left and another right is no left one, whoever's word comes first.
    disputed = {"relation": "compared", **{f"member/{an_id(one)}": True for one in ("disputed", "left one")}}
    scene.a.write("group", an_id("laid"), disputed)
    scene.send()
    shown = text_of(visitor, f"/review/group/{an_id('laid')}")
    assert "Left ones alone: 1. Right ones alone: 0." in shown


def test_portions_that_share_a_line_on_a_plate_touch() -> None:
    """The neighbours of a shin bone as anatomy has them (common practice, no source)."""
    found = touching(plates_of("tibia", "sheep", "left"))
    assert {"proximal_metaphysis", "lower_shaft"} == found["upper_shaft"]
    assert "distal_metaphysis" not in found["proximal_metaphysis"]
    assert all(one in found[other] for one, others in found.items() for other in others)


def borders(element: str, taxon: str | None) -> Any:
    return touching(plates_of(element, taxon, "left"))


def test_what_may_join_and_what_may_not() -> None:
    upper, lower = Piece("u", half(True), "fresh"), Piece("l", half(False), "both")
    assert may_join(upper, lower, K, borders)
    assert may_join(upper._replace(reading=half(True, "medium_mammal")), lower, K, borders), (
        "a name that holds the other"
    )
    assert may_join(upper._replace(breaks=None), lower, K, borders), "nobody wrote down how it broke"
    near = {"distal_metaphysis": "absent", "lower_shaft": "absent", "upper_shaft": "absent"}
    for other in (
        lower._replace(breaks="none"),
        lower._replace(reading=half(False, side="right")),
        lower._replace(reading=half(False, "pig")),
        lower._replace(reading=half(False, element="femur")),
        lower._replace(reading=half(False, tuberosity="most")),
        lower._replace(apart=frozenset({"u"})),
        lower._replace(reading=half(False, **near)),
    ):
        assert not may_join(
            upper._replace(reading=half(True, upper_shaft="absent"))
            if other.reading["portions"]["lower_shaft"] == "absent"
            else upper,
            other,
            K,
            borders,
        ), other
    assert not may_join(upper, lower._replace(breaks="old"), K, borders)


_states = st.sampled_from(["most", "part", "absent", "not_examined"])
_pieces = st.builds(
    lambda states, side, breaks: (
        {
            **seen("sheep", "tibia", side),
            "portions": dict(zip([one.key for one in K.portions_of("tibia")], states, strict=True)),
        },
        breaks,
    ),
    st.lists(_states, min_size=len(K.portions_of("tibia")), max_size=len(K.portions_of("tibia"))),
    st.sampled_from(["left", "right", None]),
    st.sampled_from(["fresh", "old", "both", "none", None, 3]),
)


@settings(max_examples=60)
@given(st.lists(_pieces, max_size=6), st.integers(0, 20))
def test_candidates_are_those_that_comparing_every_pair_finds_whichever_comes_first(
    given_: list[Any], at_once: int
) -> None:
    pieces = [Piece(str(n), reading, breaks) for n, (reading, breaks) in enumerate(given_)]
    wanted = {(a.id, b.id) for n, a in enumerate(pieces) for b in pieces[n + 1 :] if may_join(a, b, K, borders)}
    found = candidates(pieces, K, borders)
    assert found.whole
    assert set(found.pairs) == wanted
    for a, b in wanted:
        one, two = pieces[int(a)], pieces[int(b)]
        assert may_join(two, one, K, borders)
        assert "twice" not in {each.how for each in held(one.reading, two.reading)}
    some = candidates(pieces, K, borders, at_once)
    assert set(some.pairs) <= wanted
    assert some.whole or len(given_) * (len(given_) - 1) // 2 > at_once


def test_the_plates_of_a_pair_are_both_there(scene: Scene) -> None:
    recorded(scene)
    page = scene.signed_in("recorder").get(f"/review/pair/{an_id('upper')}/{an_id('lower')}").text
    assert len(re.findall(r'<figure class="plate"><svg', page)) >= 2
