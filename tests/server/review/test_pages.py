"""What the pages show of the ledger, in words."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import pytest
from pypdf import PdfReader

from tests.server.review.conftest import BOTH
from tests.server.review.scene import PLACE, Scene, Visitor, label, seen
from tests.server.tablets import SITE, an_id, context_id, hold_of

pytestmark = BOTH
PIT, DITCH = context_id(SITE, "1057"), context_id(SITE, "1042")


class Tags(HTMLParser):
    """The names of a page's tags and attributes, and its text, as a browser reads them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.attributes.update(name for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def text_of(visitor: Visitor, page: str) -> str:
    """The page's words, without tags."""
    answer = visitor.get(page)
    assert answer.status_code == 200
    body = re.sub(r"<(style|svg).*?</\1>", " ", answer.get_data(as_text=True), flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", body).replace("&#39;", "'").replace("&#34;", '"').split())


def test_today_puts_holds_first_and_tells_disagreements_from_precision(scene: Scene) -> None:
    page = text_of(scene.signed_in("human_osteologist"), "/review/today")
    order = [page.index(one) for one in ("Holds 3", "Assessments waiting 2", "Disagreements 3", "Came in last")]
    assert order == sorted(order)
    assert "1 more differs in precision only" in page
    assert "1 problem" in page, "the impossible one"


def test_today_leads_nowhere_where_nothing_is_settled(scene: Scene) -> None:
    """Two zones of one hold, and two receivers of what was sent: said, and no link that ends in an error."""
    scene.a.write("hold", hold_of("query"), {"zone": "the whole of trench A"})
    for tablet in (scene.a, scene.b):
        tablet.write("transfer", an_id("sent"), {"docket": an_id("rib"), "kind": "loan", "to": f"to {tablet.id}"})
    scene.send()
    visitor = scene.signed_in("supervisor")
    page = visitor.get("/review/today").get_data(as_text=True)
    assert "never settled here: the most cautious counts" in page
    links = re.findall(r'href="(/review/(?:disagreement|transfer|docket)/[^"]+)"', page)
    assert f"/review/transfer/{an_id('sent')}" in links
    for link in links:
        assert visitor.get(link, follow=True).status_code == 200, link


def test_today_tells_of_forks_gaps_and_what_was_kept_aside(scene: Scene) -> None:
    page = text_of(scene.signed_in("supervisor"), "/review/today")
    assert "has written number 3 twice; both are kept" in page
    assert "are missing between 0 and 5" in page
    assert "could not be read" in page
    assert "has no effect" in page


def test_an_in_situ_stop_stands_on_every_page_until_it_is_released(scene: Scene) -> None:
    visitor = scene.signed_in("recorder")
    for page in ("/review/today", "/review/contexts", f"/review/docket/{an_id('rib')}"):
        assert "1 in-situ stop" in text_of(visitor, page)


def test_a_bone_in_the_ground_that_was_assessed_as_human_keeps_its_band(scene: Scene) -> None:
    visitor = scene.signed_in("human_osteologist")
    page, action = f"/review/hold/{an_id('stop')}", f"/review/hold/{an_id('stop')}/assess"
    form = {**visitor.form(page, action), "verdict": "human", "bone_seen": "bone", "reasons": "shape of the head"}
    visitor.post(action, {**form, "password": scene.accounts["human_osteologist"][1]})
    today = text_of(visitor, "/review/today")
    assert "assessed as human" in today
    assert "1 in-situ stop" in today


def test_a_context_shows_its_merged_dockets_with_signs_in_words(scene: Scene) -> None:
    page = text_of(scene.signed_in("director"), f"/review/context/{DITCH}")
    common = f"{label('A', 1)} tibia unsided cloven-hoofed animal of sheep or pig size"
    assert common in page, "what all versions have in common"
    assert "disagreement" in page
    assert "differs in precision" in page
    assert "deletion disputed" in page
    assert "1 \N{MULTIPLICATION SIGN} impossible" in page
    assert "human not excluded" in page
    assert "possible human, already lifted" in page


def test_a_context_page_draws_a_plate_for_each_docket_that_has_one(scene: Scene) -> None:
    page = scene.signed_in("director").get(f"/review/context/{DITCH}").get_data(as_text=True)
    cells = re.findall(r'<td class="small-plate">(.*?)</td>', page, re.S)
    drawn = [re.search(r'data-element="(\w+)"', cell) for cell in cells]
    assert {found[1] for found in drawn if found} >= {"tibia", "femur", "radius", "humerus"}
    assert any("no plate" in cell for cell in cells)


def test_long_contexts_are_cut_into_pages_without_losing_a_docket(scene: Scene) -> None:
    for number in range(20, 131):
        scene.a.docket(f"more {number}", label=label("A", number), context=PIT)
    scene.send()
    visitor = scene.signed_in("director")
    shown: list[str] = []
    for number in (1, 2, 3):
        page = visitor.get(f"/review/context/{PIT}?page={number}").get_data(as_text=True)
        table = page[page.index("<tbody>") :]
        shown += re.findall(r'href="/review/docket/([^"?]+)[^"]*"', table)
    wanted = {one.id for one in scene.cabin.ledger.records("docket", PIT)}
    assert len(shown) == len(wanted) == 113
    assert set(shown) == wanted
    assert visitor.get(f"/review/context/{PIT}?page=x").status_code == 200
    assert visitor.get(f"/review/context/{PIT}?page=99").status_code == 200


def test_the_sheet_of_a_context_is_a_pdf_that_names_its_dockets_and_no_exact_place(scene: Scene) -> None:
    answer = scene.signed_in("director").get(f"/review/context/{PIT}/sheet.pdf")
    assert answer.mimetype == "application/pdf"
    printed = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages)
    assert label("A", 7) in printed
    assert "HOLD" in printed
    assert PLACE not in printed


def test_a_docket_shows_who_said_what_and_every_change(scene: Scene) -> None:
    page = text_of(scene.signed_in("director"), f"/review/docket/{an_id('disputed')}")
    assert "Wren, recorder, 2026-06-01 10:00 +02:00" in page
    assert "Moss, recorder" in page
    assert "gnawed at the distal end" in page
    assert "Every change 4" in page, "two readings, and what two rules added to them"
    assert "14.5 g" in page
    assert "1042-1" in page, "the bag by its label"


def test_a_docket_that_came_of_somebody_elses_table_shows_the_row_and_its_sheet_does_not(scene: Scene) -> None:
    row = {"file": "low.csv", "sha256": "0" * 64, "row": 17, "columns": {"Art": "Rd <?>"}, "credit": "A. Sorrel, CC BY"}
    scene.a.docket("rowed", label=label("A", 77), context=PIT, reading=seen("cattle"), imported=row)
    scene.send()
    visitor = scene.signed_in("director")
    page = text_of(visitor, f"/review/docket/{an_id('rowed')}")
    assert "Row 17 of the table low.csv" in page
    assert "A. Sorrel, CC BY" in page
    assert "Art Rd &lt;?&gt;" in page
    answer = visitor.get(f"/review/context/{PIT}/sheet.pdf")
    printed = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages)
    assert label("A", 77) in printed
    assert "low.csv" not in printed


def test_a_docket_tells_of_its_problems_with_their_source(scene: Scene) -> None:
    page = text_of(scene.signed_in("director"), f"/review/docket/{an_id('heavy')}")
    assert "900" in page
    assert "Source: project decision" in page


def test_joined_dockets_name_each_other_from_both_ends(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    assert "Said to be the same bone Joined dockets keep their own readings. On the human question the most cautious"[
        :23
    ] in text_of(visitor, f"/review/docket/{an_id('query')}")
    assert label("A", 8) in text_of(visitor, f"/review/docket/{an_id('query')}")
    twin = text_of(visitor, f"/review/docket/{an_id('twin')}")
    assert label("B", 1) in twin
    assert "A docket said to be the same bone stands higher" in twin


def test_dockets_joined_without_any_hold_name_each_other_too(scene: Scene) -> None:
    scene.a.write("docket", an_id("rib"), {f"same_as/{an_id('heavy')}": True})
    scene.send()
    assert label("A", 3) in text_of(scene.signed_in("director"), f"/review/docket/{an_id('heavy')}")


@pytest.mark.parametrize(
    ("role", "shown"),
    [
        ("recorder", False),
        ("administrator", False),
        ("supervisor", True),
        ("zooarchaeologist", True),
        ("human_osteologist", True),
        ("director", True),
    ],
)
def test_only_the_roles_of_the_table_see_an_exact_place_and_all_see_the_zone(
    scene: Scene, role: str, shown: bool
) -> None:
    visitor = scene.signed_in(role)
    page = text_of(visitor, f"/review/hold/{an_id('stop')}")
    assert "the whole of trench B and its spoil" in page
    assert (PLACE in page) is shown
    assert ("closed to your role" in page) is not shown


@pytest.mark.parametrize("role", ["recorder", "director"])
def test_no_other_page_shows_an_exact_place_open_or_sealed(scene: Scene, role: str) -> None:
    visitor = scene.signed_in(role)
    sealed = scene.cabin.ledger.record(hold_of("stop"))
    assert sealed is not None
    for page in (
        "/review/today",
        "/review/holds",
        f"/review/docket/{an_id('stop')}",
        f"/review/context/{PIT}",
        "/review/disagreements",
    ):
        body = visitor.get(page).get_data(as_text=True)
        assert PLACE not in body
        assert str(sealed.value("place_sealed")) not in body


def test_a_place_that_this_cabin_cannot_open_is_said_to_be_sealed(scene: Scene) -> None:
    scene.b.write("hold", hold_of("query"), {"place_sealed": "bm90IHNlYWxlZA=="})
    scene.send()
    page = text_of(scene.signed_in("director"), f"/review/hold/{an_id('query')}")
    assert "this cabin's key does not open it" in page


def test_the_hold_list_says_who_was_told_last_and_for_how_long_it_is_open(scene: Scene) -> None:
    page = text_of(scene.signed_in("director"), "/review/holds")
    assert "Bryony, supervisor 2026-06-01 10:10 +02:00 2" in page
    assert "nobody" in page
    assert "Local law and the site's licence come first" in page


def test_a_hold_without_its_docket_and_a_docket_without_its_hold_are_on_hold_all_the_same(scene: Scene) -> None:
    scene.a.write("hold", hold_of("not come"), {"docket": an_id("not come"), "tier": "stop", "zone": "trench C"})
    scene.send()
    visitor = scene.signed_in("human_osteologist")
    page = text_of(visitor, f"/review/hold/{an_id('not come')}")
    assert "still on a tablet" in page
    assert "trench C" in page
    assert "Sign and record" not in page, "nothing to assess yet"
    assert "The hold record itself is still on a tablet" in text_of(visitor, f"/review/hold/{an_id('twin')}")


ODD: list[object] = [
    None,
    7,
    True,
    "text",
    [],
    {},
    [1, {"a": None}],
    {"element": ["x"], "portions": "most", "taxon": {}},
    {"element": "femur", "portions": {}, "taxon": ["cattle"], "side": ["left"]},
]


@pytest.mark.parametrize("odd", ODD, ids=repr)
def test_whatever_a_newer_or_damaged_tablet_wrote_no_page_fails_over_it(scene: Scene, odd: object) -> None:
    paths = ["label", "reading", "weight_g", "bag", "note/x", "human/x", "assessment/x", "same_as/x", "finder", "new/x"]
    scene.a.write("docket", an_id("odd"), {"context": DITCH, **dict.fromkeys(paths, odd)})
    scene.b.write("docket", an_id("odd"), dict.fromkeys(paths, "other"))
    scene.b.write("docket", an_id("odd"), {"deleted": odd})
    hold_paths = ["zone", "tier", "in_place", "place_sealed", "step/x", "release/x"]
    scene.a.write("hold", hold_of("odd"), {"docket": an_id("odd"), **dict.fromkeys(hold_paths, odd)})
    scene.a.write("context", DITCH, {"trench": odd, "number": odd, "type": odd, "note/x": odd})
    scene.send()
    visitor = scene.signed_in("human_osteologist")
    pages = [
        "/review/today",
        "/review/contexts",
        "/review/disagreements",
        "/review/holds",
        "/review/problems",
        f"/review/context/{DITCH}",
        f"/review/docket/{an_id('odd')}",
        f"/review/hold/{an_id('odd')}",
    ]
    for dispute in scene.cabin.ledger.disagreements():
        if dispute.kind in ("docket", "context"):
            pages.append(f"/review/disagreement/{dispute.record}/{dispute.path}")
    for page in pages:
        assert visitor.get(page).status_code == 200, page


def test_words_of_a_tablet_are_shown_as_words_and_never_as_markup(scene: Scene) -> None:
    evil = '<script>alert(1)</script>"onfocus="x'
    scene.a.docket("evil", label=evil, finder=evil, reading={**seen("sheep"), "compared": evil, "side": evil})
    scene.a.write("docket", an_id("evil"), {"note/x": {"text": evil}, "human/x": {"answer": evil, "why": evil}})
    scene.a.write(
        "hold", hold_of("evil"), {"docket": an_id("evil"), "zone": evil, "step/x": {"what": evil, "whom": evil}}
    )
    scene.send()
    visitor = scene.signed_in("director")
    for page in (f"/review/docket/{an_id('evil')}", f"/review/hold/{an_id('evil')}", f"/review/context/{DITCH}"):
        tags = Tags(visitor.get(page).get_data(as_text=True))
        assert "alert(1)" in tags.text
        assert "script" not in tags.names
        assert not {name for name in tags.attributes if name.startswith("on")}
