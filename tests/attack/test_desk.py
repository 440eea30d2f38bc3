"""Whatever is posted to the desk's pages, by any role: nothing there lowers the hold but the two signed forms.

Every route that takes a form is found in the app's own map, so a new one is attacked too.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.attack.changes import HOLD, STOP
from tests.attack.people import Reader, Rogue
from tests.attack.standing import assert_stands
from tests.server.review.scene import PEOPLE, Scene
from tests.server.tablets import an_id

PATHS = (
    f"human/{an_id('stop first')}", "human", "assessment/x", "deleted", "reading", "label", "context", "docket", "tier",
    "zone", "in_place", "place_sealed", f"step/{an_id('told')}", "release/x", "kind",
)  # fmt: skip


def _forms(rogue: Rogue, path: str, record: str) -> list[dict[str, Any]]:
    """What is tried on every form: values for all of the desk's fields, and for a few it does not have."""
    heads = rogue.heads(record)
    changes = [one for ids in heads.values() for one in ids]
    common = {
        "heads": json.dumps({**heads, path: heads.get(path) or changes[:1]}),
        "reason": "invented", "seen": rogue.seen(), "verdict": "non_human", "taxon": "sheep", "element": "femur",
        "bone_seen": "bone", "reasons": "invented", "word_of": "nobody", "reference": "none", "password": "wrong",
        "record": record, "path": path, "records": [STOP, HOLD], "deleted": "1", "answer": "no_sign", "value": "null",
        "what": "word", "whom": "nobody", "note": "go on", "human": "no", "tier": "query",
    }  # fmt: skip
    return [{**common, "choice": one} for one in ("delete", "keep", "coarser", *changes[:2])]


# In every run those who may do the most and the least of it; the proof asks all.
OFTEN = {"human_osteologist", "recorder"}


@pytest.mark.parametrize(
    "role", [one if one in OFTEN else pytest.param(one, marks=pytest.mark.proof) for one in PEOPLE]
)
def test_no_form_of_the_desk_lowers_a_hold_without_the_signers_password(
    role: str, scene: Scene, reader: Reader, rogue: Rogue
) -> None:
    rogue.write("bag", STOP, {"tier": "query", "docket": "x"})
    rogue.write("docket", HOLD, {"label": "x", "tier": "query"})
    rogue.push()
    visitor = scene.signed_in(role)
    rules = [one for one in scene.app.url_map.iter_rules() if "POST" in (one.methods or ()) and "/review" in one.rule]
    assert len(rules) >= 8
    posted = 0
    for rule in rules:
        if rule.endpoint in ("review.sign_out", "review.signed_in"):
            continue
        # Fails where the form before has ended the session: what came after it would have tried nothing.
        csrf = visitor.form("/review/account", "/review/sign-out")["csrf"]
        for record in (STOP, HOLD):
            for path in PATHS if "path" in rule.arguments else ("rest",):
                values = {"record": record, "docket": record, "path": path, "kind": "bag"}
                where = scene.app.url_map.bind("localhost").build(
                    rule.endpoint, {name: values.get(name, record) for name in rule.arguments}
                )
                for form in _forms(rogue, path, record):
                    answer = visitor.post(where, {**form, "csrf": csrf})
                    assert answer.status_code < 500, where
                    posted += 1
    assert posted > 100
    (hold,) = [one for one in scene.cabin.ledger.holds() if one.docket == STOP]
    assert (hold.answer, hold.raised, hold.released) == ("stop", True, False)
    record = rogue.record(HOLD)
    assert len(record.heads["place_sealed"]) == 1
    assert set(record.heads["tier"].values()) == {"stop", "query"}, "nothing of a hold is settled"
    assert_stands(scene, reader)


def test_a_form_without_the_sessions_token_writes_nothing(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    head = scene.cabin.ledger.names().head
    assert visitor.post(f"/review/hold/{STOP}/assess", {"verdict": "non_human"}).status_code == 400
    assert scene.cabin.ledger.names().head == head
