"""Every table of the assemblage in a real browser: readable, usable by keyboard alone, on a telephone, without scripts,
and asking nothing of anybody else.

The tables come from the registry, so that a new one is walked by itself. Each is opened twice: in light and English on
a laptop, in dusk and German on a telephone. What is folded away is folded open first, so that it is looked at too.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.support.ui import WebDriverWait

from fieldapp.domain.assemblage.selection import CHOICES
from server.analysis import topics
from server.cabin import set_up
from server.config import Config
from server.serving import Serving
from tests.benchmarks import analysis_site
from tests.server.apps import QUICK
from tests.server.review.scene import Scene
from tests.server.review.test_accessible import AXE, RUN
from tests.server.review.test_browser import browser, focused, go, logged, sign_in, tab_to
from tests.server.tablets import Tablet, context_id

__all__ = ["browser"]

pytestmark = pytest.mark.proof

FRONT = "/review/analysis"
TABLES = [(topic, one.key) for topic in topics.TOPICS for one in topics.tables(topic)]
FIRST = f"{FRONT}/{TABLES[0][0]}/{TABLES[0][1]}"
REPORT = f"{FRONT}/report/pdf?context=9999"
FETCH = "fetch(arguments[0]).then(answer => arguments[1](answer.status))"
LIGHT = ("en", "light", (1366, 768))
DUSK = ("de", "dark", (390, 844))
BONES = 260


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    """A cabin with bones of the invented herds, one of which may be human."""
    config = Config(
        tmp_path_factory.mktemp("walk") / "cabin",
        host="127.0.0.1",
        port=0,
        clock=lambda: datetime.now(UTC).astimezone(),
    )
    set_up(config, code="HLG26", name="Hollow Gate (invented)")
    serving = Serving(config, QUICK)
    cabin = serving.cabin
    tablet = Tablet("tablet one", cabin.ledger.site().id)
    tablet.docket("asked", context=context_id(tablet.site, "2003"), label="HLG26 A1")
    tablet.human("asked", "stop", "asked first")
    cabin.ledger.accept(tablet.entries(), tablet.id)
    analysis_site.fill(cabin.ledger, BONES)
    account = {"zooarchaeologist": cabin.accounts.add("Tansy", "zooarchaeologist")}
    with serving:
        yield Scene(serving.app, cabin, account, tablet, tablet, serving)


@contextmanager
def seen_as(browser: WebDriver, language: str, scheme: str, size: tuple[int, int]) -> Iterator[None]:
    """The browser of somebody who reads this language, with this theme and a screen of this size; axe on every page."""
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    screen = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    browser.execute_cdp_cmd("Network.enable", {})
    browser.execute_cdp_cmd("Network.setExtraHTTPHeaders", {"headers": {"Accept-Language": language}})
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    axe = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": AXE})
    try:
        yield
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", axe)
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        browser.execute_cdp_cmd("Network.setExtraHTTPHeaders", {"headers": {}})
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


LOOKED_AT = """
document.querySelectorAll('main details').forEach(one => one.open = true);
const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
const beyond = wide > 0 ? [...document.querySelectorAll('main *')].filter(one => !one.closest('.wide') &&
  one.getBoundingClientRect().right > document.documentElement.clientWidth).map(one => one.outerHTML.slice(0, 80)) : [];
// Rows of a table are alike, and axe is slow: it looks at the first and the last few of each.
document.querySelectorAll('main tbody').forEach(one => [...one.rows].slice(3, -2).forEach(row => row.remove()));
const high = [...document.querySelectorAll('.wide')].filter(one => one.scrollHeight > one.clientHeight).length;
return {high, lang: document.documentElement.lang, width: innerWidth, wide, beyond: beyond.slice(0, 4),
  title: /^\\p{L}/u.test(document.title), scripts: document.scripts.length, h1: document.querySelectorAll('h1').length,
  broken: [...document.images].filter(one => one.complete && !one.naturalWidth).map(one => one.src)};
"""


def faults(browser: WebDriver, scene: Scene, path: str, language: str, width: int) -> list[str]:
    """What is wrong with a page. What is round it is the same on all of them, and looked at with the first."""
    go(browser, scene, path)
    page: dict[str, Any] = browser.execute_script(LOOKED_AT)
    assert (page["lang"], page["width"], page["h1"]) == (language, width, 1), path
    assert page["title"], path
    found = [f"{path}: {one} is no picture" for one in page["broken"]]
    if page["wide"] > 0:
        found.append(f"{path}: {page['wide']} px too wide: {page['beyond']}")
    if page["high"]:
        found.append(f"{path}: {page['high']} tables scroll or are cut off upright")
    if page["scripts"]:
        found.append(f"{path}: has scripts")
    told = browser.execute_async_script(RUN, "html" if path == FRONT else "main")
    assert "fault" not in told, told
    assert told["passes"] > 10, "axe has looked at hardly anything"
    return found + [f"{path}: {one}" for one in told["violations"]]


@pytest.mark.parametrize(("language", "scheme", "size"), [LIGHT, DUSK])
def test_nothing_is_wrong_with_any_table(
    browser: WebDriver, served: Scene, language: str, scheme: str, size: tuple[int, int]
) -> None:
    """And with the records behind a figure, those that were left out, what nothing fits and what cannot be asked."""
    assert len(TABLES) > 30
    pages = [FRONT, *(f"{FRONT}/{topic}/{key}?ways=together" for topic, key in TABLES)]
    records = f"{FIRST}/0/records?ways=together"
    pages += [f"{records}&row=0", f"{records}&left=0"]
    pages += [f"{FIRST}?context=9999", f"{FIRST}?by=context&page=2", f"{FIRST}?by=moon", REPORT]
    logged(browser)
    sign_in(browser, served, "zooarchaeologist", FRONT)
    with seen_as(browser, language, scheme, size):
        # Once it is made its page stays, and does not ask again by itself.
        assert browser.execute_async_script(FETCH, f"{REPORT}&file=yes") == 200
        found = [one for path in pages for one in faults(browser, served, path, language, size[0])]
    assert found == [], "\n".join(found)
    hosts, complaints = logged(browser)
    assert hosts == {"127.0.0.1"}
    # A selection that is refused is answered with 400, which the console notes.
    assert [one for one in complaints if "by=moon" not in one] == []


def enter(browser: WebDriver, wanted: str) -> str:
    """Tab to what matches a selector, Enter, and the page that comes; what it was called."""
    tab_to(browser, wanted, 200)
    field, before = focused(browser), browser.current_url
    called = str(field.text)
    field.send_keys(Keys.ENTER)
    WebDriverWait(browser, 20).until(lambda seen: seen.current_url != before)
    return called


def test_the_keyboard_alone_asks_changes_the_table_and_opens_the_records_without_scripts(
    browser: WebDriver, served: Scene
) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        sign_in(browser, served, "zooarchaeologist", FRONT)
        browser.get("data:text/html,<p id=p>no</p><script>document.getElementById('p').textContent='yes'</script>")
        assert browser.find_element(By.ID, "p").text == "no", "scripts are off"
        go(browser, served, FRONT)
        enter(browser, ".topics a")
        tab_to(browser, ".ask summary")
        focused(browser).send_keys(Keys.ENTER)
        tab_to(browser, 'select[name="ways"]')
        for _ in CHOICES["ways"]:
            if focused(browser).get_attribute("value") != "together":
                focused(browser).send_keys(Keys.ARROW_DOWN)
        enter(browser, ".asking button")
        assert "ways=together" in browser.current_url
        name = enter(browser, ".tabs a:not([aria-current])")
        assert browser.find_element(By.TAG_NAME, "h1").text == name
        assert "ways=together" in browser.current_url, "another table is of the same bones"
        enter(browser, f'.tabs a[href^="{FIRST}"]')
        n = enter(browser, '.result tbody a[href*="row="]')
        assert int(n) > 1
        assert len(browser.find_elements(By.CSS_SELECTOR, "main tbody a.label")) == int(n)
        enter(browser, "main tbody a.label")
        assert "/review/docket/" in browser.current_url
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
