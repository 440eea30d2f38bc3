# flask-smorest has no types of its own, so what it decorates and what inherits from it count as untyped.
# mypy: disable-error-code="untyped-decorator,misc"
"""Photographs come as bytes, apart from the changes that name them by their SHA-256.

1. `photos/wanted` says, of up to 500 at a time, which the cabin lacks.
2. `GET photo/<sha256>` says how many bytes of one it has from this tablet. A sealed file (`sealed=1`) is known by the
   SHA-256 of the picture inside.
3. `PUT photo/<sha256>` appends bytes at exactly that offset; at another, 409 says in `errors.have` which is right. What
   had come of a request that was cut is kept. A part may be as small as one byte, or empty once all of them are there.
4. When all of `size` is there, it is checked against its name, and kept or thrown away (422).

Nothing here gives a picture out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from flask import request
from flask_smorest import abort

from server.api import examples, messages
from server.api.answers import Routes, compressed, refuse, unpacked, with_token
from server.api.described import READS, refuses
from server.api.sync import cabin, tablet
from server.errors import (
    CabinError,
    NotEnrolled,
    PhotoOffset,
    PhotoStoreAway,
    PhotoTooLarge,
    PhotoWrong,
    TokenWithdrawn,
)
from server.photos import Part
from server.photos.incoming import LARGEST

blueprint = Routes("photos", __name__, url_prefix="/api/v1", description="Photographs from tablets")

CHUNK = 65_536
_BYTES = {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}
_NAMED = {
    "name": "sha256",
    "in": "path",
    "required": True,
    "description": "SHA-256 of the picture, in hex; of the one inside where the file is sealed",
    "schema": {"type": "string", "pattern": messages.HASH_SHAPE},
    "example": examples.PICTURE_ID,
}


@blueprint.before_request
def _let_in() -> None:
    """The token first: a stranger's body is not looked at."""
    tablet()
    if request.method != "PUT":
        unpacked()
    elif request.headers.get("Content-Encoding", "identity").lower() != "identity":
        # A picture is packed already, and a cut part of something packed could not be gone on from.
        abort(415)


blueprint.register_error_handler(CabinError, refuse)
blueprint.after_request(compressed)


@blueprint.post("/photos/wanted")
@blueprint.doc(operationId="wanted")
@with_token
@blueprint.arguments(messages.PhotosAsked, example=examples.REQUESTS["wanted"])
@blueprint.response(200, messages.PhotosWanted, description="Those", example=examples.ANSWERS["wanted"])
@refuses(blueprint, *READS, NotEnrolled(), TokenWithdrawn())
def wanted(asked: dict[str, Any]) -> dict[str, Any]:
    """Which of these photographs the cabin lacks

    One that it has in the clear is wanted again where the tablet has it sealed.
    """
    tablet()
    return {"wanted": cabin().photos.wanted((one["sha256"], one["sealed"]) for one in asked["photos"])}


@blueprint.get("/photo/<sha256>", parameters=[_NAMED])
@blueprint.doc(operationId="have")
@with_token
@blueprint.arguments(messages.PhotoSealed, location="query")
@blueprint.response(200, messages.PhotoState, description="So many", example=examples.ANSWERS["have"])
@refuses(blueprint, 404, 422, NotEnrolled(), TokenWithdrawn())
def have(asked: dict[str, Any], sha256: str) -> dict[str, Any]:
    """How many bytes of a photograph there are

    Of those that this tablet has sent; of a whole one whoever sent it.
    """
    notebook, photos = tablet().notebook, cabin().photos
    _named(sha256)
    if whole := photos.is_whole(sha256, asked["sealed"]):
        return {"have": whole.size, "size": whole.size, "sealed": whole.sealed, "complete": True}
    found = photos.incoming.find(notebook, sha256)
    if found is None:
        return {"have": 0, "complete": False}
    part, there = found
    return {"have": there, "size": part.size, "sealed": part.sealed, "complete": False}


@blueprint.put("/photo/<sha256>", parameters=[_NAMED])
@blueprint.doc(operationId="send", requestBody={"required": True, "content": _BYTES})
@with_token
@blueprint.arguments(messages.PhotoSent, location="query")
@blueprint.response(200, messages.PhotoState, description="Appended", example=examples.ANSWERS["send"])
@refuses(
    blueprint,
    *(404, 415, 422),
    NotEnrolled(),
    TokenWithdrawn(),
    PhotoOffset(have=8),
    PhotoTooLarge(most=LARGEST),
    PhotoWrong(name=examples.PICTURE_ID[:12]),
    PhotoStoreAway(cause=examples.FULL),
)
def send(asked: dict[str, Any], sha256: str) -> dict[str, Any]:
    """Appends bytes to a photograph

    At exactly `offset`. With the last of `size` bytes it is checked and kept, and the answer is `complete`.
    """
    notebook = tablet().notebook
    _named(sha256)
    part, offset = Part(sha256, asked["size"], asked["sealed"]), asked["offset"]
    if offset + (request.content_length or 0) > part.size:
        raise PhotoTooLarge(most=part.size)
    there, complete = cabin().photos.take(notebook, part, offset, _chunks())
    return {"have": there, "size": part.size, "sealed": part.sealed, "complete": complete}


def _chunks() -> Iterator[bytes]:
    while chunk := request.stream.read(CHUNK):
        yield chunk


def _named(sha256: str) -> None:
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        abort(404)
