"""The animals: how they stand under one another, and that each is the animal that its published id names.

tests/data/outside/taxon_ids_published.csv holds name, id and rank as a copy of the NCBI Taxonomy (release 2024-09)
gives them; where an animal lives, dies out or is kept is in test_presence.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fieldapp.assets import knowledge

K = knowledge()
OUTSIDE = Path(__file__).parents[1] / "data" / "outside"


def published() -> dict[str, dict[str, str]]:
    with (OUTSIDE / "taxon_ids_published.csv").open(newline="", encoding="utf-8") as opened:
        return {row["scientific"]: row for row in csv.DictReader(opened)}


def test_every_id_is_that_of_the_animals_latin_name_in_the_ncbi_taxonomy() -> None:
    ids = published()
    for taxon in K.taxa.values():
        if taxon.latin:
            assert taxon.ncbi == tuple(int(ids[one]["ncbi_taxid"]) for one in taxon.latin.split(" / ")), taxon.key
        else:
            # A size class has no name but the id of the class it is a size of.
            assert taxon.ncbi in ((), (40674,), (8782,)), taxon.key
        assert bool(taxon.ncbi) == taxon.seen.startswith("verified:") or taxon.kind == "size_class", taxon.key


def test_what_is_called_a_species_is_one_in_the_ncbi_taxonomy_and_a_family_is_wider() -> None:
    ids = published()
    for taxon in K.taxa.values():
        ranks = {ids[one]["rank"] for one in taxon.latin.split(" / ") if one}
        if taxon.kind == "species":
            assert ranks <= {"species", "subspecies"}, taxon.key
        if taxon.kind == "family":
            assert ranks - {"species"} or len(taxon.ncbi) > 1 or K.members(taxon.key), taxon.key
        if taxon.kind == "group":
            assert not ranks & {"species", "genus"}, taxon.key


def test_the_animals_met_on_such_sites_are_there() -> None:
    under = {
        group: [key for key, taxon in K.taxa.items() if K.is_a(key, group) and taxon.named]
        for group in ("mammal", "bird", "fish", "amphibian", "reptile", "mollusc")
    }
    least = {"mammal": 40, "bird": 20, "fish": 15, "amphibian": 3, "reptile": 4, "mollusc": 4}
    assert {group: len(found) >= least[group] for group, found in under.items()} == dict.fromkeys(least, True)


def test_every_group_ends_in_unknown_and_holds_its_members() -> None:
    sheep = K.taxa["sheep"]
    assert sheep.parents == ("sheep_goat",)
    assert sheep.broader[0] == "sheep_goat"
    assert sheep.broader[-3:] == ("mammal", "mammal_or_human", "unknown")
    assert set(sheep.broader[1:-3]) == {"small_ruminant", "medium_artiodactyl", "medium_mammal", "bovid", "ruminant"}
    assert K.taxa["human"].broader == ("mammal", "mammal_or_human", "unknown")
    for key, taxon in K.taxa.items():
        assert len(set(taxon.broader)) == len(taxon.broader), key
        assert taxon.broader[-1:] == (("unknown",) if key != "unknown" else ()), key
    assert K.is_a("sheep", "sheep")
    assert not K.is_a("mammal", "sheep")
    assert not K.is_a("no such", "unknown")
    assert set(K.members("sheep_goat")) == {"sheep", "goat"}
    assert K.common("sheep", "no such") is None


@pytest.mark.parametrize(
    ("one", "other", "shared"),
    [
        ("sheep", "red_deer", "ruminant"),
        ("red_deer", "cattle", "large_ruminant"),
        ("red_deer", "roe_deer", "cervid"),
        ("sheep", "roe_deer", "small_ruminant"),
        ("sheep", "pig", "medium_artiodactyl"),
        ("pig", "dog", "medium_mammal"),
        ("cattle", "horse", "large_ungulate"),
        ("cattle", "aurochs", "cattle_aurochs"),
        ("horse", "mule", "equid"),
        ("dog", "wolf", "dog_wolf"),
        ("dog", "red_fox", "canid"),
        ("cat", "badger", "small_mammal"),
        ("rabbit", "mountain_hare", "hare_rabbit"),
        ("brown_hare", "mountain_hare", "hare"),
        ("brown_rat", "house_mouse", "murid"),
        ("human", "pig", "mammal"),
        ("human", "mammal_or_human", "mammal_or_human"),
        ("fowl", "pheasant", "medium_bird"),
        ("fowl", "quail", "galliform"),
        ("greylag_goose", "mallard", "waterfowl"),
        ("fowl", "pig", "unknown"),
        ("cod", "haddock", "gadid"),
        ("plaice", "flounder", "plaice_flounder"),
        ("plaice", "turbot", "flatfish"),
        ("cod", "skate", "fish"),
        ("frog", "toad", "frog_toad"),
        ("sheep", "sheep_goat", "sheep_goat"),
    ],
)
def test_the_narrowest_that_two_animals_share_is_what_the_trade_would_say(one: str, other: str, shared: str) -> None:
    # common practice, no source
    assert K.common(one, other) == K.common(other, one) == shared


def test_every_mammal_and_bird_has_one_size_but_the_human() -> None:
    sizes = {key for key, taxon in K.taxa.items() if taxon.kind == "size_class"}
    for key, taxon in K.taxa.items():
        if taxon.kind in ("species", "pair") and (K.is_a(key, "mammal") or K.is_a(key, "bird")):
            own = sizes & set(taxon.broader)
            assert len(own) == (0 if key == "human" else 1), key
            assert K.size_class(key) == (None if key == "human" else own.pop())
        else:
            assert len(sizes & set(taxon.broader)) <= 1, key
    assert K.size_class("goat") == "medium_mammal"
    assert K.size_class("fowl") == "medium_bird"
    assert K.size_class("cod") is None


def test_the_keys_of_old_records_keep_their_meaning() -> None:
    pairs = {"sheep_goat", "hare_rabbit"}
    sizes = {"large_mammal", "medium_mammal", "small_mammal"}
    species = {"cattle", "sheep", "goat", "pig", "horse", "dog", "cat", "red_deer", "fowl", "human"}
    for kind, keys in (("pair", pairs), ("size_class", sizes), ("species", species)):
        assert {K.taxa[key].kind for key in keys} == {kind}
    assert {K.taxa[key].kind for key in ("bird", "mammal", "unknown", "fish", "amphibian", "reptile", "mollusc")} == {
        "group"
    }
    assert {key: K.size_class(key) for key in ("cattle", "pig", "dog", "red_deer", "cat", "hare_rabbit")} == {
        "cattle": "large_mammal", "pig": "medium_mammal", "dog": "medium_mammal", "red_deer": "large_mammal",
        "cat": "small_mammal", "hare_rabbit": "small_mammal",
    }  # fmt: skip


def test_a_pair_is_a_step_above_what_it_does_not_part_and_a_wild_form_stands_beside_its_kept_kin() -> None:
    for key, taxon in K.taxa.items():
        if taxon.kind == "pair":
            assert len(K.members(key)) >= 2, key
    for kept, wild in (("cattle", "aurochs"), ("pig", "wild_boar"), ("dog", "wolf"), ("cat", "wild_cat")):
        assert K.taxa[kept].parents == K.taxa[wild].parents
        assert (K.taxa[kept].status, K.taxa[wild].status) == ("domestic", "wild")
        parent = K.taxa[K.taxa[kept].parents[0]]
        assert parent.status == "either"
        # Parting them is usual, so nobody is asked for each pig what it was compared with.
        assert parent.kind == "family"


def test_only_deer_have_antlers_and_only_bovids_horn_cores() -> None:
    for key, taxon in K.taxa.items():
        named = taxon.kind in ("species", "pair", "family")
        if named:
            # A ruminant that is neither is the camel, which has no headgear.
            assert (taxon.antler != "no") == (K.is_a(key, "cervid")), key
            assert (taxon.horn_core != "no") == (K.is_a(key, "bovid")), key
        if K.is_a(key, "bird"):
            assert (taxon.antler, taxon.horn_core, taxon.tooth) == ("no", "no", "no")


@pytest.mark.parametrize("trait", ["antler", "horn_core", "tooth", "burrows", "infant_sized", "by_hand"])
def test_a_pair_or_family_has_what_its_animals_have(trait: str) -> None:
    for key, taxon in K.taxa.items():
        found = {getattr(K.taxa[one], trait) for one in K.members(key)}
        if taxon.kind in ("pair", "family") and found == {"yes"}:
            assert getattr(taxon, trait) == "yes", key
        if found - {"no"}:
            assert getattr(taxon, trait) != "no", key
        elif found:
            assert getattr(taxon, trait) != "yes", key


def test_a_group_may_weigh_as_much_as_the_heaviest_in_it() -> None:
    for key, taxon in K.taxa.items():
        for one in K.members(key):
            if taxon.heaviest_g is not None and taxon.kind in ("pair", "family"):
                heaviest = K.taxa[one].heaviest_g
                assert heaviest is not None, (key, one)
                assert taxon.heaviest_g >= heaviest, (key, one)


def test_whatever_could_be_an_infants_bone_says_so_in_every_wide_class() -> None:
    # The young shaft of a wide or small class is never taken for an animal's without being asked.
    for key in (
        "unknown",
        "mammal",
        "mammal_or_human",
        "medium_mammal",
        "small_mammal",
        "bird",
        "medium_bird",
        "human",
    ):
        assert K.taxa[key].infant_sized != "no", key
    assert K.taxa["mammal_or_human"].infant_sized == "yes"
    assert not K.taxa["mammal_or_human"].named
