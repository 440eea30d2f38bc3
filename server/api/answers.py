# flask-smorest has no types of its own, so what it decorates and what inherits from it count as untyped.
# mypy: disable-error-code="untyped-decorator,misc"
"""The outside of every exchange: one shape for all errors, gzip both ways, limits on size.

An error is {"code", "status", "message", "errors"?}: the HTTP status, its name, a sentence for people, and, where
there is one, {"key": …} with the key of that sentence and what a program goes on by (`have` of a photograph), or
{"json": …} with what is wrong where. Not here: any route.
"""

from __future__ import annotations

import gzip
import io
import json
import zlib
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, TypeVar

from flask import Response, request
from flask_smorest import Api, Blueprint, abort
from marshmallow import Schema, fields
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import HTTPException

from fieldapp.assets import texts
from server.api import examples
from server.errors import CabinError

F = TypeVar("F", bound=Callable[..., Any])

LARGEST = 64 * 2**20
"""Bytes of a request's body, unpacked."""

LARGEST_OF_STRANGERS = 64 * 2**10
"""The same of somebody who has not shown a token."""

WORTH_PACKING = 1000
UNDER = "/api/"


class Error(Schema):
    """What every refusal looks like."""

    code = fields.Integer(required=True, metadata={"description": "HTTP status"})
    status = fields.String(required=True, metadata={"description": "its name"})
    message = fields.String(required=True, metadata={"description": "a sentence: what happened, what to do next"})
    errors = fields.Dict(
        metadata={"description": "{key: name of the sentence, have?: bytes}, or what is wrong in which field"}
    )


class CabinApi(Api):
    """flask-smorest's, with a message in every error, and with errors outside /api left to the pages."""

    ERROR_SCHEMA = Error
    # Each operation names what it may say (described): "or anything else" would make that worth nothing.
    DEFAULT_ERROR_RESPONSE_NAME = None

    def handle_http_exception(self, error: HTTPException) -> Any:
        if not request.path.startswith(UNDER):
            return error.get_response()
        payload, code, headers = super().handle_http_exception(error)
        if "message" not in payload:
            payload["message"] = _sentence(code, payload["status"])
        own = error.get_response().headers
        told = {name: own[name] for name in ("Allow", "Retry-After") if name in own}
        return payload, code, {**(headers or {}), **told}


class _Parser(FlaskParser):
    """Reads JSON of any kind without a fault: too deep, or a number too long, is no JSON either."""

    def _raw_load_json(self, req: Any) -> Any:
        try:
            return super()._raw_load_json(req)
        except json.JSONDecodeError:
            raise
        except (ValueError, RecursionError):
            raise json.JSONDecodeError("not readable", "?", 0) from None


class Routes(Blueprint):
    """flask-smorest's, for the cabin's operations."""

    ARGUMENTS_PARSER = _Parser()

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._prepare_doc_cbks.append(_describe_token)


def with_token(view: F) -> F:
    """Says in the description that an operation is for an enrolled tablet. Whether it is let in is told elsewhere."""
    view._apidoc = {**getattr(view, "_apidoc", {}), "token": True}  # type: ignore[attr-defined]
    return view


def _describe_token(doc: dict[str, Any], doc_info: dict[str, Any], **_: Any) -> dict[str, Any]:
    if doc_info.get("token"):
        doc["security"] = [{"token": []}]
        doc["parameters"] = [*doc.get("parameters", []), NOTEBOOK]
    return doc


NOTEBOOK = {
    "name": "X-Notebook",
    "in": "header",
    "required": True,
    "description": "UUID of the asking notebook",
    "schema": {"type": "string", "format": "uuid"},
    "example": examples.NOTEBOOK,
}


def _sentence(code: int, status: str) -> str:
    return texts().get(f"cabin.http.{code}", f"{status}. {texts()['cabin.http.other']}")


def refuse(error: CabinError) -> Any:
    """The answer for one of the cabin's own errors."""
    return refusal(error, str(error)), int(error.status)


def refusal(error: CabinError, message: str) -> dict[str, Any]:
    """What is told of one."""
    status = HTTPStatus(error.status)
    told = {"key": error.key, **{name: error.fields[name] for name in error.for_programs}}
    return {"code": int(status), "status": status.phrase, "message": message, "errors": told}


def unpacked(largest: int = LARGEST) -> None:
    """Before a request with a body: that in plain bytes, if it came packed, and never more than `largest`."""
    if request.method in ("GET", "HEAD", "OPTIONS"):
        return
    if request.content_length is not None and request.content_length > largest:
        abort(413)
    packing = request.headers.get("Content-Encoding", "identity").lower()
    if packing == "identity":
        return
    if packing != "gzip":
        abort(415)
    unpacker = zlib.decompressobj(wbits=31)
    try:
        body = unpacker.decompress(request.stream.read(), largest)
    except zlib.error:
        abort(400)
    if unpacker.unconsumed_tail:
        abort(413)
    if not unpacker.eof or unpacker.unused_data:
        abort(400)
    # What the parser reads next is the plain body.
    request.stream = io.BytesIO(body)
    request.environ["CONTENT_LENGTH"] = str(len(body))


def compressed(response: Response) -> Response:
    """After a request: packed for whoever takes it, where that is worth it."""
    response.vary.add("Accept-Encoding")
    if (
        not response.direct_passthrough
        and "Content-Encoding" not in response.headers
        and request.accept_encodings["gzip"] > 0
        and len(body := response.get_data()) >= WORTH_PACKING
    ):
        response.set_data(gzip.compress(body, 5, mtime=0))
        response.headers["Content-Encoding"] = "gzip"
    return response
