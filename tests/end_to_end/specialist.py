"""A specialist at the desk, in a real browser: her season (invented), and a hand that counts what it does. Not a test.

A click, a choice in a list and a field that is typed are one action each; pages are timed by the browser itself.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import Select, WebDriverWait

from fieldapp.assets import knowledge
from fieldapp.domain.readings import blank_reading
from tests.server.review.scene import Scene, label, seen
from tests.server.review.test_browser import focused, tab_to
from tests.server.tablets import an_id, context_id, hold_of

QUICK, DISPUTED, AGAIN = "2001", "2002", "2003"
"""Contexts: one of quick records, one where two tablets disagree, one that is read a second time."""
ONE_BY_ONE, AT_ONCE, QUICKLY, READ_AGAIN = 8, 12, 30, 40
ELEMENTS = ("tibia", "femur", "humerus", "radius", "scapula")


def a_season(scene: Scene) -> None:
    """What the two tablets brought in this week."""
    a, b = scene.a, scene.b
    for number in (QUICK, DISPUTED, AGAIN):
        where = {"number": number, "type": "pit_fill", "grave_like": "no", "trench": "B", "state": "open"}
        a.write("context", context_id(a.site, number), where)
        bag = {"label": f"{number}-1", "context": context_id(a.site, number), "recovery": "hand"}
        a.write("bag", an_id(f"bag {number}"), bag)
    for n in range(QUICKLY):
        # What is tapped in the trench within seconds: an element, a size class, and nothing of its portions.
        quick = blank_reading("tibia", "medium_mammal", knowledge(), "trench")
        _docket(scene, f"quick {n}", QUICK, 100 + n, reading=quick)
    for n in range(ONE_BY_ONE + AT_ONCE):
        one_by_one = n < ONE_BY_ONE
        element = ELEMENTS[n % len(ELEMENTS)] if one_by_one else "tibia"
        _docket(scene, f"two of {n}", DISPUTED, 200 + n, reading=seen("sheep", element))
        b.write("docket", an_id(f"two of {n}"), {"reading": seen("pig" if one_by_one else "roe_deer", element)})
    for name in ("double one", "double two"):
        n = 400 + (name == "double two")
        _docket(scene, name, QUICK, n, reading=seen("sheep", "femur"), weight_g=22.5)
    for n in range(READ_AGAIN + 2):
        _docket(scene, f"again {n}", AGAIN, 300 + n, reading=seen("cattle" if n % 3 else "sheep", ELEMENTS[n % 5]))
    _docket(scene, "doubtful", AGAIN, 500, reading=seen("mammal", "humerus"))
    a.human("doubtful", "query", "doubtful query")
    hold = {"docket": an_id("doubtful"), "tier": "query", "zone": "finds hut, shelf 4", "in_place": False}
    a.write("hold", hold_of("doubtful"), hold)
    scene.send()


def _docket(scene: Scene, name: str, number: str, n: int, **more: Any) -> None:
    no_sign = {"answer": "no_sign", "why": "", "in_place": False, "stage": "trench"}
    values = {
        "label": label("A", n), "bag": an_id(f"bag {number}"), "material": "bone",
        f"human/{an_id(f'{name} human')}": no_sign, **more,
    }  # fmt: skip
    scene.a.write("docket", an_id(name), values)


class Hand:
    """Hers, at the desk. `table`: what each job took, as printed."""

    def __init__(self, browser: WebDriver, scene: Scene, folder: Path) -> None:
        self.browser, self.scene, self.folder = browser, scene, folder
        self.actions, self.seconds, self.pages = 0, 0.0, 0
        self._page = ""
        self.table: list[str] = []

    @contextmanager
    def job(self, name: str, most: float, of: int = 1) -> Iterator[None]:
        """A piece of her work: at most so many actions for each of `of`."""
        self.actions, self.seconds, self.pages = 0, 0.0, 0
        try:
            yield
        except Exception:
            print(f"{name}: at {self.browser.current_url}\n{self.words()[:2000]}")
            raise
        each = self.actions / of
        self.table.append(f"{name:<44} {of:>3} x {each:>5.1f} actions, {self.pages:>3} pages in {self.seconds:>5.2f} s")
        print(self.table[-1])
        assert each <= most, f"{name}: {each:.1f} actions where {most} are enough"

    def go(self, path: str) -> None:
        """Opens a page by its address, as a job begins."""
        assert self.scene.serving is not None
        self.browser.get(f"https://127.0.0.1:{self.scene.serving.port}{path}")
        self._timed()

    def press(self, what: str, printed: bool = False) -> None:
        """A link or button by its words, or anything by its selector. `printed`: what comes is no page."""
        self.actions += 1
        element = self.find(what)
        leads_on = element.tag_name in ("a", "button") and not printed
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()
        if leads_on:
            self._timed()

    def choose(self, name: str, value: str) -> None:
        """A word of a list."""
        self.actions += 1
        Select(self.browser.find_element(By.NAME, name)).select_by_value(value)

    def type(self, name: str, text: str) -> None:
        """A field, by its name; what stood there is written over."""
        self.actions += 1
        field = self.browser.find_element(By.CSS_SELECTOR, f'input[name="{name}"], textarea[name="{name}"]')
        field.clear()
        field.send_keys(text)

    def find(self, what: str) -> WebElement:
        """See press."""
        if what.startswith("//"):
            return self.browser.find_element(By.XPATH, what)
        if what[0] in "#." or "[" in what or what.startswith("main "):
            return self.browser.find_element(By.CSS_SELECTOR, what)
        said = f'normalize-space(.)="{what}"'
        found = self.browser.find_elements(By.XPATH, f"//main//a[{said}] | //main//button[{said}] | //nav//a[{said}]")
        assert found, f"nothing here is called {what}"
        shown = [one for one in found if one.is_displayed()]
        if not shown:
            # What is seldom wanted is folded away in the row of pages.
            self.actions += 1
            self.browser.find_element(By.CSS_SELECTOR, "nav details summary").click()
        return (shown or found)[0]

    def keys(self, wanted: str, *keys: str) -> None:
        """By keyboard: Tab to what matches a selector, the focus seen all the way, then keys; each Tab is an action."""
        there = self.browser.execute_script(
            "return document.activeElement.matches(arguments[0]) && !document.activeElement.matches('body')", wanted
        )
        self.actions += (0 if there else len(tab_to(self.browser, wanted, 200))) + 1
        field = focused(self.browser)
        is_list = field.tag_name == "select" and len(keys) == 1
        field.send_keys(*keys)
        if is_list:
            self._typed(field, keys[0])
        if keys[-1] == Keys.ENTER:
            self._timed()

    def _typed(self, field: WebElement, word: str) -> None:
        """A list forgets the letters typed so far when they come slowly, as on a machine with much to do: who sees that
        another word stands there waits a moment and types it again."""
        for _ in range(5):
            if Select(field).first_selected_option.text.strip().startswith(word):
                return
            time.sleep(1.2)
            field.send_keys(word)
        raise AssertionError(f"{word} cannot be typed into this list")

    def to(self, wanted: str) -> None:
        """By arrow keys to one of the choices that has the focus."""
        for _ in range(6):
            if self.browser.execute_script("return arguments[0].checked", self.find(wanted)):
                return
            self.actions += 1
            focused(self.browser).send_keys(Keys.ARROW_DOWN)
        raise AssertionError(f"the arrows never came to {wanted}")

    def arrive(self) -> None:
        """Waits for the page that a key has asked for."""
        self.actions += 1
        self._timed()

    def said(self) -> str:
        """What the page answers to what was done last."""
        return self.browser.find_element(By.CSS_SELECTOR, "[role=status]").text

    def there(self, what: str) -> bool:
        """Whether the page has a link, button or thing so called."""
        return bool(self.browser.find_elements(By.CSS_SELECTOR, what))

    def words(self) -> str:
        """All that the page says."""
        return str(self.browser.find_element(By.TAG_NAME, "main").text)

    def at(self, path: str) -> bool:
        """Whether the page's address has this in it."""
        return path in self.browser.current_url

    def _timed(self) -> None:
        """Waits for the next page, and adds how long it took as the browser says."""
        page, took = WebDriverWait(self.browser, 20).until(self._come)
        self._page, self.pages, self.seconds = page, self.pages + 1, self.seconds + took / 1000

    def _come(self, browser: WebDriver) -> tuple[str, float] | None:
        page, took = browser.execute_script(
            "const n = performance.getEntriesByType('navigation')[0];"
            "return [String(performance.timeOrigin), n.loadEventEnd]"
        )
        return (page, took) if took and page != self._page else None
