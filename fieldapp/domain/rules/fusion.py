"""Rules about the joining of epiphyses. Ages come from the one source chosen for each animal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, shown, term, text

_SAID = ("unfused", "fusing", "fused", "loose_epiphysis")
Limits = tuple[float | None, float | None]
"""Months (from, to); None is open."""


@dataclass(frozen=True, slots=True)
class AgeLimit:
    """A limit that one centre sets to the age at death: `months`, and the centre it comes from."""

    months: float
    element: str
    centre: str


def age_limits(docket: Docket, know: Knowledge) -> tuple[AgeLimit | None, AgeLimit | None]:
    """The age at death that the fusion of a bone allows: (at least, at most), in months, None where open.

    Joined: not younger than the beginning of the published range. Not joined: not older than its end. Joining: both.
    """
    return limits_of(docket.taxon or "", docket.element or "", docket.fusion, know)


def limits_of(
    taxon: str, element: str, fusion: Mapping[str, str], know: Knowledge
) -> tuple[AgeLimit | None, AgeLimit | None]:
    """The same of {centre: state}, after the ages of any animal."""
    least: AgeLimit | None = None
    most: AgeLimit | None = None
    for key, state in fusion.items():
        limits = know.fusion_range(taxon, element, key) if state in _SAID else None
        if limits is None:
            continue
        low, high = limits
        if state in ("fused", "fusing") and low is not None and (least is None or low > least.months):
            least = AgeLimit(low, element, key)
        if state != "fused" and high is not None and (most is None or high < most.months):
            most = AgeLimit(high, element, key)
    return least, most


def clash(pairs: Iterable[tuple[AgeLimit | None, AgeLimit | None]]) -> tuple[AgeLimit, AgeLimit] | None:
    """The (at least, at most) that no age fits, over all the given limits; None if some age does."""
    found = list(pairs)
    least = max((low for low, _ in found if low is not None), key=lambda limit: limit.months, default=None)
    most = min((high for _, high in found if high is not None), key=lambda limit: limit.months, default=None)
    return (least, most) if least is not None and most is not None and least.months > most.months else None


def centre_of_other_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A fusion state of a centre that belongs to another element."""
    row = docket.element_row
    if row is not None and row.kind != "indeterminate":
        own = know.centre_keys[row.key]
        for key, state in docket.fusion.items():
            if key not in own and state != "not_examined":
                yield f"reading/fusion/{shown(key)}", docket.names(centre=shown(key))


def centre_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A fusion state of a centre that this animal does not have."""
    row = docket.element_row
    if row is None or docket.taxon_row is None:
        return
    there = {centre.key for centre in know.centres_of(row.key, docket.taxon)}
    for key, state in docket.fusion.items():
        if key in know.centre_keys[row.key] and key not in there and state in _SAID:
            yield f"reading/fusion/{key}", docket.names(centre=term(f"centre.{row.key}", key))


_End = tuple[str, str, frozenset[str], str | None]
"""(centre, state, its portions, the portion across the growth line)."""


def _ends(docket: Docket, know: Knowledge) -> list[_End]:
    """The centres that something is said of. Worked out once for a docket."""
    found: list[_End] | None = docket.kept.get("ends")
    if found is None:
        row = docket.element_row
        own = know.centre_keys[row.key] if row is not None else {}
        found = docket.kept["ends"] = [
            (
                key,
                state,
                know.epiphysis_keys(own[key].element, key, docket.taxon),
                own[key].metaphysis,
            )
            for key, state in docket.fusion.items()
            if key in own and state in _SAID
        ]
    return found


def epiphysis_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Joined, joining or loose, and the epiphysis itself is absent."""
    for key, state, epiphysis, _ in _ends(docket, know):
        if state != "unfused" and docket.none_of(epiphysis):
            yield f"reading/fusion/{key}", _state(docket, key, state)


def growth_line_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Not joined, and neither side of the growth line is there to show it."""
    for key, state, epiphysis, metaphysis in _ends(docket, know):
        if state == "unfused" and metaphysis and docket.none_of(epiphysis | {metaphysis}):
            yield f"reading/fusion/{key}", _state(docket, key, state)


def loose_with_shaft(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A loose epiphysis on a fragment that also has the other side of the growth line."""
    for key, state, _, metaphysis in _ends(docket, know):
        if state == "loose_epiphysis" and metaphysis in docket.present:
            portion = term(f"portion.{docket.element}", metaphysis)
            yield f"reading/fusion/{key}", {**_state(docket, key, state), "portion": portion}


def loose_with_other_parts(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A loose epiphysis on a fragment that also has parts from elsewhere in the bone: two pieces, not one."""
    for key, state, epiphysis, metaphysis in _ends(docket, know):
        if state == "loose_epiphysis" and epiphysis and metaphysis not in docket.present:
            own = docket.parted
            beside = {own[portion].step for portion in epiphysis}
            other = next((one for one in own if one in docket.present and own[one].step not in beside), None)
            if other is not None:
                portion = term(f"portion.{docket.element}", other)
                yield f"reading/fusion/{key}", {**_state(docket, key, state), "portion": portion}


def _state(docket: Docket, centre: str, state: str) -> dict[str, str]:
    return docket.names(centre=term(f"centre.{docket.element}", centre), state=term("fusion_state", state))


def joins_before(first: Limits, second: Limits) -> bool:
    """Whether the published range of one centre is over before that of another begins.

    Ranges that only touch count as one after the other (18-30 and 30-48), single ages do not (42 and 42-48): a
    source that gives one age for an end means "about then".
    """
    end, begin = first[1], second[0]
    if end is None or begin is None:
        return False
    return end < begin or (end == begin and first[0] != end and second[1] != begin)


def fusion_order(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two centres of one bone the wrong way round: the later one joined or joining, the earlier one not joined."""
    taxon, element = docket.taxon, docket.element
    if taxon is None or element is None or docket.there.isdisjoint(("fused", "fusing")):
        return
    ranges = {key: found for key in docket.fusion if (found := know.fusion_range(taxon, element, key)) is not None}
    for earlier, first in ranges.items():
        if docket.fusion[earlier] in ("unfused", "loose_epiphysis"):
            for later, second in ranges.items():
                if docket.fusion[later] in ("fused", "fusing") and joins_before(first, second):
                    names = {"later": term(f"centre.{element}", later), "earlier": term(f"centre.{element}", earlier)}
                    yield f"reading/fusion/{earlier}", docket.names(**names)


def fusion_ages_apart(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One centre is just joining, and another has begun to that only begins years after the first has ended."""
    taxon, element = docket.taxon, docket.element
    if taxon is None or element is None:
        return
    ranges = {key: found for key in docket.fusion if (found := know.fusion_range(taxon, element, key)) is not None}
    for earlier, first in ranges.items():
        if docket.fusion[earlier] == "fusing":
            for later, second in ranges.items():
                if docket.fusion[later] in ("fused", "fusing") and joins_before(first, second):
                    names = {"later": term(f"centre.{element}", later), "earlier": term(f"centre.{element}", earlier)}
                    yield f"reading/fusion/{earlier}", docket.names(**names)
                    return


def _joined_after_birth(docket: Docket, know: Knowledge) -> str | None:
    """A centre that has begun to join, although none does so before birth in this animal; None if there is none."""
    there = {centre.key for centre in know.centres_of(docket.element or "", docket.taxon)}
    for key, state in docket.fusion.items():
        if state in ("fused", "fusing") and key in there:
            limits = know.fusion_range(docket.taxon or "", docket.element or "", key)
            if limits is None or (limits[0] is not None and limits[0] > 0):
                return key
    return None


def young_with_fused(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called foetal or newborn although a centre has joined."""
    age = text(docket.reading.get("age"))
    if age in ("foetal", "newborn") and (centre := _joined_after_birth(docket, know)) is not None:
        yield "reading/age", docket.names(age=term("age_class", age), centre=term(f"centre.{docket.element}", centre))


def texture_against_fusion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The woven bone of the unborn and newborn, and a centre that has joined."""
    if docket.reading.get("texture") == "woven" and (centre := _joined_after_birth(docket, know)) is not None:
        yield "reading/texture", docket.names(centre=term(f"centre.{docket.element}", centre))


def fusion_left_blank(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Both sides of a growth line are there, and nothing is said about it."""
    row = docket.element_row
    if row is None:
        return
    for centre in know.centres_of(row.key, docket.taxon):
        if centre.metaphysis in docket.most and docket.fusion.get(centre.key, "not_examined") == "not_examined":
            epiphysis = know.epiphysis_keys(row.key, centre.key, docket.taxon)
            if epiphysis and epiphysis <= docket.most:
                yield f"reading/fusion/{centre.key}", docket.names(centre=term(f"centre.{row.key}", centre.key))
                return


RULES = by_name(
    centre_of_other_bone,
    centre_not_in_taxon,
    epiphysis_missing,
    growth_line_missing,
    loose_with_shaft,
    loose_with_other_parts,
    fusion_order,
    fusion_ages_apart,
    young_with_fused,
    texture_against_fusion,
    fusion_left_blank,
)
NEEDS = {
    "centre_of_other_bone": "fusion",
    "centre_not_in_taxon": "fusion",
    "epiphysis_missing": "absent",
    "growth_line_missing": "unfused",
    "loose_with_shaft": "loose_epiphysis",
    "loose_with_other_parts": "loose_epiphysis",
    "fusion_order": "fusion",
    "fusion_ages_apart": "fusing",
    "young_with_fused": "age",
    "texture_against_fusion": "texture",
    "fusion_left_blank": "most",
}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""
