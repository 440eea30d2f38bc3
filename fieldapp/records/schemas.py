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

from fieldapp.records.fitting import Fits, fits

FUSION_STATES = ("unfused", "fusing", "fused", "loose_epiphysis", "not_visible", "not_examined")
PORTION_STATES = ("most", "part", "absent", "not_examined")
SIDES = ("left", "right", "midline", "unsided")
STAGES = ("trench", "scan", "analysis")
MATERIALS = ("bone", "tooth", "antler", "horn_core", "shell", "eggshell", "not_bone", "unsure")
ANSWERS = ("stop", "query", "not_excluded", "no_sign", "not_asked")
CUSTODY = ("received_by", "purpose", "authority", "condition", "seal", "kept")
"""What a hand-over says beside whom and how."""
VERDICTS = ("human", "non_human", "cannot_tell")
BONE_SEEN = ("bone", "pictures")
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


def _word_of_list() -> fields.String:
    # Which words there are is the vocabulary's business: an unknown one is named by the rule about words.
    return fields.String(allow_none=True, validate=validate.Length(max=200))


def _number() -> fields.Float:
    return fields.Float(allow_none=True)


def _whole() -> fields.Integer:
    return fields.Integer(strict=True, allow_none=True)


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
    position = fields.String(allow_none=True)
    age = fields.String(allow_none=True)
    texture = fields.String(allow_none=True)


class AidTold(_Value):
    """What the aid was told and made of it: the version of the criteria, {criterion: answer}, the outcome."""

    criteria = fields.String(required=True)
    answers = fields.Dict(fields.String(), fields.String(), required=True)
    outcome = fields.String(required=True)


class HumanReading(_Value):
    """One answer to the human question. Added, never replaced."""

    answer = _one_of(ANSWERS)
    why = fields.String(validate=_text)
    in_place = fields.Boolean(allow_none=True)
    by_rule = fields.String(allow_none=True)
    stage = fields.String(validate=validate.OneOf(STAGES))
    aid = fields.Nested(AidTold)


class Assessment(_Value):
    """A specialist's signed verdict over the readings it has seen (ids "<path>@<change id>")."""

    verdict = _one_of(VERDICTS)
    taxon = fields.String(allow_none=True)
    element = fields.String(allow_none=True)
    portion = fields.String(allow_none=True)
    side = fields.String(allow_none=True)
    seen = fields.List(fields.String(), required=True)
    bone_seen = _one_of(BONE_SEEN)
    criteria = fields.Dict(keys=fields.String(), values=fields.String(validate=_word))
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
    # A hand-over's: who took it, for what, by whose leave, under which seal, where it is kept and who has the key.
    received_by = fields.String(validate=_text)
    purpose = fields.String(validate=_text)
    authority = fields.String(validate=_text)
    condition = fields.String(validate=_text)
    seal = fields.String(validate=_text)
    kept = fields.String(validate=_text)


class Note(_Value):
    """Free words, with the stage at which they were written."""

    text = fields.String(required=True, validate=_text)
    stage = fields.String(validate=validate.OneOf(STAGES))


class Tooth(_Value):
    """One tooth, in the jaw or loose, or the socket of one."""

    tooth = fields.String(required=True, validate=_word)
    jaw = _word_of_list()
    side = _word_of_list()
    seat = _word_of_list()
    stage = _word_of_list()
    scheme = _word_of_list()
    wear = _word_of_list()
    crown_height_mm = _number()
    note = fields.String(allow_none=True, validate=_text)


class Measure(_Value):
    """One measurement, in millimetres."""

    code = fields.String(required=True, validate=_word)
    mm = fields.Float(required=True)
    estimated = fields.Boolean(allow_none=True)
    note = fields.String(allow_none=True, validate=_text)


class Mark(_Value):
    """One mark, or several alike, on the surface; `x` and `y` are shares of the plate's width and height in a view."""

    kind = fields.String(required=True, validate=_word)
    portion = _word_of_list()
    aspect = _word_of_list()
    direction = _word_of_list()
    tool = _word_of_list()
    number = _whole()
    tone = _word_of_list()
    view = _word_of_list()
    x = _number()
    y = _number()
    note = fields.String(allow_none=True, validate=_text)


class Checked(_Value):
    """A specialist's mark on a docket: the ids of the heads its form showed."""

    seen = fields.List(fields.String(), required=True)


class Place(_Value):
    """Where a find lay in the site's own grid, in metres. Never that of possible human remains, which is sealed."""

    east = _number()
    north = _number()
    level = _number()


class Pathology(_Value):
    """Something unhealthy or unusual about the bone."""

    kind = fields.String(required=True, validate=_word)
    portion = _word_of_list()
    note = fields.String(allow_none=True, validate=_text)


class Fracture(_Value):
    """How fresh the bone was when it broke: three scores, 0 (fresh) to 2."""

    angle = _whole()
    outline = _whole()
    texture = _whole()


class Join(_Value):
    """How the piece fits another: across an old break or a fresh one."""

    break_ = fields.String(data_key="break", allow_none=True, validate=validate.Length(max=200))


class Dating(_Value):
    """From and to, in whole years; before the common era negative."""

    from_ = fields.Integer(data_key="from", strict=True, allow_none=True)
    to = _whole()


class Fraction(_Value):
    """What one mesh held of a sample, and how much of it was sorted."""

    part = _word_of_list()
    mesh_mm = _number()
    sorted_share = _number()
    weight_g = _number()
    bone_g = _number()


class Cremation(_Value):
    """Burnt bone of one region of the body from one fraction, weighed."""

    fraction_mm = _number()
    region = _word_of_list()
    weight_g = _number()


class Key(_Value):
    """A personal key granted for a role."""

    public = fields.String(required=True)
    role = _one_of(ROLES)
    revoked = fields.Boolean(required=True)


class Code(_Value):
    """A short code of the site for the lab: the slot of the form that it answers, and with what word."""

    slot = fields.String(required=True, validate=_word)
    key = fields.String(required=True, validate=_word)


class Protocol(_Value):
    """What the site has agreed to record, so that a zero means something: which parts are counted ("all", or portions
    by element), and what is written down of every fragment."""

    countable = fields.Raw(required=True)
    always = fields.List(fields.String(validate=_word), required=True)
    note = fields.String(allow_none=True, validate=_text)


class Trench(_Value):
    """A trench: its name as contexts give it; its outline, corner by corner, in the site's own grid."""

    name = fields.String(required=True, validate=_word)
    note = fields.String(allow_none=True, validate=_text)
    outline = fields.List(fields.List(fields.Float(), validate=validate.Length(equal=2)), allow_none=True)


class Phase(_Value):
    """A phase: its name as contexts give it, its years, and its place in the sequence, the oldest first."""

    name = fields.String(required=True, validate=_word)
    from_ = fields.Integer(data_key="from", strict=True, allow_none=True)
    to = _whole()
    order = _whole()
    note = fields.String(allow_none=True, validate=_text)


class Grid(_Value):
    """How the site's own grid lies in a national one, which its EPSG code names: see server.grid."""

    epsg = fields.Integer(strict=True, required=True)
    east0 = fields.Float(required=True)
    north0 = fields.Float(required=True)
    rotation_deg = fields.Float(required=True)
    scale = fields.Float(required=True)
    note = fields.String(allow_none=True, validate=_text)


class Box(_Value):
    """Where a box is, and with whom. Which bags are in it is said by the bags."""

    name = fields.String(required=True, validate=_word)
    place = fields.String(allow_none=True, validate=_text)
    held_by = fields.String(allow_none=True, validate=_text)


class Policy(_Value):
    """Who may assess beside the human osteologist."""

    zooarchaeologists_may_assess = fields.List(fields.String(), required=True)
    second_reader = fields.Boolean(required=True)
    groups = fields.Boolean()


class Drawn(_Value):
    """How a docket came to be read a second time: the draw's name, way, seed, size, from what, what is shown of it."""

    name = fields.String(required=True, validate=_word)
    how = _one_of(("random", "by_taxon", "by_element", "hard"))
    seed = fields.String(required=True, validate=_word)
    size = fields.Integer(strict=True)
    of = fields.String(validate=_text)
    shown = fields.List(fields.String())


def _words() -> fields.String:
    return fields.String(allow_none=True, validate=_text)


def _link() -> fields.Boolean:
    return fields.Boolean(allow_none=True)


def _id() -> fields.String:
    return fields.String(allow_none=True, validate=_word)


def _item(of: type[_Value]) -> fields.Nested:
    # Null takes the item away.
    return fields.Nested(of, allow_none=True)


class _Expected(fields.Field[Any]):
    """Years in which an animal is to be expected, or true: always."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        return value if value is True else Dating().load(value)


SHAPES: dict[str, dict[str, fields.Field[Any]]] = {
    "site": {
        "code": fields.String(validate=validate.Regexp(r"[A-Z0-9]{2,10}\Z")),
        "name": _words(),
        "mode": _one_of(("excavation", "licensed")),
        "licence": _words(),
        "licence_conditions": _words(),
        "hold_photos": fields.Boolean(allow_none=True),
        "policy": fields.Nested(Policy),
        "zone_text": _words(),
        "zone_source": _words(),
        "place_text": _words(),
        "place_source": _words(),
        "place_checked": _words(),
        "cabin_key": _words(),
        "region": _word_of_list(),
        "dating": _item(Dating),
        "fusion_source": _words(),
        "plausible": _Expected(allow_none=True),
        "short": _item(Code),
        "protocol": _item(Protocol),
        "trench": _item(Trench),
        "phase": _item(Phase),
        "grid": _item(Grid),
        "box": _item(Box),
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
        "dating": _item(Dating),
        "deposit": _word_of_list(),
        "locked": _link(),
        "note": _item(Note),
    },
    "bag": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "recovery": _one_of(("hand", "sieve"), null=True),
        "mesh_mm": fields.Float(allow_none=True, validate=validate.Range(0, 100, min_inclusive=False)),
        "state": _words(),
        "box": _words(),
        "held_by": _words(),
        "sample": _id(),
        "fraction": _id(),
        "step": _link(),
        "weight_g": _number(),
        "note": _item(Note),
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
        "note": _item(Note),
        "same_as": _link(),
        "not_same": _link(),
        "finder": _words(),
        "find_no": _words(),
        "place": _item(Place),
        "ask": _link(),
        "tooth": _item(Tooth),
        "measure": _item(Measure),
        "mark": _item(Mark),
        "pathology": _item(Pathology),
        "burn_colour": _word_of_list(),
        "weathering": _whole(),
        "preservation": _word_of_list(),
        "roots": _word_of_list(),
        "staining": _word_of_list(),
        "breaks": _word_of_list(),
        "fracture": _item(Fracture),
        "digestion": _word_of_list(),
        "longest_mm": _number(),
        "antler_base": _word_of_list(),
        "checked": _item(Checked),
        "joins": _item(Join),
        "photo": _link(),
    },
    "sample": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "type": _word_of_list(),
        "litres": _number(),
        "fraction": _item(Fraction),
        "spit": _whole(),
        "cremation": _item(Cremation),
        "bone_g": _number(),
        "note": _item(Note),
    },
    "tally": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "bag": _id(),
        "taxon": _word_of_list(),
        "element": _word_of_list(),
        "count": _whole(),
        "weight_g": _number(),
        "burning": _word_of_list(),
        "preservation": _word_of_list(),
        "stage": fields.String(validate=validate.OneOf(STAGES)),
        "note": _item(Note),
    },
    "transfer": {
        "docket": _id(),
        "bag": _id(),
        "kind": _word_of_list(),
        "to": _words(),
        "authority": _words(),
        "reference": _words(),
        "lab_code": _words(),
        "taken_g": _number(),
        "remainder_g": _number(),
        "photo_before": _id(),
        "measured_before": fields.Boolean(allow_none=True),
        "back": fields.Boolean(allow_none=True),
        "note": _item(Note),
    },
    "photo": {
        "docket": _id(),
        "context": _id(),
        "sha256": fields.String(validate=validate.Regexp(r"[0-9a-f]{64}\Z")),
        "view": _word_of_list(),
        "scale": fields.Boolean(allow_none=True),
        "north": fields.Boolean(allow_none=True),
        "closed": fields.Boolean(allow_none=True),
        "note": _item(Note),
    },
    "group": {
        "label": fields.String(validate=_word),
        "context": fields.String(validate=_word),
        "relation": _one_of(RELATIONS),
        "member": _link(),
        "drawing": _words(),
        "note": _item(Note),
    },
    "hold": {
        "docket": fields.String(validate=_word),
        "context": fields.String(allow_none=True, validate=_word),
        "tier": _one_of(("stop", "query")),
        "zone": _words(),
        "in_place": fields.Boolean(allow_none=True),
        "place_sealed": _words(),
        "skeleton": _words(),
        "charnel": fields.Boolean(allow_none=True),
        "step": fields.Nested(Step),
        "release": fields.Nested(Release),
    },
}
"""{kind: {name: field}}. `deleted` belongs to every kind."""

OBSERVED = (
    "material", "reading", "count", "weight_g", "longest_mm", "burning", "burn_colour", "weathering", "preservation",
    "roots", "staining", "breaks", "digestion", "antler_base", "fracture", "tooth", "measure", "mark", "pathology",
)  # fmt: skip
"""First parts of a docket's paths that say what was seen on the bone: what a second reader says again."""

SHAPES["second_reading"] = {
    "docket": fields.String(validate=_word),
    "sample": fields.String(validate=_word),
    "drawn": fields.Nested(Drawn),
    "reader": _id(),
    # What the first reading was when the bone was drawn: {path: [change ids]}.
    "first": fields.Dict(fields.String(), fields.List(fields.String())),
    # first_seen/<person>: who has looked at the first reading before the second was done.
    "first_seen": _link(),
    **{name: SHAPES["docket"][name] for name in OBSERVED},
    "done": _link(),
    "ended": _link(),
    "note": _item(Note),
}

_DELETED = fields.Boolean(allow_none=True)

Shape = tuple[Fits, "fields.Field[Any]"]
_DELETED_TOO: Shape = (fits(_DELETED), _DELETED)
_CHECKS: dict[str, dict[str, Shape]] = {
    kind: {name: (fits(field), field) for name, field in shapes.items()} for kind, shapes in SHAPES.items()
}
_NO_CHECKS: dict[str, Shape] = {}


def problems_of(kind: str, values: Mapping[str, Any]) -> dict[str, list[str]]:
    """{path: [what is wrong with the shape of its value]} for the paths that do not fit. Never raises."""
    shapes = _CHECKS.get(kind, _NO_CHECKS)
    found = {}
    for path, value in values.items():
        shape = shapes.get(path) or (_DELETED_TOO if path == "deleted" else shapes.get(path.partition("/")[0]))
        if shape is not None and not shape[0](value) and (why := faults(shape[1], value)):
            found[path] = why
    return found


def faults(field: fields.Field[Any], value: Any) -> list[str]:
    """What marshmallow finds wrong with a value. Never raises."""
    try:
        field.deserialize(value)
    except Exception as error:
        # Not only ValidationError: whatever a field makes of an odd value, the value is kept and named.
        return sorted(_sentences(getattr(error, "messages", [str(error)])))
    return []


def _sentences(messages: Any, place: str = "") -> list[str]:
    if isinstance(messages, Mapping):
        return [one for name, inner in messages.items() for one in _sentences(inner, f"{place}{name}: ")]
    if isinstance(messages, list):
        return [one for inner in messages for one in _sentences(inner, place)]
    return [f"{place}{messages}"]
