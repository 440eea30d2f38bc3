"""Portion plates: the pictures of a bone in which each portion is a shape that can be touched, filled and printed.

For: reading a plate's SVG text, finding the portion under a finger, and the fills, hatches, dots and edges that
the tablet, the review page and the printed sheet all draw from the same numbers.
Not for: opening files (the loader gives the text), saying what a portion is (the portions table does), or colours.
"""

from fieldapp.domain.plates.callipers import Callipers, callipers, direction
from fieldapp.domain.plates.drawing import (
    PLAIN,
    STATES,
    WEIGHTS,
    Edges,
    Pattern,
    StateStyle,
    edges,
    pattern,
    state_style,
    svg,
    weighted,
)
from fieldapp.domain.plates.plate import (
    Plate,
    PlateError,
    Polyline,
    enlarged,
    fitted,
    mirrored,
    other_key,
    portion_at,
    telling,
)
from fieldapp.domain.plates.reading import TOLERANCE, read_plate
from fieldapp.domain.plates.shapes import (
    Point,
    Segment,
    Triangle,
    contains,
    distance,
    hatch,
    signed_area,
    triangles,
    widest,
)
from fieldapp.domain.plates.skeleton import (
    NUMBERS,
    MapBone,
    SkeletonMap,
    bone_at,
    fitted_map,
    look,
    map_svg,
    marks,
    read_map,
)

__all__ = [
    "NUMBERS",
    "PLAIN",
    "STATES",
    "TOLERANCE",
    "WEIGHTS",
    "Callipers",
    "Edges",
    "MapBone",
    "Pattern",
    "Plate",
    "PlateError",
    "Point",
    "Polyline",
    "Segment",
    "SkeletonMap",
    "StateStyle",
    "Triangle",
    "bone_at",
    "callipers",
    "contains",
    "direction",
    "distance",
    "edges",
    "enlarged",
    "fitted",
    "fitted_map",
    "hatch",
    "look",
    "map_svg",
    "marks",
    "mirrored",
    "other_key",
    "pattern",
    "portion_at",
    "read_map",
    "read_plate",
    "signed_area",
    "state_style",
    "svg",
    "telling",
    "triangles",
    "weighted",
    "widest",
]
