"""What the cabin laptop needs: accept, merge, review, print. Never imports the tablet's ui, store or sync.

`create_app` builds the whole cabin as one web application; `server.commands.cabin` runs it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from argon2 import PasswordHasher
    from flask import Flask

    from server.config import Config


def create_app(config: Config, hasher: PasswordHasher | None = None) -> Flask:
    """The cabin in `config.data`, which `server.cabin.set_up` has made. `hasher`: for tests.

    `app.extensions["bonedocket.cabin"]` is the Cabin; close it when the app is done with.
    """
    # Imported here: the commands list themselves without loading a web server.
    from server.app import build

    return build(config, hasher)
