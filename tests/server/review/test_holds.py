"""Holds: the log, signed assessments and releases, who may do what, and what does not count."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from server.ledger import Hold
from tests.server.conftest import Clock
from tests.server.review.scene import Scene, Visitor
from tests.server.review.test_pages import text_of
from tests.server.tablets import an_id, hold_of

STOP, QUERY = f"/review/hold/{an_id('stop')}", f"/review/hold/{an_id('query')}"
SHEEP = {
    "verdict": "non_human",
    "taxon": "sheep",
    "element": "femur",
    "portion": "shaft",
    "side": "left",
    "bone_seen": "bone",
    "reasons": "a supracondylar fossa and a straight shaft",
    "ruled_out": "human infant and adult, dog",
    "comparison": "the project's own reference bones",
}


def hold(scene: Scene, name: str) -> Hold:
    return next(one for one in scene.cabin.ledger.holds() if one.docket == an_id(name))


def assess(visitor: Visitor, scene: Scene, page: str, role: str, **parts: Any) -> Any:
    form = {**visitor.form(page, page + "/assess"), **SHEEP, "password": scene.accounts[role][1], **parts}
    return visitor.post(page + "/assess", form)


def test_an_osteologists_signed_assessment_ends_the_hold_and_says_so(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assert hold(scene, "stop").answer == "stop"
    answer = assess(visitor, scene, STOP, "human_osteologist")
    assert answer.status_code == 302
    found = hold(scene, "stop")
    assert found.answer == "non_human"
    assert not found.raised
    assert found.standing is not None
    assert len(found.standing.effective) == 1
    page = text_of(visitor, answer.location.partition("#")[0])
    assert "Your assessment is recorded. It counts." in page
    assert "Signed with the key of Oswin as human osteologist" in page
    assert "The bone now stands at: assessed as not human" in page
    assert "in-situ stop:" not in page, "the band is gone"
    assert "starts again by the written word only" in page


def test_an_assessment_that_has_not_seen_a_newer_reading_leaves_it_open_and_says_so(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    form = {**visitor.form(STOP, STOP + "/assess"), **SHEEP, "password": scene.accounts["human_osteologist"][1]}
    scene.b.human("stop", "stop", "a second look")
    scene.send()
    answer = visitor.post(STOP + "/assess", form)
    assert answer.status_code == 302
    assert hold(scene, "stop").answer == "stop"
    page = text_of(visitor, answer.location.partition("#")[0])
    assert "It counts. 1 reading is open that your form had not shown" in page
    assert "The bone now stands at: possible human, in the ground: stop" in page
    assert "1 in-situ stop" in page


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ({"bone_seen": "pictures"}, "the bone itself was not seen"),
        ({"taxon": ""}, "no animal and part are named"),
        ({"element": ""}, "no animal and part are named"),
        ({"taxon": "human"}, "no animal and part are named"),
    ],
)
def test_an_assessment_that_does_not_count_is_kept_and_says_why(scene: Scene, parts: dict[str, str], why: str) -> None:
    visitor = scene.signed_in("human_osteologist")
    answer = assess(visitor, scene, STOP, "human_osteologist", **parts, as_it_is="yes")
    assert hold(scene, "stop").answer == "stop"
    page = text_of(visitor, answer.location.partition("#")[0])
    assert f"Your assessment is recorded. It does not count: {why}" in page
    assert "does not count not human, named animal" in page
    assert f"It does not count: {why}" in text_of(visitor, f"/review/docket/{an_id('stop')}")


def test_a_zone_that_was_written_over_stays_in_sight(scene: Scene) -> None:
    ledger = scene.cabin.ledger
    record = hold(scene, "stop").hold_record
    assert record is not None
    before = str(record.value("zone"))
    heads = record.head_ids().get("zone", [])
    by = scene.accounts["recorder"][0].by
    ledger.write("hold", record.id, {"zone": "nothing at all"}, {"zone": heads}, by)
    page = text_of(scene.signed_in("recorder"), STOP)
    assert before in page
    assert "nothing at all" in page


RIB = {"taxon": "large_ungulate", "element": "rib", "criterion-mn02": "yes", "criterion-cv04": "not_preserved"}


def test_signs_are_kept_and_shown_and_what_was_typed_stays_when_something_is_wrong(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    again = assess(visitor, scene, STOP, "human_osteologist", **{"criterion-fe01": "yes", "reasons": ""})
    assert again.status_code == 400
    assert '<option value="yes" selected>' in again.get_data(as_text=True)
    assess(visitor, scene, STOP, "human_osteologist", **{"criterion-mn02": "yes", "criterion-cv04": "not_preserved"})
    docket = scene.cabin.ledger.record(an_id("stop"))
    assert docket is not None
    ((_, value),) = docket.added("assessment").items()
    assert value["criteria"] == {"mn02": "yes", "cv04": "not_preserved"}
    page = text_of(visitor, STOP)
    assert "Seen:" in page
    assert "Not preserved:" in page
    assert assess(visitor, scene, STOP, "human_osteologist", **{"criterion-none": "yes"}).status_code == 400
    assert assess(visitor, scene, STOP, "human_osteologist", **{"criterion-mn02": "maybe"}).status_code == 400


def test_a_group_clears_with_signs_and_two_readers_where_the_site_says_so(scene: Scene) -> None:
    osteologist, zooarchaeologist = (scene.signed_in(one) for one in ("human_osteologist", "zooarchaeologist"))
    answer = assess(osteologist, scene, STOP, "human_osteologist", **RIB)
    assert "a group is enough" in text_of(osteologist, answer.location.partition("#")[0])
    ledger = scene.cabin.ledger
    policy = {
        "zooarchaeologists_may_assess": [scene.accounts["zooarchaeologist"][0].person],
        "second_reader": True,
        "groups": True,
    }
    heads = sorted(ledger.site().heads["policy"])
    ledger.write("site", ledger.names().site, {"policy": policy}, {"policy": heads}, scene.accounts["director"][0].by)
    assert hold(scene, "stop").answer == "stop", "one reader of a group is not enough"
    assess(zooarchaeologist, scene, STOP, "zooarchaeologist", **RIB)
    assert hold(scene, "stop").answer == "non_human"


def test_cannot_tell_counts_and_clears_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    answer = assess(visitor, scene, STOP, "human_osteologist", verdict="cannot_tell", taxon="", element="")
    assert hold(scene, "stop").answer == "stop"
    assert "it clears nothing: the hold stays" in text_of(visitor, answer.location.partition("#")[0])


def test_a_zooarchaeologist_whom_the_policy_does_not_name_proposes_and_clears_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    assert "Propose an assessment" in text_of(visitor, STOP)
    answer = assess(visitor, scene, STOP, "zooarchaeologist")
    assert hold(scene, "stop").answer == "stop"
    page = text_of(visitor, answer.location.partition("#")[0])
    assert "It does not count: the site has not named this person" in page


def name_zooarchaeologists(scene: Scene, *people: str) -> None:
    ledger = scene.cabin.ledger
    policy = {"zooarchaeologists_may_assess": list(people), "second_reader": True}
    heads = sorted(ledger.site().heads["policy"])
    ledger.write("site", ledger.names().site, {"policy": policy}, {"policy": heads}, scene.accounts["director"][0].by)


def test_a_named_zooarchaeologist_waits_for_a_second_reader_where_the_site_asks_for_one(scene: Scene) -> None:
    other, password = scene.cabin.accounts.add("Rowan", "zooarchaeologist")
    tansy = scene.accounts["zooarchaeologist"][0]
    name_zooarchaeologists(scene, tansy.person, other.person)
    visitor = scene.signed_in("zooarchaeologist")
    assert "two people's agreeing assessments clear" in text_of(visitor, STOP)
    answer = assess(visitor, scene, STOP, "zooarchaeologist")
    assert hold(scene, "stop").answer == "stop"
    assert "the site asks for a second reader" in text_of(visitor, answer.location.partition("#")[0])
    scene.accounts["second"] = (other, password)
    second = scene.signed_in("second")
    answer = assess(second, scene, STOP, "second")
    assert hold(scene, "stop").answer == "non_human"
    assert "It counts." in text_of(second, answer.location.partition("#")[0])


def test_a_verdict_human_is_overturned_only_by_one_that_has_seen_it(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assess(visitor, scene, STOP, "human_osteologist", verdict="human", taxon="human")
    assert hold(scene, "stop").answer == "human"
    answer = assess(visitor, scene, STOP, "human_osteologist", reasons="washed now: a lamb")
    assert hold(scene, "stop").answer == "non_human"
    page = text_of(visitor, answer.location.partition("#")[0])
    assert "A later assessment has overturned it" in page


def test_a_wrong_password_signs_nothing_and_the_form_keeps_what_was_typed(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    head = scene.cabin.ledger.names().head
    answer = assess(visitor, scene, STOP, "human_osteologist", password="mistyped-word", reasons="a long thought")
    body = answer.get_data(as_text=True)
    assert answer.status_code == 401
    assert "Nothing was signed" in body
    assert "a long thought" in body
    assert 'value="sheep" selected' in body
    assert "mistyped-word" not in body
    assert scene.cabin.ledger.names().head == head
    assert visitor.get("/review/today").status_code == 200, "still signed in"


@pytest.mark.parametrize("missing", ["verdict", "bone_seen", "reasons"])
def test_an_assessment_without_its_parts_is_not_signed(scene: Scene, missing: str) -> None:
    visitor = scene.signed_in("human_osteologist")
    head = scene.cabin.ledger.names().head
    assert assess(visitor, scene, STOP, "human_osteologist", **{missing: ""}).status_code == 400
    assert scene.cabin.ledger.names().head == head


def test_not_human_without_a_name_is_asked_for_once_more_before_it_is_signed(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assert 'name="as_it_is"' not in text_of(visitor, STOP)
    head = scene.cabin.ledger.names().head
    answer = assess(visitor, scene, STOP, "human_osteologist", element="", reasons="a long thought")
    assert answer.status_code == 400
    assert "Nothing was signed" in answer.text
    assert "a long thought" in answer.text
    assert 'name="as_it_is" id="as-it-is" value="yes">' in answer.text, "asked, and not ticked"
    assert scene.cabin.ledger.names().head == head
    assess(visitor, scene, STOP, "human_osteologist", element="", as_it_is="yes")
    assert scene.cabin.ledger.names().head > head
    assert next(one for one in scene.cabin.ledger.holds() if one.docket == an_id("stop")).raised


def test_an_assessment_names_only_readings_of_its_own_docket(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    other = next(iter(scene.record("query").added("human")))
    for seen in ([], [other], ["human/x@" + "0" * 64]):
        assert assess(visitor, scene, STOP, "human_osteologist", seen=seen).status_code == 400


def test_who_raised_it_is_told_that_another_should_assess(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    assert "You raised this yourself" not in text_of(visitor, STOP)
    scene.b.by = scene.accounts["human_osteologist"][0].by
    scene.b.human("stop", "stop", "the osteologist's")
    scene.send()
    assert "You raised this yourself" in text_of(visitor, STOP)


@pytest.mark.parametrize(
    ("role", "step", "assessing", "releasing"),
    [
        ("recorder", True, False, False),
        ("supervisor", True, False, False),
        ("zooarchaeologist", True, True, False),
        ("human_osteologist", True, True, False),
        ("director", True, False, True),
        ("administrator", False, False, False),
    ],
)
def test_what_a_role_may_not_do_is_not_offered_and_is_refused(
    scene: Scene, role: str, step: bool, assessing: bool, releasing: bool
) -> None:
    visitor = scene.signed_in(role)
    page = text_of(visitor, STOP)
    token = visitor.form("/review/today", "/review/sign-out")["csrf"]
    for form, words, allowed in (
        ("/step", "Add to the log", step),
        ("/assess", "Sign and record the", assessing),
        ("/release", "Sign and record the release", releasing),
    ):
        if not (form == "/assess" and releasing):
            assert (words in page) is allowed, form
        data = {"csrf": token, "what": "told", "whom": "the office"}
        status = visitor.post(STOP + form, data).status_code
        assert (status != 403) is allowed, form


def test_a_step_is_added_to_the_log_with_its_time_and_never_altered(scene: Scene, clock: Clock) -> None:
    visitor = scene.signed_in("supervisor")
    form = {
        **visitor.form(STOP, STOP + "/step"),
        "what": "authority_told",
        "whom": "the coroner's officer",
        "how": "telephone",
        "ref": "C/26/117",
        "note": "asks for no lifting",
        "at": "2026-06-02T16:30",
    }
    assert visitor.post(STOP + "/step", form).status_code == 302
    visitor.post(STOP + "/step", {**form, "at": "", "note": "rang again"})
    page = text_of(visitor, STOP)
    assert "2026-06-02 16:30 +00:00 Authority told the coroner's officer by telephone C/26/117" in page
    assert "2026-06-03 08:00 +00:00 Authority told" in page
    assert "Told Bryony, supervisor in person" in page, "the earlier line stays"
    assert len(scene.cabin.ledger.record(hold_of("stop")).added("step")) == 3  # type: ignore[union-attr]
    assert "the coroner's officer" in text_of(visitor, "/review/holds")


@pytest.mark.parametrize("parts", [{"what": ""}, {"what": "lifted"}, {"at": "yesterday"}, {"what": "note", "note": ""}])
def test_a_step_that_says_nothing_is_not_added(scene: Scene, parts: dict[str, str]) -> None:
    visitor = scene.signed_in("supervisor")
    head = scene.cabin.ledger.names().head
    form = {**visitor.form(STOP, STOP + "/step"), "what": "told", "whom": "somebody unforgettable", **parts}
    answer = visitor.post(STOP + "/step", form)
    assert answer.status_code == 400
    assert "somebody unforgettable" in answer.get_data(as_text=True)
    assert scene.cabin.ledger.names().head == head


def test_a_step_for_a_docket_whose_hold_has_not_come_begins_the_hold_under_its_own_id(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    page = f"/review/hold/{an_id('twin')}"
    visitor.post(page + "/step", {**visitor.form(page, page + "/step"), "what": "told", "whom": "Oswin"})
    begun = scene.cabin.ledger.record(hold_of("twin"))
    assert begun is not None
    assert begun.value("docket") == an_id("twin")
    scene.a.write("hold", hold_of("twin"), {"docket": an_id("twin"), "tier": "query", "zone": "shelf 4"})
    scene.send()
    found = scene.cabin.ledger.record(hold_of("twin"))
    assert found is not None
    assert found.disagreements() == {}
    assert len(found.added("step")) == 1


def release(visitor: Visitor, scene: Scene, **parts: Any) -> Any:
    form = {
        **visitor.form(STOP, STOP + "/release"),
        "word_of": "the coroner",
        "reference": "C/26/117, 2 June",
        "password": scene.accounts["director"][1],
        **parts,
    }
    return visitor.post(STOP + "/release", form)


def test_the_directors_word_releases_the_hold_until_a_later_reading_comes(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    assert release(visitor, scene).status_code == 302
    assert hold(scene, "stop").released
    assert hold(scene, "stop").answer == "stop", "the remains keep their standing"
    page = text_of(visitor, STOP)
    assert "the coroner , C/26/117, 2 June" in page
    assert "It covers every reading there is now" in page
    assert "in-situ stop:" not in page
    scene.b.human("stop", "stop", "more of it")
    scene.send()
    assert not hold(scene, "stop").released
    page = text_of(visitor, STOP)
    assert "1 reading is newer; it holds" in page
    assert "1 in-situ stop:" in page


@pytest.mark.parametrize("parts", [{"word_of": ""}, {"reference": ""}, {"password": "wrong"}, {"seen": ["x"]}])
def test_a_release_without_its_parts_or_the_password_releases_nothing(scene: Scene, parts: dict[str, Any]) -> None:
    visitor = scene.signed_in("director")
    assert release(visitor, scene, **parts).status_code in (400, 401)
    assert not hold(scene, "stop").released


def test_the_cautions_come_with_every_open_hold(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    stop, query = text_of(visitor, STOP), text_of(visitor, QUERY)
    for page in (stop, query):
        assert "Local law and the site's licence come first" in page
    assert "Stop digging here" in stop
    assert "Set it aside" in query


def test_a_record_that_came_under_two_sites_can_still_be_assessed(scene: Scene) -> None:
    """The signature covers the site the record is read under once the cabin has written to it."""
    from tests.server.tablets import Tablet

    stranger = Tablet("tablet five", site="00000000-0000-4000-8000-000000000000")
    stranger.human("stop", "stop", "under another site")
    scene.cabin.ledger.accept(stranger.entries(), stranger.id)
    visitor = scene.signed_in("human_osteologist")
    assess(visitor, scene, STOP, "human_osteologist")
    assert hold(scene, "stop").answer == "non_human"


def closed_seen(scene: Scene) -> list[tuple[str, str]]:
    """(role, what) of every time that somebody saw what is closed."""
    return [(one.fields["role"], one.fields["what"]) for one in scene.cabin.ledger.events(what="closed_seen")]


@pytest.mark.parametrize(
    ("role", "words"),
    [("human_osteologist", True), ("director", True), ("supervisor", True), ("administrator", False)],
)
def test_a_hold_log_is_printed_with_its_words_only_for_whom_they_are_for_and_that_is_noted(
    scene: Scene, role: str, words: bool
) -> None:
    visitor = scene.signed_in(role)
    answer = visitor.get(STOP + "/log.pdf")
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(answer.data)).pages)
    assert "Hold log" in text
    assert ("may name the place" in " ".join(text.split())) is not words
    assert closed_seen(scene) == ([(role, "log")] if words else [])


def test_a_log_of_no_hold_is_not_there(scene: Scene) -> None:
    assert scene.signed_in("director").get("/review/hold/nothing/log.pdf").status_code == 404


def test_that_somebody_saw_the_exact_place_is_noted(scene: Scene) -> None:
    scene.signed_in("administrator").get(STOP)
    assert closed_seen(scene) == []
    scene.signed_in("director").get(STOP)
    assert closed_seen(scene) == [("director", "place")]


def test_a_hand_over_says_who_took_it_and_under_which_seal(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    form = {**visitor.form(STOP, STOP + "/step"), "what": "handed_over", "whom": "the laboratory (invented)"}
    answer = visitor.post(STOP + "/step", {**form, "received_by": "Invented Person, laboratory", "seal": "0042"})
    assert answer.status_code == 302
    page = text_of(visitor, STOP)
    assert "received by: Invented Person, laboratory" in page
    assert "seal: 0042" in page


@pytest.mark.parametrize(("role", "status"), [("supervisor", 302), ("director", 302), ("zooarchaeologist", 403)])
def test_an_emergency_lift_is_for_those_who_may_and_leaves_the_hold_as_it_stood(
    scene: Scene, role: str, status: int
) -> None:
    visitor = scene.signed_in(role)
    form = {**visitor.form(STOP, STOP + "/step"), "what": "lifted", "whom": "the director", "note": "flood"}
    assert visitor.post(STOP + "/step", form).status_code == status
    found = hold(scene, "stop")
    assert (found.answer, found.raised) == ("stop", True)
    assert found.hold_record is not None
    assert found.hold_record.value("in_place") is (status == 403)


def test_an_emergency_lift_without_leave_or_reason_is_not_recorded(scene: Scene) -> None:
    visitor = scene.signed_in("supervisor")
    form = {**visitor.form(STOP, STOP + "/step"), "what": "lifted", "whom": "the director"}
    answer = visitor.post(STOP + "/step", form)
    assert answer.status_code == 400
    assert "by whose leave" in answer.text


def test_under_a_licence_its_conditions_stand_where_the_stop_stood(scene: Scene) -> None:
    ledger = scene.cabin.ledger
    site, by = ledger.site(), scene.accounts["director"][0].by
    assert "nothing is lifted here" in text_of(scene.signed_in("recorder"), STOP)
    values = {"mode": "licensed", "licence": "L 17 (invented)", "licence_conditions": "Screen the work from view."}
    heads = site.head_ids()
    ledger.write("site", site.id, values, {path: heads.get(path, []) for path in values}, by)
    page = text_of(scene.signed_in("recorder"), STOP)
    assert "nothing is lifted here" not in page
    assert "Screen the work from view." in page
    assert "Licence L 17 (invented): its conditions come first" in page
    # In dispute the cautious side holds: a stop is a stop.
    ledger.write("site", site.id, {"mode": "excavation"}, {"mode": heads.get("mode", [])}, by)
    assert "nothing is lifted here" in text_of(scene.signed_in("recorder"), STOP)


def test_a_line_that_a_tablet_wrote_by_keys_reads_as_words_in_the_log_and_in_the_history(scene: Scene) -> None:
    told = {"what": "told", "whom": "supervisor", "how": "in_person", "at": "2026-06-01T10:12:00+02:00"}
    handed = {"what": "handed_over", "whom": "the laboratory (invented)", "seal": "0042"}
    scene.a.write("hold", hold_of("stop"), {f"step/{an_id('keys')}": told, f"step/{an_id('over')}": handed})
    scene.send()
    visitor = scene.signed_in("human_osteologist")
    page = text_of(visitor, STOP)
    assert page.count("the supervisor") == 2, "once in the log and once in the history"
    assert "Told, the supervisor, in person, 2026-06-01 10:12 +02:00" in page
    assert "Handed over, the laboratory (invented), seal: 0042" in page
    assert "in_person" not in page
    assert '{"' not in page
    assert f"<b>docket</b>: {scene.record('stop').value('label')}" in visitor.get(STOP).text, "not by its id"
    german = visitor.get(STOP, language="de").text
    assert "in_person" not in german
    assert german.count("in person") == 2, "what was typed in words stays as it was typed"


def test_the_log_is_in_the_order_in_which_things_happened_though_it_was_written_up_later(scene: Scene) -> None:
    later = {"what": "guarded", "at": "2026-06-01T10:30:00+02:00"}
    first = {"what": "covered", "at": "2026-06-01T10:05:00+02:00"}
    # Of a cabin whose clock shows another zone: twenty past ten, as the tablets tell it.
    between = {"what": "secured", "at": "2026-06-01T08:20:00+00:00"}
    for name, line in (("later", later), ("first", first), ("between", between)):
        scene.a.write("hold", hold_of("stop"), {f"step/{an_id(name)}": line})
    scene.send()
    director = scene.signed_in("director")
    paper = PdfReader(BytesIO(director.get(f"{STOP}/log.pdf").data))
    printed = " ".join(" ".join(page.extract_text().split()) for page in paper.pages)
    for log in (text_of(director, STOP).partition("Add a line")[0], printed):
        at = ("10:05 +02:00 Covered", "10:10 +02:00 Told", "08:20 +00:00 Secured", "10:30 +02:00 Fenced or guarded")
        told = [log.index(one) for one in at]
        assert told == sorted(told)
