"""Shapes: what fits is silent, what does not is named with its path, and nothing odd makes them raise."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records.fitting import fits
from fieldapp.records.schemas import SHAPES, faults, problems_of

READING = {
    "element": "tibia",
    "side": "left",
    "taxon": "sheep_goat",
    "certainty": "certain",
    "portions": {"upper_shaft": "most"},
    "fusion": {"distal": "fused"},
    "sex": None,
    "stage": "trench",
    "compared": "",
}


def test_a_whole_reading_fits():
    assert problems_of("docket", {"reading": READING, "count": 1, "note/1": {"text": "gnawed"}}) == {}


@pytest.mark.parametrize(
    ("path", "value", "part"),
    [
        ("reading", {**READING, "side": "both"}, "side"),
        ("reading", {**READING, "portions": {"upper_shaft": "some"}}, "upper_shaft"),
        ("reading", {name: value for name, value in READING.items() if name != "fusion"}, "fusion"),
        ("human/1", {"answer": "animal"}, "answer"),
        ("count", 2.5, ""),
        ("count", "many", ""),
        ("weight_g", float("nan"), ""),
        ("deleted", "gone", ""),
        ("note/1", "words", ""),
        ("tooth/1", {"tooth": "M1", "crown_height_mm": "high"}, "crown_height_mm"),
        ("measure/1", {"code": "GL", "mm": "long"}, "mm"),
        ("mark/1", {"kind": "cut", "number": 1.5}, "number"),
        ("pathology/1", {"portion": "head"}, "kind"),
        ("weathering", 2.5, ""),
        ("fracture", {"angle": "sharp"}, "angle"),
        ("joins/d2", {"break": True}, "break"),
        ("photo/p1", "yes?", ""),
        ("imported", {"file": "a.csv", "sha256": "0" * 64, "row": "2", "columns": {}}, "row"),
        ("imported", {"file": "a.csv", "sha256": "0" * 64, "row": 2, "columns": {"Bone": 3}}, "columns"),
    ],
)
def test_a_value_of_the_wrong_shape_is_named_with_its_path(path, value, part):
    found = problems_of("docket", {path: value})
    assert list(found) == [path]
    assert part in " ".join(found[path])


def test_paths_kinds_and_fields_of_a_newer_version_are_no_problem():
    assert problems_of("docket", {"scan/1": 7, "reading": {**READING, "season": "wet"}}) == {}
    assert problems_of("spectrum", {"sha256": 4}) == {}
    assert problems_of("photo", {"exposure": 4}) == {}


@pytest.mark.parametrize(
    ("kind", "path", "value"),
    [
        ("site", "dating", {"from": -400.5, "to": 43}),
        ("site", "plausible/hare_rabbit", False),
        ("site", "plausible/hare_rabbit", {"from": "Norman"}),
        ("context", "dating", "Iron Age"),
        ("context", "dating", {"from": "-400"}),
        ("bag", "step/washed", "soon"),
        ("bag", "step/washed", {"takes_back": "c1"}),
        ("bag", "weight_g", "heavy"),
        ("sample", "litres", "ten"),
        ("sample", "fraction/f1", {"part": 2}),
        ("sample", "cremation/1", [2, "skull", 4.5]),
        ("transfer", "measured_before", "mostly"),
        ("photo", "sha256", "abc"),
    ],
)
def test_a_wrong_shape_is_named_in_every_kind_of_record(kind, path, value):
    assert list(problems_of(kind, {path: value})) == [path]


GOOD: dict[str, dict[str, Any]] = {
    "docket": {
        "label": "HLG26 B417-K",
        "bag": "b1",
        "context": None,
        "material": "bone",
        "reading": {**READING, "position": "M3", "age": "adult", "texture": None},
        "human/1": {"answer": "no_sign", "why": "", "in_place": False, "by_rule": None, "stage": "trench"},
        "assessment/1": {
            "verdict": "non_human", "taxon": "cattle", "element": "tibia", "portion": None, "side": "left",
            "seen": ["human/1@abc"], "bone_seen": "bone", "reasons": "", "ruled_out": "", "comparison": "",
            "signer": "p", "key": "k", "signature": "s",
        },
        "count": 1,
        "weight_g": 12,
        "burning": "charred",
        "note/1": {"text": "gnawed", "stage": "scan"},
        "same_as/d2": True,
        "not_same/d2": True,
        "finder": "Ana Marsh",
        "deleted": None,
        "tooth/1": {"tooth": "dP4", "jaw": "lower", "side": None, "seat": "in_jaw", "stage": "in_wear", "scheme": None,
                    "wear": "g", "crown_height_mm": 21.5, "note": ""},
        "measure/1": {"code": "GL", "mm": 182.5, "estimated": False, "note": ""},
        "mark/1": {"kind": "cut", "portion": "head", "aspect": None, "direction": None, "tool": None, "number": 3,
                   "tone": "paler", "view": "cranial", "x": 0.25, "y": 0.5, "note": None},
        "pathology/1": {"kind": "exostosis", "portion": None, "note": ""},
        "burn_colour": "grey",
        "weathering": 2,
        "preservation": "good",
        "roots": None,
        "staining": None,
        "breaks": "fresh",
        "fracture": {"angle": 0, "outline": 1, "texture": 2},
        "digestion": None,
        "longest_mm": 60,
        "antler_base": "shed", "checked": {"seen": ["a"]},
        "joins/d3": {"break": "old"},
        "photo/p1": True, "imported": {"file": "a.csv", "sha256": "0" * 64, "row": 2, "columns": {"Bone": "tibia"}},
        "find_no": "77",
        "place": {"east": 101.5, "north": 200, "level": None},
        "ask": True,
    },
    "context": {
        "number": "1042", "type": "pit_fill", "grave_like": "no", "trench": "A", "phase": "2b", "state": "open",
        "dating": {"from": -400, "to": 43}, "deposit": "sealed", "locked": True, "note/1": {"text": "dark"},
    },
    "bag": {
        "label": "HLG26 B3-A", "context": "c1", "recovery": "sieve", "mesh_mm": 4, "state": "", "box": "7",
        "sample": "s1", "fraction": "f1", "step/washed": True, "step/dried": None, "weight_g": 310.5,
        "step/marked": {"takes_back": ["c1"]}, "held_by": "the laboratory (invented)",
    },
    "sample": {
        "label": "HLG26 B9-A", "context": "c1", "type": "flotation", "litres": 10,
        "fraction/f1": {"part": "residue", "mesh_mm": 4, "sorted_share": 0.25, "weight_g": 200, "bone_g": 12.5},
        "spit": 2, "cremation/1": {"fraction_mm": 10, "region": "skull", "weight_g": 4.5}, "bone_g": 12.5,
    },
    "tally": {
        "label": "HLG26 B5-A", "context": "c1", "bag": "b1", "taxon": "large_mammal", "element": "long_bone",
        "count": 14, "weight_g": 120.5, "burning": None, "preservation": "good", "stage": "scan",
    },
    "group": {
        "label": "HLG26 B6-A", "context": "c1", "relation": "associated", "member/d1": True, "drawing": "12",
    },
    "transfer": {
        "docket": "d1", "bag": None, "kind": "destructive_sample", "to": "a laboratory", "authority": "A. Director",
        "reference": "12", "lab_code": "X-1", "taken_g": 1.5, "remainder_g": 20, "photo_before": "p1",
        "measured_before": True, "back": False,
    },
    "second_reading": {
        "docket": "d1", "sample": "s1", "reader": None, "first": {"reading": ["c1", "c2"], "count": ["c1"]},
        "drawn": {"name": "Spring", "how": "by_taxon", "seed": "4711", "size": 20, "of": "1042", "shown": ["bag"]},
        "first_seen/p1": True, "done": True, "ended": None, "count": 1, "weight_g": 14.5, "burning": None,
        "mark/1": {"kind": "cut"}, "tooth/1": {"tooth": "M3"}, "measure/1": {"code": "Bd", "mm": 31.2},
        **dict.fromkeys(("material", "reading", "longest_mm", "burn_colour", "weathering", "preservation", "roots",
                         "staining", "breaks", "digestion", "antler_base", "fracture/", "pathology/1")),
    },
    "photo": {"docket": "d1", "context": None, "sha256": "0" * 64, "view": "cranial", "scale": True, "north": False,
              "closed": False},
    "site": {
        "code": "HLG26", "name": "Hollow Gate", "mode": "excavation", "licence": None, "licence_conditions": "c",
        "hold_photos": True, "policy": {"zooarchaeologists_may_assess": [], "second_reader": True}, "zone_text": "",
        "zone_source": "", "place_text": "Tell.", "place_source": "s", "place_checked": "c",
        "cabin_key": "", "region": "r",
        "dating": {"from": 1, "to": 2}, "fusion_source/sheep": "a book", "plausible/fowl": {"from": 100, "to": None},
        "plausible/cat": True, "short/hu": {"slot": "element", "key": "humerus"},
        "protocol": {"countable": "all", "always": ["weight_g"], "note": None},
        "trench/a": {"name": "A", "note": None, "outline": [[0, 0], [5, 0], [5, 5]]},
        "phase/a": {"name": "2a", "from": -50, "to": 43, "order": 1, "note": None},
        "grid": {"epsg": 27700, "east0": 4e5, "north0": 1e5, "rotation_deg": 1.5, "scale": 1.0, "note": None},
        "box/a": {"name": "7", "place": "shelf 2", "held_by": None},
        "standard/a": {"name": "our ewes", "taxon": "sheep", "element": "tibia", "position": None, "code": "Bd",
                       "mm": 25.4, "order": 1, "source": "twelve ewes, measured here"},
    },
}  # fmt: skip
"""One good value at every path of the kinds that are checked (an invented site)."""


@pytest.mark.parametrize("kind", GOOD)
def test_a_good_value_at_every_path_fits(kind):
    assert {path.partition("/")[0] for path in GOOD[kind]} - {"deleted"} >= set(SHAPES[kind]) - {"note"}
    assert problems_of(kind, GOOD[kind]) == {}


@pytest.mark.parametrize("kind", GOOD)
def test_good_values_are_passed_without_asking_marshmallow(kind):
    for path, value in GOOD[kind].items():
        shape = SHAPES[kind].get(path.partition("/")[0])
        # A site's own set-up is one record: what marshmallow says of it may take its time.
        if shape is not None and not path.startswith(("plausible", "protocol", "trench")):
            assert fits(shape)(value), path


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=8,
)


@given(st.sampled_from([*SHAPES, "unheard of"]), st.data())
def test_no_value_however_odd_makes_a_shape_raise(kind, data):
    names = [*SHAPES.get(kind, {}), "deleted", "else"]
    values = data.draw(st.dictionaries(st.sampled_from(names) | st.text(), _json, max_size=4))
    problems_of(kind, values)


_scalars = (
    st.none()
    | st.booleans()
    | st.integers(-3, 12)
    | st.integers(10**14, 10**17)
    | st.just(10**400)
    | st.floats()
    | st.sampled_from(["", "left", "most", "1", "1.5", "true", "off", "NaN", "0" * 64, "x" * 300])
    | st.text(max_size=4)
)


@st.composite
def _spoilt(draw: st.DrawFn) -> tuple[str, str, Any]:
    """A good value at a path with something in it, or all of it, put in the place of something else."""
    kind = draw(st.sampled_from([*GOOD]))
    path = draw(st.sampled_from([*GOOD[kind]]))
    return kind, path, _changed(draw, GOOD[kind][path])


def _changed(draw: st.DrawFn, value: Any) -> Any:
    odd = _scalars | st.lists(_scalars, max_size=2) | st.dictionaries(st.text(max_size=4), _scalars, max_size=2)
    how = draw(st.integers(0, 4))
    if not isinstance(value, dict) or not value or how == 0:
        return draw(odd)
    name = draw(st.sampled_from([*value]))
    if how == 1:
        return {one: inner for one, inner in value.items() if one != name}
    if how == 2:
        return {**value, draw(st.text(max_size=4)): draw(odd)}
    return {**value, name: _changed(draw, value[name])}


@given(_spoilt())
def test_the_quick_check_never_passes_what_marshmallow_would_not(spoilt):
    kind, path, value = spoilt
    shape = SHAPES[kind].get(path.partition("/")[0])
    if shape is not None:
        why = faults(shape, value)
        assert not (fits(shape)(value) and why)
        assert problems_of(kind, {path: value}) == ({path: why} if why else {})


@given(st.sampled_from([(kind, name) for kind, shapes in SHAPES.items() for name in shapes]), _json | _scalars)
def test_the_quick_check_and_marshmallow_agree_on_any_value(place, value):
    kind, name = place
    why = faults(SHAPES[kind][name], value)
    assert problems_of(kind, {name: value}) == ({name: why} if why else {})
