"""Every page through axe-core in a browser: levels A and AA, enhanced contrast, size of targets, without a finding.

axe-core (MPL-2.0) comes with the package selenium-axe-python, version 4.9 or newer.
"""

from __future__ import annotations

from importlib import resources

import pytest
from selenium.webdriver.remote.webdriver import WebDriver

from tests.server.review.every_page import EVERY_PAGE
from tests.server.review.scene import Scene
from tests.server.review.test_browser import browser, go, served, sign_in

__all__ = ["browser", "served"]

pytestmark = pytest.mark.proof

AXE = resources.files("selenium_axe_python").joinpath("axe-core", "axe.min.js").read_text("utf-8")
RUN = """
const done = arguments[arguments.length - 1];
axe.run(arguments.length > 1 ? arguments[0] : document, {
  runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
  // Who is content with 7 to 1 is with 4.5 to 1: measured once, for it takes longest.
  rules: {"color-contrast": {enabled: false}, "color-contrast-enhanced": {enabled: true},
    "target-size": {enabled: true}}, resultTypes: ["violations"],
}).then(found => done({version: axe.version, passes: found.passes.length, violations: found.violations.map(
  one => one.id + ": " + one.nodes.map(node => node.target.join(" ")).slice(0, 3).join(" | "))
}), fault => done({fault: String(fault)}));
"""
ADMIN = ("/review/people", "/review/tablets")


def findings(browser: WebDriver, scene: Scene, path: str) -> list[str]:
    go(browser, scene, path)
    browser.execute_script(AXE)
    found = browser.execute_async_script(RUN)
    assert "fault" not in found, found
    assert found["passes"] > 10, "axe has looked at hardly anything"
    return [f"{path} {one}" for one in found["violations"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(browser: WebDriver, served: Scene, scheme: str) -> None:
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    found = findings(browser, served, "/review/sign-in")
    for role, pages in (("zooarchaeologist", EVERY_PAGE), ("director", ADMIN)):
        sign_in(browser, served, role)
        found += [one for path in pages for one in findings(browser, served, path)]
    assert found == []


def test_axe_would_find_something(browser: WebDriver, served: Scene) -> None:
    """A page that has lost its labels, and whose contrast lies between 4.5 and 7 to 1, is noticed."""
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    sign_in(browser, served, "zooarchaeologist")
    go(browser, served, "/review/contexts")
    browser.execute_script("document.querySelectorAll('label').forEach(one => one.replaceWith(...one.childNodes))")
    browser.execute_script("document.querySelectorAll('main td').forEach(one => one.style.color = '#666')")
    browser.execute_script(AXE)
    found = " ".join(browser.execute_async_script(RUN)["violations"])
    assert "label" in found or "select-name" in found
    assert "color-contrast-enhanced" in found
