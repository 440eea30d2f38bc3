"""The shape of values, path by path, for each kind of record (marshmallow).

A value that does not fit is still kept and carried on: `problems_of` only says so. Paths and kinds that are not
named here are a newer version's business and no problem. Whether a value is *true of a skeleton* is the rules'
business (domain.rules), not a schema's.

A path is a name, or a name and an id: `note/<uuid>`. Names below take the value at every path that starts so.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields, validate

from fieldapp.records.fitting import Fits, fits
from fieldapp.records.shapes import (
    MATERIALS,
    RELATIONS,
    ROLES,
    STAGES,
    WORD,
    Assessment,
    Box,
    Checked,
    Code,
    Cremation,
    Dating,
    Drawn,
    Expected,
    Fraction,
    Fracture,
    Grid,
    HumanReading,
    Imported,
    Join,
    Key,
    Mark,
    Measure,
    Note,
    Pathology,
    Phase,
    Place,
    Policy,
    Protocol,
    Reading,
    Release,
    SizeStandard,
    Step,
    Tick,
    Tooth,
    Trench,
    a_link,
    a_number,
    a_whole,
    an_id,
    an_item,
    free_words,
    one_of,
    word_of_list,
)

SHAPES: dict[str, dict[str, fields.Field[Any]]] = {
    "site": {
        "code": fields.String(validate=validate.Regexp(r"[A-Z0-9]{2,10}\Z")),
        "name": free_words(),
        "mode": one_of(("excavation", "licensed")),
        "licence": free_words(),
        "licence_conditions": free_words(),
        "hold_photos": fields.Boolean(allow_none=True),
        "policy": fields.Nested(Policy),
        "zone_text": free_words(),
        "zone_source": free_words(),
        "place_text": free_words(),
        "place_source": free_words(),
        "place_checked": free_words(),
        "cabin_key": free_words(),
        "region": word_of_list(),
        "dating": an_item(Dating),
        "fusion_source": free_words(),
        "plausible": Expected(allow_none=True),
        "short": an_item(Code),
        "protocol": an_item(Protocol),
        "trench": an_item(Trench),
        "phase": an_item(Phase),
        "grid": an_item(Grid),
        "box": an_item(Box),
        "standard": an_item(SizeStandard),
    },
    "person": {
        "name": fields.String(validate=WORD),
        "role": one_of(ROLES),
        "active": fields.Boolean(),
        "key": fields.Nested(Key),
    },
    "context": {
        "number": fields.String(validate=WORD),
        "type": free_words(),
        "grave_like": one_of(("yes", "no", "unknown"), null=True),
        "trench": free_words(),
        "phase": free_words(),
        "state": one_of(("open", "closed")),
        "dating": an_item(Dating),
        "deposit": word_of_list(),
        "locked": a_link(),
        "note": an_item(Note),
    },
    "bag": {
        "label": fields.String(validate=WORD),
        "context": fields.String(validate=WORD),
        "recovery": one_of(("hand", "sieve"), null=True),
        "mesh_mm": fields.Float(allow_none=True, validate=validate.Range(0, 100, min_inclusive=False)),
        "state": free_words(),
        "box": free_words(),
        "held_by": free_words(),
        "sample": an_id(),
        "fraction": an_id(),
        "step": Tick(allow_none=True),
        "weight_g": a_number(),
        "note": an_item(Note),
    },
    "docket": {
        "label": fields.String(validate=WORD),
        "bag": fields.String(allow_none=True, validate=WORD),
        "context": fields.String(allow_none=True, validate=WORD),
        "material": one_of(MATERIALS, null=True),
        "reading": fields.Nested(Reading, allow_none=True),
        "human": fields.Nested(HumanReading),
        "assessment": fields.Nested(Assessment),
        "count": fields.Integer(strict=True, allow_none=True),
        "weight_g": fields.Float(allow_none=True),
        "burning": free_words(),
        "note": an_item(Note),
        "same_as": a_link(),
        "not_same": a_link(),
        "finder": free_words(),
        "find_no": free_words(),
        "place": an_item(Place),
        "ask": a_link(),
        "tooth": an_item(Tooth),
        "measure": an_item(Measure),
        "mark": an_item(Mark),
        "pathology": an_item(Pathology),
        "burn_colour": word_of_list(),
        "weathering": a_whole(),
        "preservation": word_of_list(),
        "roots": word_of_list(),
        "staining": word_of_list(),
        "breaks": word_of_list(),
        "fracture": an_item(Fracture),
        "digestion": word_of_list(),
        "longest_mm": a_number(),
        "antler_base": word_of_list(),
        "checked": an_item(Checked),
        "joins": an_item(Join),
        "photo": a_link(),
        "imported": an_item(Imported),
    },
    "sample": {
        "label": fields.String(validate=WORD),
        "context": fields.String(validate=WORD),
        "type": word_of_list(),
        "litres": a_number(),
        "fraction": an_item(Fraction),
        "spit": a_whole(),
        "cremation": an_item(Cremation),
        "bone_g": a_number(),
        "note": an_item(Note),
    },
    "tally": {
        "label": fields.String(validate=WORD),
        "context": fields.String(validate=WORD),
        "bag": an_id(),
        "taxon": word_of_list(),
        "element": word_of_list(),
        "count": a_whole(),
        "weight_g": a_number(),
        "burning": word_of_list(),
        "preservation": word_of_list(),
        "stage": fields.String(validate=validate.OneOf(STAGES)),
        "note": an_item(Note),
    },
    "transfer": {
        "docket": an_id(),
        "bag": an_id(),
        "kind": word_of_list(),
        "to": free_words(),
        "authority": free_words(),
        "reference": free_words(),
        "lab_code": free_words(),
        "taken_g": a_number(),
        "remainder_g": a_number(),
        "photo_before": an_id(),
        "measured_before": fields.Boolean(allow_none=True),
        "back": fields.Boolean(allow_none=True),
        "note": an_item(Note),
    },
    "photo": {
        "docket": an_id(),
        "context": an_id(),
        "sha256": fields.String(validate=validate.Regexp(r"[0-9a-f]{64}\Z")),
        "view": word_of_list(),
        "scale": fields.Boolean(allow_none=True),
        "north": fields.Boolean(allow_none=True),
        "closed": fields.Boolean(allow_none=True),
        "note": an_item(Note),
    },
    "group": {
        "label": fields.String(validate=WORD),
        "context": fields.String(validate=WORD),
        "relation": one_of(RELATIONS),
        "member": a_link(),
        "drawing": free_words(),
        "note": an_item(Note),
    },
    "hold": {
        "docket": fields.String(validate=WORD),
        "context": fields.String(allow_none=True, validate=WORD),
        "tier": one_of(("stop", "query")),
        "zone": free_words(),
        "in_place": fields.Boolean(allow_none=True),
        "place_sealed": free_words(),
        "skeleton": free_words(),
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
    "docket": fields.String(validate=WORD),
    "sample": fields.String(validate=WORD),
    "drawn": fields.Nested(Drawn),
    "reader": an_id(),
    # What the first reading was when the bone was drawn: {path: [change ids]}.
    "first": fields.Dict(fields.String(), fields.List(fields.String())),
    # first_seen/<person>: who has looked at the first reading before the second was done.
    "first_seen": a_link(),
    **{name: SHAPES["docket"][name] for name in OBSERVED},
    "done": a_link(),
    "ended": a_link(),
    "note": an_item(Note),
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
