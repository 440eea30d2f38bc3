"""What is tried at the desk's forms, lists and papers: to lose a hold from sight, a word that somebody typed, or the
blindness of a second reading; and what one click too many does at the same moment."""

from __future__ import annotations

import io
import json
import re
import threading
from typing import Any

import pytest
from pypdf import PdfReader

from fieldapp.domain.rules.transfers import DESTRUCTIVE
from tests.attack.people import Rogue
from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.scene import BASE, Scene, Visitor, label, seen
from tests.server.review.test_second import drawn
from tests.server.tablets import SITE, an_id, context_id

DITCH, PIT = context_id(SITE, "1042"), context_id(SITE, "1057")


def words(answer: Any) -> str:
    """What can be read in an answer, printed or not, but what is offered to be chosen."""
    if answer.mimetype == "application/pdf":
        return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages)
    return re.sub(r'<option.*?</option>| (d|points|viewBox|csrf)="[^"]*"', "", answer.text, flags=re.S)


# -- blind


SECRET = an_id("secret")
TOLD = re.compile(r"(?i)red deer|metatarsal|rothirsch|77[.,]1\d|calcined|kalziniert")
PAPERS = (
    f"/review/context/{DITCH}/sheet.pdf", f"/review/context/{DITCH}/compact.pdf", "/review/trench.pdf?trench=A",
    "/review/trench/sheets.pdf?trench=A",
)  # fmt: skip


@pytest.fixture
def secret(scene: Scene) -> Scene:
    """A bone in a bag and in a group that the osteologist is to read again; no other is like it."""
    first = {"reading": seen("red_deer", "metatarsal", "left"), "weight_g": 77.125, "burning": "unburnt"}
    scene.a.write("docket", SECRET, {"label": label("A", 60), "bag": an_id("bag"), "material": "bone", **first})
    scene.b.write("docket", SECRET, {"burning": "calcined"})
    members = {f"member/{one}": True for one in (SECRET, an_id("rib"))}
    scene.a.write("group", an_id("group"), {"relation": "associated", **members})
    scene.send()
    assert any(one.value("docket") == SECRET for one in drawn(scene).readings)
    return scene


def test_no_list_and_no_paper_tells_who_reads_again_what_was_read_first(secret: Scene) -> None:
    oswin, tansy = secret.signed_in("human_osteologist"), secret.signed_in("zooarchaeologist")
    telling = [f"/review/bag/{an_id('bag')}", f"/review/group/{an_id('group')}", f"/review/groups/new?context={DITCH}"]
    for page in (*telling, PAPERS[1]):
        assert TOLD.search(words(tansy.get(page))), f"{page} has it to tell"
        assert not TOLD.search(words(oswin.get(page, language="de"))), page
    for paper in PAPERS:
        refused = oswin.get(paper)
        assert (refused.status_code, label("A", 60) in refused.text) == (409, True), paper
    # Neither by where it stands in a list, nor by what a list is narrowed down to, nor by how many are found.
    drawn_too = {SECRET, *(an_id(name) for name in ("rib", "heavy", "disputed", "precise", "impossible"))}

    def listed(asked: str) -> list[str]:
        page = oswin.get(f"/review/dockets{asked}").text
        found = re.findall(r'<a class="label" href="/review/docket/([^"?#]+)', page)
        return [one for one in found if one in drawn_too]

    usual = listed("")
    assert {SECRET} < set(usual)
    for sort in ("element", "-taxon", "side", "-signs"):
        assert listed(f"?sort={sort}") == usual, sort
    for only in ("conflicts", "problems"):
        assert listed(f"?only={only}") == [], only
    # Nor does a mark over many say that somebody has looked who was not shown it.
    form = re.search(r'name="shown" value="([^"]*)"', oswin.get(f"/review/context/{DITCH}").text)
    assert form is None or SECRET not in form[1]


@pytest.mark.proof
def test_no_page_at_all_tells_it(secret: Scene) -> None:
    oswin = secret.signed_in("human_osteologist")
    more = (f"/review/docket/{an_id('stop')}/edit?saved={SECRET}", f"/review/context/{DITCH}/docket?after={SECRET}")
    for page in (*EVERY_PAGE, *more):
        for language in ("en", "de"):
            found = TOLD.search(words(oswin.get(page, language=language)))
            assert found is None, (page, language, found)


def test_the_log_of_a_hold_is_never_kept_back_and_who_prints_it_is_not_blind_any_more(scene: Scene) -> None:
    (again,) = [one for one in drawn(scene).readings if one.value("docket") == an_id("rib")]
    scene.a.human("rib", "query", "late")
    scene.send()
    oswin = scene.signed_in("human_osteologist")
    assert "medium mammal" not in words(oswin.get(f"/review/hold/{an_id('rib')}"))
    assert oswin.get(f"/review/hold/{an_id('rib')}/log.pdf").status_code == 200
    record = scene.cabin.ledger.record(again.id)
    assert record is not None
    assert list(record.items("first_seen").values()) == [True]
    assert scene.cabin.ledger.events(1)[0].what == "first_seen"


# -- holds


def test_no_odd_place_or_life_of_a_docket_takes_its_hold_from_a_sheet_or_a_list(scene: Scene) -> None:
    a = scene.a
    a.write("bag", an_id("here"), {"label": "here", "context": DITCH})
    a.write("bag", an_id("there"), {"label": "there", "context": PIT})
    odd: dict[str, dict[str, Any]] = {
        "no bag": {"bag": "one that has not come"}, "two bags": {"bag": an_id("here"), "context": None},
        "no reading": {"reading": "odd"}, "shell": {"material": "shell"}, "many": {"count": 10**400},
    }  # fmt: skip
    for n, (name, values) in enumerate(odd.items()):
        a.docket(name, label=label("A", 201 + n), **values)
        a.human(name, "query", name)
    scene.b.write("docket", an_id("two bags"), {"bag": an_id("there")})
    made = a.docket("gone", label=label("A", 210))
    raised = a.human("gone", "stop", "gone")
    a.write(
        "docket",
        an_id("gone"),
        {"deleted": True},
        {"label": [made.id], "context": [made.id], f"human/{an_id('gone')}": [raised.id]},
    )
    scene.send()
    assert scene.record("gone").life() == "deleted"
    visitor = scene.signed_in("supervisor")
    pages = [f"context/{DITCH}/sheet.pdf", f"context/{DITCH}/compact.pdf", f"context/{DITCH}", "holds"]
    pages += ["dockets?only=raised", "trench/sheets.pdf?trench=A"]
    for page in pages:
        text = words(visitor.get(f"/review/{page}")).replace("\n", " ")
        for name in (*odd, "gone"):
            called = scene.record(name).value("label")
            assert called in text or called.partition(" ")[2] in text, (page, name)


def test_what_is_claimed_of_a_docket_besides_does_not_keep_it_from_being_raised(scene: Scene, rogue: Rogue) -> None:
    rogue.write("hold", an_id("heavy"), {"docket": "x"})
    rogue.push()
    visitor, page = scene.signed_in("recorder"), f"/review/docket/{an_id('heavy')}"
    form = {**visitor.form(page, f"{page}/raise"), "answer": "stop", "why": "invented"}
    assert visitor.post(f"{page}/raise", form).status_code == 302
    assert [one.answer for one in scene.cabin.ledger.holds() if one.docket == an_id("heavy")] == ["stop"]


def test_what_may_be_human_is_marked_with_nothing_else(scene: Scene) -> None:
    for n, answer in enumerate(("no_sign", "not_excluded")):
        reading = seen("cattle", "rib", compared="our own")
        scene.a.docket(answer, label=label("A", 51 + n), weight_g=51.0 + n, reading=reading)
        scene.a.human(answer, answer, answer)
    scene.send()
    visitor, where = scene.signed_in("zooarchaeologist"), f"/review/context/{DITCH}"
    form = visitor.form(where, f"{where}/check")
    assert {one for one in map(an_id, ("no_sign", "not_excluded", "worn")) if one in form["shown"]} == {
        an_id("no_sign")
    }
    # Nor by a form that was made by hand.
    heads = {an_id(name): [] for name in ("not_excluded", "worn", "query")}
    visitor.post(f"{where}/check", {**form, "shown": json.dumps(heads)})
    assert not any("checked" in scene.record(name).heads for name in ("not_excluded", "worn", "query"))


# -- at the same moment


def at_once(visitor: Visitor, where: str, form: dict[str, Any]) -> list[int]:
    """One form sent twice by one session, at the same moment."""
    together, found = threading.Barrier(2), []

    def send() -> None:
        client = visitor.scene.app.test_client()
        client._cookies.update(visitor.client._cookies)
        together.wait()
        found.append(client.post(where, data=form, base_url=BASE).status_code)

    threads = [threading.Thread(target=send) for _ in range(2)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    return found


def test_a_form_sent_twice_at_the_same_moment_makes_one_thing(scene: Scene) -> None:
    visitor, docket = scene.signed_in("zooarchaeologist"), f"/review/docket/{an_id('heavy')}"
    new, group = f"/review/context/{DITCH}/docket", f"/review/groups/new?context={DITCH}"
    made = {**visitor.form(new, new), "material": "bone", "do": "save"}
    raise_ = {**visitor.form(docket, f"{docket}/raise"), "answer": "query", "why": "invented"}
    sent = {**visitor.form("/review/transfers", "/review/transfers"), "what": label("A", 3), "kind": "loan", "to": "x"}
    both = {**visitor.form(group, "/review/groups/new"), "relation": "associated"}
    both |= {"docket": [an_id("rib"), an_id("impossible")], "reason": "invented"}
    lines = f"/review/bag/{an_id('bag')}/entry"
    typed = {**visitor.form(lines, lines), "line": "rib cattle human", "do": "save"}
    many = {**visitor.form(f"{lines}/many", f"{lines}/many"), "lines": "rib cattle\nulna l pig", "do": "save"}
    for where, form in (
        (new, made),
        (f"{docket}/raise", raise_),
        ("/review/transfers", sent),
        ("/review/groups/new", both),
        (lines, typed),
        (f"{lines}/many", many),
    ):
        assert at_once(visitor, where, form) == [302, 302], where
    ledger = scene.cabin.ledger
    assert len(scene.record("heavy").heads[f"human/{raise_['once']}"]) == 1
    entered = [ledger.record(one) for one in ledger.begun_here(an_id("bag"), 9)]
    assert len(entered) == 3
    for one in (ledger.record(made["once"]), *ledger.records("transfer"), *ledger.records("group"), *entered):
        assert one is not None
        assert {path: len(heads) for path, heads in one.heads.items()} == dict.fromkeys(one.heads, 1), one.kind
    whats = [one.what for one in ledger.events(100)]
    told = ("docket_made", "raised", "transfer_made", "group_made", "dockets_made")
    assert [whats.count(what) for what in told] == [2, 2, 1, 1, 1]


# -- forms about what has changed, or is locked


def bag_form(visitor: Visitor, **typed: Any) -> dict[str, Any]:
    where = f"/review/bag/{an_id('bag')}"
    return {
        **visitor.form(where, where),
        "recovery": "hand",
        "mesh_mm": "",
        "weight_g": "",
        "box": "",
        "held_by": "",
        **typed,
    }


def test_a_bags_form_is_heard_though_somebody_disagreed_meanwhile_and_settles_nothing(scene: Scene) -> None:
    visitor, where = scene.signed_in("recorder"), f"/review/bag/{an_id('bag')}"
    form = bag_form(visitor, weight_g="12", box="Box 9", note="kept")
    (before,) = scene.record("bag").heads["recovery"]
    scene.b.write("bag", an_id("bag"), {"recovery": "sieve", "box": "Box 1"})
    scene.send()
    assert visitor.post(where, form).status_code == 302
    record = scene.record("bag")
    assert record.value("weight_g") == 12
    assert set(record.heads["box"].values()) == {"Box 9", "Box 1"}, "neither word is lost"
    assert set(record.heads["recovery"].values()) == {"hand", "sieve"}
    # Nor does a form made by hand settle it: that asks for a reason, and for another role.
    heads = json.dumps({"recovery": sorted(record.heads["recovery"])})
    visitor.post(where, {"csrf": form["csrf"], "heads": heads, "recovery": "hand"})
    assert set(scene.record("bag").heads["recovery"].values()) == {"hand", "sieve"}
    assert before in scene.record("bag").heads["recovery"]


def test_an_odd_value_stays_where_a_bag_is_kept_for_another_reason(scene: Scene) -> None:
    odd = {"held_by": {"who": ["x"]}, "weight_g": 12.0, "box": "Box  1"}
    scene.a.write("bag", an_id("bag"), odd)
    scene.send()
    visitor, where = scene.signed_in("recorder"), f"/review/bag/{an_id('bag')}"
    shown = bag_form(visitor, weight_g="12.0", box="Box 1", held_by='{"who":["x"]}', step="washed")
    assert visitor.post(where, shown).location.endswith("done=kept")
    record = scene.record("bag")
    assert {path: record.value(path) for path in odd} == odd
    assert [set(one.change.set) for one in scene.cabin.ledger.history(an_id("bag"))][-1] == {"step/washed"}


def test_nothing_of_a_locked_context_is_settled_joined_or_weighed_anew_and_what_was_typed_comes_back(
    scene: Scene,
) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    reading = f"/review/disagreement/{an_id('disputed')}/reading"
    third, pair = f"/review/third-reading/{an_id('precise')}", f"/review/pair/{an_id('rib')}/{an_id('heavy')}"
    forms = {
        reading: {**visitor.form(reading, reading), "choice": next(iter(scene.record("disputed").heads["reading"]))},
        pair: {**visitor.form(pair, pair), "said": "one_bone"},
        f"/review/bag/{an_id('bag')}": bag_form(visitor, weight_g="99", note="typed here"),
    }
    scene.cabin.ledger.write("context", DITCH, {"locked": True}, {}, {"person": "p", "name": "L", "role": "director"})
    head = scene.cabin.ledger.names().head
    for where, form in forms.items():
        refused = visitor.post(where, {**form, "reason": "typed here"})
        assert (refused.status_code, "typed here" in refused.text) == (409, True), where
    looked = visitor.form(third, third)
    made = {"element": "femur", "taxon": "sheep", "side": "left", "reason": "typed here", **looked}
    shown = visitor.post(third, {**made, "again": "1"})
    digest = re.search(r'name="looked" value="([^"]*)"', shown.text)
    assert digest
    refused = visitor.post(third, {**made, "looked": digest[1]})
    assert (refused.status_code, "typed here" in refused.text) == (409, True)
    assert scene.cabin.ledger.names().head == head, "nothing was written"
    # Where a bag lies is no part of the analysis.
    kept = bag_form(visitor, box="Box 7", context="1042")
    assert visitor.post(f"/review/bag/{an_id('bag')}", kept).status_code == 302
    # The lock itself is for who may lock, also where people disagree about it.
    scene.b.write("context", DITCH, {"locked": None})
    scene.send()
    lock = f"/review/disagreement/{DITCH}/locked"
    bryony = scene.signed_in("supervisor")
    heads = json.dumps({"locked": sorted(scene.cabin.ledger.record(DITCH).heads["locked"])})  # type: ignore[union-attr]
    csrf = bryony.form("/review/today", "/review/sign-out")["csrf"]
    settled = {"csrf": csrf, "heads": heads, "choice": json.loads(heads)["locked"][0], "reason": "invented"}
    assert bryony.post(lock, settled).status_code == 403


@pytest.mark.parametrize("where", ["docket/{docket}/edit", "context/{context}/edit"])
def test_half_a_character_pair_in_what_a_form_carries_breaks_no_page(where: str, scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    page = "/review/" + where.format(docket=an_id("rib"), context=DITCH)
    form = {**visitor.form(page, page), "heads": json.dumps({"\ud800": []}), "do": "look"}
    assert visitor.post(page, form).status_code == 200


def test_figures_that_no_computer_holds_are_refused_and_no_page_of_a_list_is_too_far(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    csrf = visitor.form("/review/today", "/review/sign-out")["csrf"]
    common = {"csrf": csrf, "heads": "{}", "key": an_id("key"), "phase-name": "P"}
    for digits in ("9" * 400, "9" * 5000):
        assert visitor.post("/review/site/phase", {**common, "order": digits}).status_code == 400
        assert visitor.post("/review/site/fusion", {**common, "fusion-cattle": digits}).status_code == 400
        assert visitor.post(f"/review/bag/{an_id('bag')}", {**common, "weight_g": digits}).status_code == 400
        assert visitor.get(f"/review/doubles?page={digits}").status_code == 200
    assert visitor.get("/review/site").status_code == 200


def test_a_transfer_that_may_be_of_a_bone_on_hold_is_not_made_another_one(scene: Scene) -> None:
    scene.a.write("transfer", an_id("sent"), {"docket": an_id("rib"), "kind": "loan", "to": "a laboratory"})
    scene.b.write("transfer", an_id("sent"), {"docket": an_id("stop")})
    scene.send()
    visitor, where = scene.signed_in("director"), f"/review/transfer/{an_id('sent')}"
    form = {**visitor.form(where, where), "kind": DESTRUCTIVE, "to": "a laboratory", "sure": "yes", "note": "typed"}
    refused = visitor.post(where, form)
    assert (refused.status_code, "typed" in refused.text) == (409, True)
    assert visitor.post(where, {**form, "kind": "loan", "back": "yes"}).status_code == 302, "that it is back is written"
    assert scene.record("sent").value("kind") == "loan"
