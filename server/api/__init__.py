"""JSON for tablets, described by OpenAPI: /api/v1/…, /api/openapi.json, and a page to read it by, /api/docs.

`register` puts them under /api of an app, `stand_behind` says which cabin answers. Not here: what a change means
(server.ledger), pages (server.review).
"""

from __future__ import annotations

from flask import Flask

from server.api import docs, photos, sync
from server.api.answers import CabinApi
from server.cabin import Cabin

NAME = "bonedocket.cabin"


def stand_behind(app: Flask, cabin: Cabin) -> None:
    """From now on `app` answers for this cabin."""
    app.extensions[NAME] = cabin


def register(app: Flask) -> CabinApi:
    """Adds the API to `app`."""
    app.config.update(
        API_TITLE="Bonedocket cabin",
        API_VERSION="1",
        OPENAPI_VERSION="3.0.3",
        OPENAPI_URL_PREFIX="/api",
        API_SPEC_OPTIONS={
            "info": {"description": f"{sync.__doc__}\n{photos.__doc__}"},
            # Relative to the description's own address: it holds wherever the cabin is found.
            "servers": [{"url": "..", "description": "this cabin"}],
            "components": {
                "securitySchemes": {
                    "token": {
                        "type": "http",
                        "scheme": "bearer",
                        "description": "The token of the enrolment. It belongs to one notebook (X-Notebook).",
                    }
                }
            },
        },
    )
    api = CabinApi(app)
    api.register_blueprint(sync.blueprint)
    api.register_blueprint(photos.blueprint)
    app.register_blueprint(docs.blueprint)
    return api
