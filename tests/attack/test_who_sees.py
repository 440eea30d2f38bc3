"""Who may see what is closed, route by route and role by role: the exact place in the clear, the words of a hold's log
(reference, note, custody), and what a closed photograph's record says.

Secrets nobody could mistake are planted in a real ledger; every route is asked as everybody. A route that is not in
TABLE fails the test until somebody has thought about it. Where a role is shown something, the log has to say so.
"""

from __future__ import annotations

import gzip
import hashlib
import re
from io import BytesIO
from typing import Any

import pytest
from flask.testing import FlaskClient
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pypdf import PdfReader
from werkzeug.routing import Rule

from fieldapp.records import sealing
from server.photos import Part
from tests.attack.people import Rogue
from tests.server.review.scene import BASE, PEOPLE, Scene, label
from tests.server.tablets import SITE, Tablet, an_id, context_id, hold_of

PIT = context_id(SITE, "1057")
STOP, LATE, DISPUTED = an_id("stop"), an_id("late"), an_id("placed twice")
PLACES = ("sealed-quoin-lantern", "7301.25", "7402.25", "7503.25", "7604.25")
"""The sealed place of one hold; places entered in the clear before a raise: taken away since, standing, in dispute, in
a column of somebody else's table."""
LOG = ("ref-ferret-anvil", "note-ferret-anvil", "seal-ferret-anvil", "kept-ferret-anvil")


def _picture() -> bytes:
    """A picture with words in its notes."""
    notes, out = PngInfo(), BytesIO()
    notes.add_text("Comment", "photo-walrus-cedar")
    Image.new("RGB", (8, 8), "white").save(out, "PNG", pnginfo=notes)
    return out.getvalue()


PICTURE = _picture()
PHOTO = ("photo-walrus-cedar", hashlib.sha256(PICTURE).hexdigest())

SEE = {"supervisor", "zooarchaeologist", "human_osteologist", "director"}
NOBODY: set[str] = set()
EVERYBODY = (*PEOPLE, "signed out", "tablet")

TABLE: dict[str, tuple[set[str], set[str], set[str]]] = {
    # endpoint: who may see an exact place, who the words of a log, who what a closed photograph's record says
    "api-docs.openapi_json": (NOBODY, NOBODY, NOBODY),
    "api_docs.docs": (NOBODY, NOBODY, NOBODY),
    "api_docs.style": (NOBODY, NOBODY, NOBODY),
    "sync.hello": (NOBODY, NOBODY, NOBODY),
    "sync.enrol": (NOBODY, NOBODY, NOBODY),
    "sync.life": (NOBODY, NOBODY, NOBODY),
    "sync.news": (NOBODY, NOBODY, NOBODY),
    "sync.key": (NOBODY, NOBODY, NOBODY),
    "sync.carry_keys": (NOBODY, NOBODY, NOBODY),
    # A tablet carries what the others wrote, letter by letter, or its chains would not close: what was written in the
    # clear before a raise, the hold's log, and the record of a photograph (its file is not sent). Sealed places stay.
    "sync.pull": ({"tablet"}, {"tablet"}, {"tablet"}),
    "sync.push": ({"tablet"}, {"tablet"}, {"tablet"}),
    # A tablet brings pictures; none is handed out to one.
    "photos.wanted": (NOBODY, NOBODY, NOBODY),
    "photos.have": (NOBODY, NOBODY, NOBODY),
    "photos.send": (NOBODY, NOBODY, NOBODY),
    "way_in": (NOBODY, NOBODY, NOBODY),
    "health.health": (NOBODY, NOBODY, NOBODY),
    "review.static": (NOBODY, NOBODY, NOBODY),
    "review.font": (NOBODY, NOBODY, NOBODY),
    "review.front": (NOBODY, NOBODY, NOBODY),
    "review.sign_in": (NOBODY, NOBODY, NOBODY),
    "review.signed_in": (NOBODY, NOBODY, NOBODY),
    "review.sign_out": (NOBODY, NOBODY, NOBODY),
    "review.language": (NOBODY, NOBODY, NOBODY),
    "review.nowhere": (NOBODY, NOBODY, NOBODY),
    "review.today": (NOBODY, NOBODY, NOBODY),
    "review.problems": (NOBODY, NOBODY, NOBODY),
    "review.carrying": (NOBODY, NOBODY, NOBODY),
    "review.carried": (NOBODY, NOBODY, NOBODY),
    # Sealed for one tablet; what is in it is what an exchange would give it.
    "review.carry_answer": (NOBODY, NOBODY, NOBODY),
    "review.contexts": (NOBODY, NOBODY, NOBODY),
    "review.dockets": (NOBODY, NOBODY, NOBODY),
    "review.changes": (NOBODY, NOBODY, NOBODY),
    "review.looked": (NOBODY, NOBODY, NOBODY),
    "review.context": (NOBODY, NOBODY, NOBODY),
    "review.sheet": (NOBODY, NOBODY, NOBODY),
    "review.printing": (NOBODY, NOBODY, NOBODY),
    "review.compact": (NOBODY, NOBODY, NOBODY),
    "review.labels": (NOBODY, NOBODY, NOBODY),
    "review.blank": (NOBODY, NOBODY, NOBODY),
    "review.trench_summary": (NOBODY, NOBODY, NOBODY),
    "review.trench_sheets": (NOBODY, NOBODY, NOBODY),
    "review.disagreements": (NOBODY, NOBODY, NOBODY),
    # The assemblage counts what is raised apart, and names no place, picture or word of a log.
    **dict.fromkeys(
        (
            "review.analysis",
            "review.analysis_table",
            "review.analysis_file",
            "review.analysis_chart",
            "review.analysis_records",
            "review.analysis_report",
        ),
        (NOBODY, NOBODY, NOBODY),
    ),
    # A photograph or a hold that was claimed for a docket too is looked at by those who may see what is closed.
    "review.disagreement": (SEE, NOBODY, SEE),
    "review.settle": (NOBODY, NOBODY, NOBODY),
    "review.open_again": (NOBODY, NOBODY, NOBODY),
    # A form over a docket shows no place, no answer and no log; a mark and a lock lead to a page of their own.
    "review.edit_docket": (NOBODY, NOBODY, NOBODY),
    "review.save_docket": (NOBODY, NOBODY, NOBODY),
    # Where its answer is wanting, the docket's page comes back as who asks may see it.
    "review.raise_docket": (NOBODY, NOBODY, NOBODY),
    "review.check": (NOBODY, NOBODY, NOBODY),
    "review.check_many": (NOBODY, NOBODY, NOBODY),
    "review.edit_context": (NOBODY, NOBODY, NOBODY),
    "review.save_context": (NOBODY, NOBODY, NOBODY),
    "review.new_docket": (NOBODY, NOBODY, NOBODY),
    "review.make_docket": (NOBODY, NOBODY, NOBODY),
    # Typed lines and fields of many show what is said of the bone; what is on hold is only named as left out of them.
    **dict.fromkeys(
        (
            "review.entry",
            "review.enter",
            "review.take_back",
            "review.entry_many",
            "review.enter_many",
            "review.bulk",
            "review.set_bulk",
            "review.bulk_list",
            "review.bulk_page",
            "review.put_back",
            "review.keys",
        ),
        (NOBODY, NOBODY, NOBODY),
    ),
    "review.lock": (NOBODY, NOBODY, NOBODY),
    "review.open_context": (NOBODY, NOBODY, NOBODY),
    **dict.fromkeys(
        (
            "review.third",
            "review.combine",
            "review.combined",
            "review.third_reading",
            "review.write_reading",
            "review.causes",
            "review.cause",
            "review.settle_many",
            "review.lots_settled",
            "review.lot",
            "review.open_lot",
            "review.doubles",
            "review.refits",
            "review.pair",
            "review.say_of_pair",
            "review.groups",
            "review.group_form",
            "review.group_add",
            "review.group",
            "review.group_change",
        ),
        (NOBODY, NOBODY, NOBODY),
    ),
    "review.beside": (NOBODY, NOBODY, NOBODY),
    "review.bones": (NOBODY, NOBODY, NOBODY),
    # The closed picture itself carries the words, as a camera's notes.
    "review.photo": (NOBODY, NOBODY, SEE),
    "review.docket": (SEE, SEE, SEE),
    "review.holds": (NOBODY, NOBODY, NOBODY),
    "review.hold": (SEE, SEE, NOBODY),
    "review.hold_log": (NOBODY, SEE, NOBODY),
    # Labels, weights and who has a bag; of a docket in it, what its list of dockets would say.
    "review.bags": (NOBODY, NOBODY, NOBODY),
    "review.bag": (NOBODY, NOBODY, NOBODY),
    "review.bag_keep": (NOBODY, NOBODY, NOBODY),
    "review.boxes": (NOBODY, NOBODY, NOBODY),
    "review.box_fill": (NOBODY, NOBODY, NOBODY),
    "review.box": (NOBODY, NOBODY, NOBODY),
    "review.box_place": (NOBODY, NOBODY, NOBODY),
    "review.transfers": (NOBODY, NOBODY, NOBODY),
    "review.transfer_make": (NOBODY, NOBODY, NOBODY),
    "review.transfer": (NOBODY, NOBODY, NOBODY),
    "review.transfer_keep": (NOBODY, NOBODY, NOBODY),
    # The site's own grid and trenches; no find lies on these pages.
    "review.site_setup": (NOBODY, NOBODY, NOBODY),
    "review.site_keep": (NOBODY, NOBODY, NOBODY),
    "review.contexts_new": (NOBODY, NOBODY, NOBODY),
    "review.contexts_add": (NOBODY, NOBODY, NOBODY),
    # Looking after people and tablets takes nothing that is closed, and the log tells none of it.
    "review.people": (NOBODY, NOBODY, NOBODY),
    "review.person_add": (NOBODY, NOBODY, NOBODY),
    "review.person": (NOBODY, NOBODY, NOBODY),
    "review.person_role": (NOBODY, NOBODY, NOBODY),
    "review.person_password": (NOBODY, NOBODY, NOBODY),
    "review.person_off": (NOBODY, NOBODY, NOBODY),
    "review.person_revoke": (NOBODY, NOBODY, NOBODY),
    "review.person_wait": (NOBODY, NOBODY, NOBODY),
    "review.person_assess": (NOBODY, NOBODY, NOBODY),
    "review.my_account": (NOBODY, NOBODY, NOBODY),
    "review.my_password": (NOBODY, NOBODY, NOBODY),
    "review.my_sessions": (NOBODY, NOBODY, NOBODY),
    "review.tablets": (NOBODY, NOBODY, NOBODY),
    "review.tablet_code": (NOBODY, NOBODY, NOBODY),
    "review.tablet": (NOBODY, NOBODY, NOBODY),
    "review.tablet_rename": (NOBODY, NOBODY, NOBODY),
    "review.tablet_withdraw": (NOBODY, NOBODY, NOBODY),
    # A bone that was raised since it was drawn is read again by its label alone.
    **dict.fromkeys(
        (
            f"review.second_{one}"
            for one in (
                "readings",
                "draw",
                "drawn",
                "of_draw",
                "end",
                "table",
                "reading",
                "saved",
                "raise",
                "look",
            )
        ),
        (NOBODY, NOBODY, NOBODY),
    ),
    "review.log": (NOBODY, NOBODY, NOBODY),
    # A form that was not filled in is given back with the page around it.
    "review.step": (SEE, SEE, NOBODY),
    "review.assess": (SEE, SEE, NOBODY),
    "review.release": (SEE, SEE, NOBODY),
}


@pytest.fixture
def planted(scene: Scene, rogue: Rogue) -> Scene:
    """The scene with every secret where it would really be; and the tricks by which it might be looked at."""
    a, hold, key = scene.a, hold_of("stop"), scene.cabin.seal_key
    heads = rogue.heads(hold, "place_sealed")
    a.write("hold", hold, {"place_sealed": sealing.seal(PLACES[0], key, hold)}, heads)
    step = {
        "what": "handed_over", "whom": "x", "how": "in_person", "ref": LOG[0], "note": LOG[1], "seal": LOG[2],
        "kept": LOG[3], "at": "2026-06-01T12:00:00+02:00",
    }  # fmt: skip
    a.write("hold", hold, {f"step/{an_id('words')}": step})
    # Entered in the clear; then raised; then taken away by the tablet that raised it.
    first = a.write("docket", STOP, {"place": {"east": float(PLACES[1])}})
    a.write("docket", STOP, {"place": None}, {"place": [first.id]})
    row = {"file": "low.csv", "sha256": "0" * 64, "row": 7, "columns": {"Easting": PLACES[4]}}
    a.docket("late", label=label("A", 31), context=PIT, place={"east": float(PLACES[2])}, imported=row)
    a.human("late", "query", "late first")
    a.docket("placed twice", label=label("A", 32), context=PIT, place={"east": float(PLACES[3])})
    scene.b.write("docket", DISPUTED, {"place": {"east": 1.0}})
    a.human("placed twice", "stop", "placed first")
    a.write("docket", DISPUTED, {"deleted": True}, {"label": [a.changes[-2].id]})
    values = {"docket": STOP, "sha256": PHOTO[1], "closed": True, "note/x": {"text": PHOTO[0]}}
    a.write("photo", an_id("photo"), values)
    a.write("docket", STOP, {f"photo/{an_id('photo')}": True})
    again = {"docket": LATE, "sample": an_id("draw"), "drawn": {"name": "x", "shown": ["bag", "context", "weight"]}}
    a.write("second_reading", an_id("again"), again)
    # It came in the clear, before the record that closes it.
    part = Part(PHOTO[1], len(PICTURE), False)
    scene.cabin.photos.take(a.id, part, 0, [PICTURE])
    scene.send()
    # A recorder claims other kinds for the hold, so that pages of other kinds might show it.
    for kind in ("bag", "context", "docket", "group"):
        rogue.write(kind, hold, {"x": 1})
    for kind in ("context", "docket", "group"):
        rogue.write(kind, an_id("photo"), {"x": 1})
    rogue.push()
    while scene.cabin.ledger.check_due():
        pass
    return scene


RECORDS = (STOP, LATE, DISPUTED, hold_of("stop"), an_id("photo"), PIT)
PATHS = (
    "place", "imported", "deleted", "place_sealed", f"step/{an_id('words')}", "zone", "sha256", "note/x", "reading",
)  # fmt: skip


FORMS = {
    "review.analysis_file": ("csv", "json"),
    "review.analysis_chart": ("svg",),
    "review.analysis_report": ("pdf",),
}


def addresses(rule: Rule, scene: Scene) -> set[str]:
    """Every address of a route with ids that are there."""
    choices: dict[str, tuple[str, ...]] = {
        "docket": RECORDS, "record": RECORDS, "context": (*RECORDS, "none"), "path": PATHS, "rest": ("x",),
        "photo": RECORDS, "nr": ("0", "1"), "size": ("small", "middle", "whole"), "sha256": (PHOTO[1],),
        "filename": ("review.css",), "weight": ("bold",), "element": ("femur",),
        "answer": (an_id("answer"),), "sample": (an_id("draw"), "none"), "reading": (an_id("again"), *RECORDS),
        "letter": ("A", "Z"), "bag": (*RECORDS, an_id("bag")), "transfer": RECORDS, "box": ("x",),
        "section": ("grid", "place", "x"),
        "kind": ("bag", "context"), "place": (*RECORDS, an_id("bag")), "first": ("x",),
        "other": RECORDS, "group": RECORDS, "key": ("x",), "lot": (an_id("lot"),),
        "topic": ("counts",), "table": ("pieces",), "n": ("0",), "which": ("0",), "form": FORMS.get(rule.endpoint, ()),
        "person": (*(one.person for one, _ in scene.accounts.values()), "none"), "role": ("director", "none"),
    }  # fmt: skip
    found: list[dict[str, str]] = [{}]
    for name in sorted(rule.arguments):
        found = [{**one, name: value} for one in found for value in choices[name]]
    adapter = scene.app.url_map.bind("localhost")
    more = {"file": "1"} if rule.endpoint == "review.analysis_report" else {}
    return {adapter.build(rule.endpoint, one | more, method=sorted(rule.methods or {"GET"})[0]) for one in found}


def plain(answer: Any) -> str:
    """What can be read in an answer, packed or printed."""
    data = answer.get_data()
    if answer.mimetype == "application/pdf":
        return " ".join(page.extract_text() for page in PdfReader(BytesIO(data)).pages).replace("\n", " ")
    if answer.headers.get("Content-Encoding") == "gzip":
        data = gzip.decompress(data)
    return str(data.decode("utf-8", "replace"))


class Asking:
    """Somebody with a browser or a tablet's token, who asks every address of a route in every way that it takes."""

    def __init__(self, who: str, scene: Scene, rogue: Rogue) -> None:
        self.scene = scene
        self.headers = rogue.headers if who == "tablet" else {}
        visitor = scene.signed_in(who) if who in PEOPLE else scene.visitor()
        self.client: FlaskClient = visitor.client
        page = "/review/today" if who in PEOPLE else "/review/sign-in"
        found = re.search(r'name="csrf" value="([^"]*)"', visitor.get(page).text)
        assert found
        self.csrf = found[1]

    def ask(self, rule: Rule) -> str:
        """All the answers of a route, as one text."""
        found = []
        for where in sorted(addresses(rule, self.scene)):
            for method in sorted((rule.methods or set()) & {"GET", "POST", "PUT"}):
                form = {"csrf": self.csrf} if method == "POST" and "/review" in rule.rule else None
                answer = self.client.open(
                    where, method=method, base_url=BASE, data=form, headers=self.headers, buffered=True
                )
                assert answer.status_code < 500, f"{method} {where}"
                found.append(plain(answer))
        return "\n".join(found)


def test_every_route_of_the_server_is_in_the_table(scene: Scene) -> None:
    assert {one.endpoint for one in scene.app.url_map.iter_rules()} == set(TABLE)


def test_neither_a_recorder_nor_an_administrator_is_in_the_table() -> None:
    named = {who for row in TABLE.values() for roles in row for who in roles}
    assert named == SEE | {"tablet"}
    assert {"recorder", "administrator", "signed out"}.isdisjoint(named)


@pytest.mark.parametrize("who", EVERYBODY)
def test_what_is_closed_is_shown_exactly_where_the_table_says_and_that_is_noted(
    who: str, planted: Scene, rogue: Rogue
) -> None:
    asking = Asking(who, planted, rogue)
    for rule in planted.app.url_map.iter_rules():
        if rule.endpoint == "review.sign_out":
            continue
        before = len(planted.cabin.ledger.events(10_000, "closed_seen"))
        text = asking.ask(rule)
        noted = len(planted.cabin.ledger.events(10_000, "closed_seen")) - before
        place, log, photo = TABLE[rule.endpoint]
        for allowed, secrets in ((place, PLACES), (log, LOG), (photo, PHOTO)):
            shown = [one for one in secrets if one in text]
            assert bool(shown) <= (who in allowed), (rule.endpoint, who, shown)
        # A role the table gives everything is really shown it, so that the table cannot say too much either.
        if who in photo and rule.endpoint == "review.photo":
            assert PHOTO[0] in text, who
        if who in place | log and rule.endpoint in ("review.hold", "review.hold_log", "review.docket", "sync.pull"):
            assert any(one in text for one in (*PLACES, *LOG)), (rule.endpoint, who)
        if rule.endpoint.startswith("review") and any(one in text for one in (*PLACES, *LOG, *PHOTO)):
            assert noted, (rule.endpoint, who)
            assert planted.cabin.ledger.events(1, "closed_seen")[0].fields["role"] == who
        assert PLACES[0] not in text or rule.endpoint in SEALED_SHOWN, (rule.endpoint, who)


SEALED_SHOWN = {"review.hold", "review.step", "review.assess", "review.release"}
"""Where a sealed place is opened at all."""


def test_a_sealed_place_goes_to_no_other_tablet_not_even_sealed(planted: Scene, rogue: Rogue) -> None:
    sealed = [
        one for value in rogue.record(hold_of("stop")).heads["place_sealed"].values() for one in [str(value)[:40]]
    ]
    assert sealed
    answer = rogue.client.get("/api/v1/pull?since=0&all=1", headers=rogue.headers, base_url=BASE)
    assert all(one not in plain(answer) for one in sealed)


def test_a_place_that_nothing_human_is_said_of_is_open(scene: Scene) -> None:
    other = Tablet("tablet five")
    other.docket("plain", label=label("A", 33), place={"east": 7604.25})
    scene.cabin.ledger.accept(other.entries(), other.id)
    for role in PEOPLE:
        assert "7604.25" in scene.signed_in(role).get(f"/review/docket/{an_id('plain')}").text
    assert scene.cabin.ledger.events(10, "closed_seen") == []
