"""Rules about where and when an animal is to be expected, and how its bones come into a layer and out of it.

They never change a name: a bone out of its time is a question to the bone, to the layer and to the table alike. What is
expected stands in the table `presence` (domain.presence); a site sets its own years there under `plausible/<taxon>`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fieldapp.domain.knowledge import Knowledge, Taxon
from fieldapp.domain.presence import Limit, own_span, span_of
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, by_name, shown, term, text


def _against(what: str, docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """What of this kind speaks against the docket's animal in its context's years, or else its site's."""
    if docket.taxon_row is None:
        return
    limits: tuple[Limit, ...] | None = docket.kept.get("limits")
    if limits is None:
        region = text(around.site.get("region")) if around.site is not None else None
        limits = docket.kept["limits"] = know.presence.limits_of(docket.taxon, region)
    for limit in limits:
        if limit.what == what and limit.speaks_against(_span(around)):
            yield "reading/taxon", _where(docket, around, limit)


def _span(around: Around) -> tuple[int | None, int | None]:
    for record in (around.context, around.site):
        span = span_of(record.get("dating")) if record is not None else None
        if span is not None and span != (None, None):
            return span
    return None, None


def _where(docket: Docket, around: Around, limit: Limit) -> dict[str, str]:
    site = around.site if around.site is not None else {}
    region = text(site.get("region"))
    fields = docket.names(region=term("region", region if region in limit.regions else "any"))
    if limit.year is not None:
        era = "rules.bc" if limit.year < 0 else "rules.ad"
        fields |= {"year": str(abs(limit.year)), "era": era}
    return fields


def taxon_before_its_time(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that had not come yet when the layer was made."""
    yield from _against("not_yet", docket, around, know)


def taxon_likely_intrusive(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal of which bones in such old layers have mostly come in later."""
    yield from _against("intrusive", docket, around, know)


def taxon_after_its_time(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that had died out when the layer was made."""
    yield from _against("gone", docket, around, know)


def taxon_out_of_place(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that never lived in the region."""
    yield from _against("absent", docket, around, know)


def taxon_brought_from_afar(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that never lived in the region, but was brought there, whole or in part."""
    yield from _against("imported", docket, around, know)


def burrower_in_sealed_deposit(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """An animal that digs itself in, in a deposit that is said to be sealed."""
    if docket.taxon_row is not None and docket.taxon_row.burrows == "yes" and around.context is not None:
        if around.context.get("deposit") == "sealed":
            yield "reading/taxon", docket.names(context=shown(around.context.get("number") or around.context_id))


def small_animal_by_hand(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bones so small that hardly any are seen while digging, from a bag that was filled by hand."""
    if docket.taxon_row is not None and docket.taxon_row.by_hand == "no" and around.bag is not None:
        if around.bag.get("recovery") == "hand":
            yield "reading/taxon", docket.names()


def wild_told_without_measure(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The wild form of a kept animal, for certain, and neither measured nor compared with anything."""
    taxon = docket.taxon_row
    if taxon is None or taxon.status != "wild" or docket.reading.get("certainty") == "cf":
        return
    kin = _kept_kin(taxon, know)
    if kin is not None and "measure" not in docket.heads and not text(docket.reading.get("compared")):
        yield "reading/compared", docket.names(kin=term("taxon", kin.key))


def _kept_kin(taxon: Taxon, know: Knowledge) -> Taxon | None:
    """The family in which a wild species stands beside a kept one and nothing else, or None."""
    for key in taxon.parents:
        members = [know.taxa[one] for one in know.members(key)]
        if know.taxa[key].kind == "family" and all(one.kind == "species" for one in members):
            if any(one.status == "domestic" for one in members):
                return know.taxa[key]
    return None


def choice_unknown(site: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A site's own choice for an animal, or from a source, that the tables do not have."""
    for path, taxon, value in _choices(site):
        if taxon not in know.taxa:
            yield path, {"choice": shown(taxon)}
        elif path.startswith("fusion_source/") and not (isinstance(value, str) and value in know.sources_of(taxon)):
            yield path, {"choice": shown(value)}


def expected_years_unreadable(site: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A site's own years for an animal that are no years, or end before they begin."""
    for path, taxon, value in _choices(site):
        if path.startswith("plausible/") and taxon in know.taxa and own_span(value) is None:
            yield path, {"taxon": term("taxon", taxon)}


def _choices(site: Record) -> Iterator[tuple[str, str, Any]]:
    """(path, taxon, value) of the site's choices; one that was taken back is none."""
    for what in ("fusion_source", "plausible"):
        for path, value in site.items(f"{what}/"):
            if value is not None:
                yield path, path.partition("/")[2], value


RULES = by_name(
    taxon_before_its_time,
    taxon_likely_intrusive,
    taxon_after_its_time,
    taxon_out_of_place,
    taxon_brought_from_afar,
    burrower_in_sealed_deposit,
    small_animal_by_hand,
    wild_told_without_measure,
)
SITE_RULES = by_name(choice_unknown, expected_years_unreadable)
