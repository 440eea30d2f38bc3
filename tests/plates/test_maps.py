"""The skeleton maps: sound shapes of bones that the body has, every usual bone within two taps, alike to shapely."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon, contains_xy, distance, maximum_inscribed_circle, prepare

from fieldapp import assets
from fieldapp.domain.bodies import on_skeletons
from fieldapp.domain.plates import NUMBERS, PlateError, bone_at, fitted_map, look, map_svg, marks, read_map, widest
from tests.plates.maps import map_of

EACH = pytest.mark.parametrize("form", assets.MAPS)
MAMMALS = ("ruminant", "equid", "pig", "carnivore", "lagomorph", "human")
USUAL = (
    *("skull", "mandible", "atlas", "axis", "cervical_vertebra", "thoracic_vertebra", "lumbar_vertebra", "sacrum"),
    *("caudal_vertebra", "rib", "sternum", "scapula", "humerus", "radius", "ulna", "carpal", "metacarpal", "pelvis"),
    *("femur", "patella", "tibia", "astragalus", "calcaneum", "metatarsal", "phalanx_1", "phalanx_2", "phalanx_3"),
)
BIRD = (
    *("skull", "mandible", "coracoid", "furcula", "sternum", "scapula", "humerus", "radius", "ulna", "metacarpal"),
    *("synsacrum", "pelvis", "femur", "tibia", "fibula", "metatarsal", "pygostyle", "phalanx_1", "phalanx_3"),
)
FISH = ("skull", "dentary", "premaxilla", "opercle", "cleithrum", "precaudal_vertebra", "caudal_vertebra", "fin_spine")
BOX = (107.0 - 23.0, 95.0)
"""Millimetres that an 8-inch tablet has for a skeleton."""
TOUCH, REACH = 9.0, 3.0
"""A circle of 9 mm round the middle of some piece, in the region as the first tap enlarges it, finds it by three taps
in five at least; one that misses the bone itself by up to 3 mm finds the nearest."""


@EACH
def test_the_shipped_map_is_what_its_draft_gives(form):
    text = (assets.root() / "drafts" / "maps" / f"{form}.txt").read_text(encoding="utf-8")
    assert map_of(text, form) == (assets.root() / "maps" / f"{form}.svg").read_text(encoding="utf-8")


@EACH
def test_every_bone_is_a_sound_shape_of_an_element_that_the_body_has(form):
    known, found = assets.knowledge(), assets.skeleton(form)
    assert found.form == form
    frame = Polygon([(0, 0), (found.width, 0), (found.width, found.height), (0, found.height)])
    taxa = [taxon.key for taxon in known.taxa.values() if taxon.form == form]
    for bone in found.bones:
        assert Polygon(bone.shape).is_valid, bone.element
        assert frame.contains(Polygon(bone.shape)), bone.element
        assert bone.element in known.elements
        assert any(known.occurs(bone.element, taxon) for taxon in taxa), bone.element


@EACH
def test_every_usual_bone_is_there(form):
    wanted = set(USUAL) if form in MAMMALS else set(BIRD) if form == "bird" else set(FISH)
    if form == "human":
        wanted |= {"clavicle", "fibula"}
    assert wanted <= set(assets.skeleton(form).elements())


@EACH
def test_two_taps_reach_every_bone(form):
    """In the region that the first tap enlarges, each element has a piece wide enough whose middle is not covered."""
    whole = assets.skeleton(form)
    reached = set()
    for region, (_, _, wide, high) in whole.regions().items():
        shown = fitted_map(whole, 0, 0, *BOX, region)
        times = min(BOX[0] / wide, BOX[1] / high)
        assert (shown.width, shown.height) == pytest.approx((wide * times, high * times))
        for bone in shown.bones:
            x, y, _ = widest(bone.shape)
            round_it = [
                (x + r * math.cos(turn), y + r * math.sin(turn))
                for r in (0, TOUCH / 4, TOUCH / 2)
                for turn in (math.tau * n / 12 for n in range(12))
            ]
            hits = [bone_at(shown, *spot, REACH) for spot in round_it]
            own = sum(hit is not None and hit.element == bone.element for hit in hits)
            if own >= 0.6 * len(hits) and hits[0] is not None and hits[0].element == bone.element:
                reached.add(bone.element)
    assert not sorted(set(whole.elements()) - reached)


@EACH
def test_the_whole_shows_each_region_no_smaller_than_twelve_millimetres(form):
    whole = fitted_map(assets.skeleton(form), 0, 0, *BOX)
    for region, (_, _, wide, high) in whole.regions().items():
        assert max(wide, high) >= 12.0, region


@EACH
def test_a_touch_finds_the_bone_that_shapely_finds(form):
    whole, chance = assets.skeleton(form), random.Random(form)
    shapes = [Polygon(bone.shape) for bone in whole.bones]
    prepare(shapes)
    for _ in range(1000):
        x, y = chance.uniform(0, whole.width), chance.uniform(0, whole.height)
        on = [bone for bone, within in zip(whole.bones, contains_xy(shapes, x, y), strict=True) if within]
        assert bone_at(whole, x, y) is (on[-1] if on else None)
        near = bone_at(whole, x, y, 40.0)
        if not on:
            away = min(distance(shapes, Point(x, y)))
            assert (near is not None) == (away <= 40.0)


def test_animals_face_left_and_a_person_faces_the_reader():
    """Common practice in zoology, no source; a person's left lies on the right of the picture (anatomical position)."""

    def x(form, element, region=None):
        pieces = [b for b in assets.skeleton(form).bones if b.element == element and region in (None, b.region)]
        return sum(Polygon(b.shape).centroid.x for b in pieces) / len(pieces)

    for form in assets.MAPS:
        if form != "human":
            tail = "caudal_vertebra"
            assert x(form, "skull") < x(form, tail)
    assert x("human", "humerus", "fore_limb_left") > x("human", "skull") > x("human", "humerus", "fore_limb_right")


def test_bodies_differ_as_the_animals_do():
    def length(form, *elements):
        boxes = [Polygon(b.shape).bounds for b in assets.skeleton(form).bones if b.element in elements]
        return max(b[3] for b in boxes) - min(b[1] for b in boxes)

    for tall, short in (("equid", "pig"), ("ruminant", "pig")):
        assert length(tall, "metacarpal") > 1.15 * length(short, "metacarpal")
    assert "clavicle" not in assets.skeleton("ruminant").elements()
    assert "naviculocuboid" in assets.skeleton("ruminant").elements()
    assert "lateral_metapodial" in assets.skeleton("equid").elements()


@given(st.integers(0, 200))
def test_more_pieces_never_have_less_ink(number):
    square = next(bone for bone in assets.skeleton("pig").bones if bone.element == "skull")

    def inked(n):
        style = look(n)
        return 0 if style is None else sum(math.dist(*one) for one in marks(square, n, 10.0)) * style.line

    assert inked(number + 1) >= inked(number)
    assert (inked(number) > 0) == (number > 0)


def test_none_few_and_many_are_told_apart_without_tone():
    pitches = [style.hatch[0] for _, style in NUMBERS]
    assert pitches == sorted(pitches, reverse=True)
    assert all(a > 1.5 * b for a, b in itertools.pairwise(pitches))
    assert [least for least, _ in NUMBERS] == [1, 3, 10]


def test_a_drawn_map_says_each_bone_with_its_number_and_stands_alone():
    import xml.etree.ElementTree as ET

    whole = assets.skeleton("human")
    root = ET.fromstring(map_svg(whole, {"femur": 4}, {"femur": "<thigh>"}, title="One & all"))
    said = [node.text for node in root.iter("{http://www.w3.org/2000/svg}title")]
    assert said[0] == "One & all"
    assert said.count("<thigh>: 4") == 2
    assert {g.get("data-number") for g in root.iter("{http://www.w3.org/2000/svg}g")} == {"0", "4"}
    assert not [node for node in root.iter() if node.get("id")]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<svg/>",
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" data-form="pig" data-view="lateral"></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" data-form="pig" data-view="lateral">'
        '<g id="head"><path id="skull" d="M0 0L1 1"/></g></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" data-form="pig" data-view="lateral">'
        '<g id="head"><path id="skull" d="M0 0L1 1L1 0Z" style="fill:red"/></g></svg>',
        '<!DOCTYPE svg><svg xmlns="http://www.w3.org/2000/svg"/>',
    ],
)
def test_a_map_that_is_not_sound_is_refused(text):
    with pytest.raises(PlateError):
        read_map(text)


def test_a_map_cannot_be_fitted_to_nothing_or_to_a_region_it_lacks():
    with pytest.raises(PlateError):
        fitted_map(assets.skeleton("pig"), 0, 0, 0, 10)
    with pytest.raises(PlateError, match="no region"):
        fitted_map(assets.skeleton("pig"), 0, 0, 10, 10, "wing")


def test_pieces_are_counted_onto_the_body_they_are_of():
    known = assets.knowledge()
    maps = {form: assets.skeleton(form).elements() for form in assets.MAPS}
    pieces = [
        ("femur", "sheep", 2),
        ("femur", "cattle", 1),
        ("radial_carpal", "horse", 1),
        ("radio_ulna", "cattle", 1),
        ("femur", None, 5),
        ("femur", "unknown", 1),
        ("long_bone", "pig", 3),
        (None, "pig", 1),
        ("femur", "seal", 1),
        ("no_such_bone", "pig", 1),
        ("femur", "newer_animal", 1),
    ]
    found = on_skeletons(known, maps, assets.skeleton_form, pieces)
    assert found.numbers["ruminant"] == {"femur": 3, "radius": 1, "ulna": 1}
    assert found.numbers["equid"] == {"carpal": 1}
    assert found.numbers["carnivore"] == {"femur": 1}
    assert set(found.numbers) == {"ruminant", "equid", "carnivore"}
    assert found.elsewhere == 5 + 1 + 3 + 1 + 1 + 1


@given(
    st.lists(
        st.tuples(
            st.sampled_from([*assets.knowledge().elements, None, "odd"]),
            st.sampled_from([*assets.knowledge().taxa, None, "odd"]),
            st.integers(1, 9),
        ),
        max_size=30,
    )
)
def test_no_piece_is_lost_between_the_bodies_and_elsewhere(pieces):
    known = assets.knowledge()
    maps = {form: assets.skeleton(form).elements() for form in assets.MAPS}
    found = on_skeletons(known, maps, assets.skeleton_form, pieces)
    twice = sum(n for element, _, n in pieces if element == "radio_ulna")
    shown = sum(sum(numbers.values()) for numbers in found.numbers.values())
    whole = sum(n for *_, n in pieces)
    assert whole <= shown + found.elsewhere <= whole + twice
    for form, numbers in found.numbers.items():
        assert set(numbers) <= set(maps[form])


def test_the_widest_place_of_a_bone_is_within_it():
    for bone in assets.skeleton("bird").bones:
        shape = Polygon(bone.shape)
        x, y, radius = widest(bone.shape)
        assert shape.contains(Point(x, y))
        assert 2 * radius <= 2 * maximum_inscribed_circle(shape, tolerance=0.5).length + 1.1
