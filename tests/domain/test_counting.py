"""Pieces, specimens, identified specimens and weight: each as its definition says.

The worked examples are this project's own, after what NISP is commonly said to be: specimens counted by bone and taxon,
seen at https://iiab.me/kiwix/content/wikipedia_en_all_maxi_2023-10/A/Number_of_Identified_Specimens and, as a sum that
adds up over time and space, at http://www.vkrp.org/studies/environmental/zooarchaeology/info/quantification.asp.
What is adopted beyond that is common practice, no source.
"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.counting import Lot, is_identified, nisp, nsp, once, pieces, specimens, weight

KNOWN = knowledge()
TRAY = (
    Lot(3, 30.0, "bone", "rib", "cattle"),
    Lot(1, 12.5, "bone", "tibia", "sheep_goat"),
    Lot(1, None, "tooth", "loose_tooth", "pig"),
    Lot(14, 6.5, "bone", "rib", "medium_mammal"),
    Lot(2, 1.0, "bone", "unidentified_bone", "cattle"),
    Lot(5, 40.0, "shell", None, "bivalve"),
    Lot(4, 2.0),
)


def test_pieces_are_everything_and_specimens_all_but_what_is_no_bone() -> None:
    assert pieces(TRAY) == 30
    assert nsp(TRAY) == 25
    assert weight(TRAY) == 92.0


def test_identified_are_those_whose_bone_and_animal_are_named() -> None:
    assert nisp(TRAY, KNOWN) == {"cattle": 3, "sheep_goat": 1, "pig": 1}
    for element, taxon in (("rib", None), (None, "cattle"), ("rib", "large_mammal"), ("rib", "mammal"), ("x", "y")):
        assert not is_identified(Lot(element=element, taxon=taxon), KNOWN), (element, taxon)
    assert is_identified(Lot(element="tibia", taxon="canid"), KNOWN), "a family names an animal"
    assert not is_identified(Lot(material="not_bone", element="tibia", taxon="pig"), KNOWN)


def test_pieces_that_fit_together_are_one_specimen_and_stay_so_many_pieces() -> None:
    halves = [Lot(1, 5.0, "bone", "tibia", "pig", fitted="a"), Lot(1, 6.0, "bone", "tibia", "pig", fitted="a")]
    assert (pieces(halves), nsp(halves), nisp(halves, KNOWN)) == (2, 1, {"pig": 1})
    assert weight(halves) == 11.0


def test_two_dockets_for_one_bone_count_once() -> None:
    twice = [Lot(1, 5.0, "bone", "tibia", "pig", bone="a"), Lot(1, 5.2, "bone", "tibia", "pig", bone="a")]
    assert (pieces(twice), nsp(twice), nisp(twice, KNOWN), weight(twice)) == (1, 1, {"pig": 1}, 5.0)


def test_what_was_not_weighed_has_no_weight_and_not_nought() -> None:
    assert weight([Lot(3)]) is None
    assert weight([]) is None
    assert weight([Lot(3), Lot(1, 0.0)]) == 0.0


WORDS = st.sampled_from(["", "", "a", "b"])
LOTS = st.builds(
    Lot,
    count=st.integers(1, 9),
    weight_g=st.none() | st.integers(0, 50).map(float),
    material=st.sampled_from([None, "bone", "tooth", "shell", "not_bone"]),
    element=st.sampled_from([None, "tibia", "rib", "unidentified_bone"]),
    taxon=st.sampled_from([None, "pig", "cattle", "large_mammal"]),
    bone=WORDS,
    fitted=WORDS,
)


@given(st.lists(LOTS, max_size=12))
def test_each_sum_holds_the_next(lots: list[Lot]) -> None:
    assert pieces(lots) >= specimens(lots) >= nsp(lots) >= 0
    # One by one, as the slow reader of the definition would: pieces, less what is there twice, less what fits.
    slow = 0
    seen_bones, seen_fits = set(), set()
    for lot in lots:
        if lot.bone and lot.bone in seen_bones:
            continue
        seen_bones.add(lot.bone)
        if lot.material in ("shell", "not_bone"):
            continue
        slow += lot.count - (1 if lot.fitted and lot.fitted in seen_fits else 0)
        seen_fits.add(lot.fitted)
    assert nsp(lots) == slow
    apart = [one for one in once(lots) if not one.fitted]
    assert sum(nisp(apart, KNOWN).values()) == sum(one.count for one in apart if is_identified(one, KNOWN))


@given(st.lists(LOTS, max_size=6), st.lists(LOTS, max_size=6))
def test_contexts_that_share_no_bone_add_up(first: list[Lot], second: list[Lot]) -> None:
    def named(lots: list[Lot], letter: str) -> list[Lot]:
        return [
            Lot(one.count, one.weight_g, one.material, one.element, one.taxon, one.bone and one.bone + letter,
                one.fitted and one.fitted + letter)
            for one in lots
        ]  # fmt: skip

    one, other = named(first, "1"), named(second, "2")
    assert nsp(one + other) == nsp(one) + nsp(other)
    assert pieces(one + other) == pieces(one) + pieces(other)
