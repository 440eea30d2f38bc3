"""Second readings at the desk: drawn as shown, read blind, compared when over; a doubt goes to the docket at once."""

from __future__ import annotations

import argparse
import csv
import io
import json
import re
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from fieldapp.domain.agreement import kappa
from fieldapp.domain.draws import GROUPED, HARD, WAYS
from fieldapp.records import second
from server.commands import agreement
from server.ledger import second as readings
from server.review import reading_form
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label, seen
from tests.server.tablets import SITE, an_id, context_id

DRAW = {"name": "Spring", "of": "site", "how": "random", "size": "40", "seed": "7", "shown": ["bag", "weight"]}


def test_a_form_that_is_opened_again_shows_every_digit() -> None:
    told = {"weight_g": 12345.678, "measure/1": {"code": "GL", "mm": 1234.5678}}
    shown = reading_form.answers(told)
    assert (shown["weight_g"], shown["measure.GL"]) == ("12345.678", "1234.5678")


def drawn(scene: Scene, by: str = "zooarchaeologist", reader: str = "human_osteologist", **more: Any) -> second.Draw:
    """A draw, made by its form."""
    visitor = scene.signed_in(by)
    asked = {**DRAW, "reader": scene.accounts[reader][0].person if reader else "", **more}
    page = "/review/second/draw?" + urlencode({**asked, "show": "yes"}, doseq=True)
    answer = visitor.post("/review/second/draw", visitor.form(page, "/review/second/draw"))
    assert answer.status_code == 302, answer.text
    return next(one for one in readings.draws(scene.cabin.ledger) if answer.location.endswith(one.id))


def of(draw: second.Draw, name: str) -> str:
    return next(one.id for one in draw.readings if second.docket_of(one) == an_id(name))


def read(visitor: Visitor, reading: str, status: int = 302, **fields: str) -> str:
    """A second reading, by its form; {"portions.shaft": ...} is written with two underscores."""
    where = f"/review/second/{reading}"
    form = visitor.form(where, where)
    said = {name.replace("__", "."): value for name, value in fields.items()}
    form["parts_of"] = f"{said.get('element', '')}/{said.get('taxon', '')}"
    answer = visitor.post(where, {**form, "do": "save", **said})
    assert answer.status_code == status, answer.text
    return answer.text


def test_a_draw_is_shown_first_and_is_the_same_for_its_seed(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    page = "/review/second/draw?" + urlencode({**DRAW, "size": "2", "reader": "", "show": "yes"}, doseq=True)
    first, again = visitor.get(page).text, visitor.get(page).text
    labels = re.findall(r'<span class="label">(.*?)</span>', first)
    assert len(labels) == 2
    assert labels == re.findall(r'<span class="label">(.*?)</span>', again)
    assert "Left out: 3 on hold as possibly human" in first
    assert "Left out: 2 that nobody has read yet" in first
    assert readings.draws(scene.cabin.ledger) == []
    form = visitor.form(page, "/review/second/draw")
    scene.a.docket("one more", reading=seen("sheep", "rib"), label=label("A", 20))
    others = visitor.post("/review/second/draw", {**form, "size": "7"})
    assert others.status_code == 409
    assert "Other bones would be drawn now" in others.text
    sent = [visitor.post("/review/second/draw", form) for _ in range(2)]
    assert sent[0].location == sent[1].location
    (draw,) = readings.draws(scene.cabin.ledger)
    assert len(draw.readings) == 2
    assert draw.drawn == {**DRAW, "size": 2}
    assert scene.signed_in("director").get("/review/second").status_code == 200


def test_what_may_be_drawn_is_the_same_by_the_lines_of_lists_and_by_all_records(scene: Scene) -> None:
    ledger = scene.cabin.ledger
    drawn(scene, size="1")
    scene.a.docket("came late", reading=seen("cattle"))
    scene.a.docket("not read")
    scene.a.docket("not certain", reading=seen("cattle", certainty="cf"), label=label("A", 77))
    scene.a.docket("a splinter", reading=seen("cattle", portions={}), label=label("A", 78))
    ledger.accept(scene.a.entries(scene.sent[scene.a.id]), scene.a.id)
    for looked in (False, True):
        assert bool(ledger.due()) is not looked
        for within in (set[str](), {context_id(ledger.names().site, "1042")}):
            dockets = ledger.records("docket")
            where = ledger.contexts_of(dockets)
            inside = [one for one in dockets if not within or where.get(one.id) in within]
            for how in WAYS:
                by_records, by_lines = readings.choice_of(ledger, inside, how), readings.choice(ledger, within, how)
                assert {name: set(ids) for name, ids in by_lines.groups.items()} == {
                    name: set(ids) for name, ids in by_records.groups.items()
                }
                assert by_lines.there == by_records.there > 0
                assert (by_lines.left, by_lines.passed_over) == (by_records.left, by_records.passed_over), how
                assert (by_lines.passed_over > 0) is (how == HARD)
                assert len(by_lines.groups) > 1 or how not in GROUPED
        scene.send()


def test_a_draw_that_cannot_be_is_refused_in_words(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    faults = {"name": "", "size": "0", "seed": "", "how": "x", "of": "trench:Z", "reader": an_id("nobody")}
    for name, value in faults.items():
        asked = {**DRAW, "reader": "", name: value, "show": "yes"}
        answer = visitor.get("/review/second/draw?" + urlencode(asked, doseq=True))
        assert (answer.status_code, 'role="alert"' in answer.text) == (400, True), name
    inside = {**DRAW, "reader": "", "of": "trench:A", "number": "", "show": "yes"}
    assert label("A", 1) in visitor.get("/review/second/draw?" + urlencode(inside, doseq=True)).text


def test_the_first_reading_is_hidden_from_who_reads_again_and_from_nobody_else(scene: Scene) -> None:
    draw = drawn(scene)
    tansy, oswin = scene.signed_in("zooarchaeologist"), scene.signed_in("human_osteologist")
    pages = [
        f"/review/docket/{an_id('disputed')}", f"/review/context/{context_id(SITE, '1042')}", "/review/disagreements",
        f"/review/second/{of(draw, 'disputed')}", f"/review/second/draw/{draw.id}", "/review/problems",
    ]  # fmt: skip
    for page in pages:
        assert oswin.get(page, language="de").status_code == 200
        shown = oswin.get(page)
        assert shown.status_code == 200
        words = re.sub(r"<svg.*?</svg>", "", shown.text.partition('<form class="reading-form ')[0], flags=re.S)
        assert not re.search("(?i)tibia|right femur, fowl|gnawed at", words), page
    assert oswin.get(f"/review/disagreement/{an_id('disputed')}/reading").location.endswith(an_id("disputed"))
    assert "sheep" in tansy.get(pages[0]).text
    assert tansy.get(f"/review/second/{of(draw, 'rib')}").status_code == 403, "she was not asked"
    # The human question is hidden from nobody.
    assert texts()["human_answer.no_sign"] in oswin.get(pages[0]).text
    opened = oswin.post(f"/review/second/{of(draw, 'disputed')}/look", oswin.form(pages[3], f"{pages[3]}/look"))
    assert "sheep" in oswin.get(opened.location).text
    assert scene.cabin.ledger.events(1)[0].what == "first_seen"
    assert "you have opened the first reading" in oswin.get(pages[3]).text.lower()
    assert "sheep" not in oswin.get(f"/review/docket/{an_id('precise')}").text
    assert second.seen_early(scene.cabin.ledger.record(of(draw, "disputed")))  # type: ignore[arg-type]
    # Saved before it was looked at, it was blind; mended after that, it is not.
    again = f"/review/second/{of(draw, 'rib')}"
    read(oswin, of(draw, "rib"), element="rib")
    oswin.post(f"{again}/look", oswin.form(again, f"{again}/look"))
    assert not second.seen_early(scene.cabin.ledger.record(of(draw, "rib")))  # type: ignore[arg-type]
    read(oswin, of(draw, "rib"), element="rib", side="left")
    assert second.seen_early(scene.cabin.ledger.record(of(draw, "rib")))  # type: ignore[arg-type]


def test_a_reading_is_made_without_a_script_and_mended_while_the_draw_is_open(scene: Scene) -> None:
    draw = drawn(scene)
    oswin, one = scene.signed_in("human_osteologist"), of(draw, "rib")
    where = f"/review/second/{one}"
    form = {**oswin.form(where, where), "element": "tibia", "taxon": "sheep"}
    shown = oswin.post(where, {**form, "do": "parts", "side": "left"}).text
    assert 'name="portions.distal_medial"' in shown
    assert 'name="measure.Bd"' in shown
    assert '<option value="left" selected>' in shown
    assert "Nothing was saved" in oswin.post(where, {**form, "do": "save"}).text, "the portions were of no bone"
    text = read(oswin, one, 400, element="tibia", weight_g="heavy")
    assert 'aria-invalid="true"' in text
    assert scene.cabin.ledger.record(one).value("done") is None  # type: ignore[union-attr]
    said = {
        "element": "tibia", "taxon": "sheep", "side": "left", "rest": "absent", "portions__distal_medial": "most",
        "fusion__distal": "fused", "weight_g": "14,5", "measure__Bd": "26.1", "mark__0__kind": "cut",
        "mark__0__number": "3", "tooth__1__tooth": "M3", "tooth__1__wear": "grant_1982:g", "note": "worn",
    }  # fmt: skip
    read(oswin, one, **said)
    record = scene.cabin.ledger.record(one)
    assert record is not None
    assert record.value("reading")["portions"]["distal_medial"] == "most"
    assert set(record.value("reading")["portions"].values()) == {"most", "absent"}
    assert record.value("weight_g") == 14.5
    assert [one["wear"] for one in record.items("tooth").values()] == ["g"]
    before = record.items("measure")
    assert 'value="26.1"' in oswin.get(where).text
    read(oswin, one, **{**said, "measure__Bd": "26.4", "mark__0__kind": "", "mark__0__number": ""})
    record = scene.cabin.ledger.record(one)
    assert record is not None
    assert record.items("measure").keys() == before.keys()
    assert next(iter(record.items("measure").values()))["mm"] == 26.4
    assert record.items("mark") == {}
    assert record.disagreements() == {}
    assert scene.record("rib").head_ids() == dict(scene.record("rib").head_ids()), "no docket is changed"
    assert scene.record("rib").value("reading") == seen("medium_mammal", "rib")


def test_a_form_that_is_behind_another_s_does_not_write_over_it(scene: Scene) -> None:
    draw = drawn(scene, reader="")
    tansy, oswin, one = scene.signed_in("zooarchaeologist"), scene.signed_in("human_osteologist"), of(draw, "rib")
    where = f"/review/second/{one}"
    form = {**tansy.form(where, where), "parts_of": "rib/", "element": "rib", "do": "save"}
    read(oswin, one, element="rib", side="left")
    answer = tansy.post(where, form)
    assert answer.status_code == 409
    assert "Somebody has read this bone" in answer.text


def test_a_doubt_goes_to_the_docket_at_once_by_its_own_form_and_by_rule(scene: Scene) -> None:
    draw = drawn(scene)
    oswin = scene.signed_in("human_osteologist")
    where = f"/review/second/{of(draw, 'rib')}"
    form = {**oswin.form(where, f"{where}/raise"), "answer": "query", "why": "thin and flat"}
    for _ in range(2):
        assert oswin.post(f"{where}/raise", form).location.endswith(f"/review/hold/{an_id('rib')}")
    (answer,) = scene.record("rib").added("human").values()
    assert (answer["answer"], answer["in_place"], answer["why"]) == ("query", False, "thin and flat")
    assert an_id("rib") in {one.docket for one in scene.cabin.ledger.holds() if one.raised}
    assert oswin.get(f"/review/hold/{an_id('rib')}").status_code == 200
    # Named human: in the same save, before any rule comes round.
    read(oswin, of(draw, "heavy"), element="femur", taxon="human", side="left")
    assert an_id("heavy") in {one.docket for one in scene.cabin.ledger.holds() if one.raised}
    assert "possible human" in scene.signed_in("recorder").get(f"/review/docket/{an_id('heavy')}").text.lower()


@BOTH
def test_what_compares_is_shown_when_all_is_read_or_the_draw_is_ended_and_is_right(scene: Scene) -> None:
    draw = drawn(scene)
    tansy, oswin = scene.signed_in("zooarchaeologist"), scene.signed_in("human_osteologist")
    page, table = f"/review/second/draw/{draw.id}", f"/review/second/draw/{draw.id}/agreement.csv"
    said = {
        "disputed": ("tibia", "sheep", "left"), "precise": ("femur", "sheep", "left"), "rib": ("rib", "pig", "right"),
        "heavy": ("femur", "fowl", "right"),
    }  # fmt: skip
    for name, (element, taxon, side) in said.items():
        read(oswin, of(draw, name), element=element, taxon=taxon, side=side)
    # What is mended meanwhile changes no figure: compared is what stood when the bones were drawn.
    heads = scene.record("heavy").head_ids()
    scene.a.write("docket", an_id("heavy"), {"reading": seen("goose", "femur", "right")}, {"reading": heads["reading"]})
    scene.send()
    assert tansy.get(table).status_code == 404
    assert "Agreement by field" not in tansy.get(page).text
    assert (
        oswin.post(f"{page}/end", {**oswin.form("/review/second/draw/" + draw.id, "/review/language")}).status_code
        == 403
    )
    ended = tansy.post(f"{page}/end", tansy.form(page, f"{page}/end"))
    assert ended.location.endswith(page)
    shown = tansy.get(page).text
    assert "4 bones are compared" in shown
    assert "Of 2, people disagreed" in shown
    rows = {row["field"]: row for row in csv.DictReader(io.StringIO(tansy.get(table).text)) if row["sort"] == "field"}
    # disputed: sheep/pig before, so the coarser; precise: sheep/goat; rib: medium mammal against pig; heavy: the same.
    taxon = rows["taxon"]
    assert [taxon[name] for name in ("n", "same", "conflict", "precision")] == ["4", "1", "0", "3"]
    side = rows["side"]
    assert [side[name] for name in ("n", "same", "conflict", "precision")] == ["4", "2", "1", "1"]
    expected = kappa({("left", "left"): 1, ("right", "right"): 1, ("left", "right"): 1})
    assert float(side["kappa"]) == float(f"{expected.kappa:.6g}")
    assert rows["certainty"]["kappa"] == ""
    assert "not defined: one word only" in shown
    assert (
        oswin.post(
            f"/review/second/{of(draw, 'rib')}", {**oswin.form(page, "/review/language"), "heads": "{}"}
        ).status_code
        == 409
    )
    docket = oswin.get(f"/review/docket/{an_id('rib')}").text
    assert "medium-sized mammal" in docket.lower() or "medium mammal" in docket.lower()
    assert "Spring" in docket
    records = [one for one in scene.cabin.ledger.records("second_reading")]
    assert not any(one.disagreements() for one in records)
    assert scene.cabin.ledger.rebuild_matches()


def test_the_command_tells_the_same_figures_and_none_before_a_draw_is_over(
    scene: Scene, tmp_path: Path, capsys
) -> None:  # type: ignore[no-untyped-def]
    def command(*words: str) -> str:
        parser = argparse.ArgumentParser()
        agreement.register(parser)
        assert agreement.run(parser.parse_args(["--data", str(scene.cabin.config.data), *words])) == 0
        return str(capsys.readouterr().out)

    with pytest.raises(CommandError, match="no draw"):
        command()
    draw = drawn(scene)
    oswin, tansy = scene.signed_in("human_osteologist"), scene.signed_in("zooarchaeologist")
    read(oswin, of(draw, "rib"), element="rib", taxon="medium_mammal", side="left")
    assert "1 of 7 read" in command()
    assert "kappa" not in command("--json")
    page = f"/review/second/draw/{draw.id}"
    tansy.post(f"{page}/end", tansy.form(page, f"{page}/end"))
    assert "Spring: 1 compared" in command("--sample", "Spring")
    command("--sample", draw.id, "--csv", str(tmp_path / "a.csv"))
    assert (tmp_path / "a.csv").read_bytes() == tansy.get(f"{page}/agreement.csv").data
    with pytest.raises(CommandError, match="there already"):
        command("--csv", str(tmp_path / "a.csv"))
    (told,) = json.loads(command("--json"))
    assert told["figures"][0] == {**told["figures"][0], "field": "element", "n": 1, "same": 1, "kappa": None}
