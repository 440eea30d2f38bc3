"""Birds, fish, amphibians and tortoises have the bones of their kind, parted as they are, and no mammal is touched."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fieldapp.assets import knowledge
from fieldapp.domain import rules
from fieldapp.domain.readings import blank_reading, compare
from tests.domain.cases.records import Case, d, docket, g, reading

K = knowledge()
OUTSIDE = Path(__file__).parents[1] / "data" / "outside"
CLASSES = ("bird", "fish", "amphibian", "reptile")
MAMMALS = [key for key in K.taxa if K.is_a(key, "mammal")]
OWN = [
    key
    for key, row in K.elements.items()
    if row.only and all(any(K.is_a(one, group) for group in CLASSES) for one in row.only)
]
LIMB_REGIONS = ("forelimb", "hindlimb", "feet")

NOT_COUNTED = {
    "whole skeleton (total bones, check)",  # sums that depend on what is called one bone
    "vertebrae (all)",
    "synsacrum lumbar+sacral segments",  # vertebrae that are one bone, the synsacrum
    "pedal phalanges (total)",  # shared out over first, middle and claw bones
    "spur core (cock, per tarsometatarsus)",  # none in most hens
}


def published(name: str) -> list[dict[str, str]]:
    with (OUTSIDE / f"{name}.csv").open(newline="", encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def published_fowl(element: str) -> set[str]:
    return {
        one["count_in_skeleton"]
        for one in published("skeleton_counts_published")
        if (one["taxon"], one["element"]) == ("domestic fowl", element)
    }


def found(case: Case) -> set[str]:
    return {one.rule for one in rules.check_record("docket", case.values, case.around, K)}


# -- which bones --


def test_the_bones_of_birds_fish_and_amphibians_are_in_their_classes_and_in_no_mammal() -> None:
    assert len(OWN) > 50
    for element in OWN:
        for animal in K.elements[element].only:
            assert K.occurs(element, animal), (element, animal)
        for mammal in MAMMALS:
            assert not K.occurs(element, mammal), (element, mammal)
    assert K.occurs("coracoid", "fowl")
    assert not K.occurs("coracoid", "fish")  # not recorded there
    assert not K.occurs("opercle", "bird")
    # memory: fish anatomy handbook; skates and sharks are of gristle but for vertebral bodies, teeth and thorns
    assert not K.occurs("opercle", "skate")
    assert K.occurs("dermal_denticle", "skate")
    assert not K.occurs("dermal_denticle", "cod")
    assert K.occurs("fin_spine", "perch")
    assert not K.occurs("fin_spine", "cod")
    assert not K.occurs("premaxilla", "eel")
    assert not K.occurs("vertebra", "sturgeon")
    # memory: avian anatomy handbook
    assert K.occurs("notarium", "pheasant")
    assert not K.occurs("notarium", "greylag_goose")
    assert not K.occurs("spur_core", "mallard")
    assert not K.occurs("humerus", "snake")
    assert not K.occurs("urostyle", "fish")
    assert not K.occurs("urostyle", "newt")
    assert not K.occurs("shell_plate", "fowl")


def test_fish_have_no_limb_bones() -> None:
    # memory: anatomy handbook
    limbs = [key for key, row in K.elements.items() if row.region in LIMB_REGIONS]
    assert len(limbs) > 12
    assert [key for key in limbs if K.occurs(key, "fish")] == []


def test_birds_have_whole_bones_where_mammals_have_several() -> None:
    # memory: avian anatomy handbook
    for fused in ("astragalus", "calcaneum", "loose_tooth"):
        assert not K.occurs(fused, "bird"), fused
    for bone in ("coracoid", "furcula", "synsacrum", "pygostyle", "scapula", "pelvis", "radius", "ulna", "quadrate"):
        assert K.occurs(bone, "fowl"), bone


def test_the_joined_bones_of_frogs_are_recorded_once() -> None:
    # memory: amphibian anatomy handbook
    for joined in ("radius", "ulna", "loose_tooth"):
        assert not K.occurs(joined, "frog_toad"), joined
    for apart in ("radius", "ulna", "fibula", "rib", "caudal_vertebra"):
        assert K.occurs(apart, "newt"), apart
        assert not K.occurs(apart, "frog"), apart
    forms = {one: K.form_of(one, "toad") for one in ("tibia", "pelvis", "astragalus", "calcaneum")}
    assert {one: form.form for one, form in forms.items() if form is not None} == {
        "tibia": "tibiofibula",
        "pelvis": "ilium",
        "astragalus": "tibiale",
        "calcaneum": "fibulare",
    }


def test_ids_of_bones_and_parts_are_uberon_terms_matched_by_id() -> None:
    # Uberon, https://github.com/obophenotype/uberon: the two sets of labels in uberon_ids_published.csv
    terms = {one["id"]: one for one in published("uberon_ids_published")}
    expected = {
        "UBERON:0004743": "coracoid bone",
        "UBERON:0007841": "furcula",
        "UBERON:0007805": "synsacrum",
        "UBERON:0007801": "pygostyle",
        "UBERON:0002244": "premaxilla",
        "UBERON:0002397": "maxilla",
        "UBERON:0001094": "sacral vertebra",
    }
    ours = {K.elements[one].uberon: one for one in OWN if K.elements[one].uberon}
    assert {one: terms[one]["label_in_2021_obo_subsets"] for one in ours} == expected
    for element, form, wanted in (
        ("tibia", "bird", "tibiotarsus"),
        ("metatarsal", "bird", "tarsometatarsus"),
        ("metacarpal", "bird", "carpometacarpus"),
        ("pelvis", "frog_toad", "ilium"),
    ):
        row = K.form_of(element, form)
        assert row is not None
        assert terms[row.uberon]["label_in_2021_obo_subsets"] == row.name == wanted
    for rows in K.portions.values():
        for portion in rows:
            if portion.uberon and portion.taxon:
                assert terms[portion.uberon]["label_in_2026_04_bridges"] == portion.name


# -- how they are parted --


@pytest.mark.parametrize("group", [*CLASSES, "fowl", "raven", "cod", "skate", "frog", "newt", "tortoise", "snake"])
def test_every_bone_of_the_class_is_parted_and_shows_only_centres_of_its_own(group: str) -> None:
    for element, row in K.elements.items():
        if K.occurs(element, group) and row.kind != "indeterminate":
            portions = K.portions_of(element, group)
            assert portions, element
            seen = {portion.centre for portion in portions if portion.kind == "epiphysis"}
            assert seen == {centre.key for centre in K.centres_of(element, group)}, (group, element)


def test_an_element_is_asked_only_for_centres_that_its_portions_show() -> None:
    for element in K.elements:
        anywhere = {portion.centre for portion in K.portions.get(element, ())}
        for taxon in (None, *K.taxa):
            shown = {portion.centre for portion in K.portions_of(element, taxon)}
            for centre in K.centres_of(element, taxon):
                assert centre.key in shown or centre.key not in anywhere, (element, taxon, centre.key)


def test_names_within_a_parting_differ_and_right_is_the_mirror_of_left() -> None:
    partings = {(portion.element, portion.taxon) for rows in K.portions.values() for portion in rows}
    for element, taxon in partings:
        rows = {portion.key: portion for portion in K.portions[element] if portion.taxon == taxon}
        assert len({row.name for row in rows.values()}) == len(rows), (element, taxon)
        for key, row in rows.items():
            assert row.definition, (element, key)
            if key.startswith("left_"):
                other = rows["right_" + key.removeprefix("left_")]
                assert (row.step, row.share, row.tells_side) == (other.step, other.share, other.tells_side)


def test_a_bone_of_the_midline_has_no_portion_that_tells_its_side() -> None:
    for element in OWN:
        row = K.elements[element]
        if not row.sided:
            assert not any(portion.tells_side for portion in K.portions[element]), element


def test_the_limb_bones_of_a_fowl_are_parted_as_a_birds_are() -> None:
    expected = {
        "humerus": {"head", "ventral_tubercle", "deltopectoral_crest", "upper_shaft", "lower_shaft", "brachial_fossa",
                    "dorsal_condyle", "ventral_condyle"},
        "femur": {"head", "trochanter", "upper_shaft", "lower_shaft", "above_condyles", "medial_condyle",
                  "lateral_condyle"},
        "metatarsal": {"medial_cup", "lateral_cup", "hypotarsus", "proximal_metaphysis", "upper_shaft", "lower_shaft",
                       "spur_region", "trochlea_ii", "trochlea_iii", "trochlea_iv"},
        "metacarpal": {"carpal_trochlea", "alular_metacarpal", "metacarpal_bases", "major_shaft", "minor_shaft",
                       "distal_end"},
    }  # fmt: skip
    for element, portions in expected.items():
        assert set(K.portion_map(element, "fowl")) == portions
        assert set(K.portion_map(element, "bird")) == portions
        assert K.portions_of(element, "cattle") == K.portions_of(element) != K.portions_of(element, "fowl")


def test_a_blank_reading_of_a_fowl_tibia_has_the_birds_portions_and_centres() -> None:
    blank = blank_reading("tibia", "fowl", K)
    assert set(blank["portions"]) == {
        "knee_face", "cnemial_crests", "upper_shaft", "lower_shaft", "distal_metaphysis", "distal_medial",
        "distal_lateral",
    }  # fmt: skip
    assert blank["fusion"] == {"tarsals": "not_examined"}
    assert {portion.key for portion in K.epiphysis("tibia", "tarsals", "fowl")} == {"distal_medial", "distal_lateral"}


def test_a_mammal_femur_is_untouched_by_the_birds() -> None:
    for mammal in MAMMALS:
        blank = blank_reading("femur", mammal, K)
        assert set(blank["portions"]) == {
            "head", "greater_trochanter", "lesser_trochanter", "proximal_metaphysis", "upper_shaft", "lower_shaft",
            "distal_metaphysis", "medial_condyle", "lateral_condyle",
        }  # fmt: skip
        assert {"head", "greater_trochanter", "lesser_trochanter", "distal"} >= set(blank["fusion"])
        assert {portion.centre for portion in K.epiphysis("femur", "distal", mammal)} == {"distal"}
        assert not {"tarsals", "tarsal_cap", "carpals"} & {
            centre.key for one in ("tibia", "metatarsal", "metacarpal") for centre in K.centres_of(one, mammal)
        }


# -- how many --


def test_every_published_count_of_the_domestic_fowl_is_taken_over_or_is_a_sum() -> None:
    # Sources: named in each row of skeleton_counts_published.csv, with seen or memory.
    taken = {
        (part, row.source)
        for row in K.skeleton_counts
        if row.taxon == "fowl"
        for part in row.published_element.partition(" - ")[0].split(" + ")
    }
    for one in published("skeleton_counts_published"):
        if one["taxon"] == "domestic fowl" and one["element"] not in NOT_COUNTED:
            assert (one["element"], one["source"]) in taken, one


def test_toe_and_wing_bones_of_the_fowl_add_up_to_the_published_totals() -> None:
    toes = [K.count("fowl", f"phalanx_{place}") or 0 for place in (1, 2, 3)]
    assert {str(sum(toes))} == published_fowl("pedal phalanges (total)") == {"28"}
    assert {str(K.count("fowl", "wing_phalanx"))} == published_fowl("wing phalanges (total)") == {"10"}


def test_what_is_true_of_all_birds_is_true_of_the_published_fowl() -> None:
    own = {row.element: row for row in K.skeleton_counts if row.taxon == "fowl" and row.chosen}
    for row in K.skeleton_counts:
        if row.taxon == "bird":
            assert own[row.element].count == row.count, row


def test_the_counts_of_a_whole_class_are_two_of_a_pair_and_one_of_the_midline() -> None:
    # memory: anatomy handbook
    groups = [key for key, row in K.taxa.items() if not row.ncbi or row.kind != "species"]
    rows = [row for row in K.skeleton_counts if row.taxon in groups and any(K.is_a(row.taxon, one) for one in CLASSES)]
    assert {K.common(row.taxon, one) for row in rows for one in CLASSES} >= {"bird", "fish", "amphibian"}
    for row in rows:
        one_of_a_pair = K.elements[row.element].sided and (row.element, row.taxon) != ("mandible", "bird")
        assert row.count == (2 if one_of_a_pair else 1), row


def test_a_count_of_a_class_holds_for_its_animals_and_no_others() -> None:
    for animal in (key for key in K.taxa if K.is_a(key, "bird")):
        assert K.count(animal, "coracoid") == K.count_max(animal, "coracoid") == K.largest_count(animal, "humerus") == 2
    assert K.count("eel", "vomer") == K.count("bony_fish", "vomer") == 1
    assert K.count("skate", "vomer") is None
    assert K.count("frog", "radio_ulna") == 2
    assert K.count("cattle", "coracoid") is None
    assert K.count("mammal_or_human", "humerus") is None
    assert K.count("no such", "humerus") is None
    assert K.largest_count("bird", "thoracic_vertebra") == K.count("fowl", "thoracic_vertebra")


# -- in use --


def whole(element: str, taxon: str, side: str | None, **fusion: str) -> dict[str, object]:
    return reading(element, taxon, side=side, most=tuple(K.portion_map(element, taxon)), fusion=fusion)


@pytest.mark.parametrize(
    "read",
    [
        whole("tibia", "fowl", "left", tarsals="fused"),
        reading("tibia", "fowl", side="left", most=("distal_medial", "distal_lateral"), fusion={"tarsals": "fused"}),
        whole("metatarsal", "fowl", "right", tarsal_cap="fused"),
        reading("metatarsal", "fowl", side="left", most=("trochlea_ii", "trochlea_iii", "trochlea_iv", "lower_shaft")),
        whole("metacarpal", "fowl", "left", carpals="fused"),
        whole("coracoid", "fowl", "left"),
        whole("furcula", "bird", "midline"),
        whole("mandible", "bird", "midline"),
        whole("pelvis", "fowl", "right"),
        whole("dentary", "fish", "left"),
        whole("vomer", "fish", "midline"),
        whole("precaudal_vertebra", "cod", "midline"),
        whole("scale", "fish", None),
        whole("fin_spine", "fish", "midline"),
        whole("pelvis", "amphibian", "left"),
        whole("tibia", "frog", "left"),
        whole("urostyle", "amphibian", "midline"),
        reading("shell_plate", "tortoise", most=("carapace",)),
    ],
    ids=lambda read: f"{read['taxon']}-{read['element']}",
)
def test_a_sound_bone_of_another_class_breaks_no_rule(read: dict[str, object]) -> None:
    assert found(d(read, weight_g=2.0)) == set()


def test_a_bone_of_another_class_given_to_a_mammal_is_found() -> None:
    assert "element_not_in_taxon" in found(d(reading("coracoid", "pig", most=("glenoid_facet",), side="left")))
    assert "element_not_in_taxon" in found(d(reading("femur", "fish", side="left")))
    mixed = reading("femur", "fowl", side="left", portions={"greater_trochanter": "most"})
    assert "portion_of_other_animal" in found(d(mixed))


def test_a_cap_of_wrist_or_ankle_bones_that_is_not_there_cannot_be_joined() -> None:
    crest = reading("tibia", "fowl", side="left", most=("cnemial_crests", "upper_shaft"), fusion={"tarsals": "fused"})
    assert "epiphysis_missing" in found(d(crest))
    chick = reading("metatarsal", "fowl", side="left", most=("upper_shaft", "proximal_metaphysis"))
    chick["fusion"]["tarsal_cap"] = "unfused"
    assert "epiphysis_missing" not in found(d(chick))


def test_a_second_left_coracoid_is_of_another_bird() -> None:
    left = whole("coracoid", "fowl", "left")
    case = g(docket(left), docket(left))
    assert "group_same_side_twice" in {one.rule for one in rules.check_group(case.values, case.members, K, case.around)}


def test_a_wider_name_for_a_fish_bone_differs_only_in_precision() -> None:
    one = {"element": "first_vertebra", "taxon": "fish"}
    for wider in ("precaudal_vertebra", "vertebra"):
        assert compare(one, {**one, "element": wider}, K) == "precision"
    assert compare(one, {**one, "element": "basioccipital"}, K) == "conflict"
    assert compare({**one, "element": "dentary"}, {**one, "element": "mandible"}, K) == "precision"
