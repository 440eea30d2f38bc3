"""The reference tables agree with what was published, row by row, and with common sense about skeletons.

tests/data/outside holds the needed columns of the published values as they were gathered; `verified` there says for
each row whether the figure was seen at an address or written down from memory. The project's own tables are made
apart from them and compared here.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fieldapp.assets import knowledge
from fieldapp.domain.knowledge import FusionAge, SkeletonCount

K = knowledge()
OUTSIDE = Path(__file__).parents[1] / "data" / "outside"

OUR_TAXA = {"sheep/goat": "sheep_goat", "red deer": "red_deer", "rabbit": "hare_rabbit", "domestic fowl": "fowl"}
NOT_OURS = "white-tailed deer"
BEFORE_BIRTH = "fused before birth"


def published(name: str) -> list[dict[str, str]]:
    with (OUTSIDE / f"{name}.csv").open(newline="", encoding="utf-8") as opened:
        return list(csv.DictReader(opened))


def number(cell: str, times: float = 1) -> float | None:
    return float(cell) * times if cell else None


def same_end(row: FusionAge, one: dict[str, str]) -> bool:
    return (row.published_element, row.published_end, row.source) == (one["element"], one["end"], one["source"])


def test_animal_fusion_ages_are_the_published_ones_row_by_row() -> None:
    # Sources: named in each row of fusion_ages_published.csv, with seen or memory.
    ours = [row for row in K.fusion_ages if row.taxon != "human"]
    matched = set()
    for one in published("fusion_ages_published"):
        taxon = OUR_TAXA.get(one["taxon"], one["taxon"])
        found = [
            row
            for row in ours
            if row.taxon == taxon
            and same_end(row, one)
            and (row.min_months, row.max_months) == (number(one["age_min_months"]), number(one["age_max_months"]))
        ]
        if taxon == NOT_OURS or BEFORE_BIRTH in one["note"]:
            assert not found, one
            continue
        # The plates before and behind a vertebral body are published as one.
        assert len(found) == (2 if one["element"] == "vertebra" else 1), one
        assert {(row.seen, row.confidence, row.note) for row in found} == {cautions(one)}
        matched |= {id(row) for row in found}
    assert matched == {id(row) for row in ours}


def test_human_fusion_ages_are_the_published_years_in_months_row_by_row() -> None:
    # Sources: named in each row of human_fusion_published.csv, with seen or memory.
    ours = [row for row in K.fusion_ages if row.taxon == "human"]
    matched = set()
    for one in published("human_fusion_published"):
        limits = (number(one["age_min_years"], 12), number(one["age_max_years"], 12))
        found = [
            row
            for row in ours
            if same_end(row, one) and row.sex == one["sex"] and (row.min_months, row.max_months) == limits
        ]
        assert found, one
        assert {(row.seen, row.confidence, row.note) for row in found} == {cautions(one)}
        matched |= {id(row) for row in found}
    assert matched == {id(row) for row in ours}


def cautions(one: dict[str, str]) -> tuple[str, str, str]:
    return one["verified"], one["confidence"], one["note"]


def test_no_age_that_is_marked_as_doubtful_is_chosen() -> None:
    doubtful = [row for row in K.fusion_ages if row.confidence == "low" or "implausible" in row.note]
    assert any("implausible" in row.note for row in doubtful)
    assert not [row for row in doubtful if row.chosen]


def test_an_age_read_from_radiographs_says_so() -> None:
    # "older than modern radiographic ranges" is said of dissecting-room ages: they are not read from radiographs.
    for row in K.fusion_ages:
        said = row.note.replace("older than modern radiographic", "") + row.source
        if "radiograph" in said.lower():
            assert row.method == "radiographic", row
        elif row.method == "radiographic":
            assert row.source.startswith("Sumner-Smith 1966"), row


def test_skeleton_counts_are_the_published_ones_row_by_row() -> None:
    # Sources: named in each row of skeleton_counts_published.csv, with seen or memory.
    rows = published("skeleton_counts_published")
    for ours in K.skeleton_counts:
        text = ours.published_element
        parts, _, minus = text.partition(" - ")
        if not text or "hands and feet" in text:
            assert ours.seen in ("memory", "-"), ours
            continue
        if ours.seen == "memory" and text == "atlas" and ours.taxon in ("human", "fowl"):
            continue
        low, high = 0, 0
        for part in parts.split(" + "):
            found = [
                one
                for one in rows
                if (one["taxon"], one["element"], one["source"]) == (ours.published_taxon, part, ours.source)
            ]
            assert len(found) == 1, (ours, part)
            least, _, most = found[0]["count_in_skeleton"].partition("-")
            low, high = low + int(least), high + int(most or least)
            assert found[0]["verified"] == ours.seen
        # What need not be there is given with the most that there can be.
        low = low or high
        assert (ours.count, ours.count_max) == (low - int(minus or 0), high - int(minus or 0)), ours


NOT_COUNTED = {
    # Segments of a bone that is counted whole, totals of a whole skeleton, and parts of a total that is taken over.
    "sacral segments (fused)", "whole skeleton (total bones, check)", "coccyx", "hand phalanx 1", "hand phalanx 2",
    "hand phalanx 3", "cranial bones excluding mandible/hyoid/ossicles",
}  # fmt: skip


def test_every_published_count_of_a_mammal_is_taken_over() -> None:
    taken = {
        (row.published_taxon, part, row.source)
        for row in K.skeleton_counts
        for part in row.published_element.partition(" - ")[0].split(" + ")
    }
    for one in published("skeleton_counts_published"):
        if one["taxon"] != "domestic fowl" and one["element"] not in NOT_COUNTED:
            assert (one["taxon"], one["element"], one["source"]) in taken, one


@pytest.mark.parametrize("taxon", ["cattle", "sheep", "goat", "red_deer", "horse", "pig", "dog", "human"])
def test_the_wrist_and_ankle_bones_by_name_add_up_to_the_published_totals(taxon: str) -> None:
    # The bones by name are from memory; the totals are those of skeleton_counts_published.csv.
    for wide in ("carpal", "tarsal"):
        parts = [key for key, row in K.elements.items() if wide in row.broader]
        assert sum(K.count(taxon, key) or 0 for key in parts) == K.count(taxon, wide), (taxon, wide)


def test_human_finger_and_toe_bones_add_up_to_the_published_totals() -> None:
    # Human bone lists in skeleton_counts_published.csv: 28 in the hands and 28 in the feet.
    totals = [
        int(one["count_in_skeleton"])
        for one in published("skeleton_counts_published")
        if one["taxon"] == "human" and one["element"] in ("hand phalanges (total)", "foot phalanges (total)")
    ]
    assert sum(K.count("human", f"phalanx_{place}") or 0 for place in (1, 2, 3)) == sum(totals) == 56


def test_uberon_ids_are_matched_by_id_and_never_by_label() -> None:
    # Uberon commit 52817eea (2026-04-01), https://github.com/obophenotype/uberon
    labels = {one["id"]: one for one in published("uberon_ids_published")}
    for element in K.elements.values():
        if not element.uberon:
            assert not element.uberon_label
            continue
        known = labels[element.uberon]
        assert element.uberon_label == (known["label_in_2026_04_bridges"] or known["label_in_2021_obo_subsets"])
        # An id that only the older files hold says so.
        assert ("2021 only" in element.source) == (known["id_seen_in_2026_04_bridges"] == "no"), element.key
    ids = [element.uberon for element in K.elements.values() if element.uberon]
    assert len(ids) == len(set(ids))
    for form in K.forms:
        if form.uberon:
            assert labels[form.uberon]["label_in_2021_obo_subsets"] == form.name
    for portion in (portion for rows in K.portions.values() for portion in rows if portion.uberon):
        # "iliac wing" for the ilium, "left maxilla" for the maxilla
        named = set(labels[portion.uberon]["label_in_2021_obo_subsets"].split()) - {"tetrapod", "bone"}
        assert any(word[:3] in portion.name for word in named), portion
    # The notes of the ids: the cranium is the skull without the mandible.
    assert K.elements["skull"].uberon == "UBERON:0003128"
    # The trap: "astragalus" is a synonym of two Uberon terms, and the humerus is often misquoted as 0001424.
    assert K.elements["astragalus"].uberon == "UBERON:0002395"
    assert K.elements["calcaneum"].uberon == "UBERON:0001450"
    assert K.elements["humerus"].uberon == "UBERON:0000976"
    assert K.elements["ulna"].uberon == "UBERON:0001424"


def test_one_source_is_chosen_for_each_animal_that_is_aged() -> None:
    sources: dict[str, set[str]] = {}
    for row in K.fusion_ages:
        if row.chosen:
            sources.setdefault(row.taxon, set()).add(row.source)
    assert set(sources) == {"cattle", "sheep", "goat", "pig", "horse", "dog", "cat", "human"}
    assert all(len(found) == 1 for found in sources.values())


def test_a_silent_source_is_not_filled_in_from_another() -> None:
    # The source chosen for sheep gives no age for the vertebral plates; another in the table does.
    assert any(row.taxon == "sheep" and row.element == "vertebra" for row in K.fusion_ages)
    assert K.fusion_range("sheep", "vertebra", "cranial_plate") is None


def test_radiographic_ages_are_never_chosen_beside_ages_of_dry_bone() -> None:
    assert not [row for row in K.fusion_ages if row.chosen and row.method == "radiographic"]


def test_the_age_of_the_unparted_pair_spans_its_two_animals() -> None:
    assert K.fusion_range("sheep_goat", "tibia", "distal") == (18.0, 30.0)
    assert K.fusion_range("sheep_goat", "humerus", "proximal") == (48.0, None)
    assert K.fusion_range("medium_mammal", "tibia", "distal") is None
    assert K.fusion_range("hare_rabbit", "tibia", "distal") is None


def test_both_sexes_are_spanned_where_a_source_parts_them() -> None:
    assert K.fusion_range("human", "femur", "head") == (12 * 12, 19 * 12)


@pytest.mark.parametrize("taxon", ["cattle", "sheep", "goat", "sheep_goat", "pig", "horse", "dog", "cat", "human"])
def test_the_elbow_joins_before_the_shoulder_and_the_ankle_before_the_knee(taxon: str) -> None:
    # common practice, no source: the order holds in every published series for these animals
    def latest(element: str, centre: str) -> float:
        limits = K.fusion_range(taxon, element, centre)
        assert limits is not None
        return limits[1] if limits[1] is not None else float("inf")

    assert latest("humerus", "distal") < latest("humerus", "proximal")
    assert latest("radius", "proximal") <= latest("radius", "distal")
    assert latest("tibia", "distal") <= latest("tibia", "proximal")


def test_a_pigs_ankle_is_joined_before_its_shoulder_begins_to_join() -> None:
    ankle, shoulder = K.fusion_range("pig", "tibia", "distal"), K.fusion_range("pig", "humerus", "proximal")
    assert ankle is not None
    assert shoulder is not None
    assert (ankle[1] or 0) < (shoulder[0] or 0)


def test_every_paired_bone_has_an_even_number_and_every_midline_bone_but_the_vertebra_one() -> None:
    for row in K.skeleton_counts:
        element = K.elements[row.element]
        if row.element == "mandible" and row.taxon in ("human", "fowl", "bird"):
            assert row.count == 1  # joined across the midline in the adult
        elif element.sided:
            assert row.count % 2 == 0, row
        elif not row.element.endswith("vertebra"):
            assert row.count == 1, row


def test_no_count_is_given_for_a_bone_the_animal_does_not_have() -> None:
    rows: tuple[SkeletonCount, ...] = K.skeleton_counts
    assert all(K.occurs(row.element, row.taxon) for row in rows)


def test_the_portions_of_the_plated_bones_are_fixed() -> None:
    assert {portion.key for portion in K.portions_of("humerus")} == {
        "head", "greater_tubercle", "proximal_metaphysis", "upper_shaft", "lower_shaft", "distal_metaphysis",
        "trochlea", "capitulum",
    }  # fmt: skip
    assert {portion.key for portion in K.portions_of("radius")} == {
        "proximal_medial", "proximal_lateral", "proximal_metaphysis", "upper_shaft", "lower_shaft",
        "distal_metaphysis", "distal_medial", "distal_lateral",
    }  # fmt: skip
    assert {portion.key for portion in K.portions_of("femur")} == {
        "head", "greater_trochanter", "lesser_trochanter", "proximal_metaphysis", "upper_shaft", "lower_shaft",
        "distal_metaphysis", "medial_condyle", "lateral_condyle",
    }  # fmt: skip
    assert {portion.key for portion in K.portions_of("tibia")} == {
        "medial_condyle", "lateral_condyle", "tuberosity", "proximal_metaphysis", "upper_shaft", "lower_shaft",
        "distal_metaphysis", "distal_medial", "distal_lateral",
    }  # fmt: skip


def test_epiphysis_and_metaphysis_are_never_one_portion() -> None:
    for element, centres in K.centres.items():
        for centre in centres:
            across = centre.metaphysis
            assert across is None or across not in {portion.key for portion in K.epiphysis(element, centre.key)}


def test_every_centre_that_an_animal_has_can_be_seen_on_a_portion() -> None:
    for element, centres in K.centres.items():
        for centre in centres:
            # What only people have, and the base of a first metapodial, have no portion of their own.
            if "human" not in centre.only:
                assert K.epiphysis(element, centre.key, next(iter(centre.only), None)), centre


def test_birds_have_caps_of_wrist_and_ankle_bones_only_and_lack_the_bones_that_are_fused_into_others() -> None:
    found = {(element, centre.key) for element in K.elements for centre in K.centres_of(element, "fowl")}
    assert found == {("metacarpal", "carpals"), ("tibia", "tarsals"), ("metatarsal", "tarsal_cap")}
    assert not K.occurs("astragalus", "fowl")
    assert not K.occurs("loose_tooth", "bird")
    assert K.occurs("tibia", "fowl")
    form = K.form_of("tibia", "fowl")
    assert form is not None
    assert form.name == "tibiotarsus"
    assert K.form_of("tibia", "cattle") is None


def test_a_wide_group_has_the_centres_of_its_animals_that_its_parting_shows() -> None:
    assert [centre.key for centre in K.centres_of("metacarpal", "mammal")] == ["proximal", "distal"]
    assert [centre.key for centre in K.centres_of("metacarpal", "cattle")] == ["distal"]
    assert [centre.key for centre in K.centres_of("phalanx_3", "human")] == ["proximal"]
    assert [centre.key for centre in K.centres_of("phalanx_3", "mammal")] == []
    assert [centre.key for centre in K.centres_of("phalanx_3", "no such")] == []


def test_only_a_director_may_release_and_an_administrator_may_do_nothing_to_a_hold() -> None:
    roles = K.words["role"]
    assert [role for role in roles if K.allowed("release", role) == "yes"] == ["director"]
    assert [role for role in roles if K.allowed("assess", role) != "no"] == ["zooarchaeologist", "human_osteologist"]
    assert K.allowed("assess", "zooarchaeologist") == "policy"
    assert K.allowed("see_closed", "recorder") == "zone"
    looking_after = {
        "carry",
        "see_tablets",
        "enrol_tablet",
        "manage_tablets",
        "manage_people",
        "read_log",
        "set_up_site",
    }
    assert {act for act, role in K.roles if K.allowed(act, "administrator") != "no"} == looking_after
    assert K.allowed("no such act", "director") == "no"
