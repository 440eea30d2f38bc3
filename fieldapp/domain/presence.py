"""Where and when an animal is to be expected. A site can change it for itself.

The table says only what speaks against an animal, one fact a row: that it had not come yet, that it had died out, that
it never lived there. What no row speaks against is to be expected. Years are whole numbers, negative before the common
era. Not here: what a rule says about it, and whether a bone is what it was called.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from fieldapp.domain.cells import Cells, Tables, cells_of
from fieldapp.domain.entries import Taxon

NAMES: tuple[str, ...] = ("presence",)
"""The tables that are read here."""

ANYWHERE = "any"
"""The region of what holds everywhere; a row of the site's own region comes before it."""

_SIDES = {"not_yet": "before", "intrusive": "before", "gone": "after", "absent": "place", "imported": "place"}
"""{what a row says: the side of the animal's time it is about}. Of one side only the nearest row counts."""

Span = tuple[int | None, int | None]
"""First and last year in which a site expects an animal; None is open."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One thing that speaks against an animal.

    taxon   with everything under it that has no row of its own
    regions where it holds
    what    "not_yet" or "intrusive" before `year`, "gone" after `year`, "absent" or "imported" in any year
    year    the first year it is to be expected, or the last; None for "absent" and "imported"
    """

    taxon: str
    regions: tuple[str, ...]
    what: str
    year: int | None
    note: str
    source: str
    seen: str

    def speaks_against(self, span: Span) -> bool:
        """Whether a deposit of these years lies wholly outside the time; a year not known says nothing."""
        first, last = span
        if self.year is None:
            return True
        if self.what == "gone":
            return first is not None and first > self.year
        return last is not None and last < self.year


@dataclass(frozen=True)
class Presence:
    """What is known of where and when animals lived.

    limits  the table's rows
    lines   {taxon: itself and every wider group, nearest first}
    own     {taxon: years} a site has set; they stand instead of the table's rows for it and all under it
    """

    limits: tuple[Limit, ...] = ()
    lines: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    own: Mapping[str, Span] = field(default_factory=dict)
    # Asked for every docket that is checked, so worked out once.
    _regions: frozenset[str] = field(init=False, repr=False)
    _found: Mapping[tuple[str, str], tuple[Limit, ...]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        named: dict[tuple[str, str], list[Limit]] = {}
        for limit in self.limits:
            for region in limit.regions:
                named.setdefault((limit.taxon, region), []).append(limit)
        regions = frozenset((ANYWHERE, *(region for _, region in named)))
        found = {
            (taxon, region): limits
            for taxon, line in self.lines.items()
            for region in regions
            if (limits := self._limits_in(line, region, named))
        }
        object.__setattr__(self, "_regions", regions)
        object.__setattr__(self, "_found", MappingProxyType(found))

    def _limits_in(
        self, line: tuple[str, ...], region: str, named: Mapping[tuple[str, str], list[Limit]]
    ) -> tuple[Limit, ...]:
        sides: dict[str, Limit] = {}
        for one in line:
            for where in (region, ANYWHERE):
                for limit in named.get((one, where), ()):
                    sides.setdefault(_SIDES[limit.what], limit)
        own = next((one for one in line if one in self.own), None)
        if own is None:
            return tuple(sides.values())
        first, last = self.own[own]
        # A site sets the years; how a bone that is too old for them has mostly come in, the table still knows.
        before = sides["before"].what if "before" in sides else "not_yet"
        return tuple(
            Limit(own, (region,), what, year, "", "the site's own choice", "-")
            for what, year in ((before, first), ("gone", last))
            if year is not None
        )

    def limits_of(self, taxon: str | None, region: str | None = None) -> tuple[Limit, ...]:
        """What may speak against an animal in a region; of a region that is not known, what holds everywhere."""
        return self._found.get((taxon or "", region if region in self._regions else ANYWHERE), ())

    def against(self, taxon: str | None, region: str | None = None, dating: Any = None) -> tuple[Limit, ...]:
        """What speaks against an animal in a deposit: nothing, if it is to be expected.

        `dating` is {"from": year, "to": year} as records have it; anything else is no dating.
        """
        limits = self.limits_of(taxon, region)
        span = (span_of(dating) if limits else None) or (None, None)
        return tuple(limit for limit in limits if limit.speaks_against(span))

    def expected(self, taxon: str | None, region: str | None = None, dating: Any = None) -> bool:
        """Whether nothing speaks against an animal; True for one that is not known."""
        return not self.against(taxon, region, dating)

    def with_own(self, own: Mapping[str, Span]) -> Presence:
        """Presence with a site's own years instead of the table's, for these taxa and all under them."""
        return Presence(self.limits, self.lines, own)


def span_of(value: Any) -> Span | None:
    """The years of a {"from": year, "to": year}; one of them may be None. None if they cannot be read as such."""
    if not isinstance(value, Mapping) or not ("from" in value or "to" in value):
        return None
    first, last = value.get("from"), value.get("to")
    if not (_is_year(first) and _is_year(last)) or (first is not None and last is not None and first > last):
        return None
    return first, last


def own_span(value: Any) -> Span | None:
    """The years in which a site expects an animal, as its record has them: a span, or true for always."""
    return (None, None) if value is True else span_of(value)


def _is_year(value: Any) -> bool:
    return value is None or (isinstance(value, int) and not isinstance(value, bool) and abs(value) <= _LAST_YEAR)


_LAST_YEAR = 1_000_000
"""No year is further from our era than this; what is, is a slip of the pen."""


def read(tables: Tables, taxa: Mapping[str, Taxon]) -> Presence:
    """Presence from the tables named in NAMES, regions being the words of the list `region`. Raises TableFault."""
    regions = {cells.text("key") for cells in cells_of("words", tables) if cells.text("list") == "region"}
    found: list[Limit] = []
    seen: set[tuple[str, str, str]] = set()
    for cells in cells_of("presence", tables):
        limit = Limit(
            taxon=cells.known("taxon", taxa),
            regions=cells.several_of("region", *sorted(regions)),
            what=cells.one_of("what", *_SIDES),
            year=_year(cells),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        for region in limit.regions:
            side = (limit.taxon, region, _SIDES[limit.what])
            if side in seen:
                raise cells.fault(f"the same is said of {limit.taxon} in {region} twice")
            seen.add(side)
        found.append(limit)
    return Presence(tuple(found), {key: (key, *taxon.broader) for key, taxon in taxa.items()})


def _year(cells: Cells) -> int | None:
    """The one year that the row's kind asks for: the first to be expected, the last, or none."""
    wanted = {"before": "from_year", "after": "to_year"}.get(_SIDES[cells.one_of("what", *_SIDES)])
    for column in ("from_year", "to_year"):
        if (cells.text(column) != "") != (column == wanted):
            raise cells.fault(f"`{cells.text('what')}` with `{column}` {cells.text(column) or 'left empty'}")
    year = cells.number(wanted) if wanted else None
    if year is not None and (year != int(year) or year == 0):
        raise cells.fault(f"{year:g} is no year")
    return None if year is None else int(year)
