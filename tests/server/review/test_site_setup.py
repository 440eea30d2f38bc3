"""The site's record and its contexts at the desk: nothing is written unseen, and nothing that stands is lost."""

from __future__ import annotations

import html
import re
from io import BytesIO
from typing import Any

import pytest
from pyproj import Transformer

from fieldapp.assets import knowledge
from fieldapp.records.place import place_of
from server.grid import Grid
from tests.server.review.scene import Scene, Visitor
from tests.server.tablets import SITE, context_id

ADD = "/review/contexts/add"


@pytest.fixture
def supervisor(scene: Scene) -> Visitor:
    return scene.signed_in("supervisor")


def context(scene: Scene, number: str) -> Any:
    return scene.cabin.ledger.record(context_id(SITE, number))


def look(visitor: Visitor, text: str, **more: Any) -> str:
    form = visitor.form(ADD, ADD)
    return visitor.post(ADD, {"csrf": form["csrf"], "text": text, **more}).text


def confirm(visitor: Visitor, shown: str, **more: str) -> Any:
    """The form that confirms what was shown."""
    plan = re.search(r'name="plan" value="(\w+)"', shown)
    text = re.search(r'<textarea name="text" hidden>\n(.*?)</textarea>', shown, re.S)
    csrf = re.search(r'name="csrf" value="([^"]*)"', shown)
    assert plan
    assert text
    assert csrf
    return visitor.post(ADD, {"csrf": csrf[1], "text": html.unescape(text[1]), "plan": plan[1], **more})


LIST = (
    "number;type;trench;phase;grave_like;from;to;note\n"
    "1042;pit fill;B;2;;;;\n"
    "3001;pit_fill;A;;no;-750;-450;dark\n"
    "3002;pot;;;;;;\n"
)


def test_a_line_is_of_the_context_that_has_its_number_now(supervisor: Visitor, scene: Scene) -> None:
    there = context(scene, "1057")
    scene.a.write("context", there.id, {"number": "1099"}, {"number": sorted(there.heads["number"])})
    scene.send()
    confirm(supervisor, look(supervisor, "number,trench\n1057,B\n10 99,C\n"))
    found = {one.value("number"): one for one in scene.cabin.ledger.records("context")}
    assert sorted(found) == ["1042", "1057", "1099"]
    assert found["1099"].id == there.id
    assert [found[one].value("trench") for one in ("1057", "1099")] == ["B", "C"]


def test_a_list_is_shown_first_and_fills_only_what_a_context_does_not_say(scene: Scene, supervisor: Visitor) -> None:
    shown = look(supervisor, LIST)
    assert context(scene, "3001") is None
    assert "Not a word of the list in type: pot" in shown
    assert "trench: A; the list says B" in " ".join(shown.split())
    answer = confirm(supervisor, shown)
    assert "2 contexts were added or filled in" in answer.text
    assert "3002;pot" in answer.text  # the list is still there to be put right
    made = context(scene, "3001")
    assert made.value("dating") == {"from": -750, "to": -450}
    assert (made.value("type"), made.value("grave_like"), made.value("state")) == ("pit_fill", "no", "open")
    assert [one["text"] for one in made.items("note").values()] == ["dark"]
    old = context(scene, "1042")
    assert (old.value("type"), old.value("trench"), old.value("phase")) == ("ditch_fill", "A", "2")
    assert context(scene, "3002") is None
    assert scene.cabin.ledger.events(1, "contexts_added")[0].fields["n"] == 2
    # Looked at again, there is nothing left to do.
    assert "There is nothing to write" in look(supervisor, LIST)


def test_what_came_between_looking_and_confirming_is_shown_and_not_written_over(
    scene: Scene, supervisor: Visitor
) -> None:
    shown = look(supervisor, LIST)
    scene.b.write("context", context_id(SITE, "1042"), {"phase": "4"})
    scene.send()
    again = confirm(supervisor, shown)
    assert "Something came in meanwhile" in again.text
    assert context(scene, "3001") is None
    assert confirm(supervisor, again.text).status_code == 200
    assert set(context(scene, "1042").heads["phase"].values()) == {"4"}
    scene.a.write("context", context_id(SITE, "1042"), {"locked": True})
    scene.send()
    assert "finished and locked" in look(supervisor, "number;deposit\n1042;sealed\n")


def test_a_file_in_other_letters_is_read_and_said_so_and_one_context_has_a_form(
    scene: Scene, supervisor: Visitor
) -> None:
    csrf = supervisor.form(ADD, ADD)["csrf"]
    data = {"csrf": csrf, "file": (BytesIO("number\ttrench\n3003\tGräber\n".encode("cp1252")), "list.txt")}
    shown = supervisor.post(ADD, data).text
    assert "Windows-1252" in shown
    assert confirm(supervisor, shown).status_code == 302
    assert context(scene, "3003").value("trench") == "Gräber"
    one = supervisor.post(ADD, {"csrf": csrf, "one": "yes", "number": "30 04", "type": "grave", "from": "-20"})
    assert one.location.endswith(f"/review/context/{context_id(SITE, '3004')}")
    assert context(scene, "3004").value("dating") == {"from": -20, "to": None}


def keep(visitor: Visitor, section: str, query: str = "", **more: Any) -> Any:
    where = f"/review/site/{section}"
    return visitor.post(where, {**visitor.form(f"/review/site{query}", f"{where}#{section}"), **more})


def site(scene: Scene) -> Any:
    return scene.cabin.ledger.site()


def test_protocol_trenches_and_phases_are_kept_in_the_site_s_record(scene: Scene, supervisor: Visitor) -> None:
    assert keep(supervisor, "protocol", countable="some").status_code == 400
    chosen = {one: [known.key for known in knowledge().portions_of(one)][:2] for one in ("humerus", "femur")}
    for element, portions in chosen.items():
        more = {"always": ["side", "burning", "nonsense"], "note": "as agreed"}
        keep(supervisor, "protocol", f"?element={element}", countable="some", portion=[*portions, "nonsense"], **more)
    told = {"countable": chosen, "always": ["side", "burning"], "note": "as agreed"}
    assert site(scene).value("protocol") == told
    keep(supervisor, "trench", **{"trench-name": "A", "outline": "POLYGON ((0 0, 10 0, 10 5.5, 0 0))"})
    [(key, trench)] = site(scene).items("trench").items()
    assert trench == {"name": "A", "note": None, "outline": [[0, 0], [10, 0], [10, 5.5]]}
    assert "Another one has this name" in keep(supervisor, "trench", **{"trench-name": "a"}).text
    # Corners in a national grid come back to the millimetre when something else of the trench is altered.
    far = {"trench-name": "Far", "outline": "512345.125 5412345.5\n512355 5412345\n512355 5412355"}
    keep(supervisor, "trench", **far)
    (other,) = [one for one, trench in site(scene).items("trench").items() if trench["name"] == "Far"]
    assert "512345.125 5412345.5" in supervisor.get(f"/review/site?key={other}").text
    keep(supervisor, "trench", key=other, do="drop")
    assert "three corners" in keep(supervisor, "trench", **{"trench-name": "B", "outline": "1 2\n3 4"}).text
    for name, order, years in (("late", "2", ("-100", "50")), ("early", "1", ("-450", "-100"))):
        keep(supervisor, "phase", **{"phase-name": name, "order": order, "from": years[0], "to": years[1]})
    page = supervisor.get("/review/site").text
    assert page.index(">early<") < page.index(">late<")
    assert keep(supervisor, "trench", f"?key={key}", do="drop").status_code == 302
    assert site(scene).items("trench") == {}
    # What contexts call their trench stays.
    assert context(scene, "1042").value("trench") == "A"


def test_two_who_write_at_once_are_both_kept_and_the_next_one_settles_it(scene: Scene, supervisor: Visitor) -> None:
    where = "/review/site/region"
    form = supervisor.form("/review/site", f"{where}#region")
    keep(scene.signed_in("director"), "region", region="central_europe", **{"site-from": "-450"})
    supervisor.post(where, {**form, "region": "mediterranean"})
    assert set(site(scene).heads["region"].values()) == {"central_europe", "mediterranean"}
    assert "written here at once" in supervisor.get("/review/site").text
    keep(supervisor, "region", region="central_europe", **{"site-from": "-450"})
    assert site(scene).disagreements() == {}
    assert site(scene).value("dating") == {"from": -450, "to": None}
    assert scene.cabin.ledger.events(1, "site_set")[0].fields["by"] == "Bryony"


def test_the_grid_is_fitted_to_pegs_shown_with_its_residuals_and_then_kept(scene: Scene, supervisor: Visitor) -> None:
    true = Grid(27700, 412030.0, 318455.0, 12.5, 1.0)
    pegs = [(0.0, 0.0), (20.0, 0.0), (20.0, 30.0), (0.0, 30.0)]
    lines = [(*peg, *true.national(*peg)) for peg in pegs]
    points = "\n".join(f"peg {n}; " + "; ".join(f"{one:.4f}" for one in line) for n, line in enumerate(lines, 1))
    shown = keep(supervisor, "grid", do="fit", epsg="27700", points=points)
    assert shown.status_code == 200
    assert "0.000 m" in shown.text
    assert site(scene).value("grid") is None
    told = {name: found[1] for name in ("east0", "north0", "rotation_deg", "scale")
            if (found := re.search(rf'id="{name}" name="{name}" value="([^"]*)"', shown.text))}  # fmt: skip
    assert keep(supervisor, "grid", epsg="EPSG:27700", **told).status_code == 302
    kept = site(scene).value("grid")
    assert kept["rotation_deg"] == pytest.approx(12.5, abs=1e-4)
    page = supervisor.get("/review/site").text
    # PROJ, asked by itself, puts the origin at the same place.
    longitude, latitude = Transformer.from_crs(27700, 4326, always_xy=True).transform(412030.0, 318455.0)
    assert f"latitude {latitude:.5f}, longitude {longitude:.5f}" in page
    wrong = keep(
        supervisor, "grid", do="fit", epsg="27700", points=points.replace("20.0000; 30.0000", "20.0000; 35.0000")
    )
    assert "furthest off" in wrong.text
    for more, sentence in (
        ({"epsg": "4326"}, "not the EPSG code"),
        ({"epsg": "27700", "points": "1 2 3", "do": "fit"}, "four figures"),
        ({"epsg": "27700", "points": "1 2 3 4", "do": "fit"}, "Two points at least"),
        ({"epsg": "27700", **told, "scale": "3.2808"}, "no grid&#39;s"),
    ):
        refused = keep(supervisor, "grid", **more)
        assert refused.status_code == 400
        assert sentence in refused.text


def test_what_the_rules_and_the_lab_ask_is_set_here_too(scene: Scene, supervisor: Visitor) -> None:
    keep(supervisor, "plausible", taxon="fallow_deer" if "fallow_deer" in knowledge().taxa else "horse", how="always")
    assert list(site(scene).items("plausible").values()) == [True]
    sources = knowledge().sources_of("sheep")
    keep(supervisor, "fusion", **{"fusion-sheep": str(len(sources) - 1)})
    assert site(scene).value("fusion_source/sheep") == sources[-1]
    keep(supervisor, "short", code="HU", slot="element", word="humerus")
    assert site(scene).value("short/hu") == {"slot": "element", "key": "humerus"}
    assert keep(supervisor, "short", code="zz", slot="element", word="wing of an angel").status_code == 400
    keep(supervisor, "short", code="hu", slot="element", word="", do="drop")
    assert site(scene).items("short") == {}


def test_the_words_of_the_place_are_the_director_s_and_always_have_a_source(scene: Scene, supervisor: Visitor) -> None:
    assert "/review/site/place" not in supervisor.get("/review/site").text
    director = scene.signed_in("director")
    draft = next(
        one for one in re.findall(r'<option value="(\w+)"', director.get("/review/site").text.split('id="draft"')[1])
    )
    page = director.get(f"/review/site?draft={draft}").text
    assert "no legal advice" in page
    text = html.unescape(page.split('<textarea id="place_text"')[1].split(">", 1)[1].split("</textarea>")[0])
    assert keep(director, "place", place_text=text).status_code == 400
    assert place_of(site(scene)) is None
    answer = keep(director, "place", place_text=text, place_source="invented office", place_checked="2026-06, Linnet",
                  zone_text=str(site(scene).value("zone_text") or ""))  # fmt: skip
    assert answer.status_code == 302
    found = place_of(site(scene))
    assert found is not None
    assert found.source == "invented office"
    assert found.rules
    assert not any(line.startswith("#") for line in found.rules)


def test_a_standard_of_size_is_pasted_shown_replaced_and_taken_away(scene: Scene, supervisor: Visitor) -> None:
    def typed(lines: str, name: str = "our ewes", **more: str) -> Any:
        source = {"standard-source": "twelve ewes, measured here"}
        return keep(supervisor, "standard", **{"standard-name": name, "standard-lines": lines, **source, **more})

    pasted = "sheep; tibia; Bd; 25,4\nSheep\tHumerus\tBT\t29.1\npig;metacarpal;GL;71;3\n"
    assert typed(pasted).status_code == 302
    assert typed(pasted).status_code == 302, "sent twice it is there once"
    assert typed(pasted.replace("pig", "\n" * 10_000 + "pig")).status_code == 302, "of a long list no line is lost"
    kept = {
        (one["element"], one["code"], one.get("position")): one["mm"] for one in site(scene).items("standard").values()
    }
    assert kept == {("tibia", "Bd", None): 25.4, ("humerus", "BT", None): 29.1, ("metacarpal", "GL", "3"): 71.0}
    assert "twelve ewes, measured here" in supervisor.get("/review/site").text
    for lines, sentence in (
        ("sheep, tibia, Bd, 25.4\ngryphon, tibia, Bd, 3", "Line 2: no such animal"),
        ("sheep, wing, Bd, 25.4", "Line 1: no such bone"),
        ("pig, metacarpal, GL, 71, 9", "Line 1: this bone of this animal"),
        ("sheep, tibia, Bd, nan", "Line 1: the millimetres"),
        ("sheep, tibia, Bd, 25.4\nsheep, tibia, Bd, 26", "Line 2: this measurement stands"),
        ("sheep, tibia", "not four cells"),
        ("", "no line in it"),
    ):
        refused = typed(lines)
        assert refused.status_code == 400
        assert sentence in refused.text
    assert typed("sheep, tibia, Bd, 1", **{"standard-source": ""}).status_code == 400
    assert len([one for one in site(scene).items("standard").values() if one]) == 3
    typed("sheep, tibia, Bd, 26.0")
    assert [one["mm"] for one in site(scene).items("standard").values() if one] == [26.0]
    typed("", do="drop")
    assert [one for one in site(scene).items("standard").values() if one] == []
