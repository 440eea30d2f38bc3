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
LEFT_OUT = {
    # Elements that are not recorded yet.
    "fibula", "clavicle", "sacrum", "white-tailed deer",
    # Ends whose joining is not recorded.
    "medial epicondyle", "glenoid rim", "acromion", "inferior angle and medial border", "ischiopubic ramus",
    "ischiopubic", "anterior inferior iliac spine",
}  # fmt: skip
POOLED = {"phalanx"}
"""Published rows that do not say which of our elements they mean."""


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
        before_birth = one["age_max_months"] == "0"
        if {one["taxon"], one["element"], one["end"]} & (LEFT_OUT | POOLED) or before_birth:
            assert not found, one
            continue
        # The plates before and behind a vertebral body are published as one.
        assert len(found) == (2 if one["element"] == "vertebra" else 1), one
        assert {row.seen for row in found} == {one["verified"]}
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
        if {one["element"], one["end"]} & LEFT_OUT:
            assert not found, one
            continue
        assert found, one
        assert {row.seen for row in found} == {one["verified"]}
        matched |= {id(row) for row in found}
    assert matched == {id(row) for row in ours}


def test_skeleton_counts_are_the_published_ones_row_by_row() -> None:
    # Sources: named in each row of skeleton_counts_published.csv, with seen or memory.
    rows = published("skeleton_counts_published")
    for ours in K.skeleton_counts:
        if not ours.published_taxon:
            assert ours.seen in ("memory", "-"), ours  # nothing published to compare it with
            continue
        if ours.source.startswith("project decision") or "hands and feet" in ours.published_element:
            continue
        if ours.seen == "memory" and ours.published_element == "atlas" and ours.taxon in ("human", "fowl"):
            continue
        low, high = 0, 0
        text = ours.published_element
        minus = text.endswith(" - 1")
        for part in text.removesuffix(" - 1").split(" + "):
            found = [
                one
                for one in rows
                if (one["taxon"], one["element"], one["source"]) == (ours.published_taxon, part, ours.source)
            ]
            assert len(found) == 1, (ours, part)
            least, _, most = found[0]["count_in_skeleton"].partition("-")
            low, high = low + int(least), high + int(most or least)
            assert found[0]["verified"] == ours.seen
        assert (ours.count, ours.count_max) == (low - minus, high - minus), ours


def test_every_published_count_of_our_bones_and_animals_is_taken_over() -> None:
    taken = {(row.published_taxon, row.published_element, row.source) for row in K.skeleton_counts}
    names = {"cranium", "mandible (half)", "atlas", "innominate", "rib", "talus", "metacarpal (main, total)",
             "metatarsal (main, total)", "phalanx 1 (total)", "phalanx 2 (total)", "phalanx 3 (total)"}  # fmt: skip
    names |= set(K.elements)
    for one in published("skeleton_counts_published"):
        if one["element"] in names and one["taxon"] != "domestic fowl":
            assert (one["taxon"], one["element"], one["source"]) in taken, one


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
            assert element.seen == "-", element
        elif "2021 files only" in element.source:
            assert labels[element.uberon]["id_seen_in_2026_04_bridges"] == "no"
            assert element.uberon_label == labels[element.uberon]["label_in_2021_obo_subsets"]
        else:
            assert labels[element.uberon]["id_seen_in_2026_04_bridges"] == "yes"
            assert element.uberon_label == labels[element.uberon]["label_in_2026_04_bridges"]
    for form in K.forms:
        if form.uberon:
            assert labels[form.uberon]["label_in_2021_obo_subsets"] == form.name
    # The trap: "astragalus" is a synonym of two Uberon terms, and the humerus is often misquoted as 0001424.
    assert K.elements["astragalus"].uberon == "UBERON:0002395"
    assert K.elements["calcaneum"].uberon == "UBERON:0001450"
    assert K.elements["humerus"].uberon == "UBERON:0000976"
    assert K.elements["ulna"].uberon == "UBERON:0001424"


def test_taxon_ids_are_those_of_the_ncbi_taxonomy() -> None:
    # NCBI Taxonomy, release 2024-09
    ids = {one["scientific"]: int(one["ncbi_taxid"]) for one in published("taxon_ids_published")}
    for taxon in K.taxa.values():
        if taxon.kind == "species":
            assert taxon.ncbi == (ids[taxon.latin],)
    assert set(K.taxa["sheep_goat"].ncbi) == {ids["Ovis aries"], ids["Capra hircus"]}
    assert K.taxa["bird"].ncbi == (ids["Aves"],)
    assert K.taxa["mammal"].ncbi == (ids["Mammalia"],)


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
        elif not K.is_part(row.element, "vertebra"):
            assert row.count == 1, row


def test_no_count_is_given_for_a_bone_the_animal_does_not_have() -> None:
    rows: tuple[SkeletonCount, ...] = K.skeleton_counts
    assert all(K.occurs(row.element, row.taxon) for row in rows)


def test_every_group_ends_in_unknown_and_holds_its_members() -> None:
    assert K.taxa["sheep"].broader == ("sheep_goat", "medium_mammal", "mammal", "unknown")
    assert K.taxa["human"].broader == ("mammal", "unknown")
    assert K.is_a("sheep", "sheep")
    assert not K.is_a("mammal", "sheep")
    assert not K.is_a("no such", "unknown")
    assert set(K.members("sheep_goat")) == {"sheep", "goat"}
    assert K.common("sheep", "red_deer") == "mammal"
    assert K.common("fowl", "pig") == "unknown"
    assert K.common("sheep", "sheep_goat") == "sheep_goat"
    assert K.common("sheep", "no such") is None
    assert K.size_class("goat") == "medium_mammal"
    assert K.size_class("human") is None


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
            if centre.only != ("human",) or element == "phalanx_3":
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


def test_a_wide_group_has_every_centre_that_one_of_its_animals_has() -> None:
    assert [centre.key for centre in K.centres_of("phalanx_3", "mammal")] == ["proximal"]
    assert [centre.key for centre in K.centres_of("phalanx_3", "cattle")] == []
    assert [centre.key for centre in K.centres_of("phalanx_3", "no such")] == ["proximal"]


def test_only_a_director_may_release_and_an_administrator_may_do_nothing_to_a_hold() -> None:
    roles = K.words["role"]
    assert [role for role in roles if K.allowed("release", role) == "yes"] == ["director"]
    assert [role for role in roles if K.allowed("assess", role) != "no"] == ["zooarchaeologist", "human_osteologist"]
    assert K.allowed("assess", "zooarchaeologist") == "policy"
    assert K.allowed("see_closed", "recorder") == "zone"
    assert {act for act, role in K.roles if K.allowed(act, "administrator") != "no"} == set()
    assert K.allowed("no such act", "director") == "no"
