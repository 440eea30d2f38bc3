"""The pages in a browser (headless Chromium), over the cabin's own TLS: settled by keyboard, nothing from elsewhere.

Contrast after WCAG 2.2, "contrast ratio" and "relative luminance"; 7:1 is criterion 1.4.6
(https://www.w3.org/TR/WCAG22/, memory).
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.expected_conditions import staleness_of
from selenium.webdriver.support.ui import WebDriverWait

from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.scene import Scene, make, seen
from tests.server.tablets import SITE, an_id, context_id

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-proxy-server",
    "--ignore-certificate-errors",
    "--window-size=1366,768",
    # A name that is not this machine's is not even looked up.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)

CONTRAST = """
const parse = c => (c.match(/[\\d.]+/g) || []).map(Number);
const lum = c => { const [r, g, b] = c.slice(0, 3).map(v => v / 255)
  .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
const found = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const el = walk.currentNode.parentElement, text = walk.currentNode.textContent.trim();
  if (!text || !el.getClientRects().length || el.closest('svg, option, .skip')) continue;
  let at = el, ground = [0, 0, 0, 0];
  while (at && (ground.length === 4 && ground[3] === 0)) {
    ground = parse(getComputedStyle(at).backgroundColor); at = at.parentElement; }
  const [low, high] = [lum(parse(getComputedStyle(el).color)), lum(ground)].sort((a, b) => a - b);
  found.push([(high + 0.05) / (low + 0.05), text.slice(0, 40)]);
}
return found;
"""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    scene = make(tmp_path_factory.mktemp("served"), lambda: datetime.now(UTC).astimezone(), serve=True)
    assert scene.serving is not None
    with scene.serving:
        yield scene


@pytest.fixture(scope="module")
def browser() -> Iterator[WebDriver]:
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    assert program, "the tests need chromium (make test installs it)"
    assert driver, "the tests need chromedriver (make test installs it)"
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in FLAGS:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    found = webdriver.Chrome(options=options, service=Service(driver))
    found.set_page_load_timeout(30)
    yield found
    found.quit()


def go(browser: WebDriver, scene: Scene, path: str) -> None:
    assert scene.serving is not None
    browser.get(f"https://127.0.0.1:{scene.serving.port}{path}")


def focused(browser: WebDriver) -> Any:
    return browser.switch_to.active_element


def with_focus(browser: WebDriver, name: str) -> WebElement:
    """The field of that name, which has the focus without a key between, once the page is there."""

    def found(_: WebDriver) -> WebElement | None:
        field: WebElement = focused(browser)
        return field if field.get_attribute("name") == name else None

    return WebDriverWait(browser, 20, ignored_exceptions=(WebDriverException,)).until(found)


def tab_to(browser: WebDriver, wanted: str, most: int = 60) -> list[str]:
    """Presses Tab until what matches the selector `wanted` has the focus; the names of what had it on the way."""
    way = []
    for _ in range(most):
        focused(browser).send_keys(Keys.TAB)
        now = focused(browser)
        outline = now.value_of_css_property("outline-style")
        assert outline not in ("none", ""), f"the focus is not seen at {now.get_attribute('outerHTML')[:200]}"
        way.append(now.text or now.get_attribute("name") or now.tag_name)
        if browser.execute_script("return arguments[0].matches(arguments[1])", now, wanted):
            return way
    raise AssertionError(f"Tab never came to {wanted}: {way}")


def sign_in(browser: WebDriver, scene: Scene, role: str, path: str = "/review/today") -> None:
    browser.delete_all_cookies()
    go(browser, scene, path)
    account, password = scene.accounts[role]
    tab_to(browser, "#account")
    focused(browser).send_keys(account.name)
    tab_to(browser, "#password")
    focused(browser).send_keys(password, Keys.ENTER)
    # Enter sends the form; the next page comes when it comes.
    WebDriverWait(browser, 10).until(lambda seen: "/sign-in" not in seen.current_url)


def logged(browser: WebDriver) -> tuple[set[str], list[str]]:
    """(hosts that anything was asked of, complaints in the console), since last asked."""
    hosts = set()
    for line in browser.get_log("performance"):
        message = json.loads(line["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            url = urlsplit(message["params"]["request"]["url"])
            if url.scheme not in ("data", "chrome", "about", "blob"):
                hosts.add(url.hostname or url.geturl())
    return hosts, [line["message"] for line in browser.get_log("browser") if line["level"] in ("SEVERE", "WARNING")]


def test_a_specialist_settles_a_disagreement_with_the_keyboard_alone(browser: WebDriver, served: Scene) -> None:
    logged(browser)
    sign_in(browser, served, "zooarchaeologist")
    assert browser.find_element(By.TAG_NAME, "h1").text == "Today"
    way = tab_to(browser, f'a[href$="{an_id("disputed")}/reading"]')
    assert way[0] == "Skip to the page"
    focused(browser).send_keys(Keys.ENTER)
    assert "Version A" in browser.find_element(By.TAG_NAME, "main").text
    before = served.record("disputed").heads["reading"]
    sheep = next(one for one, value in before.items() if value == seen("sheep"))
    tab_to(browser, 'input[name="choice"]')
    for _ in before:
        if focused(browser).get_attribute("value") == sheep:
            focused(browser).send_keys(Keys.SPACE)
            break
        focused(browser).send_keys(Keys.ARROW_DOWN)
    tab_to(browser, "#reason")
    focused(browser).send_keys("the distal end is a sheep's")
    tab_to(browser, "button.primary")
    focused(browser).send_keys(Keys.ENTER)
    assert "Settled." in browser.find_element(By.CSS_SELECTOR, "[role=status]").text
    after = served.record("disputed")
    assert after.disagreements() == {}
    assert after.value("reading") == seen("sheep")
    hosts, complaints = logged(browser)
    assert hosts == {"127.0.0.1"}
    assert complaints == []


@pytest.mark.proof
def test_a_specialist_finishes_a_docket_with_the_keyboard_alone(browser: WebDriver, served: Scene) -> None:
    sign_in(browser, served, "zooarchaeologist", f"/review/docket/{an_id('heavy')}/edit")
    with_focus(browser, "element")  # the form begins where the work begins
    way = tab_to(browser, "#f-weight_g")
    assert len(way) < 40
    focused(browser).send_keys(Keys.CONTROL + "a" + Keys.NULL, "55,5", Keys.ENTER)
    assert "Saved." in browser.find_element(By.CSS_SELECTOR, "[role=status]").text
    assert served.record("heavy").value("weight_g") == 55.5, "Enter saves, wherever the cursor stands"


@pytest.mark.proof
def test_a_bag_is_entered_with_the_keyboard_alone(browser: WebDriver, served: Scene) -> None:
    sign_in(browser, served, "zooarchaeologist", f"/review/bag/{an_id('bag')}/entry")
    # Callipers and a balance end what they type with Enter, like whoever types words.
    for line in ("hum l cattle +dis Bd", "80.5", "w", "120", "", "= r w80", "tibai l"):
        field = with_focus(browser, "line")
        field.send_keys(line, Keys.ENTER)
        WebDriverWait(browser, 20).until(staleness_of(field))
    assert with_focus(browser, "line").get_attribute("value") == "tibai l"
    ledger = served.cabin.ledger
    made = [ledger.record(one) for one in ledger.begun_here(an_id("bag"), 9)]
    assert [one.value("weight_g") for one in made if one] == [80, 120]


def test_every_page_is_readable_asks_nobody_else_and_fits_a_laptop(browser: WebDriver, served: Scene) -> None:
    sign_in(browser, served, "supervisor")
    logged(browser)
    read = 0
    for page in EVERY_PAGE:
        if page == "/review/nowhere":
            continue
        go(browser, served, page)
        assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth"), page
        assert browser.execute_script("return [...document.fonts].some(one => one.status === 'loaded')"), page
        contrasts = browser.execute_script(CONTRAST)
        assert [one for one in contrasts if one[0] < 7] == [], page
        read += len(contrasts)
    assert read > 500, "the look at contrasts has seen words"
    hosts, complaints = logged(browser)
    assert hosts == {"127.0.0.1"}
    assert complaints == []


def test_the_look_at_contrasts_can_fail(browser: WebDriver, served: Scene) -> None:
    go(browser, served, "/review/sign-in")
    browser.execute_script("document.querySelector('h1').style.color = '#999'")
    assert [one for one in browser.execute_script(CONTRAST) if one[0] < 7]


def test_the_pages_work_with_scripts_switched_off(browser: WebDriver, served: Scene) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})  # type: ignore[attr-defined]
    try:
        sign_in(browser, served, "supervisor", f"/review/context/{context_id(SITE, '1057')}")
        assert browser.find_element(By.TAG_NAME, "h1").text == "Context 1057"
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})  # type: ignore[attr-defined]


def test_a_page_that_tried_to_reach_elsewhere_would_be_noticed(browser: WebDriver, served: Scene) -> None:
    go(browser, served, "/review/sign-in")
    logged(browser)
    browser.execute_script("const i = new Image(); i.src = 'https://elsewhere.test/x.png'; document.body.append(i)")
    _, complaints = logged(browser)
    assert any("Content Security Policy" in one for one in complaints)
