"""Cases of the rules about where and when animals lived."""

from __future__ import annotations

from typing import Any

from fieldapp.domain.rules import Around
from tests.domain.cases.records import BAG, CONTEXT, SOUND, Case, Cases, K, c, d, reading, shin

IN_BRITAIN = {"code": "HLG26", "region": "britain_ireland"}
IN_ANATOLIA = {"code": "HLG26", "region": "anatolia_near_east"}
IN_CENTRAL_EUROPE = {"code": "HLG26", "region": "central_europe"}


def found(
    taxon: str, site: dict[str, Any] | None = None, context: dict[str, Any] | None = None, bag: Any = BAG, **more: Any
) -> Case:
    """A light shin of an animal, in its context and its site."""
    around = Around(record="d1", bag=bag, context={**CONTEXT, **(context or {})}, site=site)
    return d(
        shin(taxon=taxon, portions={}, fusion={}, most=("distal_metaphysis",)), around, **{"weight_g": 0.5, **more}
    )


def dated(first: int | None, last: int | None) -> dict[str, Any]:
    return {"dating": {"from": first, "to": last}}


def site(**choices: Any) -> Case:
    return c({**SOUND["site"].values, **{path.replace("__", "/"): value for path, value in choices.items()}})


CASES: Cases = [
    (
        "docket",
        "taxon_before_its_time",
        "reading/taxon",
        found("donkey", IN_BRITAIN, dated(-800, -300)),
        found("donkey", IN_BRITAIN, dated(-800, 100)),
    ),
    (
        "docket",
        "taxon_likely_intrusive",
        "reading/taxon",
        found("rabbit", IN_BRITAIN, dated(100, 400)),
        found("rabbit", {**IN_BRITAIN, "region": "mediterranean"}, dated(100, 400)),
    ),
    (
        "docket",
        "taxon_after_its_time",
        "reading/taxon",
        found("aurochs", {**IN_BRITAIN, **dated(-500, -100)}),
        found("aurochs", {**IN_CENTRAL_EUROPE, **dated(-500, -100)}),
    ),
    ("docket", "taxon_out_of_place", "reading/taxon", found("gazelle", IN_BRITAIN), found("gazelle", IN_ANATOLIA)),
    ("docket", "taxon_brought_from_afar", "reading/taxon", found("camel", IN_BRITAIN), found("camel", IN_ANATOLIA)),
    (
        "docket",
        "burrower_in_sealed_deposit",
        "reading/taxon",
        found("badger", None, {"deposit": "sealed"}),
        found("badger", None, {"deposit": "disturbed"}),
    ),
    (
        "docket",
        "small_animal_by_hand",
        "reading/taxon",
        found("mole", bag={**BAG, "recovery": "hand", "mesh_mm": None}),
        found("mole"),
    ),
    (
        "docket",
        "wild_told_without_measure",
        "reading/compared",
        d(reading("tibia", "wild_boar", side="left", most=("distal_metaphysis",))),
        d(reading("tibia", "wild_boar", side="left", most=("distal_metaphysis",)), measure__1={"code": "Bd", "mm": 34}),
    ),
    (
        "site",
        "choice_unknown",
        "fusion_source/cattle",
        site(fusion_source__cattle="a book that nobody has"),
        site(fusion_source__cattle=K.sources_of("cattle")[-1]),
    ),
    (
        "site",
        "expected_years_unreadable",
        "plausible/rabbit",
        site(plausible__rabbit={"from": 500, "to": 100}),
        site(plausible__rabbit={"from": 100, "to": None}),
    ),
]
