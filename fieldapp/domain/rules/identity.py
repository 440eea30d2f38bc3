"""Rules about what a bone is called: element, taxon, certainty, sex and age. Not portions or fusion."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, term, text

_NOT_BORNE = frozenset({"not_bone", "shell"})


def element_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that the animal does not have."""
    if docket.element and docket.taxon and not know.occurs(docket.element, docket.taxon):
        yield "reading/element", docket.names()


def taxon_finer_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that alone seldom tells the animal, called by a species."""
    row = docket.element_row
    if row is not None and row.finest == "size_class" and docket.named and docket.taxon != "human":
        size = know.size_class(docket.taxon or "")
        if size is not None and docket.reading.get("certainty") != "cf":
            yield "reading/taxon", docket.names(size=term("taxon", size))


def taxon_coarser_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A well preserved end that would bear a finer name than a size class."""
    row, taxon = docket.element_row, docket.taxon_row
    if row is not None and taxon is not None and taxon.kind == "size_class" and row.finest == "species":
        portions = know.portion_map(row.key, docket.taxon)
        ends = docket.most.intersection(key for key, portion in portions.items() if portion.kind != "shaft")
        if len(ends) * 2 >= len(portions):
            yield "reading/taxon", docket.names()


def cf_without_name(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """ "cf." before a size or a class: there is no animal it could be compared with."""
    if docket.reading.get("certainty") == "cf" and docket.taxon_row is not None and not docket.named:
        yield "reading/certainty", docket.names()


def pair_parted_without_comparison(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One animal of a pair that is hard to part, for certain, and nothing it was compared with."""
    taxon = docket.taxon_row
    if taxon is None or not taxon.broader or docket.reading.get("certainty") == "cf":
        return
    pair = next((found for one in taxon.parents if (found := know.taxa[one]).kind == "pair"), None)
    if pair is not None and not text(docket.reading.get("compared")):
        yield "reading/compared", docket.names(pair=term("taxon", pair.key))


def sex_not_visible(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A sex given from a bone that does not show it."""
    sex, row = text(docket.reading.get("sex")), docket.element_row
    if sex and row is not None and row.shows_sex == "no":
        yield "reading/sex", docket.names(sex=term("sex", sex))


def adult_with_unfused(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called adult although a centre has not joined."""
    if docket.reading.get("age") == "adult":
        for key, state in docket.fusion.items():
            if state in ("unfused", "loose_epiphysis"):
                yield "reading/age", docket.names(centre=term(f"centre.{docket.element}", key))
                return


def reading_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone or tooth that nobody has read yet."""
    if docket.values.get("reading") is None and docket.material not in _NOT_BORNE:
        yield "reading", {}


RULES = by_name(
    element_not_in_taxon,
    taxon_finer_than_bone,
    taxon_coarser_than_bone,
    cf_without_name,
    pair_parted_without_comparison,
    sex_not_visible,
    adult_with_unfused,
    reading_missing,
)
