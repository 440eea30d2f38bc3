"""The API as a page to read: made from the same description as /api/openapi.json, without scripts."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, current_app, render_template

blueprint = Blueprint("api_docs", __name__, url_prefix="/api", template_folder="templates")


@blueprint.get("/docs")
def docs() -> str:
    """Every operation, its parameters and answers, and every message's fields."""
    found = current_app.extensions["flask-smorest"]["apis"][""]["ext_obj"].spec.to_dict()
    operations = [
        {
            "path": path,
            "method": method,
            **about,
            "parameters": [*methods.get("parameters", []), *about.get("parameters", [])],
        }
        for path, methods in found["paths"].items()
        for method, about in methods.items()
        if method != "parameters"
    ]
    schemas: dict[str, Any] = found["components"]["schemas"]
    return render_template(
        "api/docs.html",
        info=found["info"],
        servers=found["servers"],
        security=found["components"]["securitySchemes"],
        operations=operations,
        schemas=schemas,
    )


@blueprint.get("/docs.css")
def style() -> Response:
    """How the page looks."""
    return Response(render_template("api/docs.css"), mimetype="text/css")


@blueprint.after_request
def _own_style(response: Response) -> Response:
    # Nothing but its own style: no script, no picture, no form.
    response.headers["Content-Security-Policy"] = (
        "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return response
