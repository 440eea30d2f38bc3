"""One server for all the sites of a unit: each a whole cabin under its code, `/HLG26/…`, with ledger, people and keys
of its own; the certificate and the sign-in are shared.

    UNIT/cabin.crt, cabin.key, session.key
    UNIT/sites/HLG26/ledger.sqlite, seal.key …

`Unit` is the WSGI application that `server.serving` runs where a folder is a unit's. Nothing of one site is ever read
or written through another: a person who works at several is lent (`ledger.accounts`). Not here: the front page
(front), making and taking in sites (making).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from server.config import SITES, Config
from server.errors import NoSites

if TYPE_CHECKING:
    from argon2 import PasswordHasher
    from flask import Flask

    from server.cabin import Cabin


def is_unit(config: Config) -> bool:
    """Whether `config.data` is the folder of a unit."""
    return (config.data / SITES).is_dir()


def configs(config: Config) -> dict[str, Config]:
    """{site code: its configuration} of a unit's sites, by code."""
    folders = sorted(one for one in (config.data / SITES).iterdir() if one.is_dir() and not one.name.startswith("."))
    return {one.name: replace(config, data=one) for one in folders}


def acquaint(cabins: Iterable[Cabin]) -> None:
    """Lets the sites of one server follow each other's passwords."""
    listed = list(cabins)
    for one in listed:
        one.accounts.elsewhere = [other.accounts for other in listed if other is not one]


class Unit:
    """All sites of a unit as one application. Raises what Cabin raises, NoSites. `cabins`: {code: cabin}."""

    def __init__(self, config: Config, hasher: PasswordHasher | None = None) -> None:
        from server import health
        from server.app import build
        from server.unit import front

        self.cabins: dict[str, Cabin] = {}
        self._apps: dict[str, Flask] = {}
        try:
            for code, one in configs(config).items():
                app = build(one, hasher)
                app.jinja_env.globals["unit"] = True
                self._apps[code] = app
                self.cabins[code] = app.extensions["bonedocket.cabin"]
            if not self.cabins:
                raise NoSites(folder=config.data.name)
            acquaint(self.cabins.values())
            self._front = front.build(config, self.cabins)
            health.register_together(self._front, self._apps.values())
        except BaseException:
            self.close()
            raise

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """A site's answer below its code; else the front page's."""
        path = environ.get("PATH_INFO", "")
        first, slash, rest = path.lstrip("/").partition("/")
        code = first.upper()
        if code in self._apps:
            below = {**environ, "SCRIPT_NAME": f"{environ.get('SCRIPT_NAME', '')}/{first}", "PATH_INFO": slash + rest}
            return self._apps[code](below, start_response)
        if first == "api" and (home := self._home(environ)):
            return self._apps[home](environ, start_response)
        return self._front(environ, start_response)

    def _home(self, environ: Mapping[str, Any]) -> str:
        """The site of a tablet that was enrolled before its cabin became one of several, and knows no path; or ""."""
        if len(self.cabins) == 1:
            return next(iter(self.cabins))
        notebook = environ.get("HTTP_X_NOTEBOOK", "")
        return next((code for code, one in self.cabins.items() if one.devices.of(notebook)), "")

    def close(self) -> None:
        """Lets go of every site."""
        for one in self.cabins.values():
            one.close()
