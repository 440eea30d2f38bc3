"""The shapes of what tablets and cabin say to each other (marshmallow). Not here: what a change holds (records).

Fields that are not known are ignored in a request: a newer tablet is not turned away for saying more.
"""

from __future__ import annotations

from typing import Any

from marshmallow import EXCLUDE, Schema, ValidationError, fields, validate, validates_schema

from fieldapp.records import wire

BATCH = 500
"""Changes in one push."""

PAGE = 1000
"""Changes in one page of a pull."""


class _Message(Schema):
    class Meta:
        unknown = EXCLUDE


def _text(longest: int = 200, **more: object) -> fields.String:
    return fields.String(required=True, validate=validate.Length(max=longest), **more)  # type: ignore[arg-type]


class Hello(_Message):
    """Which cabin this is."""

    epoch = fields.String(required=True, metadata={"description": "this life of the ledger"})
    head = fields.Integer(required=True, metadata={"description": "last number of the ledger's count"})
    site = fields.UUID(required=True)
    site_code = fields.String(required=True)
    cabin_notebook = fields.UUID(required=True, metadata={"description": "writes the records that decide authority"})
    format = fields.Integer(required=True, metadata={"description": "newest format of changes and messages it knows"})


class EnrolAsked(_Message):
    """A tablet asks to be let in. See fieldapp.records.enrolment for the proofs."""

    proof = _text(metadata={"description": "HMAC that shows it knows the code and met this cabin's certificate"})
    notebook = _text(metadata={"description": "UUID of the notebook"})
    name = fields.String(load_default="", validate=validate.Length(max=200))
    letter = fields.String(load_default="", validate=validate.Length(max=2))


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


class Entry(_Message):
    """A change as it was written: its id is the SHA-256 of its body."""

    id = fields.String(required=True, validate=validate.Length(max=200))
    body = fields.String(required=True)


class Entries(fields.List[Any]):
    """A batch's entries. Looked at by hand: a schema for each of them takes longer than merging them."""

    def __init__(self) -> None:
        super().__init__(fields.Nested(Entry), validate=validate.Length(max=BATCH))

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
    """The same without its hashes: {"bodies": […], "check": …}, see fieldapp.records.wire."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **more: Any) -> Any:
        try:
            found = wire.unpacked(value)
        except wire.Damaged as fault:
            raise ValidationError(f"{fault}.") from fault
        if len(found) > BATCH:
            raise ValidationError(f"Longer than maximum length {BATCH}.")
        return found


class Pushed(_Message):
    """A batch, in one form or the other."""

    epoch = fields.String(load_default="")
    changes = Entries()
    batch = Batch(metadata={"description": "instead of `changes`: the texts without their hashes, and a check"})

    @validates_schema
    def one_form(self, data: dict[str, Any], **_: Any) -> None:
        if ("changes" in data) == ("batch" in data):
            raise ValidationError("Either `changes` or `batch` has to be there.")


class Answer(_Message):
    """What became of one entry."""

    id = fields.String(metadata={"description": "of the entry; in answer to `changes`"})
    at = fields.Integer(metadata={"description": "its place from 0; in answer to a `batch`"})
    answer = fields.String(required=True, metadata={"enum": ["taken", "known", "kept_unread", "set_aside"]})
    why = fields.String(required=True, metadata={"description": "a sentence, empty unless it was not folded"})


class Notice(_Message):
    """Something the sender should know: a fork, a gap, a broken chain, another site's changes."""

    what = fields.String(required=True, metadata={"enum": ["fork", "gap", "broken_chain", "other_site"]})
    text = fields.String(required=True, metadata={"description": "a sentence"})
    about = fields.Dict(required=True, metadata={"description": "what fills it: notebook, n, ids, after, before …"})


class Taken(_Message):
    """The answer to `changes`, entry by entry in their order; to a `batch`, those that were not simply taken."""

    epoch = fields.String(required=True)
    head = fields.Integer(required=True)
    answers = fields.List(fields.Nested(Answer), required=True)
    notices = fields.List(fields.Nested(Notice), required=True)
    check = fields.String(metadata={"description": "in answer to a `batch`: the check of all that was answered for"})


class PullAsked(_Message):
    """Where to go on."""

    since = fields.Integer(load_default=0, validate=validate.Range(min=0, max=2**53))
    limit = fields.Integer(load_default=PAGE, validate=validate.Range(min=1, max=PAGE))
    all = fields.Boolean(load_default=False, metadata={"description": "the asking notebook's own changes too"})
    epoch = fields.String(load_default="", metadata={"description": "the epoch that came with the cursor"})
    mark = fields.String(load_default="", metadata={"description": "the mark that came with the cursor"})
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
    forks = fields.Integer(required=True, metadata={"description": "how many of its numbers have come twice"})
    more = fields.Boolean(required=True)
    format = fields.Integer(required=True, metadata={"description": "newest format of changes and messages it knows"})


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
