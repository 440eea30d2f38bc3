"""Sizes: which figures count, what they come to, heights and indices; checked against printed examples and numpy.

Pages of Schülke 1965 and Hartmann-Frick 1960 were seen under https://www.eliechtensteinensia.li/viewer/fulltext/, where
the addresses below end.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp.assets import AssetError, knowledge, root, sizes, sizes_at
from fieldapp.domain.assemblage import withers
from fieldapp.domain.assemblage.size_tables import OWN, own_standards
from fieldapp.domain.assemblage.sizes import (
    Key,
    compares,
    index,
    log_size,
    one_each,
    pairs,
    robust_scores,
    summary,
    values,
)
from fieldapp.domain.assemblage.specimens import Measured, Specimen

KNOW = knowledge()


def bone(name: str = "a", element: str | None = "metatarsal", taxon: str | None = "cattle", **more) -> Specimen:
    """A specimen; `more` may name measurements by code."""
    own = {code: more.pop(code) for code in list(more) if code[0].isupper()}
    measures = more.pop("measures", ()) or tuple(Measured(code, mm) for code, mm in own.items())
    return Specimen(name, name.upper(), element=element, taxon=taxon, measures=measures, **more)


def height(value, factor_name: str, sex: str = "") -> float:
    """The height in centimetres that a factor gives for the only value of some specimens."""
    (found,) = [
        mm / 10 for factor, mm in withers.of_bone(value, sizes(), KNOW)
        if factor.name == factor_name and factor.sex == sex
    ]  # fmt: skip
    return found


# -- Which figures count --


def test_growing_burnt_unnamed_and_guessed_figures_are_left_out_each_with_its_reason():
    specimens = [
        bone("good", Bd=55.0, fusion={"distal": "fused"}),
        bone("open", Bd=50.0, fusion={"distal": "unfused"}),
        bone("woven", Bd=50.0, texture="woven"),
        bone("burnt", Bd=50.0, surface={"burning": "calcined"}),
        bone("class", Bd=50.0, taxon="large_mammal"),
        bone("odd", Bd=50.0, taxon="gryphon"),
        bone("guess", measures=(Measured("Bd", 54.0, estimated=True),)),
        bone("foot", "metacarpal", "pig", GL=70.0),
        bone("plain", None, None),
    ]
    found = values(specimens, KNOW)
    assert [one.id for one in found.found] == ["good"]
    assert [one.id for one in found.estimated] == ["guess"]
    assert {why: [one.id for one in those] for why, those in found.out.items()} == {
        "measures_young": ["open", "woven"],
        "measures_burnt": ["burnt"],
        "measures_unnamed": ["class", "odd"],
        "measures_estimated": ["guess"],
        "measures_no_digit": ["foot"],
    }
    everything = values(specimens, KNOW, "all", burnt=True, estimated=True)
    assert [one.id for one in everything.found] == ["good", "open", "woven", "burnt", "guess"]


def test_only_fused_asks_that_the_ends_are_seen_joined():
    unseen, seen = bone("unseen", Bd=55.0), bone("seen", Bd=55.0, fusion={"distal": "fused"})
    elsewhere = bone("elsewhere", "radius", Bp=80.0, fusion={"proximal": "fused", "distal": "unfused"})
    found = values([unseen, seen, elsewhere], KNOW, "joined").found
    assert [one.id for one in found] == ["unseen", "seen", "elsewhere"]
    assert [one.id for one in values([unseen, seen, elsewhere], KNOW, "fused").found] == ["seen"]


def test_the_same_measurement_twice_is_averaged_if_both_agree_and_else_left_out():
    def twice(first: float, second: float, **more):
        return values([bone(measures=(Measured("Bd", first), Measured("Bd", second)), **more)], KNOW)

    assert [one.mm for one in twice(50.0, 50.4).found] == [pytest.approx(50.2)]
    assert twice(50.0, 58.0).found == []
    assert [*twice(50.0, 58.0).out] == ["measures_repeated"]
    assert [one.mm for one in twice(50.0, 58.0, count=2).found] == [50.0, 58.0], "of two bones each has its own"


def test_a_bone_in_dispute_counts_once_if_animal_bone_and_growth_agree():
    cattle, disputed = bone(Bd=55.0, sure=False, readings=2, sex="female"), {"measures_disputed"}
    assert values([cattle, bone(Bd=55.0, taxon="red_deer", sure=False, readings=2)], KNOW).out.keys() == disputed
    assert values([cattle], KNOW).out.keys() == disputed, "of two readings one is asked for"
    gone = [bone(Bd=55.0, sure=False, readings=0, count=count) for count in (1, 2)]
    assert values(gone, KNOW).out.keys() == disputed, "deleted by one, and not by another"
    (one,) = values([cattle, bone(Bd=55.0, sure=False, readings=2, sex="male")], KNOW).found
    assert one.sex == ""


def test_one_bone_under_two_labels_gives_each_measurement_once():
    both = [bone("a", Bd=55.0, bone="same"), bone("b", Bd=55.2, GL=210.0, bone="same")]
    assert [(one.id, one.key.code, one.mm) for one in values(both, KNOW).found] == [("a", "Bd", 55.1), ("b", "GL", 210)]


def test_what_one_has_measured_goes_before_what_another_has_estimated():
    guess = bone("a", bone="same", measures=(Measured("Bd", 50.0, True),))
    assert [(one.id, one.mm) for one in values([guess, bone("b", Bd=55.0, bone="same")], KNOW).found] == [("b", 55.0)]
    apart = values([bone("a", Bd=50.0, bone="same"), bone("b", Bd=55.0, bone="same")], KNOW)
    assert (apart.found, [one.id for one in apart.out["measures_repeated"]]) == ([], ["a", "b"])


def test_pieces_that_fit_are_one_bone_with_the_measurements_of_both():
    fitting = [bone("a", Bp=44.5, fitted="f"), bone("b", Bd=55.0, fitted="f")]
    for refits, n in ((True, 1), (False, 2)):
        found = values(fitting, KNOW, refits=refits).found
        assert len(one_each(found, sizes().standards, KNOW, "breadth")[0]) == n
        assert len(pairs(found, ("", "Bp"), ("", "Bd"))[0]) == 2 - n


def test_who_says_that_a_bone_is_burnt_leaves_it_out_until_that_is_settled():
    argued = bone(Bd=55.0, open=frozenset({"burning"}))
    assert values([argued], KNOW).out.keys() == {"measures_disputed"}
    assert len(values([argued], KNOW, burnt=True).found) == 1


# -- Summaries --


@given(st.lists(st.floats(1, 500), min_size=1, max_size=30))
def test_summaries_are_those_of_numpy(figures):
    told = summary(figures)
    assert told.n == len(figures)
    assert (told.low, told.high) == (min(figures), max(figures))
    assert told.mean == pytest.approx(np.mean(figures))
    assert told.median == pytest.approx(np.median(figures))
    if len(figures) < 2:
        assert (told.sd, told.cv) == (None, None)
    else:
        assert told.sd == pytest.approx(np.std(figures, ddof=1), abs=1e-9)
        assert told.cv == pytest.approx(100 * np.std(figures, ddof=1) / np.mean(figures), abs=1e-9)


def test_of_nothing_there_is_a_number_and_no_more():
    assert summary([]).n == 0
    assert summary([]).mean is None


def test_robust_scores_find_the_slip_and_say_nothing_of_few_or_of_all_the_same():
    scores = robust_scores([54, 55, 55.5, 56, 57, 5.6])
    assert [abs(one or 0) > 3.5 for one in scores] == [False] * 5 + [True]
    # By hand: median 55.25, median distance 1.0, so the last lies at 0.6745 x -49.65.
    assert scores[-1] == pytest.approx(0.6745 * -49.65)
    assert robust_scores([1, 2, 3, 40]) == [None] * 4
    assert robust_scores([5, 5, 5, 5, 9]) == [None] * 5


# -- Indices --


@pytest.mark.parametrize(
    ("gl", "sd", "printed"),
    [(62.5, 5.4, 8.6), (62.5, 5.3, 8.4), (62.0, 6.0, 9.6), (61.0, 5.0, 8.2), (60.5, 5.3, 8.7), (60.0, 5.2, 8.6)],
)
def test_indices_of_fowl_metatarsals_are_those_printed(gl, sd, printed):
    """Schülke 1965, p.236 (class P, seen at 000000453_64/228/). The source cuts off most rows: 0.1."""
    assert index(sd, gl) == pytest.approx(printed, abs=0.1)


def test_a_cattle_metatarsal_has_the_indices_that_are_printed():
    """Hartmann-Frick 1960, p.145 (class P, seen at 000000453_59/149/): Bp/GL 21.1, SD/GL 11.4."""
    found = values([bone(GL=210.5, Bp=44.5, SD=24.0, Bd=55.0)], KNOW).found
    told = {}
    for code in ("Bp", "SD"):
        ((length, breadth),), _ = pairs(found, ("", "GL"), ("", code))
        told[code] = round(index(breadth.mm, length.mm), 1)
    assert told == {"Bp": 21.1, "SD": 11.4}


def test_log_sizes_of_a_pair_of_metatarsals():
    """The pair is printed in Hartmann-Frick 1960, p.145 (class C: log10 worked out from it by hand, four digits)."""
    found = values([bone(GL=210.5, Bp=44.5, SD=24.0, Bd=55.0)], KNOW).found
    standards = {one.code: one.mm for one in sizes().standards if one.name.startswith("recent cow")}
    told = {one.key.code: round(log_size(one.mm, standards[one.key.code]), 4) for one in found}
    assert told == {"GL": -0.0747, "Bp": -0.1873, "SD": -0.1513, "Bd": -0.1016}
    assert log_size(210.5, 250) * math.log(10) == pytest.approx(-0.1720, abs=5e-5), "not the natural logarithm"


def test_a_bone_counts_once_with_what_stands_first_in_the_standard():
    found = values([bone("a", SD=24.0, Bd=55.0), bone("b", Bp=44.5), bone("c", GL=210.0, Bd=54.0, count=2)], KNOW).found
    told, several = one_each(found, sizes().standards, KNOW, "breadth")
    assert [(value.id, value.key.code) for value, _, _ in told] == [("a", "Bd"), ("b", "Bp")]
    assert several == {"c"}
    assert [value.id for value, _, _ in one_each(found, sizes().standards, KNOW, "depth")[0]] == []


def test_bones_of_one_animal_count_once_if_groups_are_counted_as_one():
    found = values([bone("a", Bp=44.5, group="cow"), bone("b", Bd=55.0, group="cow"), bone("c", Bd=56.0)], KNOW).found
    told, _ = one_each(found, sizes().standards, KNOW, "breadth", by_group=True)
    assert [value.id for value, _, _ in told] == ["b", "c"]


def test_a_standard_holds_for_its_animal_for_what_lies_under_it_and_for_what_cannot_be_told_from_it():
    assert [one for one in ("sheep", "goat", "sheep_goat", "roe_deer", "cattle") if compares(one, "sheep", KNOW)] == [
        "sheep", "goat", "sheep_goat",
    ]  # fmt: skip
    assert compares("wild_boar", "pig_boar", KNOW)
    assert not compares("wild_boar", "pig", KNOW)
    assert not compares("roe_deer", "red_deer", KNOW)


def test_a_site_has_standards_of_its_own_and_what_has_an_odd_shape_is_left_aside():
    good = {"name": "our ewes", "taxon": "sheep", "element": "tibia", "code": "Bd", "mm": 25.5, "source": "measured"}
    site = {"standard/1": good, "standard/2": {**good, "mm": -1}, "standard/3": "x", "standard/4": {**good, "name": 3}}
    ordered = {"a": {**good, "code": "SD", "order": 2}, "b": {**good, "code": "Dd", "order": 1}}
    assert [one.code for one in own_standards({f"standard/{key}": one for key, one in ordered.items()})] == ["Dd", "SD"]
    (one,) = own_standards(site)
    assert (one.name, one.element, one.mm, one.seen) == ("our ewes", "tibia", 25.5, OWN)


# -- Withers heights --


def test_a_cow_metatarsal_by_two_factors():
    """Worked example: GL 210.5 (Hartmann-Frick 1960, p.145). Class C: the factor for cows of Boessneck 1956 was seen in
    Schülke 1965 (000000453_64/204/); that of Matolcsi 1970 is from memory."""
    (value,) = values([bone(GL=210.5, sex="female")], KNOW).found
    assert height(value, "Boessneck 1956", "female") == pytest.approx(118.5, abs=0.05)
    assert height(value, "Matolcsi 1970", "female") == pytest.approx(112.2, abs=0.05)
    # Class P: the heights of 117.5 and 125 cm that are printed for this bone, from which factors were derived here.
    assert height(value, "Boessneck 1956, Dachau cow", "female") == pytest.approx(117.5, abs=0.1)
    assert height(value, "Boessneck 1956, Serbian cow", "female") == pytest.approx(125.0, abs=0.1)


def test_a_dog_humerus_by_regression():
    """Harcourt 1974, recalled (class M): 3.43 x 150 - 26.54 = 487.96 mm."""
    (value,) = values([bone(element="humerus", taxon="dog", GL=150.0)], KNOW).found
    assert height(value, "Harcourt 1974") == pytest.approx(48.796)
    assert height(value, "Koudelka 1885") == pytest.approx(50.55)


def test_a_horse_metatarsal_is_of_the_class_that_is_printed():
    """Hartmann-Frick 1960, pp.72, 77 (class P): Ll 256 mm, a horse of 136 to 140 cm, medium-sized after Vitt 1952."""
    (value,) = values([bone(taxon="horse", Ll=256.0)], KNOW).found
    cm = height(value, "Kiesewalter 1888")
    assert 136 <= cm <= 140
    found = withers.size_class(cm * 10, "horse", sizes(), KNOW)
    assert found is not None
    assert found.key == "medium"


def test_a_height_at_the_border_is_of_the_class_above_and_one_too_tall_of_none():
    keys = [getattr(withers.size_class(cm * 10, "horse", sizes(), KNOW), "key", None) for cm in (111.9, 112, 144, 161)]
    assert keys == ["dwarf", "very_small", "above_medium", None]
    assert withers.size_class(1300, "cattle", sizes(), KNOW) is None


def test_a_factor_for_one_sex_is_not_used_on_a_bone_of_another_or_of_none():
    def sexes(sex: str | None, any_sex: bool = False) -> set[str]:
        (value,) = values([bone(GL=210.5, sex=sex)], KNOW).found
        return {factor.sex for factor, _ in withers.of_bone(value, sizes(), KNOW, any_sex)}

    assert sexes("male") == {"", "male"}
    assert sexes(None) == {""}
    assert sexes(None, any_sex=True) == {"", "female", "male", "castrate"}


def test_a_radius_grown_to_its_ulna_gives_the_height_of_a_radius_and_sheep_or_goat_gives_none():
    (value,) = values([bone(element="radio_ulna", taxon="sheep", GL=150.0)], KNOW).found
    assert height(value, "Teichert 1975") == pytest.approx(60.3)
    (value,) = values([bone(element="radius", taxon="sheep_goat", GL=150.0)], KNOW).found
    assert withers.of_bone(value, sizes(), KNOW) == []


def test_every_factor_and_standard_is_of_a_measurement_that_can_be_written_down():
    for one in (*sizes().factors, *sizes().standards):
        row = KNOW.measures.one(one.element, one.code, one.taxon, one.position or None)
        assert row is not None, one
        assert row.position == one.position, one


def test_no_factor_from_memory_is_called_seen_and_the_doubted_are_marked():
    for one in sizes().factors:
        assert one.seen.startswith("verified:") or one.seen == "memory"
        if one.name.startswith(("Zalkin", "May")) or one.sex == "castrate":
            assert one.trust == "low", one


def test_a_table_that_contradicts_itself_is_refused(tmp_path):
    folder = tmp_path / "reference"
    folder.mkdir()
    for name in ("withers_factors", "horse_size_classes", "size_standards"):
        text = (root() / "reference" / f"{name}.csv").read_text(encoding="utf-8")
        (folder / f"{name}.csv").write_text(text.replace(",3.43,-26.54,regression", ",3.43,0,regression"), "utf-8")
    with pytest.raises(AssetError) as error:
        sizes_at(tmp_path)
    assert (error.value.file, error.value.line > 1) == ("reference/withers_factors.csv", True)


def test_keys_tell_bones_of_the_foot_apart_where_one_is_not_like_another():
    specimens = [bone("a", "metacarpal", "pig", GL=70.0, position="3"), bone("b", "metacarpal", GL=190.0)]
    assert [one.key for one in values(specimens, KNOW).found] == [
        Key("pig", "metacarpal", "3", "GL"),
        Key("cattle", "metacarpal", "", "GL"),
    ]


MEASURED = st.lists(
    st.tuples(
        st.sampled_from(["cattle", "aurochs", "sheep", "goat", "large_mammal", "gryphon", None]),
        st.sampled_from(["metatarsal", "tibia", "long_bone", "wing", None]),
        st.lists(st.tuples(st.sampled_from(["GL", "Bd", "SD", "odd"]), st.floats(1, 400), st.booleans()), max_size=3),
        st.integers(1, 3),
        st.sampled_from(["", "herd"]),
    ),
    max_size=8,
)


@given(MEASURED, st.sampled_from(["joined", "fused", "all"]), st.booleans())
def test_of_whatever_was_written_each_bone_gives_one_log_size_at_most_and_what_gives_none_has_a_reason(
    those, growth, estimated
):
    specimens = [
        bone(f"b{n}", element, taxon, count=count, group=group, measures=tuple(Measured(*one) for one in measures))
        for n, (taxon, element, measures, count, group) in enumerate(those)
    ]
    found = values(specimens, KNOW, growth, estimated=estimated)
    with_value = {one.id for one in found.found}
    told = {one.id for specimens_ in found.out.values() for one in specimens_}
    assert {one.id for one in specimens if one.measures} <= with_value | told
    index_of, several = one_each(found.found, sizes().standards, KNOW)
    ids = [value.id for value, _, _ in index_of]
    assert len(ids) == len(set(ids))
    assert several.isdisjoint(ids)
    assert {value.id for value, _, _ in one_each(found.found, sizes().standards, KNOW, by_group=True)[0]} <= {*ids}
