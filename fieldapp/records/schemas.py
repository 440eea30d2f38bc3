"""The shape of values, path by path, for each kind of record (marshmallow).

A value that does not fit is still kept and carried on: `problems_of` only says so. Paths and kinds that are not
named here are a newer version's business and no problem. Whether a value is *true of a skeleton* is the rules'
business (domain.rules), not a schema's.

A path is a name, or a name and an id: `note/<uuid>`. Names below take the value at every path that starts so.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import INCLUDE, Schema, fields, validate

FUSION_STATES = ("unfused", "fusing", "fused", "loose_epiphysis", "not_visible", "not_examined")
PORTION_STATES = ("most", "part", "absent", "not_examined")
SIDES = ("left", "right", "midline", "unsided")
STAGES = ("trench", "scan", "analysis")
MATERIALS = ("bone", "tooth", "antler", "horn_core", "shell", "eggshell", "not_bone", "unsure")
ANSWERS = ("stop", "query", "not_excluded", "no_sign", "not_asked")
VERDICTS = ("human", "non_human", "cannot_tell")
ROLES = ("recorder", "supervisor", "zooarchaeologist", "human_osteologist", "director", "administrator")
RELATIONS = ("articulated_observed", "articulated_inferred", "associated")

_word = validate.Length(min=1, max=200)
_text = validate.Length(max=10_000)


class _Value(Schema):
    """A value that is an object. Fields it does not know are kept."""

    class Meta:
        unknown = INCLUDE


def _one_of(words: tuple[str, ...], *, null: bool = False) -> fields.String:
    return fields.String(required=True, allow_none=null, validate=validate.OneOf(words))


class Reading(_Value):
    """One observation of a fragment, whole."""

    element = fields.String(required=True, allow_none=True)
    side = _one_of(SIDES, null=True)
    taxon = fields.String(required=True, allow_none=True)
    certainty = _one_of(("certain", "cf"), null=True)
    portions = fields.Dict(fields.String(), fields.String(validate=validate.OneOf(PORTION_STATES)), required=True)
    fusion = fields.Dict(fields.String(), fields.String(validate=validate.OneOf(FUSION_STATES)), required=True)
    sex = fields.String(allow_none=True)
    stage = _one_of(STAGES)
    compared = fields.String(allow_none=True)


class HumanReading(_Value):
    """One answer to the human question. Added, never replaced."""

    answer = _one_of(ANSWERS)
    why = fields.String(validate=_text)
    in_place = fields.Boolean(allow_none=True)
    by_rule = fields.String(allow_none=True)
    stage = fields.String(validate=validate.OneOf(STAGES))


class Assessment(_Value):
    """A specialist's signed verdict over the readings it has seen (ids "<path>@<change id>")."""

    verdict = _one_of(VERDICTS)
    taxon = fields.String(allow_none=True)
    element = fields.String(allow_none=True)
    portion = fields.String(allow_none=True)
    side = fields.String(allow_none=True)
    seen = fields.List(fields.String(), required=True)
    bone_seen = _one_of(("bone", "pictures"))
    reasons = fields.String(validate=_text)
    ruled_out = fields.String(validate=_text)
    comparison = fields.String(validate=_text)
    signer = fields.String(required=True)
    key = fields.String(required=True)
    signature = fields.String(required=True)


class Release(_Value):
    """The written word to go on, entered and signed by the director; `seen` lists the readings it covers."""

    seen = fields.List(fields.String(), required=True)
    word_of = fields.String(required=True, validate=_word)
    reference = fields.String(validate=_text)
    signer = fields.String(required=True)
    key = fields.String(required=True)
    signature = fields.String(required=True)


class Step(_Value):
    """One line of a hold's log."""

    what = fields.String(required=True, validate=_word)
    whom = fields.String(validate=_text)
    how = fields.String(validate=_text)
    ref = fields.String(validate=_text)
    note = fields.String(validate=_text)
    at = fields.String()


class Note(_Value):
    """Free words, with the stage at which they were written."""

    text = fields.String(required=True, validate=_text)
    stage = fields.String(validate=validate.OneOf(STAGES))


class Key(_Value):
    """A personal key granted for a role."""

    public = fields.String(required=True)
    role = _one_of(ROLES)
    revoked = fields.Boolean(required=True)


class Policy(_Value):
    """Who may assess beside the human osteologist."""

    zooarchaeologists_may_assess = fields.List(fields.String(), required=True)
    second_reader = fields.Boolean(required=True)


def _words() -> fields.String:
    return fields.String(allow_none=True, validate=_text)


def _link() -> fields.Boolean:
    return fields.Boolean(allow_none=True)


SHAPES: dict[str, dict[str, fields.Field[Any]]] = {
    "site": {
        "code": fields.String(validate=validate.Regexp(r"[A-Z0-9]{2,10}\Z")),
        "name": _words(),
        "mode": _one_of(("excavation", "licensed")),
        "licence": _words(),
        "policy": fields.Nested(Policy),
        "zone_text": _words(),
        "cabin_key": _words(),
    },
    "person": {
        "name": fields.String(validate=_word),
        "role": _one_of(ROLES),
        "active": fields.Boolean(),
        "key": fields.Nested(Key),
    },
    "context": {
        "number": fields.String(validate=_word),
        "type": _words(),
        "grave_like": _one_of(("yes", "no", "unknown"), null=True),
        "trench": _words(),
        "phase": _words(),
        "state": _one_of(("open", "closed")),
        "note": fields.Nested(Note, allow_none=True),
    },
    "bag": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "recovery": _one_of(("hand", "sieve"), null=True),
        "mesh_mm": fields.Float(allow_none=True, validate=validate.Range(0, 100, min_inclusive=False)),
        "state": _words(),
        "box": _words(),
    },
    "docket": {
        "label": fields.String(validate=_word),
        "bag": fields.String(allow_none=True, validate=_word),
        "context": fields.String(allow_none=True, validate=_word),
        "material": _one_of(MATERIALS, null=True),
        "reading": fields.Nested(Reading, allow_none=True),
        "human": fields.Nested(HumanReading),
        "assessment": fields.Nested(Assessment),
        "count": fields.Integer(strict=True, allow_none=True),
        "weight_g": fields.Float(allow_none=True),
        "burning": _words(),
        "note": fields.Nested(Note, allow_none=True),
        "same_as": _link(),
        "finder": _words(),
    },
    "group": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "relation": _one_of(RELATIONS),
        "member": _link(),
        "note": fields.Nested(Note, allow_none=True),
    },
    "hold": {
        "docket": fields.String(validate=_word),
        "context": fields.String(allow_none=True, validate=_word),
        "tier": _one_of(("stop", "query")),
        "zone": _words(),
        "in_place": fields.Boolean(allow_none=True),
        "place_sealed": _words(),
        "step": fields.Nested(Step),
        "release": fields.Nested(Release),
    },
}
"""{kind: {name: field}}. `deleted` belongs to every kind."""

_DELETED = fields.Boolean(allow_none=True)


def problems_of(kind: str, values: Mapping[str, Any]) -> dict[str, list[str]]:
    """{path: [what is wrong with the shape of its value]} for the paths that do not fit. Never raises."""
    shapes = SHAPES.get(kind, {})
    found = {}
    for path, value in values.items():
        shape = _DELETED if path == "deleted" else shapes.get(path.split("/", 1)[0])
        if shape is None:
            continue
        try:
            shape.deserialize(value)
        except Exception as error:
            # Not only ValidationError: whatever a field makes of an odd value, the value is kept and named.
            found[path] = sorted(_sentences(getattr(error, "messages", [str(error)])))
    return found


def _sentences(messages: Any, place: str = "") -> list[str]:
    if isinstance(messages, Mapping):
        return [one for name, inner in messages.items() for one in _sentences(inner, f"{place}{name}: ")]
    if isinstance(messages, list):
        return [one for inner in messages for one in _sentences(inner, place)]
    return [f"{place}{messages}"]
