"""A cabin's application for a test, made quickly: its routes are put together once for all tests of a process.

What one test sets on its application (configuration, cabin) no other sees; routes and templates are shared, and no
test adds to them. That an application is made so from nothing is tried wherever a cabin is served (tests.sync).
"""

from __future__ import annotations

from copy import copy
from functools import cache

from argon2 import PasswordHasher
from flask import Flask

from server.app import routed, stand_behind
from server.config import Config

QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""For tests that are not about how long a password takes."""


@cache
def _routed() -> Flask:
    app = routed()
    # Made now, so that all have the same and a template is compiled once.
    assert app.jinja_env
    return app


def opened(config: Config, hasher: PasswordHasher = QUICK) -> Flask:
    """What `server.create_app` makes."""
    app = copy(_routed())
    app.config, app.extensions = copy(app.config), dict(app.extensions)
    return stand_behind(app, config, hasher)
