"""What was observed on a bone beside its reading, in words: a tooth, a mark, a measurement, the state of its surface.

For sheets and pages alike, so that the two say the same. A word that the tables do not hold is shown as it came; a
value of another shape too. Not here: which observations stand where.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.domain.rules.words import ITEMS, PLAIN, READING
from fieldapp.records.changes import canonical
from fieldapp.sheets.words import number

LISTS = {name: of for name, of in {**READING, **PLAIN["docket"]}.items() if of != name}
"""{field: the list its words come from}, where that is not named as the field is."""

_ITEM_LISTS = {
    ("tooth", "scheme"): "wear_scheme",
    **{(head, field): of for items in ITEMS.values() for head, pairs in items.items() for field, of in pairs},
}
"""{(first part of an item's path, field): list}."""

_UNITS = {
    "longest_mm": " mm",
    "mm": " mm",
    "crown_height_mm": " mm",
    "mesh_mm": " mm",
    "weight_g": " g",
    "bone_g": " g",
}
_FIRST = (
    "kind",
    "tooth",
    "code",
    "mm",
    "jaw",
    "side",
    "seat",
    "stage",
    "scheme",
    "wear",
    "number",
    "portion",
    "aspect",
)
"""Fields of items that are said first, in this order; the rest follow as they come."""
_SAY_NAME = frozenset(
    {"number", "crown_height_mm", "angle", "outline", "texture", "from", "to", "east", "north", "level"}
)
"""Fields of items whose bare value would say nothing without its name."""
_DRAWN = frozenset({"x", "y", "view"})
"""Fields of a mark that say where it is on the plate: for a picture, not for words."""


def observed(path: str, value: Any, texts: Mapping[str, str], element: object = None) -> str:
    """The value at `path` ("weathering", "mark/<id>") in words; "" for one that says nothing.

    `element`: the bone's, by which portions are named.
    """
    head = path.partition("/")[0]
    if isinstance(value, Mapping):
        order = [*(field for field in _FIRST if field in value), *(field for field in value if field not in _FIRST)]
        told = (field for field in order if head != "mark" or field not in _DRAWN)
        parts = (_part(head, field, value[field], texts, element) for field in told)
        return ", ".join(part for part in parts if part)
    return _part("", head, value, texts, element)


def _part(head: str, field: str, value: Any, texts: Mapping[str, str], element: object) -> str:
    if value is None or value == "" or value is False:
        return ""
    # Within an item a field has its own plain name: the texture of a break is not that of young bone.
    name = ("" if head else texts.get(f"sheets.field.{field}")) or field.removesuffix("_mm").replace("_", " ")
    if value is True:
        return name
    if isinstance(value, str):
        of = _ITEM_LISTS.get((head, field)) or LISTS.get(field, field)
        if field == "portion":
            shown = texts.get(f"portion.{element}.{value}") or value.replace("_", " ")
        else:
            shown = texts.get(f"{of}.{value}") or value
    elif isinstance(value, float):
        shown = number(value)
    else:
        shown = canonical(value)
    shown += _UNITS.get(field, "")
    return f"{name} {shown}" if head and field in _SAY_NAME else shown
