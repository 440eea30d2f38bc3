"""Two published assemblages in the project's words: what can be said of 6,879 fragments that others recorded.

The data, their authors and licence are named in tests/data/outside/open_context/README.md. The figures that are met
here (fusion, specimens for each animal) are the publisher's own.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from types import MappingProxyType

import pytest

from fieldapp import assets
from fieldapp.domain import rules
from fieldapp.records.schemas import problems_of
from tests.open_data.reading import ASSEMBLAGES, Row, mapping, rows, table

KNOW = assets.knowledge()
SHARE = 0.98
"""Of the rows whose animal and bone are stated, the share that must be expressed in full."""

FUSION = MappingProxyType(
    {
        ("barcin", "proximal"): (148, 5, 89),
        ("barcin", "distal"): (161, 7, 140),
        ("mentese", "proximal"): (85, 11, 116),
        ("mentese", "distal"): (83, 15, 150),
    }
)
"""(fused, fusing, unfused) in the publisher's normalised columns, counted in the full files."""

SLIPS = MappingProxyType({("barcin", "weight_not_positive"): 2})
"""{(assemblage, rule): rows of the published data that cannot be as written}, each looked at.

Two bones weigh 0 g: less than the balance showed.
"""


@cache
def found() -> tuple[Row, ...]:
    return tuple(rows(KNOW))


def of(assemblage: str) -> list[Row]:
    return [row for row in found() if row.assemblage == assemblage]


def missing() -> Counter[tuple[str, str, str]]:
    return Counter((row.assemblage, *what) for row in found() for what in row.missing)


@pytest.mark.parametrize("assemblage", ASSEMBLAGES)
def test_nearly_every_row_whose_animal_and_bone_are_stated_can_be_expressed(assemblage, record_property):
    stated = [row for row in of(assemblage) if row.stated]
    full = [row for row in stated if not row.missing]
    lacking = Counter(what for row in stated for what in row.missing)
    told = f"{assemblage}: {len(full)} of {len(stated)} rows ({len(full) / len(stated):.2%}); missing: {dict(lacking)}"
    record_property("expressed", told)
    print(told)
    assert len(full) / len(stated) >= SHARE, told


def test_every_row_is_a_record_and_every_word_of_it_is_known():
    assert (len(of("barcin")), len(of("mentese"))) == (3742, 3137)
    unknown = Counter()
    for row in found():
        problems = rules.check_docket(row.values, rules.Around(), KNOW)
        unknown.update((one.path, one.fields["word"]) for one in problems if one.rule == "word_unknown")
    assert unknown == {}


def test_every_record_has_the_shapes_of_its_paths():
    wrong = Counter(
        f"{path}: {why}"
        for row in found()
        for path, why in problems_of("docket", shaped(row)).items()
        if path != "label"
    )
    assert wrong == {}


def shaped(row: Row) -> dict[str, object]:
    """A row's values without the label, which is not one of ours."""
    return {path: value for path, value in row.values.items() if path != "label"}


def test_what_is_called_impossible_are_slips_of_the_published_data():
    fired = Counter(
        (row.assemblage, problem.rule)
        for row in found()
        for problem in rules.check_docket(row.values, rules.Around(), KNOW)
        if problem.level == "impossible"
    )
    assert fired == dict(SLIPS)


@pytest.mark.parametrize(("assemblage", "end"), FUSION)
def test_the_publisher_s_fusion_is_counted_again_from_our_records(assemblage, end):
    ours: Counter[str] = Counter()
    for row in of(assemblage):
        if not row.cells[f"fusion_{end}"]:
            continue
        centre = mapping("fusion", "assemblage", "word", "end")[assemblage, row.cells["element"], end]["key"]
        state = row.reading["fusion"].get(centre) if centre else None
        ours["unfused" if state == "loose_epiphysis" else state or "no centre"] += 1
    # What has no centre of ours is counted as the publisher has it, and only that.
    apart = Counter(
        row.cells[f"fusion_{end}"]
        for row in of(assemblage)
        if ("fusion", f"{row.cells['element']} {end}") in row.missing
    )
    assert ours.pop("no centre", 0) == sum(apart.values())
    assert tuple((ours + apart)[state] for state in ("fused", "fusing", "unfused")) == FUSION[assemblage, end]
    assert sum(apart.values()) <= 0.1 * sum(FUSION[assemblage, end])


def test_the_published_specimen_counts_are_met_from_our_records():
    """Rows, not specimens: "Specimen Count" counts rows. Size classes and blanks are told apart by us, not by them."""
    said = mapping("taxon", "assemblage", "word")
    ours: Counter[str] = Counter()
    uri: dict[str, set[str]] = {}
    for row in of("barcin"):
        taxon = row.reading["taxon"] if row.values["reading"] else said["barcin", row.cells["taxon"]]["key"]
        ours[taxon or ""] += 1
        uri.setdefault(row.cells["taxon_uri"], set()).add(taxon or "")
    published = {row["taxon_uri"]: int(row["count"]) for row in table("published_counts")}
    assert len(published) == 28
    assert {one: sum(ours[taxon] for taxon in uri[one]) for one in published} == published
    assert sum(published.values()) == sum(ours.values())


def test_every_word_of_the_data_is_in_the_mapping_tables_and_no_other():
    words = {(row.assemblage, row.cells["taxon"]) for row in found()}
    assert words == mapping("taxon", "assemblage", "word").keys()
    words = {(row.assemblage, row.cells["element"]) for row in found()}
    assert words == {key[:2] for key in mapping("element", "assemblage", "word", "detail")}
    for name, column in (("side", "side"), ("sex", "sex")):
        words = {(row.assemblage, row.cells[column]) for row in found() if row.cells[column]}
        allowed = mapping(name, "assemblage", "word").keys()
        assert words <= allowed | {("barcin", "castrate")}
        assert allowed <= words
    ends = {
        (row.assemblage, row.cells["element"], end)
        for row in found()
        for end in ("proximal", "distal")
        if row.cells[f"fusion_{end}"]
    }
    assert ends == mapping("fusion", "assemblage", "word", "end").keys()


def test_the_keys_of_the_mapping_tables_are_keys_of_ours():
    assert [row for row in table("taxon") if row["key"] and row["key"] not in KNOW.taxa] == []
    assert [row for row in table("element") if row["key"] and row["key"] not in KNOW.elements] == []
    teeth = {key for row in table("tooth") for key in row["key"].split("|") if key}
    assert [key for key in teeth if KNOW.teeth.tooth(key) is None] == []
    words = [
        ("side", "key", "side"),
        ("sex", "key", "sex"),
        ("burning", "burning", "burning"),
        ("zone", "state", "portion_state"),
    ]
    for name, column, of_list in words:
        assert [row for row in table(name) if row[column] and not KNOW.is_word(of_list, row[column])] == []
