"""A specialist at the cabin's pages: signs in, reads, fills in forms, over HTTPS as a browser would.

`Visitor` does what has to be done and needs nothing but requests; `Camera` takes pictures of pages where Chromium and
selenium are installed, and only looks.
"""

from __future__ import annotations

import shutil
import tempfile
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import requests

from fieldapp.sync.transport import PinnedAdapter


class FormNotThere(LookupError):
    """A page without the form that was looked for."""


class _Forms(HTMLParser):
    """The forms of a page: method, address, fields with what they hold, and what may be chosen."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: list[dict[str, Any]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append({"action": found.get("action", ""), "fields": [], "choices": {}})
        elif self.forms and tag in ("input", "select", "textarea", "option", "button"):
            form = self.forms[-1]
            if tag == "input" and found.get("type") == "radio":
                form["choices"].setdefault(found["name"], []).append(found["value"])
            elif tag == "option":
                form["choices"].setdefault(form["last"], []).append(found.get("value", ""))
            elif found.get("name"):
                form["last"] = found["name"]
                form["fields"].append((found["name"], found.get("value", "")))

    def handle_data(self, data: str) -> None:
        pass


class Visitor:
    """One person at the pages. `fingerprint`: of the cabin's certificate, the only one that is talked to."""

    def __init__(self, address: str, fingerprint: str) -> None:
        self.address = address.rstrip("/")
        self._session = requests.Session()
        self._session.trust_env = False
        self._session.verify = False  # the pin decides
        self._session.mount("https://", PinnedAdapter(fingerprint))

    def get(self, path: str) -> str:
        """A page's text. Raises requests.HTTPError for a refusal."""
        answer = self._session.get(urljoin(self.address, path), timeout=30)
        answer.raise_for_status()
        return answer.text

    def send(self, path: str, action_ends: str, **values: str) -> str:
        """Fills in the form on the page at `path` whose address ends so, keeps its hidden fields, and sends it.

        Raises FormNotThere, and requests.HTTPError for a refusal.
        """
        for form in _Forms(self.get(path)).forms:
            if form["action"].endswith(action_ends) and set(values) <= {*dict(form["fields"]), *form["choices"]}:
                data = [(name, value) for name, value in form["fields"] if name not in values and value]
                answer = self._session.post(
                    urljoin(self.address, form["action"]),
                    data=[*data, *values.items()],
                    headers={"Referer": urljoin(self.address, path)},
                    timeout=30,
                )
                answer.raise_for_status()
                return answer.text
        raise FormNotThere(f"{path} has no form for {action_ends} with {sorted(values)}")

    def choices(self, path: str, name: str) -> list[str]:
        """What may be chosen for `name` on the page at `path`."""
        return [one for form in _Forms(self.get(path)).forms for one in form["choices"].get(name, [])]

    def sign_in(self, account: str, password: str) -> None:
        """Signs in, or raises requests.HTTPError."""
        self.send("/review/sign-in", "/sign-in", account=account, password=password)

    def cookies(self) -> dict[str, str]:
        """The session, for a camera to show the same pages."""
        return dict(self._session.cookies.items())

    def close(self) -> None:
        """Lets go of the connection."""
        self._session.close()


class Camera:
    """Pictures of pages by headless Chromium, which must reach nothing but the cabin."""

    def __init__(self, out: Path) -> None:
        from selenium.webdriver import Chrome, ChromeOptions
        from selenium.webdriver.chrome.service import Service

        self._out = out
        self._profile = tempfile.mkdtemp(prefix="bonedocket-pages-")
        options = ChromeOptions()
        for one in (
            "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--ignore-certificate-errors", "--window-size=1366,900", f"--user-data-dir={self._profile}",
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
        ):  # fmt: skip
            options.add_argument(one)
        options.binary_location = str(chromium())
        self._browser = Chrome(options=options, service=Service(shutil.which("chromedriver")))

    def sees(self, visitor: Visitor) -> None:
        """Takes over a visitor's session."""
        self._browser.get(visitor.address + "/review/sign-in")
        self._browser.delete_all_cookies()
        for name, value in visitor.cookies().items():
            self._browser.add_cookie({"name": name, "value": value, "secure": True, "path": "/"})

    def picture(self, address: str, name: str) -> str:
        """A picture of the whole page, `name`.png."""
        self._browser.get(address)
        height = self._browser.execute_script("return document.documentElement.scrollHeight")
        self._browser.set_window_size(1366, max(900, min(int(height) + 120, 4000)))
        self._browser.save_screenshot(str(self._out / f"{name}.png"))
        return f"{name}.png"

    def close(self) -> None:
        """Ends the browser and clears up after it."""
        self._browser.quit()
        shutil.rmtree(self._profile, ignore_errors=True)


def chromium() -> str | None:
    """The Chromium on this machine, if there is one."""
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def camera(out: Path) -> Camera | None:
    """A camera, or None where its parts are not installed."""
    try:
        import selenium  # noqa: F401
    except ModuleNotFoundError:
        return None
    return Camera(out) if chromium() and shutil.which("chromedriver") else None
