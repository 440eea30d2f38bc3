"""The shapes of what tablets and cabin say to each other (marshmallow). Not here: what a change holds (records).

Fields that are not known are ignored in a request: a newer tablet is not turned away for saying more.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Mapping
from typing import Any

from marshmallow import EXCLUDE, Schema, ValidationError, fields, validate, validates_schema

from fieldapp.records.wire import BATCH, PAGE

CHARACTERS = 4_000_000
"""Characters of changes in one page of a pull."""


class _Message(Schema):
    class Meta:
        unknown = EXCLUDE


HASH_SHAPE = "^[0-9a-f]{64}$"
_KEY_SHAPE = "^[A-Za-z0-9+/]{43}=$"
_WHOLE_SHAPE = "^[^\\u0000]*$"


def _whole(text: str) -> None:
    """Half a pair cannot be written down, and a nought ends a text in some databases."""
    if "\0" in text or any("\ud800" <= one <= "\udfff" for one in text):
        raise ValidationError("A text of whole characters, without noughts.")


def _text(longest: int = 200, *, metadata: Mapping[str, Any] | None = None, **more: Any) -> fields.String:
    more = more if "load_default" in more else {"required": True, **more}
    shape = {"pattern": _WHOLE_SHAPE, **(metadata or {})}
    return fields.String(validate=[validate.Length(max=longest), _whole], metadata=shape, **more)


def is_hash(text: str) -> None:
    """A SHA-256 in hex. Raises ValidationError."""
    if not re.fullmatch(r"[0-9a-f]{64}", text):
        raise ValidationError("This is no SHA-256 in hex.")


def is_key(text: str) -> None:
    """32 bytes as base64. Raises ValidationError."""
    try:
        right = len(base64.b64decode(text, validate=True)) == 32
    except (binascii.Error, ValueError):
        right = False
    if not right:
        raise ValidationError("This is no public key of 32 bytes in base64.")


class Hello(_Message):
    """Which cabin this is."""

    epoch = fields.String(required=True, metadata={"description": "this life of the ledger"})
    head = fields.Integer(required=True, metadata={"description": "last number of the ledger's count"})
    site = fields.UUID(required=True)
    site_code = fields.String(required=True)
    cabin_notebook = fields.UUID(required=True, metadata={"description": "writes the records that decide authority"})
    format = fields.Integer(required=True, metadata={"description": "newest format of messages it knows"})
    format_min = fields.Integer(required=True, metadata={"description": "oldest format of messages it still speaks"})
    at = fields.String(required=True, metadata={"description": "its time, ISO 8601, for telling that a clock is off"})


class EnrolAsked(_Message):
    """A tablet asks to be let in. See fieldapp.records.enrolment for the proofs."""

    proof = _text(metadata={"description": "HMAC that shows it knows the code and met this cabin's certificate"})
    notebook = _text(metadata={"description": "UUID of the notebook"})
    name = _text(load_default="", metadata={"description": "what people call the tablet"})
    letter = _text(2, load_default="", metadata={"description": "the letter it has been writing labels with, if any"})


class Enrolled(_Message):
    """It is in. The token is not shown again."""

    token = fields.String(required=True)
    letter = fields.String(required=True, metadata={"description": "the tablet's letter on labels"})
    site = fields.UUID(required=True)
    site_code = fields.String(required=True)
    epoch = fields.String(required=True)
    seal_key = fields.String(required=True, metadata={"description": "X25519 public key, base64"})
    cabin_notebook = fields.UUID(required=True)
    proof = fields.String(required=True, metadata={"description": "HMAC that shows the cabin knows the code too"})
    held_by = fields.String(
        metadata={"description": "whose the asked letter is, if another one is given: a name, `?` for one without"}
    )


class LifeAsked(_Message):
    """A tablet that is a copy, or was put back from one, asks to go on as a new one."""

    notebook = fields.UUID(required=True, metadata={"description": "its notebook from now on, known to nobody yet"})


class Life(_Message):
    """Token and letter of the new notebook. The one that asked stays let in, for the other copy."""

    token = fields.String(required=True)
    letter = fields.String(required=True)


class Entry(_Message):
    """A change as it was written: its id is the SHA-256 of its body."""

    id = fields.String(required=True, validate=validate.Length(max=200))
    body = fields.String(required=True)


class Entries(fields.List[Any]):
    """A batch's entries. Looked at by hand: a schema for each of them takes longer than merging them."""

    def __init__(self) -> None:
        about = {"description": "this or `batch`"}
        super().__init__(fields.Nested(Entry), validate=validate.Length(max=BATCH), metadata=about)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        found = []
        for at, one in enumerate(value):
            name, body = (one.get("id"), one.get("body")) if isinstance(one, dict) else (None, None)
            if not isinstance(name, str) or not isinstance(body, str) or len(name) > 200:
                raise ValidationError({at: ["An entry is an object with the texts `id` and `body`."]})
            found.append((name, body))
        return found


class Batch(fields.Dict):
    """The same without its hashes: {"bodies": […], "check": …}, see fieldapp.records.batches."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> Any:
        # What is in it is for the ledger to tell: see the view.
        if isinstance(value, dict) and isinstance(value.get("bodies"), list) and len(value["bodies"]) > BATCH:
            raise ValidationError(f"Longer than maximum length {BATCH}.")
        return value


class Answer(_Message):
    """What became of one entry."""

    id = fields.String(metadata={"description": "of the entry; in answer to `changes`"})
    at = fields.Integer(metadata={"description": "its place from 0; in answer to a `batch`"})
    answer = fields.String(required=True, metadata={"enum": ["taken", "known", "kept_unread", "set_aside"]})
    why = fields.String(required=True, metadata={"description": "a sentence, empty unless it was not folded"})


class Notice(_Message):
    """Something the sender should know: a fork, a gap, a broken chain, another site's changes or letter."""

    what = fields.String(
        required=True, metadata={"enum": ["fork", "gap", "broken_chain", "other_site", "letter_of_other"]}
    )
    text = fields.String(required=True, metadata={"description": "a sentence"})
    about = fields.Dict(required=True, metadata={"description": "what fills it: notebook, n, ids, after, before …"})


class PullAsked(_Message):
    """Where to go on."""

    since = fields.Integer(
        load_default=0,
        validate=validate.Range(min=0, max=2**53),
        metadata={"description": "the cursor; 0 is the start", "example": 1},
    )
    limit = fields.Integer(
        load_default=PAGE,
        validate=validate.Range(min=1, max=PAGE),
        metadata={"description": "changes in a page", "example": 1},
    )
    characters = fields.Integer(
        load_default=CHARACTERS,
        validate=validate.Range(min=1, max=CHARACTERS),
        metadata={
            "description": "most characters of a page; a single larger change comes alone",
            "example": CHARACTERS,
        },
    )
    all = fields.Boolean(load_default=False, metadata={"description": "the asking notebook's own changes too"})
    epoch = _text(load_default="", metadata={"description": "the epoch that came with the cursor"})
    mark = _text(load_default="", metadata={"description": "the mark that came with the cursor"})
    lean = fields.Boolean(load_default=False, metadata={"description": "answer with a `batch`, not with `changes`"})


class Numbered(_Message):
    """A change with its number in the ledger's count."""

    seq = fields.Integer(required=True)
    id = fields.String(required=True)
    body = fields.String(required=True)


class Page(_Message):
    """A page of changes, and where to go on."""

    epoch = fields.String(required=True)
    changes = fields.List(fields.Nested(Numbered), metadata={"description": "unless `lean` was asked for"})
    batch = fields.Dict(metadata={"description": "the changes without their hashes, and a check"})
    cursor = fields.Integer(required=True)
    mark = fields.String(required=True, metadata={"description": "id of the change at the cursor"})
    own = fields.Integer(required=True, metadata={"description": "highest number of the asking notebook's that came"})
    more = fields.Boolean(required=True)
    forked = fields.Boolean(metadata={"description": "one of the asking notebook's numbers came twice: it was copied"})
    format = fields.Integer(required=True, metadata={"description": "newest format of messages it speaks"})
    format_min = fields.Integer(required=True, metadata={"description": "oldest one that it still speaks"})
    at = fields.String(required=True, metadata={"description": "the cabin's time, ISO 8601 UTC"})


class Pushed(_Message):
    """A batch, in one form or the other."""

    epoch = _text(load_default="", metadata={"description": "the epoch the tablet knows, or empty"})
    changes = Entries()
    batch = Batch(metadata={"description": "instead of `changes`: the texts without their hashes, and a check"})
    then = fields.Nested(PullAsked, metadata={"description": "asks for a page too, as it is when the batch is in"})

    @validates_schema
    def one_form(self, data: dict[str, Any], **_: Any) -> None:
        if ("changes" in data) == ("batch" in data):
            raise ValidationError("Either `changes` or `batch` has to be there.")


class Taken(_Message):
    """The answer to `changes`, entry by entry in their order; to a `batch`, those that were not simply taken."""

    epoch = fields.String(required=True)
    head = fields.Integer(required=True)
    answers = fields.List(fields.Nested(Answer), required=True)
    notices = fields.List(fields.Nested(Notice), required=True)
    check = fields.String(metadata={"description": "in answer to a `batch`: the check of all that was answered for"})
    page = fields.Nested(Page, metadata={"description": "in answer to `then`: what a pull answers"})


class KeyAsked(_Message):
    """Somebody wants to sign on this tablet, away from the cabin."""

    person = _text()
    role = _text()
    password = _text(1000)


class Key(_Message):
    """Their personal key, still locked with their password."""

    person = fields.String(required=True)
    name = fields.String(required=True)
    role = fields.String(required=True)
    key = fields.String(required=True, metadata={"description": "id under which it is granted"})
    private = fields.String(required=True, metadata={"description": "PKCS8 PEM, encrypted under the password"})


class PhotoNamed(_Message):
    """A picture that a tablet has."""

    sha256 = fields.String(required=True, validate=is_hash, metadata={"pattern": HASH_SHAPE})
    sealed = fields.Boolean(load_default=False, metadata={"description": "the tablet has it sealed to the cabin only"})


class PhotosAsked(_Message):
    """Which of these does the cabin lack?"""

    photos = fields.List(fields.Nested(PhotoNamed), required=True, validate=validate.Length(max=BATCH))


class PhotosWanted(_Message):
    """Those that it lacks, or has in the clear and is to have sealed."""

    wanted = fields.List(fields.String(), required=True)


class PhotoSealed(_Message):
    """How the tablet would send it."""

    sealed = fields.Boolean(
        load_default=False, metadata={"description": "as a file sealed to the cabin", "example": False}
    )


class PhotoSent(PhotoSealed):
    """Where the bytes that follow belong."""

    offset = fields.Integer(
        required=True,
        validate=validate.Range(min=0, max=2**53),
        metadata={"description": "how many bytes of it are there already", "example": 0},
    )
    size = fields.Integer(
        required=True,
        validate=validate.Range(min=1, max=2**53),
        metadata={"description": "bytes of the whole file, as it is sent", "example": 19},
    )


class PhotoState(_Message):
    """How much of a picture the cabin has from this tablet."""

    have = fields.Integer(required=True, metadata={"description": "bytes; where to go on"})
    size = fields.Integer(metadata={"description": "bytes of the whole file, if any of it is known"})
    sealed = fields.Boolean(metadata={"description": "whether that file is a sealed one"})
    complete = fields.Boolean(required=True, metadata={"description": "it is in the cabin's store"})


class CarryKeys(_Message):
    """The asking notebook's own keys for carry-files."""

    sign = fields.String(
        required=True,
        validate=is_key,
        metadata={"description": "Ed25519 public key, base64: what it signs with", "pattern": _KEY_SHAPE},
    )
    seal = fields.String(
        required=True,
        validate=is_key,
        metadata={"description": "X25519 public key, base64: what answers are sealed to", "pattern": _KEY_SHAPE},
    )


class CarryKept(_Message):
    """They are kept."""

    keys = fields.Integer(required=True, metadata={"description": "how many this notebook has: more than one, a copy"})
