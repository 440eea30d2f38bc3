"""Where and when animals are to be expected, how a site changes it, and what is asked of a bone out of its time."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.domain.presence import ANYWHERE, own_span, span_of
from fieldapp.domain.rules import Around
from tests.domain.cases.presence import IN_BRITAIN, dated, found
from tests.domain.cases.records import BAG, CONTEXT, Case, d, reading, shin

K = assets.knowledge()
PRESENCE = K.presence
TEXTS = assets.texts()


def fired(case: Case, know: Any = K) -> set[str]:
    return {problem.rule for problem in rules.check_docket(case.values, case.around, know)}


def said(case: Case, rule: str) -> str:
    problems = rules.check_docket(case.values, case.around, K)
    return next(rules.sentence(problem, TEXTS) for problem in problems if problem.rule == rule)


# The table


def test_every_row_says_where_it_is_from_and_none_claims_to_have_been_seen() -> None:
    assert len(PRESENCE.limits) > 60
    for limit in PRESENCE.limits:
        recalled = limit.source.endswith("(recalled)") and limit.seen == "memory"
        assert recalled or (limit.source, limit.seen) == ("common practice, no source", "-"), limit
        assert set(limit.regions) <= set(K.words["region"])
        assert limit.what in K.words["presence"]


@pytest.mark.parametrize(
    ("taxon", "region", "dating", "expected"),
    [
        # common practice, no source: what any specialist of the region would say
        ("rabbit", "britain_ireland", (-100, 300), False),
        ("rabbit", "britain_ireland", (1200, 1300), True),
        ("rabbit", "britain_ireland", (900, 1200), True),
        ("rabbit", "mediterranean", (-100, 300), True),
        ("mountain_hare", "britain_ireland", (-100, 300), True),
        ("hare_rabbit", "britain_ireland", (-100, 300), True),
        ("brown_rat", "central_europe", (1200, 1300), False),
        ("brown_rat", "mediterranean", (1750, 1800), True),
        ("black_rat", "britain_ireland", (100, 200), True),
        ("black_rat", "britain_ireland", (-900, -700), False),
        ("rat", "britain_ireland", (-900, -700), True),
        ("aurochs", "britain_ireland", (-3000, -2000), True),
        ("aurochs", "britain_ireland", (100, 400), False),
        ("aurochs", "central_europe", (100, 400), True),
        ("aurochs", "central_europe", (1700, 1800), False),
        ("cattle", "britain_ireland", (100, 400), True),
        ("cattle", "britain_ireland", (-7000, -5000), False),
        ("sheep", "northern_europe", (-7000, -5500), False),
        ("wild_boar", "britain_ireland", (-7000, -5000), True),
        ("fowl", "northern_europe", (-2000, -1500), False),
        ("fowl", "britain_ireland", (100, 400), True),
        ("turkey", "anatolia_near_east", (1000, 1200), False),
        ("fallow_deer", "britain_ireland", (-1500, -800), False),
        ("red_deer", "britain_ireland", (-1500, -800), True),
        ("great_auk", "northern_europe", (1000, 1200), True),
        ("great_auk", "northern_europe", (1900, 1950), False),
        ("camel", "northern_europe", None, False),
        ("camel", "anatolia_near_east", None, True),
        ("cod", "mediterranean", None, False),
        ("cod", "northern_europe", None, True),
        ("human", "britain_ireland", (-9000, 1900), True),
        ("unknown", "britain_ireland", (-9000, 1900), True),
        ("no such", "no such", None, True),
    ],
)
def test_an_animal_is_expected_where_and_when_it_lived(
    taxon: str, region: str, dating: tuple[int, int] | None, expected: bool
) -> None:
    years = {"from": dating[0], "to": dating[1]} if dating else None
    assert PRESENCE.expected(taxon, region, years) is expected
    assert bool(PRESENCE.against(taxon, region, years)) is not expected


def test_a_deposit_that_reaches_into_the_animals_time_says_nothing_against_it() -> None:
    assert PRESENCE.expected("rabbit", "britain_ireland", {"from": -100, "to": 1066})
    assert not PRESENCE.expected("rabbit", "britain_ireland", {"from": -100, "to": 1065})
    assert PRESENCE.expected("rabbit", "britain_ireland", {"from": -100, "to": None})
    assert not PRESENCE.expected("rabbit", "britain_ireland", {"from": None, "to": 400})
    assert PRESENCE.expected("wolf", "britain_ireland", {"from": 1700, "to": 1900})
    assert not PRESENCE.expected("wolf", "britain_ireland", {"from": 1850, "to": 1900})


@pytest.mark.parametrize(
    "dating", [None, True, "Roman", {}, {"from": 500, "to": 100}, {"to": "400"}, {"to": True}, {"to": 1.5}, [1, 2]]
)
def test_what_is_no_dating_says_nothing_against_an_animal(dating: Any) -> None:
    assert span_of(dating) is None
    assert PRESENCE.expected("rabbit", "britain_ireland", dating)
    assert not PRESENCE.expected("camel", "britain_ireland", dating)


def test_a_row_of_the_region_comes_before_what_holds_everywhere() -> None:
    assert [limit.year for limit in PRESENCE.limits_of("aurochs")] == [1650]
    assert [limit.year for limit in PRESENCE.limits_of("aurochs", "britain_ireland")] == [-800]
    assert PRESENCE.limits_of("aurochs", "no such") == PRESENCE.limits_of("aurochs", ANYWHERE)


def test_a_pair_does_not_take_over_what_is_said_of_one_of_its_animals_but_they_take_over_what_is_said_of_it() -> None:
    assert not PRESENCE.limits_of("hare_rabbit", "britain_ireland")
    assert [limit.taxon for limit in PRESENCE.limits_of("goat", "britain_ireland")] == ["sheep_goat"]


@pytest.mark.parametrize(
    ("cells", "what"),
    [
        ({"taxon": "dragon"}, "'dragon'"),
        ({"region": "atlantis"}, "'atlantis"),
        ({"what": "seldom"}, "not one of"),
        ({"from_year": ""}, "`from_year` left empty"),
        ({"to_year": "1900"}, "`to_year` 1900"),
        ({"from_year": "long ago"}, "not a number"),
        ({"from_year": "0"}, "0 is no year"),
        ({"from_year": "1066.5"}, "1066.5 is no year"),
        ({"region": "britain_ireland|northern_europe"}, "rabbit in northern_europe twice"),
    ],
)
def test_a_row_that_says_what_cannot_be_is_named_with_its_line(
    tmp_path: Path, cells: dict[str, str], what: str
) -> None:
    shutil.copytree(assets.root() / "reference", tmp_path / "reference")
    path = tmp_path / "reference" / "presence.csv"
    with path.open(newline="", encoding="utf-8") as opened:
        rows = list(csv.DictReader(opened))
    at = next(at for at, row in enumerate(rows) if row["taxon"] == "rabbit")
    rows[at].update(cells)
    with path.open("w", newline="", encoding="utf-8") as opened:
        writer = csv.DictWriter(opened, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    with pytest.raises(assets.AssetError, match=what) as caught:
        assets.knowledge_at(tmp_path)
    assert caught.value.file == "reference/presence.csv"
    assert caught.value.line >= at + 2


# A site's own choices


def test_a_site_without_choices_has_the_knowledge_of_the_tables_itself() -> None:
    for site in (None, {}, {"code": "HLG26", "region": "britain_ireland"}, [], "x", 1, {1: 2}):
        assert K.at_site(site) is K


def test_a_site_sets_its_own_years_for_an_animal() -> None:
    own = K.at_site({"plausible/rabbit": {"from": 50, "to": 1900}})
    roman = {"from": 100, "to": 200}
    assert own.presence.expected("rabbit", "britain_ireland", roman)
    assert not PRESENCE.expected("rabbit", "britain_ireland", roman)
    older, later = {"from": -500, "to": -300}, {"from": 1950, "to": 1990}
    # How too old a bone has mostly come in is still known.
    assert [limit.what for limit in own.presence.against("rabbit", "britain_ireland", older)] == ["intrusive"]
    assert [limit.what for limit in own.presence.against("rabbit", "britain_ireland", later)] == ["gone"]
    assert [limit.source for limit in own.presence.limits_of("rabbit")] == ["the site's own choice"] * 2
    assert own.presence.limits_of("donkey", "britain_ireland") == PRESENCE.limits_of("donkey", "britain_ireland")


@pytest.mark.parametrize("always", [True, {"from": None, "to": None}, {"from": None}])
def test_a_site_may_expect_an_animal_always(always: Any) -> None:
    own = K.at_site({"plausible/camel": always, "plausible/rabbit": always})
    assert own.presence.expected("camel", "britain_ireland")
    assert own.presence.expected("rabbit", "britain_ireland", {"from": -100, "to": 100})


def test_what_a_site_says_of_a_group_holds_for_all_under_it_but_for_what_it_says_of_one() -> None:
    old = {"from": -9000, "to": -8000}
    own = K.at_site({"plausible/sheep_goat": True, "plausible/goat": {"from": 1, "to": None}}).presence
    assert own.expected("sheep", "britain_ireland", old)
    assert not own.expected("goat", "britain_ireland", old)
    assert K.at_site({"plausible/hare_rabbit": True}).presence.expected("rabbit", "britain_ireland", old)


def test_a_site_takes_the_fusion_ages_of_an_animal_from_one_other_source() -> None:
    usual = {row.source for row in K.fusion_ages if row.taxon == "pig" and row.chosen}
    other = next(source for source in K.sources_of("pig") if source not in usual)
    own = K.at_site({"fusion_source/pig": other})
    assert {row.source for row in own.fusion_ages if row.taxon == "pig" and row.chosen} == {other}
    assert [row for row in own.fusion_ages if row.taxon != "pig"] == [
        row for row in K.fusion_ages if row.taxon != "pig"
    ]
    for row in own.fusion_ages:
        if row.taxon == "pig" and own.fusion_range("pig", row.element, row.centre) is not None:
            assert any(
                one.chosen and (one.element, one.centre) == (row.element, row.centre)
                for one in own.fusion_ages
                if one.taxon == "pig"
            )
    assert {row.source for row in K.fusion_ages if row.taxon == "pig" and row.chosen} == usual


def test_the_ages_of_a_pair_are_not_spanned_over_two_sources() -> None:
    usual = {row.source for row in K.fusion_ages if row.taxon == "sheep" and row.chosen}
    other = next(source for source in K.sources_of("sheep") if source not in usual)
    own = K.at_site({"fusion_source/sheep": other})
    assert K.fusion_range("sheep_goat", "tibia", "distal") is not None
    assert own.fusion_range("sheep_goat", "tibia", "distal") is None
    assert own.fusion_range("goat", "tibia", "distal") == K.fusion_range("goat", "tibia", "distal")


def test_the_knowledge_of_a_site_is_made_once_and_leads_back_to_the_tables() -> None:
    choices = {"plausible/rabbit": True, "code": "HLG26"}
    own = K.at_site(choices)
    assert own is not K
    assert K.at_site(dict(choices)) is own
    assert own.at_site(choices) is own
    assert own.at_site({}) is K
    for year in range(30):
        assert not K.at_site({"plausible/rabbit": {"from": 1500 + year, "to": None}}).presence.expected(
            "rabbit", None, {"from": 1400, "to": 1450}
        )
    assert K.at_site({}) is K
    assert K.at_site(choices).presence.expected("rabbit", "britain_ireland", {"from": 1, "to": 2})


def test_choices_that_name_nothing_in_the_tables_are_left_aside() -> None:
    for choices in (
        {"plausible/dragon": True},
        {"plausible/rabbit": {"from": 500, "to": 100}},
        {"plausible/rabbit": "always"},
        {"plausible/rabbit": None},
        {"plausible/": True},
        {"fusion_source/cattle": "a book that nobody has"},
        {"fusion_source/cattle": ["a"]},
        {"fusion_source/dragon": K.sources_of("cattle")[0]},
        {"fusion_source": {"cattle": K.sources_of("cattle")[0]}},
    ):
        assert K.at_site(choices) is K, choices


odd = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["from", "to", "x"]), inner),
    max_leaves=6,
)
paths = st.builds(
    "/".join,
    st.lists(
        st.sampled_from(["plausible", "fusion_source", "", "rabbit", "cattle", "sheep_goat", "region", "dragon"])
        | st.text(max_size=3),
        max_size=3,
    ),
)
sites = st.dictionaries(paths | odd.filter(lambda key: isinstance(key, str | int)), odd, max_size=5) | odd


@given(sites, odd, odd, odd)
def test_no_site_and_no_question_makes_it_raise(site: Any, taxon: Any, region: Any, dating: Any) -> None:
    own = K.at_site(site)
    for key in ("rabbit", "camel", "sheep", taxon if isinstance(taxon, str) else None):
        where = region if isinstance(region, str) else None
        assert isinstance(own.presence.expected(key, where, dating), bool)
        assert own.presence.expected(key, "britain_ireland", dating) is not bool(
            own.presence.against(key, "britain_ireland", dating)
        )
    assert own_span(dating) is None or dating is True or isinstance(dating, dict)


# The rules


def test_a_sound_bone_of_a_dated_context_in_a_known_region_breaks_no_rule() -> None:
    for taxon in ("cattle", "sheep", "pig", "red_deer"):
        bag = {**BAG, "recovery": "hand", "mesh_mm": None}
        around = Around(
            record="d1", bag=bag, context={**CONTEXT, **dated(-300, 200), "deposit": "sealed"}, site=IN_BRITAIN
        )
        compared = shin(taxon=taxon, compared="the unit's own skeletons")
        assert rules.check_docket(d(compared).values, around, K) == ()


def test_the_context_s_dating_comes_before_the_site_s_and_the_site_s_fills_in_for_none() -> None:
    medieval = {**IN_BRITAIN, **dated(1200, 1300)}
    assert "taxon_likely_intrusive" in fired(found("rabbit", medieval, dated(-100, 100)))
    assert "taxon_likely_intrusive" not in fired(found("rabbit", medieval, {"dating": "Roman"}))
    assert "taxon_likely_intrusive" not in fired(found("rabbit", medieval, dated(None, None)))
    assert "taxon_likely_intrusive" in fired(found("rabbit", {**IN_BRITAIN, **dated(-100, 100)}))


def test_without_a_dating_or_a_region_nothing_is_held_against_a_rabbit() -> None:
    for case in (found("rabbit"), found("rabbit", IN_BRITAIN), found("rabbit", None, dated(-100, 100))):
        assert "taxon_likely_intrusive" not in fired(case)


def test_what_the_site_chose_quiets_the_rule() -> None:
    case = found("rabbit", IN_BRITAIN, dated(100, 400))
    assert "taxon_likely_intrusive" in fired(case)
    assert "taxon_likely_intrusive" not in fired(case, K.at_site({**IN_BRITAIN, "plausible/rabbit": True}))


def test_the_sentence_names_animal_place_and_year() -> None:
    sentence = said(found("rabbit", IN_BRITAIN, dated(100, 400)), "taxon_likely_intrusive")
    assert sentence.startswith("Bones of rabbit from before 1066 AD in Britain and Ireland ")
    sentence = said(found("aurochs", IN_BRITAIN, dated(100, 400)), "taxon_after_its_time")
    assert "800 BC" in sentence
    assert "in this part of the world" in said(found("turkey", IN_BRITAIN, dated(1, 2)), "taxon_before_its_time")


def test_a_burrower_is_noted_once_however_the_deposit_lay() -> None:
    for deposit, rule in (
        (None, {"burrower"}),
        ("unknown", {"burrower"}),
        ("sealed", {"burrower_in_sealed_deposit"}),
        ("disturbed", set()),
        ("open", set()),
    ):
        case = found("mole", None, {"deposit": deposit})
        assert fired(case) & {"burrower", "burrower_in_sealed_deposit"} == rule


@pytest.mark.parametrize(("taxon", "kin"), [("aurochs", "cattle or aurochs"), ("wolf", "dog or wolf")])
def test_a_wild_form_is_told_from_its_kept_kin_by_measure_or_comparison(taxon: str, kin: str) -> None:
    case = d(reading("tibia", taxon, side="left", most=("distal_metaphysis",)))
    assert kin in said(case, "wild_told_without_measure")
    for quiet in (
        reading("tibia", taxon, side="left", compared="a unit's own skeletons"),
        reading("tibia", taxon, side="left", certainty="cf"),
    ):
        assert "wild_told_without_measure" not in fired(d(quiet))


@pytest.mark.parametrize("taxon", ["red_fox", "red_deer", "brown_hare", "cattle", "horse", "mallard", "cod", "ibex"])
def test_an_animal_without_a_kept_double_is_not_asked_for_a_measure(taxon: str) -> None:
    assert "wild_told_without_measure" not in fired(d(reading("vertebra", taxon)))


@pytest.mark.parametrize("taxon", ["mole", "frog", "herring", "thrush", "house_mouse"])
def test_tiny_bones_picked_up_by_hand_call_for_a_sample(taxon: str) -> None:
    by_hand = {**BAG, "recovery": "hand", "mesh_mm": None}
    assert "small_animal_by_hand" in fired(found(taxon, bag=by_hand))
    assert "small_animal_by_hand" not in fired(found(taxon, bag=BAG))
    assert "small_animal_by_hand" not in fired(found("cat", bag=by_hand))
