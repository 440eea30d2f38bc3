"""JSON for tablets, described by OpenAPI: /api/v1/…, /api/openapi.json, and a page to read it by, /api/docs.

`register` puts them under /api of an app. Not here: what a change means (server.ledger), pages (server.review).
"""

from __future__ import annotations

from flask import Flask

from server.api import docs, sync
from server.api.answers import CabinApi
from server.cabin import Cabin

NAME = "bonedocket.cabin"


def register(app: Flask, cabin: Cabin) -> CabinApi:
    """Adds the API to `app`."""
    app.extensions[NAME] = cabin
    app.config.update(
        API_TITLE="Bonedocket cabin",
        API_VERSION="1",
        OPENAPI_VERSION="3.0.3",
        OPENAPI_URL_PREFIX="/api",
        API_SPEC_OPTIONS={
            "info": {"description": sync.__doc__},
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
    app.register_blueprint(docs.blueprint)
    return api
