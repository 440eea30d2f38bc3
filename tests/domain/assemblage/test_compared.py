"""MNI refined by pairs: never above the truth where the eye that compared was right, and by hand."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.bones import pile
from fieldapp.domain.assemblage.compared import mni_compared
from fieldapp.domain.assemblage.individuals import mni
from fieldapp.domain.assemblage.specimens import Specimen
from tests.domain.assemblage.herds import Herd, herd

K = knowledge()


def figures(specimens, comparisons):
    bodies = {one.id: one.group for one in specimens if one.group}
    return mni_compared(pile(specimens, K), K, comparisons, bodies)


def humeri(lefts: int, rights: int, pairs: int, **more) -> list[Specimen]:
    """Whole bones, of which the first of each side are pairs."""
    whole = dict.fromkeys((one.key for one in K.portions_of("humerus", "sheep")), "most")
    return [
        Specimen(
            f"{side}{at}", taxon="sheep", element="humerus", side=side, portions=whole,
            group=f"body{at}" if at < pairs else "", **more,
        )
        for side, n in (("left", lefts), ("right", rights))
        for at in range(n)
    ]  # fmt: skip


def all_of(specimens) -> list[frozenset[str]]:
    return [frozenset(one.id for one in specimens)]


def test_pairs_lefts_alone_and_rights_alone_are_added():
    """L + R - P, as animals are counted after pairs were sought (common practice, no source)."""
    bones = humeri(5, 4, 3)
    assert mni(bones, K)["sheep"].low == 5
    assert figures(bones, all_of(bones)) == {"sheep": (5 + 4 - 3, 5 + 4 - 3)}
    without = humeri(5, 4, 0)
    assert figures(without, all_of(without)) == {"sheep": (9, 9)}


def test_what_nobody_compared_may_be_the_other_half_of_anything():
    bones = humeri(5, 4, 0)
    some = [frozenset({"left0", "left1", "right0", "right1"})]
    assert figures(bones, some) == {"sheep": (5, 5)}, "four that were compared, and five lefts"
    assert figures(bones, []) == {}
    assert figures(bones, [frozenset({"elsewhere"})]) == {}
    two = [frozenset({"left0", "right0"}), frozenset({"left1", "right1"})]
    assert figures(bones, two) == {"sheep": (5, 5)}, "two comparisons are not one"


def test_pieces_that_can_be_of_one_bone_are_one_however_they_were_compared():
    upper = replace(humeri(1, 0, 0)[0], id="upper", portions={"head": "most"})
    lower = replace(upper, id="lower", portions={"trochlea": "most"})
    right = humeri(0, 1, 0)
    bones = [upper, lower, *right]
    assert figures(bones, all_of(bones)) == {"sheep": (2, 2)}


def test_a_handful_on_one_docket_and_bones_without_a_side_tell_of_no_pair():
    bones = [replace(one, count=3) for one in humeri(1, 1, 0)]
    assert figures(bones, all_of(bones)) == {}
    ribs = [replace(one, element="skull") for one in humeri(2, 2, 0)]
    assert figures(ribs, all_of(ribs)) == {}


def test_a_reading_in_dispute_widens_the_range():
    sure = humeri(2, 2, 0)
    doubt = [
        replace(sure[0], id="doubt", side=side, sure=False, readings=2) for side in ("left", "right")
    ]  # fmt: skip
    bones = [*sure, *doubt]
    assert figures(bones, all_of(bones)) == {"sheep": (4, 5)}


def test_what_is_named_sheep_counts_for_sheep_and_for_sheep_or_goat():
    bones = [replace(one, taxon="sheep" if one.side == "left" else "sheep_goat") for one in humeri(3, 3, 1)]
    assert figures(bones, all_of(bones)) == {"sheep": (3, 3), "sheep_goat": (5, 5)}


def compared_rightly(of: Herd, rng: Random) -> tuple[list[Specimen], list[frozenset[str]]]:
    """A herd of which somebody compared some bones, and saw which are of one animal."""
    pieces = [(one, bone[0]) for one, bone in zip(of.specimens, of.bones, strict=True)]
    ids = [one.id for one, _ in pieces]
    comparisons = [frozenset(rng.sample(ids, rng.randint(0, len(ids)))) for _ in range(rng.randint(1, 2))]
    seen = {id_ for one in comparisons for id_ in one}
    return [replace(one, group=f"body{animal}" if one.id in seen else "") for one, animal in pieces], comparisons


@pytest.mark.parametrize("start", [0, 500])
def test_it_is_never_above_the_truth_where_the_comparison_was_right(start):
    above = 0
    for seed in range(start, start + 250):
        found = herd(seed)
        bones, comparisons = compared_rightly(found, Random(seed))
        plain = mni(bones, K)
        for taxon, (low, high) in figures(bones, comparisons).items():
            assert plain[taxon].low <= low == high <= len({animal for animal, _, _ in found.bones})
            above += low > plain[taxon].low
    assert above > 10, "the figure says more than the plain one often enough to be worth a comparison"


def test_a_comparison_that_missed_a_pair_gives_too_many():
    """It is as good as the eye that compared: said in the table's definition, and shown here."""
    bones = humeri(3, 3, 3)
    blind = [replace(one, group="") for one in bones]
    assert figures(bones, all_of(bones)) == {"sheep": (3, 3)}
    assert figures(blind, all_of(blind)) == {"sheep": (6, 6)}
