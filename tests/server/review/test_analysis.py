"""The assemblage's pages: what was asked for stands with the figures, and every figure leads to its records."""

from __future__ import annotations

import csv
import io
import json
import re
from html import unescape
from typing import Any

import pytest

from server.analysis.report import jobs, making
from tests.server.review.scene import Scene, Visitor
from tests.server.review.test_pages import text_of

TABLE = "/review/analysis/counts/pieces"


def links(visitor: Visitor, page: str, holding: str) -> list[str]:
    found = re.findall(r'href="([^"]*)"', visitor.get(page).get_data(as_text=True))
    return [unescape(one) for one in found if holding in one]


def test_every_table_of_every_topic_is_a_page_that_says_what_was_asked_and_how_it_is_worked_out(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    tables = links(her, "/review/analysis", "/review/analysis/")
    tables = [one for one in tables if "report" not in one]
    assert len(tables) > 20
    for one in tables:
        page = text_of(her, f"{one}?ways=together")
        assert "hand-collected and sieved put together" in page, one
        assert "How it is worked out" in page, one


def test_every_figure_leads_to_as_many_records_as_it_says(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    page = f"{TABLE}?ways=together"
    leading = links(her, page, "/records?")
    assert leading
    for one in leading:
        shown = her.get(one).get_data(as_text=True)
        said = re.search(r"Records: (\d+)", shown)
        assert said
        assert len(re.findall(r'<a class="label"', shown)) == int(said[1])
        # With the context that each lies in; a hold may be in none yet.
        assert re.search(r"</th><td>10\d\d</td>", shown)


def test_what_is_possibly_human_is_in_no_row_and_is_told(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    told = json.loads(her.get(f"{TABLE}/file.json?ways=together").get_data(as_text=True))
    held = {record for result in told for left in result["left_out"] if left["why"] == "possible_human"
            for record in left["records"]}  # fmt: skip
    counted = {record for result in told for row in result["rows"] for record in row["records"]}
    assert held
    assert counted
    assert not held & counted
    assert "possibly human" in text_of(her, f"{TABLE}?ways=together")


def test_the_files_say_what_was_asked_for_and_chosen(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    page = "/review/analysis/ages/fusion"
    asked = "?ways=together&option.taxon=cattle"
    (told,) = json.loads(her.get(f"{page}/file.json{asked}").get_data(as_text=True))
    assert (told["selection"], told["options"]["taxon"]) == ("ways=together", "cattle")
    lines = csv.DictReader(io.StringIO(her.get(f"{TABLE}/file.csv{asked}").get_data(as_text=True)))
    assert {one["selection"] for one in lines} == {"ways=together"}


def test_an_option_that_cannot_be_followed_is_named_and_a_selection_is_refused(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    page = text_of(her, "/review/analysis/ages/fusion?option.taxon=unicorn")
    assert "“unicorn” cannot be chosen here" in page
    assert "Animal: unicorn" not in page
    for one in ("by=moon", "taxon=unicorn", "ways=hnd"):
        answer = her.get(f"{TABLE}?{one}")
        assert answer.status_code == 400
        assert "nothing was worked out" in answer.get_data(as_text=True)
        assert her.get(f"{TABLE}/file.csv?{one}").status_code == 400


def test_a_context_that_nobody_knows_is_named_beside_the_figures_of_the_others(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    assert "Context: no bone here is of 9999." in text_of(her, f"{TABLE}?context=1042,9999&ways=together")
    assert "no bone here" not in text_of(her, f"{TABLE}?context=1042&ways=together")


def test_a_report_is_a_file_of_its_form(scene: Scene) -> None:
    her = scene.signed_in("zooarchaeologist")
    page = her.get("/review/analysis/report/docx?ways=together&taxon=pig")
    assert page.status_code == 200
    assert "report" in page.headers["Refresh"]
    answer = her.get("/review/analysis/report/docx?ways=together&taxon=pig&file=1")
    assert answer.status_code == 200
    assert answer.data[:2] == b"PK"
    assert her.get("/review/analysis/report/docx?taxon=unicorn").status_code == 400
    assert answer.headers["Content-Disposition"] == "attachment; filename=bone_report.docx"


def test_a_report_that_cannot_be_made_or_would_only_wait_is_said_in_words(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    her = scene.signed_in("zooarchaeologist")
    where = "/review/analysis/report/pdf?taxon=pig"

    def fails(*args: Any, **more: Any) -> bytes:
        raise OSError("no space left")

    with monkeypatch.context() as broken:
        broken.setattr(making, "written", fails)
        assert her.get(f"{where}&file=1").status_code == 200
        answer = her.get(where)
        assert answer.status_code == 500
        assert "could not be made" in answer.text
        assert "again=1" in answer.text
    monkeypatch.setattr(jobs, "MOST_WAITING", 0)
    answer = her.get(f"{where}&again=1")
    assert (answer.status_code, "Refresh" in answer.headers) == (503, True)
    assert "made already" in answer.text
