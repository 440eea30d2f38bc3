"""Elements, animals, portions and centres fit one another: what a mammal has can be recorded, what it lacks cannot.

Anatomy here is common knowledge of the trade (common practice, no source) unless a test names its source. Published
values are compared in test_knowledge.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from fieldapp.assets import knowledge
from fieldapp.domain.knowledge import Centre, Portion
from tests.domain.cases.records import d, docket, g, reading
from tests.domain.test_rules import fired

K = knowledge()
MAMMALS = [key for key in K.taxa if K.is_a(key, "mammal")]
NAMED = [key for key in MAMMALS if K.taxa[key].named]
ALWAYS = (
    "skull", "petrosal", "mandible", "hyoid", "vertebra", "atlas", "axis", "cervical_vertebra", "thoracic_vertebra",
    "lumbar_vertebra", "sacrum", "caudal_vertebra", "rib", "costal_cartilage", "sternum", "scapula", "humerus",
    "radius", "ulna", "carpal", "radial_carpal", "ulnar_carpal", "accessory_carpal", "fourth_carpal", "metacarpal",
    "pelvis", "femur", "patella", "tibia", "tarsal", "astragalus", "calcaneum", "metatarsal", "metapodial", "phalanx",
    "phalanx_1", "phalanx_2", "phalanx_3", "sesamoid", "long_bone", "flat_bone", "unidentified_bone",
)  # fmt: skip
LIMBS = (
    "scapula", "humerus", "radius", "ulna", "radio_ulna", "carpal", "metacarpal", "pelvis", "femur", "patella", "tibia",
    "fibula", "tarsal", "astragalus", "calcaneum", "metatarsal", "metapodial", "phalanx", "phalanx_1", "sesamoid",
)  # fmt: skip


WITHOUT_HIND_LIMBS = ("dolphin", "whale", "cetacean")


def recorded() -> Iterator[tuple[str, str]]:
    """Every element that a mammal, or a group of mammals, may have."""
    for element in K.elements:
        for taxon in MAMMALS:
            if K.occurs(element, taxon):
                yield element, taxon


def partings(element: str) -> list[dict[str, Portion]]:
    """The ways in which the element is parted in one mammal or another."""
    rows = K.portions[element]
    scopes = dict.fromkeys(p.taxon for p in rows if p.taxon == "" or p.taxon in MAMMALS)
    return [{p.key: p for p in rows if p.taxon == scope} for scope in scopes]


@pytest.mark.parametrize("taxon", NAMED)
def test_every_mammal_has_the_bones_that_all_mammals_have(taxon: str) -> None:
    lacking = {element for element in ALWAYS if not K.occurs(element, taxon)}
    hind = {"sacrum", *(key for key, row in K.elements.items() if row.region == "hindlimb")} - {"pelvis"}
    assert lacking == (hind & set(ALWAYS) if taxon in WITHOUT_HIND_LIMBS else set())


@pytest.mark.parametrize("taxon", [taxon for taxon in NAMED if taxon not in WITHOUT_HIND_LIMBS])
def test_a_bone_is_there_by_itself_or_grown_together_with_its_neighbour(taxon: str) -> None:
    for parts, whole in (
        (("navicular", "cuboid"), "naviculocuboid"),
        (("second_carpal", "third_carpal"), "second_third_carpal"),
        (("second_tarsal", "third_tarsal"), "second_third_tarsal"),
        (("fibula",), "lateral_malleolus"),
    ):
        apart = {K.occurs(part, taxon) for part in parts}
        assert apart == {not K.occurs(whole, taxon)}, (taxon, whole)
        if taxon != "camel":
            # A camel chews the cud and has the loose malleolus, but its ankle is not that of cattle and deer.
            assert K.occurs(whole, taxon) == K.is_a(taxon, "ruminant")
    if not K.occurs("intermediate_carpal", taxon):
        form = K.form_of("radial_carpal", taxon)
        assert form is not None
        assert form.form == "scapholunate"


def test_what_only_some_mammals_have() -> None:
    def having(element: str) -> set[str]:
        return {taxon for taxon in NAMED if K.occurs(element, taxon)}

    assert not having("clavicle") & {"cattle", "sheep", "goat", "sheep_goat", "pig", "horse", "red_deer"}
    assert {"human", "cat", "hare_rabbit", "rat", "mole"} <= having("clavicle")
    assert having("radio_ulna") >= {"cattle", "sheep_goat", "red_deer", "horse"}
    assert not having("radio_ulna") & {"human", "dog", "cat", "hare_rabbit"}
    assert {"dog", "cat"} <= having("baculum")
    assert not having("baculum") & {"human", "pig", "horse", "cattle", "hare_rabbit"}
    assert {"horse", "pig", "red_deer"} <= having("lateral_metapodial")
    assert not having("lateral_metapodial") & {"human", "dog", "cat", "hare_rabbit"}
    for material, element in (("antler", "antler"), ("horn_core", "horn_core")):
        for taxon in NAMED:
            assert K.occurs(element, taxon) == (getattr(K.taxa[taxon], material) != "no"), (taxon, element)


def test_fish_have_no_limbs_and_the_lower_groups_lack_what_only_mammals_have() -> None:
    assert not [element for element in LIMBS if K.occurs(element, "fish") or K.occurs(element, "mollusc")]
    for element in ("atlas", "axis", "sacrum", "sternum", "thoracic_vertebra", "lumbar_vertebra", "hyoid"):
        assert not K.occurs(element, "fish"), element
    for element in ("skull", "vertebra", "caudal_vertebra", "rib"):
        assert K.occurs(element, "fish"), element
    for element in ("humerus", "radio_ulna", "femur", "tibia", "scapula", "pelvis", "mandible", "skull", "phalanx"):
        assert K.occurs(element, "amphibian"), element
    for element in ("skull", "cervical_vertebra", "sternum", "radial_carpal", "ulnar_carpal", "patella", "fibula"):
        assert K.occurs(element, "bird"), element
    for element in ("petrosal", "baculum", "clavicle", "sacrum", "lumbar_vertebra", "metapodial"):
        assert not K.occurs(element, "bird"), element
    for element in ("naviculocuboid", "lateral_malleolus", "antler", "horn_core", "lateral_metapodial"):
        for group in ("bird", "fish", "amphibian", "reptile", "mollusc"):
            assert not K.occurs(element, group), (element, group)


def test_a_wide_group_has_a_bone_if_one_of_its_animals_has() -> None:
    animals = [key for key in K.taxa if not K.members(key)]
    for wide in (key for key in K.taxa if K.members(key)):
        under = [one for one in animals if K.is_a(one, wide)]
        for element in K.elements:
            assert K.occurs(element, wide) == any(K.occurs(element, one) for one in under), (element, wide)


def test_where_a_bone_occurs_its_wider_names_do() -> None:
    for element, taxon in recorded():
        assert [wide for wide in K.elements[element].broader if not K.occurs(wide, taxon)] == [], (element, taxon)


def test_every_known_bone_is_parted_and_an_unknown_one_is_not() -> None:
    for element, taxon in recorded():
        assert bool(K.portions_of(element, taxon)) == (K.elements[element].kind != "indeterminate"), (element, taxon)


def test_every_centre_of_a_mammal_has_both_sides_of_its_growth_line_among_its_portions() -> None:
    for element, taxon in recorded():
        own = K.portion_map(element, taxon)
        for centre in K.centres_of(element, taxon):
            assert centre.metaphysis is None or centre.metaphysis in own, (element, taxon, centre.key)
            # The knob on an upper arm or hip that joins by itself in people is no portion of its own.
            if K.portion_keys[element] and any(p.centre == centre.key for p in K.portions[element]):
                assert K.epiphysis(element, centre.key, taxon), (element, taxon, centre.key)


def test_every_epiphysis_of_a_mammal_belongs_to_a_centre_that_the_animal_has() -> None:
    for element, taxon in recorded():
        there = {centre.key for centre in K.centres_of(element, taxon)}
        for portion in K.portions_of(element, taxon):
            assert portion.centre is None or portion.centre in there, (element, taxon, portion.key)


def test_an_epiphysis_lies_next_to_the_part_it_joins() -> None:
    for element, centres in K.centres.items():
        for centre in centres:
            for own in partings(element):
                across = own.get(centre.metaphysis or "")
                for portion in own.values():
                    if across is not None and portion.centre == centre.key:
                        # Between the two ends of an ulna grown to a radius lies the radius.
                        assert abs(portion.step - across.step) <= (2 if element == "radio_ulna" else 1), portion


def test_a_portion_tells_the_side_only_of_a_bone_that_has_sides() -> None:
    for element, rows in K.portions.items():
        for portion in rows:
            assert K.elements[element].sided or not portion.tells_side, portion


def test_left_and_right_portions_of_a_bone_on_the_midline_come_in_pairs() -> None:
    for element in K.portions:
        for own in partings(element):
            for key, portion in own.items():
                if key.startswith("left_"):
                    twin = own[key.replace("left_", "right_", 1)]
                    assert (twin.share, twin.step, twin.kind) == (portion.share, portion.step, portion.kind)
                    assert not K.elements[element].sided


def test_no_age_and_no_number_is_given_for_what_the_animal_does_not_have() -> None:
    for row in K.fusion_ages:
        assert K.occurs(row.element, row.taxon), row
        assert row.centre in {centre.key for centre in K.centres_of(row.element, row.taxon)}, row
    for element, taxon in K.positions:
        assert K.occurs(element, taxon), (element, taxon)


def test_the_digits_of_a_foot_have_room_for_the_numbers_of_a_skeleton() -> None:
    for (element, taxon), positions in K.positions.items():
        count = K.count(taxon, element)
        row = K.elements[element]
        feet = 4 if row.region == "feet" else 2
        bones = 3 if element == "phalanx" else 1
        if count is not None:
            assert count <= len(positions) * feet * bones, (element, taxon)


def test_bones_grown_together_are_parted_into_the_portions_and_centres_of_each() -> None:
    whole = {row.element for row in K.element_parts}
    assert whole == {"radio_ulna"}
    centre_of = {(row.element, row.key): (row.part_element, row.part_key) for row in K.element_parts}
    for portion in (portion for own in partings("radio_ulna") for portion in own.values()):
        element, key = K.place("radio_ulna", portion.key)
        part = K.portion_map(element)[key]
        assert (portion.kind, portion.tells_side) == (part.kind, part.tells_side) or key == "lower_shaft"
        ours = centre_of[portion.element, portion.centre] if portion.centre else None
        assert ours == ((element, part.centre) if part.centre else None)
    assert K.place("tibia", "tuberosity") == ("tibia", "tuberosity")


def test_bones_grown_together_join_as_each_does_by_itself() -> None:
    for taxon in ("cattle", "sheep_goat", "horse"):
        for bone, centre in (("radius", "proximal"), ("radius", "distal"), ("ulna", "proximal")):
            limits = K.fusion_range(taxon, bone, centre)
            assert limits is not None
            assert K.fusion_range(taxon, "radio_ulna", f"{bone}_{centre}") == limits


def test_every_kind_of_vertebra_joins_as_vertebrae_do() -> None:
    limits = K.fusion_range("cattle", "vertebra", "caudal_plate")
    assert limits is not None
    for kind in ("axis", "cervical_vertebra", "thoracic_vertebra", "lumbar_vertebra", "caudal_vertebra"):
        assert K.fusion_range("cattle", kind, "caudal_plate") == limits
    assert K.fusion_range("cattle", "axis", "cranial_plate") is None


def test_an_animal_without_a_number_of_its_own_has_that_of_the_nearest_group_with_one() -> None:
    assert not [row for row in K.skeleton_counts if row.taxon in ("roe_deer", "wolf", "whale")]
    assert K.count("roe_deer", "metacarpal") == 2
    assert K.count("wolf", "metacarpal") == K.count("dog", "metacarpal") == 10
    assert K.count("wolf", "cervical_vertebra") == 5
    assert K.count("bison", "rib") == 28
    assert K.count("whale", "humerus") == 2
    assert K.count("whale", "femur") is None
    assert K.count("medium_mammal", "metacarpal") is None
    assert K.largest_count("medium_mammal", "metacarpal") == 10


def test_everything_that_is_asked_of_a_bone_is_defined_in_a_sentence() -> None:
    for element, rows in K.portions.items():
        for portion in rows:
            assert portion.definition.strip(), (element, portion.key)
            assert not portion.definition.endswith("."), (element, portion.key)
    for word in K.glossary:
        if word.of in (
            "side",
            "certainty",
            "portion_state",
            "fusion_state",
            "stage",
            "sex",
            "age_class",
            "bone_texture",
        ):
            assert word.definition.endswith("."), (word.of, word.key)


def test_a_centre_that_only_one_animal_has_is_not_asked_of_the_others() -> None:
    def keys(element: str, taxon: str) -> set[str]:
        found: tuple[Centre, ...] = K.centres_of(element, taxon)
        return {centre.key for centre in found}

    assert keys("scapula", "cattle") == {"distal"}
    assert keys("scapula", "human") == {"distal", "glenoid_rim", "acromion", "medial_border"}
    assert keys("ulna", "horse") == {"proximal"}
    assert keys("fibula", "horse") == keys("fibula", "hare_rabbit") == {"proximal"}
    assert keys("radio_ulna", "horse") == {"radius_proximal", "radius_distal", "ulna_proximal"}
    assert keys("lateral_metapodial", "horse") == set()
    assert keys("humerus", "pig") == {"proximal", "distal"}


# Rules that lean on this


def test_a_radius_takes_the_place_of_the_radius_in_a_bone_grown_together() -> None:
    radius = docket(reading("radius", "cattle", side="left", most=("upper_shaft",)))
    both = docket(reading("radio_ulna", "cattle", side="left", most=("radius_upper_shaft", "ulna_upper_shaft")))
    ulna = docket(reading("ulna", "cattle", side="left", most=("tuber", "olecranon")))
    assert "group_same_side_twice" in fired(g(radius, both), "group")
    assert "group_same_side_twice" not in fired(g(ulna, both), "group")


def test_the_small_side_toes_are_not_counted_among_the_main_ones() -> None:
    main = docket(reading("phalanx_1", "red_deer", side="left", most=("body",), position="3"))
    side = docket(reading("phalanx_1", "red_deer", side="left", most=("body",), position="lateral"))
    found = fired(g(main, main, *[side] * 4), "group")
    assert not found & {"group_same_side_twice", "group_more_than_skeleton", "group_same_position_twice"}
    assert "group_same_position_twice" in fired(g(main, main, main), "group")


@pytest.mark.parametrize(
    ("element", "taxon", "position", "there"),
    [
        ("metacarpal", "cattle", "3+4", True),
        ("metacarpal", "cattle", "2", False),
        ("metacarpal", "dog", "1", True),
        ("metacarpal", "pig", "1", False),
        ("lateral_metapodial", "horse", "5", False),
        ("phalanx_2", "human", "1", False),
        ("phalanx_1", "horse", "lateral", False),
        ("cervical_vertebra", "horse", "7", True),
        ("cervical_vertebra", "horse", "2", False),
        ("cervical_vertebra", "horse", "8", False),
        ("rib", "horse", "18", True),
        ("rib", "horse", "19", False),
        ("rib", "horse", "first", False),
        ("thoracic_vertebra", "large_mammal", "18", True),
        ("thoracic_vertebra", None, "20", False),
        ("metacarpal", "medium_mammal", "9", True),
    ],
)
def test_a_number_is_checked_against_the_animals_own(
    element: str, taxon: str | None, position: str, there: bool
) -> None:
    assert ("position_not_there" not in fired(d(reading(element, taxon, position=position)))) == there
