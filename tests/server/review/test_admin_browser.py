"""The pages of those who look after the cabin, in a browser: by keyboard, in the light and the dark theme, narrow, and
the picture of a code read back by a reader that is not ours (pyzbar).

Contrast as in test_browser (WCAG 2.2, 1.4.6, from memory); 320 px is criterion 1.4.10, from memory.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from io import BytesIO
from typing import Any
from urllib.parse import parse_qs

import pytest
from PIL import Image
from pypdf import PdfReader
from pyzbar import pyzbar
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.support.ui import Select, WebDriverWait

from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.letting_in import asks, fetches_key, let_in
from tests.server.review.scene import Scene
from tests.server.review.test_browser import CONTRAST, browser, focused, go, logged, served, sign_in, tab_to
from tests.server.tablets import SITE, an_id, context_id

__all__ = ["browser", "served"]


def let_in_some(scene: Scene) -> None:
    """Two tablets: one at work with a key on it, one lost that asks again."""
    trench, lost = let_in(scene, "Trench A"), let_in(scene, "Grey case")
    for headers in (trench, lost):
        assert fetches_key(scene, headers, "human_osteologist").status_code == 200
    letters = {one.name: one.letter for one in scene.cabin.devices.all()}
    scene.cabin.devices.withdraw(letters["Grey case"], reason="lost")
    assert asks(scene, lost).status_code == 401


@pytest.fixture(scope="module")
def cabin(served: Scene) -> Scene:
    let_in_some(served)
    return served


@pytest.fixture
def theme(browser: WebDriver) -> Iterator[Any]:
    """A function that sets light or dark and the width."""

    def set(scheme: str, width: int) -> None:
        media = [{"name": "prefers-color-scheme", "value": scheme}]
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": media})  # type: ignore[attr-defined]
        metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)  # type: ignore[attr-defined]

    yield set
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})  # type: ignore[attr-defined]
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})  # type: ignore[attr-defined]


def shown(browser: WebDriver, selector: str) -> str:
    """The words of a part of the page that comes next."""
    return WebDriverWait(browser, 10).until(lambda seen: seen.find_element(By.CSS_SELECTOR, selector)).text


def pages(scene: Scene) -> list[str]:
    persons = {account.person for account, _ in scene.accounts.values()}
    letters = [one.letter for one in scene.cabin.devices.all()]
    assert letters
    return [
        "/review/people",
        "/review/account",
        "/review/tablets",
        "/review/log",
        "/review/today",
        *(f"/review/person/{one}" for one in persons),
        *(f"/review/tablet/{one}" for one in letters),
    ]


@pytest.mark.parametrize(
    ("scheme", "width"),
    [
        ("light", 320),
        ("dark", 1366),
        *(pytest.param(*one, marks=pytest.mark.proof) for one in (("light", 1366), ("dark", 320))),
    ],
)
def test_the_pages_can_be_read_in_both_themes_and_on_a_telephone(
    browser: WebDriver, cabin: Scene, theme: Any, scheme: str, width: int
) -> None:
    sign_in(browser, cabin, "administrator")
    theme(scheme, width)
    logged(browser)
    grounds = set()
    for page in pages(cabin):
        go(browser, cabin, page)
        assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth"), page
        assert [one for one in browser.execute_script(CONTRAST) if one[0] < 7] == [], page
        grounds.add(browser.execute_script("return getComputedStyle(document.documentElement).backgroundColor"))
    [ground] = grounds
    assert (sum(int(one) for one in ground.strip("rgb()").split(",")) < 200) == (scheme == "dark")
    hosts, complaints = logged(browser)
    assert hosts == {"127.0.0.1"}
    assert complaints == []


PUSHED = """
return [...document.querySelectorAll('main, main *')]
  .filter(e => e.clientWidth && getComputedStyle(e).overflowX !== 'visible' && e.scrollWidth > e.clientWidth + 1)
  .map(e => `${e.tagName} ${e.scrollWidth} > ${e.clientWidth}`)
"""
"""What hides a part of itself until it is pushed sideways."""

LOW = """
const typed = 'input:not([type=hidden], [type=radio], [type=checkbox])';
return [...document.querySelectorAll('button, a.button, select, ' + typed)]
  .filter(e => e.getClientRects().length && e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 80))
"""


def test_on_a_telephone_nothing_that_is_read_every_day_hides_beside_the_screen(
    browser: WebDriver, cabin: Scene, theme: Any
) -> None:
    sign_in(browser, cabin, "director")
    theme("light", 390)
    for page in (
        "/review/log",
        "/review/people",
        "/review/tablets",
        "/review/today",
        "/review/carry",
        "/review/holds",
        "/review/disagreements",
        "/review/problems",
        "/review/contexts",
        "/review/context/none",
        *(f"/review/context/{context_id(SITE, number)}" for number in ("1042", "1057")),
        f"/review/docket/{an_id('rib')}",
        f"/review/docket/{an_id('stop')}",
        f"/review/hold/{an_id('stop')}",
    ):
        go(browser, cabin, page)
        assert browser.execute_script(PUSHED) == [], page
        # 44 px: WCAG 2.2, 2.5.5 (target size, enhanced), from memory.
        assert browser.execute_script(LOW) == [], page
        [label] = browser.find_elements(By.CSS_SELECTOR, ".hazard a")
        assert len(browser.execute_script("return [...arguments[0].getClientRects()]", label)) == 1, (
            "a label on one line"
        )
        assert label.size["height"] < 30, "a label is not parted at its hyphen"


def test_a_code_stands_on_one_line_on_a_telephone(browser: WebDriver, cabin: Scene, theme: Any) -> None:
    sign_in(browser, cabin, "administrator", "/review/tablets")
    browser.find_element(By.CSS_SELECTOR, "main button.primary").click()
    shown(browser, "#code")
    for width in (320, 390):
        theme("light", width)
        lines = "const r = document.createRange(); r.selectNodeContents(document.querySelector('#code'));"
        assert browser.execute_script(lines + "return r.getClientRects().length") == 1, width
        assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth"), width


@pytest.mark.proof
def test_the_rest_of_the_desk_can_be_read_in_the_dark_too(browser: WebDriver, cabin: Scene, theme: Any) -> None:
    sign_in(browser, cabin, "supervisor")
    theme("dark", 1366)
    for page in EVERY_PAGE:
        go(browser, cabin, page)
        assert [one for one in browser.execute_script(CONTRAST) if one[0] < 7] == [], page


def test_a_code_is_made_by_keyboard_and_its_picture_says_what_the_page_says(browser: WebDriver, cabin: Scene) -> None:
    assert cabin.serving is not None
    sign_in(browser, cabin, "administrator", "/review/tablets")
    tab_to(browser, "#name")
    focused(browser).send_keys("Trench B", Keys.ENTER)
    code = shown(browser, "#code")
    svg = browser.find_element(By.CSS_SELECTOR, "svg.qr")
    [read] = pyzbar.decode(Image.open(BytesIO(svg.screenshot_as_png)))
    head, _, query = read.data.decode("utf-8").partition("?")
    assert head == "bonedocket:enrol"
    assert parse_qs(query, strict_parsing=True) == {"at": [f"127.0.0.1:{cabin.serving.port}"], "code": [code]}
    # What was read lets a tablet in.
    headers = let_in(cabin, "Trench B", parse_qs(query)["code"][0])
    assert asks(cabin, headers).status_code == 200
    assert code not in browser.current_url


def test_the_picture_is_read_from_the_whole_page_in_the_dark_and_on_a_telephone(
    browser: WebDriver, cabin: Scene, theme: Any
) -> None:
    sign_in(browser, cabin, "supervisor", "/review/tablets")
    theme("dark", 420)
    browser.find_element(By.CSS_SELECTOR, "main button.primary").click()
    code = shown(browser, "#code")
    browser.execute_script("document.querySelector('svg.qr').scrollIntoView({block: 'center'})")
    [read] = pyzbar.decode(Image.open(BytesIO(browser.get_screenshot_as_png())))
    assert read.data.decode().endswith(f"&code={code}")


def test_the_slip_prints_on_one_page_with_nothing_beside_it(browser: WebDriver, cabin: Scene) -> None:
    sign_in(browser, cabin, "administrator", "/review/tablets")
    browser.find_element(By.CSS_SELECTOR, "main button.primary").click()
    code = shown(browser, "#code")
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})  # type: ignore[attr-defined]
    pdf = PdfReader(BytesIO(base64.b64decode(printed["data"])))
    [page] = pdf.pages
    text = page.extract_text()
    assert code in text
    assert "Sign out" not in text
    assert "Back to the tablets" not in text


def test_going_back_to_the_form_and_sending_it_again_makes_nothing_twice(browser: WebDriver, cabin: Scene) -> None:
    sign_in(browser, cabin, "administrator", "/review/people")
    browser.find_element(By.ID, "name").send_keys("Yarrow")
    Select(browser.find_element(By.ID, "role")).select_by_value("recorder")
    browser.find_element(By.CSS_SELECTOR, "main button.primary").click()
    password = shown(browser, "#password")
    assert password not in browser.current_url
    browser.find_element(By.CSS_SELECTOR, "main a.button").click()
    browser.back()
    assert password not in browser.page_source, "going back shows no password"
    browser.back()
    if not browser.find_elements(By.ID, "name"):
        browser.refresh()
    name = browser.find_element(By.ID, "name")
    name.clear()
    name.send_keys("Yarrow")
    Select(browser.find_element(By.ID, "role")).select_by_value("recorder")
    browser.find_element(By.CSS_SELECTOR, "main button.primary").click()
    assert "is here already" in shown(browser, "[role=alert]")
    assert not browser.find_elements(By.ID, "password")
    assert [one.name for one in cabin.cabin.accounts.all()].count("Yarrow") == 1


def test_a_telephone_loses_its_sign_in_when_its_owner_signs_out_everywhere(browser: WebDriver, cabin: Scene) -> None:
    telephone = cabin.signed_in("recorder")
    assert telephone.get("/review/today").status_code == 200
    sign_in(browser, cabin, "recorder", "/review/account")
    browser.find_elements(By.CSS_SELECTOR, "main form button")[-1].click()
    assert "Every other sign-in" in shown(browser, "[role=status]")
    assert telephone.get("/review/today").status_code == 302
    go(browser, cabin, "/review/today")
    assert browser.find_element(By.TAG_NAME, "h1").text == "Today"
