"""A typed line over a docket's form: into its fields, all of it or nothing; never an answer to the human question."""

from __future__ import annotations

import re

import pytest

from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene
from tests.server.review.test_editing import last, page, typed
from tests.server.tablets import an_id

pytestmark = BOTH


def test_a_quick_record_is_finished_with_a_line(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    where = page("rib")
    told = typed(visitor, where) | {"do": "check_next", "line": 'tib r red deer +dis -* d:f Bd35.5 w12,4 x3 "fresh'}
    assert visitor.post(where, told).status_code == 302
    record = scene.record("rib")
    reading = record.value("reading")
    assert (reading["element"], reading["side"], reading["taxon"], reading["stage"]) == (
        "tibia", "right", "red_deer", "analysis",
    )  # fmt: skip
    assert reading["portions"]["distal_medial"] == "most"
    assert reading["portions"]["upper_shaft"] == "absent"
    assert reading["fusion"]["distal"] == "fused"
    assert (record.value("weight_g"), record.value("count")) == (12.4, 3)
    assert [(one["code"], one["mm"]) for one in record.items("measure").values()] == [("Bd", 35.5)]
    assert [one["text"] for one in record.items("note").values()] == ["fresh"]
    assert record.value("checked")
    # A measurement that is written already is mended, and nothing else of the bone is touched.
    told = typed(visitor, where) | {"do": "save", "line": "bd36"}
    assert visitor.post(where, told).status_code == 302
    assert [one["mm"] for one in scene.record("rib").items("measure").values()] == [36.0]
    assert [path.partition("/")[0] for path in last(scene, "rib").set] == ["measure"]


def test_the_help_beside_it_has_no_code_that_is_not_taken_here(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    shown = visitor.get(page("rib")).text.partition('<details class="how">')[2].partition("</details>")[0]
    assert "Bd80.5" in shown
    assert "?n" not in shown


def test_looking_shows_the_fields_and_writes_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    answer = visitor.post(page("rib"), typed(visitor, page("rib")) | {"do": "look", "line": "w7 pig"})
    assert answer.status_code == 200
    assert 'name="weight_g" value="7"' in answer.text
    assert 'name="line" value=""' in answer.text, "it is in the fields now"
    assert scene.cabin.ledger.names().head == head


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("pig xyzzy", "xyzzy is no word known here."),
        ("pig w", "w waits for a figure."),
        ("pig sheep", "the line has already said pig"),
        ("pig ?S", "raise it now on the docket&#39;s page"),
        ("pig ?n", "The human question is not answered by a line here."),
    ],
)
def test_a_line_that_is_not_understood_or_answers_the_human_question_alters_nothing(
    scene: Scene, line: str, why: str
) -> None:
    visitor = scene.signed_in("zooarchaeologist")
    head = scene.cabin.ledger.names().head
    answer = visitor.post(page("rib"), typed(visitor, page("rib")) | {"do": "save", "line": line, "finder": "Wren"})
    assert answer.status_code == 422
    assert why in answer.text
    assert f'name="line" value="{line}"' in answer.text
    assert 'value="Wren"' in answer.text, "what was typed into the fields stands too"
    assert scene.cabin.ledger.names().head == head
    assert an_id("rib") not in {one.docket for one in scene.cabin.ledger.holds()}


def test_a_measurement_says_whether_its_part_is_gone_or_was_not_looked_at(scene: Scene) -> None:
    visitor = scene.signed_in("zooarchaeologist")

    def said(line: str) -> dict[str, str]:
        text = visitor.post(page("rib"), typed(visitor, page("rib")) | {"do": "look", "line": line}).text
        rows = re.findall(r'<b>(Bd|Bp|GL)</b> <span class="quiet">[^<]*</span>(.*?)</th>', text, re.S)
        return {code: re.sub("<.*?>", "", more).strip() for code, more in rows}

    assert said("tib cattle +dis") == {
        "Bd": "", "Bp": "(its parts are not recorded yet)", "GL": "(its parts are not recorded yet)",
    }  # fmt: skip
    gone = "(what it needs is not there)"
    assert said("tib cattle +dis -*") == {"Bd": "", "Bp": gone, "GL": gone}
