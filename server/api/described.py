# flask-smorest has no types of its own, so what it decorates counts as untyped.
# mypy: disable-error-code="untyped-decorator,misc"
"""What each refusal of the API means, for its description: one sentence a status, an example for each cause.

`refuses` marks an operation with them. The tests see to it that an operation answers nothing that is not marked here.
"""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import Any, TypeVar

from flask_smorest import Blueprint

from fieldapp.assets import ENGLISH, texts
from server.api.answers import Error, refusal
from server.errors import CabinError, LifeTaken, PhotoOffset, PhotoStoreAway, PhotoWrong, TooManyLives

F = TypeVar("F", bound=Callable[..., Any])

WORDS: dict[int | type[CabinError], str] = {
    400: "The body is no JSON, or does not unpack",
    401: "Not enrolled, no longer let in, or a password that does not fit",
    403: "The code is wrong, was used, or is too old",
    404: "The address names nothing that could be there",
    413: "The body is too large",
    415: "The body is packed in another way than gzip",
    422: "The body or the query does not have the shape that is asked for",
    429: "Too many wrong tries; the message says when to try again",
    500: "A fault of the cabin",
    503: "The cabin is busy; the same request may be sent again",
    LifeTaken: "The new notebook is somebody's already",
    TooManyLives: "Too many tablets have gone on as new ones lately",
    PhotoOffset: "Not where the bytes that are there end; `errors.have` says where to go on",
    PhotoWrong: "What came whole is not the photograph of that name",
    PhotoStoreAway: "The photographs' store does not answer; what came is kept",
}
"""Of a status, or of one cause where that is something else."""

READS = (400, 413, 415, 422)
"""What every operation with a body may say."""

ALWAYS = (500, 503)


def refuses(blueprint: Blueprint, *causes: int | CabinError) -> Callable[[F], F]:
    """Marks an operation: statuses, and errors of the cabin's own, with what is in them invented."""
    found: dict[int, dict[str, Any]] = {}
    words: dict[int, list[str]] = {}
    for cause in (*causes, *ALWAYS):
        status = cause if isinstance(cause, int) else int(cause.status)
        name = "refused" if isinstance(cause, int) else cause.key.rpartition(".")[2]
        found.setdefault(status, {})[name] = {"value": example(cause)}
        about = status if isinstance(cause, int) else type(cause)
        words.setdefault(status, []).append(WORDS[about if about in WORDS else status])

    def marked(view: F) -> F:
        for status, examples in sorted(found.items(), reverse=True):
            said = ". Or: ".join(dict.fromkeys(words[status]))
            about = {"schema": Error, "description": said, "examples": examples}
            view = blueprint.alt_response(status, **about)(view)
        return view

    return marked


def example(cause: int | CabinError) -> dict[str, Any]:
    """The refusal as it is answered."""
    words = texts(ENGLISH)
    if isinstance(cause, int):
        return {"code": cause, "status": HTTPStatus(cause).phrase, "message": words[f"cabin.http.{cause}"]}
    return refusal(cause, words[cause.key].format(**cause.fields))
