"""Disagreements about what is no docket, context, bag or group: bulk counts, samples, hand-overs of bone."""

from __future__ import annotations

import re

import pytest

from tests.server.review.scene import Scene, label
from tests.server.tablets import SITE, an_id, context_id

RECORDS = {
    "tally": ({"label": label("A", 90), "count": 12, "taxon": "medium_mammal"}, "count", 14),
    "sample": ({"label": "sample 3", "type": "flotation", "litres": 10.0}, "litres", 12.5),
    "transfer": (
        {"docket": an_id("rib"), "kind": "loan", "to": "a laboratory (invented)"},
        "to",
        "a museum (invented)",
    ),
}
WHO = {"tally": "zooarchaeologist", "sample": "supervisor", "transfer": "supervisor"}


def disputed(scene: Scene, kind: str, values: dict[str, object], path: str, other: object) -> str:
    """A record of which two tablets say two things; its id."""
    where = {} if kind == "transfer" else {"context": context_id(SITE, "1042")}
    first = scene.a.write(kind, an_id(kind), {**values, **where})
    scene.a.write(kind, an_id(kind), {path: values[path]}, over={path: [first.id]})
    scene.b.write(kind, an_id(kind), {path: other}, over={path: [first.id]})
    scene.send()
    return an_id(kind)


@pytest.mark.parametrize("kind", RECORDS)
def test_it_is_settled_side_by_side_opened_again_and_given_a_third_value(scene: Scene, kind: str) -> None:
    values, path, other = RECORDS[kind]
    record = disputed(scene, kind, values, path, other)
    her, page = scene.signed_in(WHO[kind]), f"/review/disagreement/{record}/{path}"
    assert f'href="{page}' in her.get("/review/disagreements").text
    assert f'href="{page}' in her.get("/review/today").text
    shown = her.get(page)
    assert (shown.status_code, shown.text.count('class="version sheet"')) == (200, 2)
    assert 'name="choice"' not in scene.signed_in("recorder").get(page).text
    choices = dict(
        re.findall(r'name="choice" id="c-\d" value="(\w+)"[^>]*><label[^>]*><b>[^<]*</b> ([^<]*?) \u2013', shown.text)
    )
    wanted = next(one for one, words in choices.items() if str(other) in words)
    form = her.form(page, page)
    assert her.post(page, {**form, "choice": wanted, "reason": "looked again"}).status_code == 302
    assert scene.cabin.ledger.record(record).value(path) == other
    assert path not in scene.cabin.ledger.record(record).disagreements()
    again = her.post(f"{page}/open", {**her.form(page, f"{page}/open"), "reason": "after all"})
    assert again.status_code == 302
    assert path in scene.cabin.ledger.record(record).disagreements()
    third = "a third (invented)" if path == "to" else "13"
    sent = her.post(f"{page}/third", {**her.form(page, f"{page}/third"), "value": third, "reason": "counted"})
    assert sent.status_code == 302
    assert str(scene.cabin.ledger.record(record).value(path)).removesuffix(".0") == third


@pytest.mark.parametrize("said", ["human", "mammal_or_human"])
def test_a_bulk_count_that_somebody_called_human_keeps_its_most_cautious_word(scene: Scene, said: str) -> None:
    values = {"label": label("A", 90), "count": 12, "taxon": said}
    record = disputed(scene, "tally", values, "taxon", "sheep")
    her, page = scene.signed_in("human_osteologist"), f"/review/disagreement/{record}/taxon"
    heads = scene.cabin.ledger.record(record).heads["taxon"]
    for change, value in heads.items():
        form = {**her.form(page, page), "choice": change, "reason": "looked again"}
        if value == "sheep":
            answer = her.post(page, form)
            assert (answer.status_code, "its most cautious word stays" in answer.text) == (409, True)
            third = {**her.form(page, f"{page}/third"), "value": "cattle", "reason": "looked again"}
            assert her.post(f"{page}/third", third).status_code == 409
            assert scene.cabin.ledger.record(record).heads["taxon"] == heads
    (cautious,) = [change for change, value in heads.items() if value == said]
    assert her.post(page, {**her.form(page, page), "choice": cautious, "reason": "looked again"}).status_code == 302
    assert scene.cabin.ledger.record(record).heads["taxon"].values() != {"sheep"}
    scene.a.write("tally", record, {"deleted": True})
    scene.b.write("tally", record, {"count": 13})
    scene.send()
    page = f"/review/disagreement/{record}/deleted"
    answer = her.post(page, {**her.form(page, page), "choice": "delete", "reason": "gone"})
    assert answer.status_code == 409
    assert her.post(page, {**her.form(page, page), "choice": "keep", "reason": "not gone"}).status_code == 302
