"""Every page can be read and worked without seeing it: the parts of WCAG 2.2 that markup alone shows.

Success criteria from https://www.w3.org/TR/WCAG22/ (memory): 1.1.1 names of pictures, 1.3.1 labels, headings and
tables, 2.4.1 a way past the head, 2.4.2 titles, 3.1.1 language, 4.1.2 names of what can be pressed. Contrast and the
keyboard are tried in a browser (test_browser).
"""

from __future__ import annotations

from collections import Counter
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.letting_in import fetches_key, let_in
from tests.server.review.scene import PEOPLE, Scene

VOID = {"meta", "link", "input", "br", "path", "img", "hr"}


class Page(HTMLParser):
    """What the tests ask of a page, gathered while it is read; `faults` are tags that do not close in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.faults: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None], tuple[str, ...]]] = []
        self.words: dict[int, str] = {}
        self.stack: list[int] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs), tuple(self.open)))
        if tag not in VOID:
            self.open.append(tag)
            self.stack.append(len(self.tags) - 1)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs), tuple(self.open)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> within {self.open[-3:]}")
            return
        self.open.pop()
        self.stack.pop()

    def handle_data(self, data: str) -> None:
        for one in self.stack:
            self.words[one] = self.words.get(one, "") + data

    def all(self, *names: str) -> list[tuple[int, dict[str, str | None], tuple[str, ...]]]:
        return [(n, attrs, inside) for n, (tag, attrs, inside) in enumerate(self.tags) if tag in names]

    def text(self, n: int) -> str:
        return self.words.get(n, "").strip()


def check(text: str) -> None:
    page = Page(text)
    assert page.faults == []
    assert page.open == []
    [(_, html, _)] = page.all("html")
    assert html["lang"] == "en"
    [(title, _, _)] = [one for one in page.all("title") if "svg" not in one[2]]
    assert page.text(title)
    assert len(page.all("h1")) == 1
    assert len(page.all("main")) == 1
    assert len([one for one in page.all("header") if one[2] == ("html", "body")]) == 1
    levels = [int(page.tags[n][0][1]) for n, _, _ in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels)), levels
    ids = Counter(attrs["id"] for _, attrs, _ in page.tags if attrs.get("id"))
    assert [one for one, times in ids.items() if times > 1] == []
    for _, attrs, _ in page.tags:
        for name in ("for", "aria-labelledby"):
            assert attrs.get(name, next(iter(ids))) in ids, attrs
    labelled = {attrs.get("for") for n, attrs, _ in page.all("label") if page.text(n)}
    for _, attrs, _ in page.all("input", "select", "textarea"):
        # In a table the name of a cell's field is its row's and column's: said to who hears the page.
        assert attrs.get("type") == "hidden" or attrs.get("id") in labelled or attrs.get("aria-label"), attrs
    for n, attrs, _ in page.all("a", "button"):
        assert page.text(n), attrs
    for n, attrs, _ in page.all("nav", "aside"):
        assert attrs.get("aria-label"), page.text(n)
    for n, attrs, _ in page.all("th"):
        assert attrs.get("scope") in ("col", "row")
        assert page.text(n)
    for _, attrs, _ in page.all("svg"):
        assert attrs.get("role") == "img"
        assert attrs.get("aria-label")
    for n, attrs, inside in page.all("fieldset"):
        assert "form" in inside, attrs
        assert any(within[-1] == "fieldset" for _, _, within in page.all("legend")), page.text(n)
    first = next(page.text(n) for n, _, _ in page.all("a"))
    assert first == "Skip to the page"


@pytest.mark.parametrize("role", PEOPLE)
def test_every_page_names_its_parts(scene: Scene, role: str) -> None:
    visitor = scene.signed_in(role)
    for page in EVERY_PAGE:
        check(visitor.get(page).get_data(as_text=True))


def test_the_sign_in_names_its_parts(scene: Scene) -> None:
    check(scene.visitor().get("/review/sign-in").get_data(as_text=True))


def test_the_pages_that_look_after_people_and_tablets_name_their_parts(scene: Scene) -> None:
    visitor = scene.signed_in("director")
    fetches_key(scene, let_in(scene, "Grey case"), "human_osteologist")
    [tablet] = scene.cabin.devices.all()
    persons = [f"/review/person/{account.person}" for account, _ in scene.accounts.values()]
    for page in (
        *persons,
        "/review/people",
        "/review/tablets",
        f"/review/tablet/{tablet.letter}",
        "/review/log?kind=people",
    ):
        check(visitor.get(page).get_data(as_text=True))
    scene.cabin.devices.withdraw(tablet.letter, reason="lost")
    check(visitor.get(f"/review/tablet/{tablet.letter}").get_data(as_text=True))
    for page, action, more in (
        ("/review/people", "/review/people", {"name": "Yarrow", "role": "recorder"}),
        ("/review/people", "/review/people", {"name": "", "role": "recorder"}),
        ("/review/tablets", "/review/tablets/code", {}),
    ):
        check(visitor.post(action, {**visitor.form(page, action), **more}).get_data(as_text=True))


def test_the_check_can_fail() -> None:
    good = (
        '<html lang="en"><head><title>a</title></head><body><header></header><a href="#m">Skip to the page</a>'
        '<main id="m"><h1>a</h1><label for="x">x</label><input id="x"></main></body></html>'
    )
    check(good)
    for bad in (
        good.replace(' lang="en"', ""),
        good.replace("<h1>a</h1>", "<h2>a</h2>"),
        good.replace("<h1>a</h1>", "<h1>a</h1><h3>b</h3>"),
        good.replace('for="x"', 'for="y"'),
        good.replace(">x</label>", "></label>"),
        good.replace("</main>", ""),
        good.replace("<input", '<p id="x"></p><input'),
    ):
        with pytest.raises((AssertionError, ValueError, KeyError, IndexError)):
            check(bad)
