"""The shapes of values that are objects, and the words of the format: what schemas puts together by kind and path.

Not here: which path of which record holds which of them (schemas); whether a value is true of a skeleton (the rules).
"""

from __future__ import annotations

from typing import Any

from marshmallow import INCLUDE, Schema, fields, validate

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
RELATIONS = ("articulated_observed", "articulated_inferred", "associated", "compared")

WORD = validate.Length(min=1, max=200)
TEXT = validate.Length(max=10_000)


class Value(Schema):
    """A value that is an object. Fields it does not know are kept."""

    class Meta:
        unknown = INCLUDE


def one_of(words: tuple[str, ...], *, null: bool = False) -> fields.String:
    return fields.String(required=True, allow_none=null, validate=validate.OneOf(words))


def word_of_list() -> fields.String:
    # Which words there are is the vocabulary's business: an unknown one is named by the rule about words.
    return fields.String(allow_none=True, validate=validate.Length(max=200))


def a_number() -> fields.Float:
    return fields.Float(allow_none=True)


def a_whole() -> fields.Integer:
    return fields.Integer(strict=True, allow_none=True)


class Reading(Value):
    """One observation of a fragment, whole."""

    element = fields.String(required=True, allow_none=True)
    side = one_of(SIDES, null=True)
    taxon = fields.String(required=True, allow_none=True)
    certainty = one_of(("certain", "cf"), null=True)
    portions = fields.Dict(fields.String(), fields.String(validate=validate.OneOf(PORTION_STATES)), required=True)
    fusion = fields.Dict(fields.String(), fields.String(validate=validate.OneOf(FUSION_STATES)), required=True)
    sex = fields.String(allow_none=True)
    stage = one_of(STAGES)
    compared = fields.String(allow_none=True)
    position = fields.String(allow_none=True)
    age = fields.String(allow_none=True)
    texture = fields.String(allow_none=True)


class AidTold(Value):
    """What the aid was told and made of it: the version of the criteria, {criterion: answer}, the outcome."""

    criteria = fields.String(required=True)
    answers = fields.Dict(fields.String(), fields.String(), required=True)
    outcome = fields.String(required=True)


class HumanReading(Value):
    """One answer to the human question. Added, never replaced."""

    answer = one_of(ANSWERS)
    why = fields.String(validate=TEXT)
    in_place = fields.Boolean(allow_none=True)
    by_rule = fields.String(allow_none=True)
    stage = fields.String(validate=validate.OneOf(STAGES))
    aid = fields.Nested(AidTold)


class Assessment(Value):
    """A specialist's signed verdict over the readings it has seen (ids "<path>@<change id>")."""

    verdict = one_of(VERDICTS)
    taxon = fields.String(allow_none=True)
    element = fields.String(allow_none=True)
    portion = fields.String(allow_none=True)
    side = fields.String(allow_none=True)
    seen = fields.List(fields.String(), required=True)
    bone_seen = one_of(BONE_SEEN)
    criteria = fields.Dict(keys=fields.String(), values=fields.String(validate=WORD))
    reasons = fields.String(validate=TEXT)
    ruled_out = fields.String(validate=TEXT)
    comparison = fields.String(validate=TEXT)
    signer = fields.String(required=True)
    key = fields.String(required=True)
    signature = fields.String(required=True)


class Release(Value):
    """The written word to go on, entered and signed by the director; `seen` lists the readings it covers."""

    seen = fields.List(fields.String(), required=True)
    word_of = fields.String(required=True, validate=WORD)
    reference = fields.String(validate=TEXT)
    signer = fields.String(required=True)
    key = fields.String(required=True)
    signature = fields.String(required=True)


class TakingBack(Value):
    """A step of a bag unticked: the changes whose ticks are meant."""

    takes_back = fields.List(fields.String(), required=True)


class Step(Value):
    """One line of a hold's log."""

    what = fields.String(required=True, validate=WORD)
    whom = fields.String(validate=TEXT)
    how = fields.String(validate=TEXT)
    ref = fields.String(validate=TEXT)
    note = fields.String(validate=TEXT)
    at = fields.String()
    # A hand-over's: who took it, for what, by whose leave, under which seal, where it is kept and who has the key.
    received_by = fields.String(validate=TEXT)
    purpose = fields.String(validate=TEXT)
    authority = fields.String(validate=TEXT)
    condition = fields.String(validate=TEXT)
    seal = fields.String(validate=TEXT)
    kept = fields.String(validate=TEXT)


class Note(Value):
    """Free words, with the stage at which they were written."""

    text = fields.String(required=True, validate=TEXT)
    stage = fields.String(validate=validate.OneOf(STAGES))


class Tooth(Value):
    """One tooth, in the jaw or loose, or the socket of one."""

    tooth = fields.String(required=True, validate=WORD)
    jaw = word_of_list()
    side = word_of_list()
    seat = word_of_list()
    stage = word_of_list()
    scheme = word_of_list()
    wear = word_of_list()
    crown_height_mm = a_number()
    note = fields.String(allow_none=True, validate=TEXT)


class Measure(Value):
    """One measurement, in millimetres."""

    code = fields.String(required=True, validate=WORD)
    mm = fields.Float(required=True)
    estimated = fields.Boolean(allow_none=True)
    note = fields.String(allow_none=True, validate=TEXT)


class Mark(Value):
    """One mark, or several alike, on the surface; `x` and `y` are shares of the plate's width and height in a view."""

    kind = fields.String(required=True, validate=WORD)
    portion = word_of_list()
    aspect = word_of_list()
    direction = word_of_list()
    tool = word_of_list()
    number = a_whole()
    tone = word_of_list()
    view = word_of_list()
    x = a_number()
    y = a_number()
    note = fields.String(allow_none=True, validate=TEXT)


class Checked(Value):
    """A specialist's mark on a docket: the ids of the heads its form showed."""

    seen = fields.List(fields.String(), required=True)


class Imported(Value):
    """A row of somebody else's table as it stood there: the file, its digest, the row's number, {heading: cell} of the
    cells that say something; whose data they are; the name of the map that it was read by."""

    file = fields.String(required=True, validate=WORD)
    sha256 = fields.String(required=True, validate=validate.Regexp(r"[0-9a-f]{64}\Z"))
    row = fields.Integer(strict=True, required=True)
    columns = fields.Dict(fields.String(), fields.String(), required=True)
    credit = fields.String(validate=TEXT)
    map = fields.String(validate=WORD)


class Place(Value):
    """Where a find lay in the site's own grid, in metres. Never that of possible human remains, which is sealed."""

    east = a_number()
    north = a_number()
    level = a_number()


class Pathology(Value):
    """Something unhealthy or unusual about the bone."""

    kind = fields.String(required=True, validate=WORD)
    portion = word_of_list()
    note = fields.String(allow_none=True, validate=TEXT)


class Fracture(Value):
    """How fresh the bone was when it broke: three scores, 0 (fresh) to 2."""

    angle = a_whole()
    outline = a_whole()
    texture = a_whole()


class Join(Value):
    """How the piece fits another: across an old break or a fresh one."""

    break_ = fields.String(data_key="break", allow_none=True, validate=validate.Length(max=200))


class Dating(Value):
    """From and to, in whole years; before the common era negative."""

    from_ = fields.Integer(data_key="from", strict=True, allow_none=True)
    to = a_whole()


class Fraction(Value):
    """What one mesh held of a sample, and how much of it was sorted."""

    part = word_of_list()
    mesh_mm = a_number()
    sorted_share = a_number()
    weight_g = a_number()
    bone_g = a_number()


class Cremation(Value):
    """Burnt bone of one region of the body from one fraction, weighed."""

    fraction_mm = a_number()
    region = word_of_list()
    weight_g = a_number()


class Key(Value):
    """A personal key granted for a role."""

    public = fields.String(required=True)
    role = one_of(ROLES)
    revoked = fields.Boolean(required=True)


class Code(Value):
    """A short code of the site for the lab: the slot of the form that it answers, and with what word."""

    slot = fields.String(required=True, validate=WORD)
    key = fields.String(required=True, validate=WORD)


class Protocol(Value):
    """What the site has agreed to record, so that a zero means something: which parts are counted ("all", or portions
    by element), and what is written down of every fragment."""

    countable = fields.Raw(required=True)
    always = fields.List(fields.String(validate=WORD), required=True)
    note = fields.String(allow_none=True, validate=TEXT)


class Trench(Value):
    """A trench: its name as contexts give it; its outline, corner by corner, in the site's own grid."""

    name = fields.String(required=True, validate=WORD)
    note = fields.String(allow_none=True, validate=TEXT)
    outline = fields.List(fields.List(fields.Float(), validate=validate.Length(equal=2)), allow_none=True)


class Phase(Value):
    """A phase: its name as contexts give it, its years, and its place in the sequence, the oldest first."""

    name = fields.String(required=True, validate=WORD)
    from_ = fields.Integer(data_key="from", strict=True, allow_none=True)
    to = a_whole()
    order = a_whole()
    note = fields.String(allow_none=True, validate=TEXT)


class Grid(Value):
    """How the site's own grid lies in a national one, which its EPSG code names: see server.grid."""

    epsg = fields.Integer(strict=True, required=True)
    east0 = fields.Float(required=True)
    north0 = fields.Float(required=True)
    rotation_deg = fields.Float(required=True)
    scale = fields.Float(required=True)
    note = fields.String(allow_none=True, validate=TEXT)


class Box(Value):
    """Where a box is, and with whom. Which bags are in it is said by the bags."""

    name = fields.String(required=True, validate=WORD)
    place = fields.String(allow_none=True, validate=TEXT)
    held_by = fields.String(allow_none=True, validate=TEXT)


class SizeStandard(Value):
    """One measurement of what the site compares sizes with; all of one `name` are one standard, in their `order`."""

    name = fields.String(required=True, validate=WORD)
    taxon = fields.String(required=True, validate=WORD)
    element = fields.String(required=True, validate=WORD)
    position = word_of_list()
    code = fields.String(required=True, validate=WORD)
    mm = fields.Float(required=True, validate=validate.Range(0, min_inclusive=False))
    order = a_whole()
    source = fields.String(required=True, validate=TEXT)


class Policy(Value):
    """Who may assess beside the human osteologist."""

    zooarchaeologists_may_assess = fields.List(fields.String(), required=True)
    second_reader = fields.Boolean(required=True)
    groups = fields.Boolean()


class Drawn(Value):
    """How a docket came to be read a second time: the draw's name, way, seed, size, from what, what is shown of it."""

    name = fields.String(required=True, validate=WORD)
    how = one_of(("random", "by_taxon", "by_element", "hard"))
    seed = fields.String(required=True, validate=WORD)
    size = fields.Integer(strict=True)
    of = fields.String(validate=TEXT)
    shown = fields.List(fields.String())


def free_words() -> fields.String:
    return fields.String(allow_none=True, validate=TEXT)


def a_link() -> fields.Boolean:
    return fields.Boolean(allow_none=True)


def an_id() -> fields.String:
    return fields.String(allow_none=True, validate=WORD)


def an_item(of: type[Value]) -> fields.Nested:
    # Null takes the item away.
    return fields.Nested(of, allow_none=True)


class Tick(fields.Field[Any]):
    """A step of a bag: ticked, or which ticks are taken back."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        return TakingBack().load(value) if isinstance(value, dict) else a_link().deserialize(value)


class Expected(fields.Field[Any]):
    """Years in which an animal is to be expected, or true: always."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        return value if value is True else Dating().load(value)
