"""A specialist's days at the desk, in a real browser: every job done with the mouse, its actions counted; the ones she
does all day with the keyboard alone, and one without scripts.

The bounds are this project's own; there is no source for what is quick enough. Nothing leaves this machine.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from pypdf import PdfReader
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver

from server.ledger import second
from tests.end_to_end import specialist as season
from tests.end_to_end.specialist import Hand
from tests.server.review.scene import Scene, label
from tests.server.review.test_browser import FLAGS, focused, logged, served, sign_in, with_focus
from tests.server.tablets import SITE, an_id, context_id

__all__ = ["served"]

pytestmark = pytest.mark.proof
ALL = int(os.environ.get("PROOF_ROUNDS") or 200) >= 200
"""Whether every record is done, or a few of each job."""


def driver(folder: Path, **preferences: object) -> WebDriver:
    """A browser that keeps what it is given to download in a folder."""
    options = webdriver.ChromeOptions()
    program, driven = shutil.which("chromium"), shutil.which("chromedriver")
    assert program, "the tests need chromium (make test installs it)"
    assert driven, "the tests need chromedriver (make test installs it)"
    options.binary_location = program
    for flag in FLAGS:
        options.add_argument(flag)
    keeping = {"download.default_directory": str(folder), "plugins.always_open_pdf_externally": True, **preferences}
    options.add_experimental_option("prefs", keeping)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(driven))


@pytest.fixture(scope="module")
def hand(served: Scene, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hand]:
    season.a_season(served)
    folder = tmp_path_factory.mktemp("printed")
    browser = driver(folder)
    yield Hand(browser, served, folder)
    browser.quit()


def few(n: int) -> int:
    """As many as the job has, or a few where there is little time."""
    return n if ALL else min(n, 3)


def as_role(hand: Hand, role: str, path: str = "/review/today") -> None:
    """Somebody else sits down at the desk."""
    sign_in(hand.browser, hand.scene, role, path)
    hand.go(path)


def checked(hand: Hand) -> None:
    """The rules have looked at everything: a served cabin does that by itself, a moment later."""
    while hand.scene.cabin.ledger.check_due():
        pass


def test_disagreements_one_by_one_and_many_at_once(hand: Hand) -> None:
    scene = hand.scene
    as_role(hand, "zooarchaeologist")
    hand.press("Disagreements")
    first = f'a[href*="{an_id("two of 0")}/reading"]'
    with hand.job("settling one by one", 3.6, season.ONE_BY_ONE):
        hand.press(first)
        for n in range(season.ONE_BY_ONE):
            assert label("A", 200 + n) in hand.words()
            hand.press("#c-1")
            hand.type("reason", "the whole bone beside the reference")
            hand.press("Record it, and the next one")
            assert f"{label('A', 200 + n)}, reading: settled." in hand.said()
    for n in range(season.ONE_BY_ONE):
        assert scene.record(f"two of {n}").disagreements() == {}
    checked(hand)
    with hand.job("settling twelve at once", 9):
        hand.press("Disagreements")
        hand.press("By their cause")
        hand.press("//tr[contains(., '12')]//a")
        hand.press("Tick all on this page")
        hand.press("#c-1")
        hand.type("reason", "read in the field without a collection")
        hand.press("Look at what it becomes")
        hand.press("Settle these 12")
    for n in range(season.ONE_BY_ONE, season.ONE_BY_ONE + season.AT_ONCE):
        assert scene.record(f"two of {n}").disagreements() == {}


def finish(hand: Hand, portions: bool = True) -> None:
    """One quick record: what it is, which side, what of it is there, its weight; checked, and the next."""
    hand.choose("taxon", "sheep")
    hand.choose("side", "left")
    if portions:
        hand.press('input[name="portion.distal_medial"][value="most"]')
        hand.press('input[name="portion.distal_lateral"][value="most"]')
        hand.choose("rest", "absent")
        hand.choose("fusion.distal", "fused")
    hand.type("weight_g", "12,5")
    hand.press('button[value="check_next"]')


def test_quick_records_are_finished(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist", f"/review/context/{context_id(SITE, season.QUICK)}")
    many = few(season.QUICKLY)
    with hand.job("finishing quick records", 12, many):
        hand.press("Work through what is not checked")
        for n in range(many):
            assert hand.at(an_id(f"quick {n}")), "the next one comes by itself"
            finish(hand)
    for n in range(many):
        record = hand.scene.record(f"quick {n}")
        assert record.value("weight_g") == 12.5
        assert record.value("reading")["stage"] == "analysis"
        assert record.value("checked")


def test_second_readings_are_drawn_read_blind_ended_and_compared(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist")
    many = few(season.READ_AGAIN)
    with hand.job("drawing bones for a second reading", 7):
        hand.press("Second readings")
        hand.press("Draw bones")
        hand.type("number", season.AGAIN)
        hand.type("size", str(many + 2))
        hand.press("Show what would be drawn")
        hand.press("Draw them")
    (draw,) = drawn(hand)
    assert len(draw.readings) == many + 2
    as_role(hand, "human_osteologist")
    # The last of the list, so that whoever goes on from its first comes to none that is read already.
    hand.go(f"/review/second/draw/{draw.id}")
    last = hand.browser.find_elements(By.CSS_SELECTOR, "main tbody a.label")[-1].get_attribute("href")
    hand.go(urlsplit(last or "").path)
    with hand.job("reading a second time, by keyboard", 50):
        hand.keys("#f-element", "tibia")
        hand.keys("#f-taxon", "sheep")
        hand.keys("#f-side", "left")
        hand.keys('button[value="parts"]', Keys.ENTER)
        hand.keys('input[name="portions.distal_medial"]', Keys.SPACE)
        hand.keys("#f-rest", "absent")
        hand.keys("#f-weight_g", "14", Keys.ENTER)
    assert "was saved." in hand.said()
    with hand.job("reading a second time", 10, many):
        hand.press("Second readings")
        hand.press(draw.name)
        hand.press("main tbody a.label")
        for _ in range(many):
            assert "tibia, " not in hand.words()
            hand.choose("element", "tibia")
            hand.choose("taxon", "cattle")
            hand.press('button[value="parts"]')
            hand.choose("side", "left")
            hand.press('input[name="portions.distal_medial"][value="most"]')
            hand.choose("rest", "absent")
            hand.press("Save, and the next one")
    as_role(hand, "zooarchaeologist")
    with hand.job("ending a draw and its results", 4):
        hand.press("Second readings")
        hand.press(draw.name)
        hand.press("End it and show the figures")
    assert "κ" in hand.words() or "kappa" in hand.words()
    assert len(next(one for one in drawn(hand) if one.id == draw.id).done) == many + 1


def drawn(hand: Hand) -> list[second.Draw]:
    return list(second.draws(hand.scene.cabin.ledger))


def test_holds_are_assessed_and_released(hand: Hand) -> None:
    scene = hand.scene
    as_role(hand, "human_osteologist")
    with hand.job("assessing a bone as a named animal's", 14):
        hand.press("Holds")
        hand.press(f'main a[href$="hold/{an_id("stop")}"]')
        hand.press("#v-non_human")
        hand.press("#b-bone")
        hand.choose("taxon", "sheep")
        hand.choose("element", "femur")
        hand.type("portion", "shaft")
        hand.choose("side", "left")
        hand.type("reasons", "a supracondylar fossa and a straight shaft")
        hand.type("password", scene.accounts["human_osteologist"][1])
        hand.press("Sign and record the assessment")
    assert "It counts." in hand.words()
    with hand.job("assessing a bone as human", 12):
        hand.press("Holds")
        hand.press(f'main a[href$="hold/{an_id("query")}"]')
        hand.press("#v-human")
        hand.press("#b-bone")
        hand.type("reasons", "the head and its fovea")
        hand.type("password", scene.accounts["human_osteologist"][1])
        hand.press("Sign and record the assessment")
    assert "It counts." in hand.words()
    hand.go(f"/review/hold/{an_id('doubtful')}")
    with hand.job("assessing, by keyboard", 130):
        hand.keys('input[name="verdict"]', Keys.ARROW_DOWN)
        hand.to("#v-non_human")
        hand.keys('input[name="bone_seen"]', Keys.SPACE)
        hand.to("#b-bone")
        hand.keys("#taxon", "cattle")
        hand.keys("#element", "humerus")
        hand.keys("#portion", "distal end")
        hand.keys("#reasons", "a deep olecranon fossa that is not open")
        hand.keys("#password-a", scene.accounts["human_osteologist"][1])
        hand.keys("button.primary", Keys.ENTER)
    assert "It counts." in hand.words()
    as_role(hand, "director")
    with hand.job("releasing a hold", 8):
        hand.press("Holds")
        hand.press(f'main a[href$="hold/{an_id("query")}"]')
        hand.type("word_of", "The office named by law (invented)")
        hand.type("reference", "17/2026")
        hand.press("#password-r")
        focused(hand.browser).send_keys(scene.accounts["director"][1])
        hand.press("Sign and record the release")
    found = {one.docket: one for one in scene.cabin.ledger.holds()}
    assert not found[an_id("stop")].raised
    assert found[an_id("query")].answer == "human"
    assert found[an_id("query")].released
    assert found[an_id("query")].raised, "released, and human all the same"


def test_sheets_and_labels_are_printed(hand: Hand) -> None:
    folder = hand.folder
    as_role(hand, "zooarchaeologist", "/review/contexts")
    pages = {}
    with hand.job("printing sheet, compact list and labels", 5):
        hand.press(season.DISPUTED)
        hand.press("Print")
        for kind in ("sheet", "compact", "labels"):
            before = set(folder.iterdir())
            hand.press(f'form[action$="{kind}.pdf"] button', printed=True)
            pages[kind] = len(PdfReader(came(folder, before)).pages)
    assert pages["sheet"] > pages["compact"] >= 1
    assert pages["labels"] == 1


def came(folder: Path, before: set[Path]) -> Path:
    """The file that a download ends in."""
    for _ in range(200):
        new = [one for one in set(folder.iterdir()) - before if one.suffix == ".pdf"]
        if new:
            return new[0]
        time.sleep(0.05)
    raise AssertionError("nothing was downloaded")


def test_bags_go_into_a_box_and_a_bone_goes_out(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist")
    with hand.job("three bags into a box", 7):
        hand.press("Bags")
        hand.press("Boxes")
        hand.type("box", "Box 12")
        hand.type("labels", "\n".join(f"{n}-1" for n in (season.QUICK, season.DISPUTED, season.AGAIN)))
        hand.press("Look them up")
        hand.press("Put these 3 bags into Box 12")
    assert hand.scene.record(f"bag {season.QUICK}").value("box") == "Box 12"
    with hand.job("a bone lent", 9):
        hand.go(f"/review/docket/{an_id('two of 0')}")
        hand.press("Note a transfer")
        hand.choose("kind", "loan")
        hand.type("to", "A laboratory (invented)")
        hand.type("authority", "The museum (invented)")
        hand.type("reference", "18/2026")
        hand.press("Write it down")
        assert hand.at("/review/transfer/"), hand.words()


def test_the_site_is_set_up(hand: Hand) -> None:
    as_role(hand, "director")
    with hand.job("a trench, a phase and three contexts", 13):
        hand.press("Site")
        hand.press('button[name="trench-name"][value="B"]')
        hand.type("trench-name", "C")
        hand.press("#trench ~ form button:not([name])")
        hand.type("phase-name", "4")
        hand.type("order", "4")
        hand.press("#phase ~ form button:not([name])")
        hand.press("Add contexts")
        hand.type("text", "number;type;trench;phase\n3001;pit_fill;C;4\n3002;ditch_fill;C;4\n3003;layer;C;4\n")
        hand.press("Look at it")
        hand.press("Write: 3 new, 0 filled in")
    names = [one["name"] for one in hand.scene.cabin.ledger.site().items("trench").values()]
    assert sorted(names) == ["B", "C"]
    assert hand.scene.cabin.ledger.record(context_id(SITE, "3003")).value("phase") == "4"


def test_a_double_is_joined_and_a_group_is_made(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist")
    with hand.job("joining a double", 7):
        hand.press("Disagreements")
        hand.press("Recorded twice?")
        hand.press(f'a[href*="pair/{an_id("double one")}"], a[href*="pair/{an_id("double two")}"]')
        hand.press("#s-one_bone")
        hand.type("reason", "the same break, the same label in the bag")
        hand.press("Record it")
    assert hand.scene.record("double one").items("same_as") or hand.scene.record("double two").items("same_as")
    with hand.job("making a group of three", 9):
        hand.go(f"/review/docket/{an_id('again 0')}")
        hand.press("Make a group with it")
        hand.press('input[name="relation"]')
        hand.press("#d-2")
        hand.press("#d-3")
        hand.press("Make this group")
    assert hand.said() == "Recorded."


def test_a_context_is_locked_and_opened_and_what_came_is_looked_at(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist", f"/review/context/{context_id(SITE, season.DISPUTED)}")
    with hand.job("locking a context and opening it", 2):
        hand.press("Lock: the analysis is finished")
        assert "Locked" in hand.words()
        hand.press("Open again")
    with hand.job("looking at what changed", 3):
        hand.press("Today")
        hand.press('main a[href$="/review/changes"]')
        hand.press("I have looked at this")
    assert "Noted." in hand.said()


def test_records_are_finished_and_settled_with_the_keyboard_alone(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist", f"/review/docket/{an_id('double one')}/edit")
    with_focus(hand.browser, "element")
    with hand.job("finishing a record, by keyboard", 90):
        hand.keys("#f-taxon", "goat")
        hand.keys("#f-rest", "are absent")
        hand.keys("#f-weight_g", Keys.CONTROL + "a" + Keys.NULL, "9,5")
        focused(hand.browser).send_keys(Keys.ENTER)
        hand.arrive()
    assert "Saved." in hand.said()
    assert hand.scene.record("double one").value("weight_g") == 9.5
    to_the_line = ActionChains(hand.browser).key_down(Keys.ALT).send_keys("t").key_up(Keys.ALT)
    hand.go(f"/review/docket/{an_id('double two')}/edit")
    with_focus(hand.browser, "element")
    with hand.job("finishing a record with a line", 3):
        to_the_line.perform()
        hand.actions += 1
        with_focus(hand.browser, "line").send_keys("tib r red deer +dis -* d:f Bd35.5 w12,4", Keys.ENTER)
        hand.arrive()
    assert "Saved." in hand.said()
    assert hand.scene.record("double two").value("reading")["taxon"] == "red_deer"
    hand.go(f"/review/disagreement/{an_id('precise')}/reading")
    with hand.job("settling, by keyboard", 60):
        hand.keys('input[name="choice"]', Keys.ARROW_DOWN)
        hand.keys("#reason", "no diagnostic part is there")
        hand.keys("button.primary", Keys.ENTER)
    assert "Settled." in hand.said()


def test_she_comes_back_to_where_she_was_in_the_list(hand: Hand) -> None:
    as_role(hand, "zooarchaeologist", "/review/dockets?find=2003&sort=-label&page=1")
    name = "again 7"
    hand.go(f"/review/context/{context_id(SITE, season.AGAIN)}?sort=-label")
    with hand.job("a weight mended, and back in the list", 5):
        hand.press(f'main a[href*="docket/{an_id(name)}"]')
        hand.press("Edit")
        hand.type("weight_g", "31")
        hand.press('button[value="save"]')
        hand.press("Back to the list")
    assert "sort=-label" in hand.browser.current_url
    row = hand.find(f"#r-{an_id(name)}")
    top = hand.browser.execute_script("return arguments[0].getBoundingClientRect().top", row)
    height = hand.browser.execute_script("return innerHeight")
    assert 0 <= top < height, "her row is in sight"


def test_nothing_left_this_machine_and_no_page_complained(hand: Hand) -> None:
    hosts, complaints = logged(hand.browser)
    print("\n".join(complaints))
    assert hosts == {"127.0.0.1"}
    assert complaints == []
    print("\n".join(hand.table))


def test_a_record_is_finished_without_scripts(served: Scene, hand: Hand, tmp_path: Path) -> None:
    name = f"quick {season.QUICKLY - 1}"
    browser = driver(tmp_path, **{"profile.managed_default_content_settings.javascript": 2})
    try:
        browser.get("data:text/html,<p id=p>no</p><script>document.getElementById('p').textContent='yes'</script>")
        assert browser.find_element(By.ID, "p").text == "no", "scripts are off"
        plain = Hand(browser, served, tmp_path)
        as_role(plain, "zooarchaeologist", f"/review/docket/{an_id(name)}/edit")
        with plain.job("finishing a record, without scripts", 12):
            finish(plain)
    finally:
        browser.quit()
    assert served.record(name).value("weight_g") == 12.5
