"""Measurements of bones and teeth: what each is, what must be there for it, and between what limits it is plausible.

Millimetres. A measurement is named by its element and its code; where animals differ (a bird's tibia, a horse's
astragalus) one code of an element stands in several rows, each for its animals. Every answer is drawn from the tables
measurements, measurement_ranges, measurement_orders and measurement_tolerances. Not here: what is made of the figures
(size, sex, withers height), and what a rule says about one of them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, cast

from fieldapp.domain.cells import Cells, Tables, cells_of
from fieldapp.domain.entries import Centre, Element, Portion, Taxon

NAMES: tuple[str, ...] = (
    "measurements",
    "measure_spans",
    "measurement_ranges",
    "measurement_orders",
    "measurement_tolerances",
)
"""The tables that are read here."""

UNJOINED = ("unfused", "loose_epiphysis")
Use = Literal["range", "derived", "site", "rule"]
SPANS = ("length", "breadth", "depth", "around")
Group = tuple[str, ...]
"""Portions of which one must be there."""
Figure = tuple[str, str, str]
"""(element, code, position)."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """A measurement of an element in some animals.

    code      what is written down: GL, Bd, M3L ...; capital and small letters differ
    position  the bone of the foot it is meant for ("3"), or "" for any
    animals   every taxon that it can be taken on, wider groups included if any of their animals can
    own       the narrowest of those: every taxon under the ones that the table names
    needs     for each group one of its portions must be there, over half of it
    centres   fusion centres that must be joined or joining before it counts for size
    tooth     the tooth it is taken on, or ""
    text      key of its name among the texts, `<element>.<code>` and a number where a code stands in several rows
    published_element, published_code  what the source calls them; "" for a bone grown together that the source lacks
    """

    element: str
    code: str
    position: str
    animals: frozenset[str]
    own: frozenset[str]
    needs: tuple[Group, ...]
    centres: tuple[str, ...]
    tooth: str
    text: str
    name: str
    definition: str
    published_element: str
    published_code: str
    confidence: str
    note: str
    source: str
    seen: str

    def lacking(self, most: Collection[str]) -> tuple[Group, ...]:
        """The groups of which nothing is there over half."""
        return tuple(group for group in self.needs if not any(portion in most for portion in group))

    def portions(self) -> frozenset[str]:
        """Every portion it touches."""
        return frozenset(portion for group in self.needs for portion in group)


@dataclass(frozen=True, slots=True)
class Range:
    """The smallest and the largest figure that one source gives. A missing one is open.

    use  "range" (many bones, or many sites), "derived" (worked out from a mean and its spread), "site" (a few bones
         of one site: too few to set a limit by) or "rule" (a published dividing line, not a range)
    """

    element: str
    code: str
    position: str
    taxon: str
    min_mm: float | None
    max_mm: float | None
    use: Use
    published_element: str
    published_taxon: str
    confidence: str
    note: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Order:
    """On one bone `smaller` is never greater than `larger`.

    element  "" where that holds of every bone that has both
    animals  every taxon all of whose animals are among those of whom it holds; None: of all
    """

    smaller: str
    larger: str
    element: str
    animals: frozenset[str] | None
    reason: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Limits:
    """The smallest and the largest figure over all sources, and the rows they are drawn from.

    firm  one of them is more than a few bones of one site, and gives both ends
    """

    low: float
    high: float
    firm: bool
    ranges: tuple[Range, ...]

    def within(self, mm: float, beyond: float) -> bool:
        """Whether a figure lies between the limits, or outside them by no more than that share of them."""
        return self.low * (1 - beyond) <= mm <= self.high * (1 + beyond)

    def near(self, mm: float, times: float) -> bool:
        """Whether a figure is of that size: between the limits, or outside them by no more than so many times."""
        return self.low / times <= mm <= self.high * times


@dataclass(frozen=True, slots=True)
class Taking:
    """Whether a measurement can be taken on a fragment.

    lacking   for each, one of these portions would have to be there, over half of it
    unjoined  centres that are not joined yet: what is measured then is no full-grown size
    """

    measurement: Measurement
    lacking: tuple[Group, ...]
    unjoined: tuple[str, ...]

    @property
    def now(self) -> bool:
        """Nothing is missing."""
        return not self.lacking and not self.unjoined


@dataclass(frozen=True)
class Measures:
    """What is known of measurements. Every question takes any key, and has no answer for one that is not known.

    spans  {(element, or "" for any; code): which way it is taken, one of SPANS}
    """

    measurements: tuple[Measurement, ...]
    spans: Mapping[tuple[str, str], str]
    ranges: tuple[Range, ...]
    orders: tuple[Order, ...]
    tolerances: Mapping[str, float]

    codes: frozenset[str] = field(init=False, repr=False)
    _of: Mapping[str, tuple[Measurement, ...]] = field(repr=False)
    _pairs: Mapping[str, frozenset[str]] = field(repr=False)
    _orders: Mapping[str, tuple[Order, ...]] = field(init=False, repr=False)
    _spans: Mapping[Figure, Mapping[str, Limits]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._set("codes", frozenset(row.code for row in self.measurements))
        orders = {
            element: tuple(one for one in self.orders if one.element in ("", element) and _both(one, rows))
            for element, rows in self._of.items()
        }
        self._set("_orders", orders)
        figures: dict[Figure, dict[str, list[Range]]] = {}
        for row in self.ranges:
            if row.use != "rule":
                figures.setdefault((row.element, row.code, row.position), {}).setdefault(row.taxon, []).append(row)
        self._set("_spans", {key: self._shared(found) for key, found in figures.items()})

    def _set(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _shared(self, figures: Mapping[str, list[Range]]) -> dict[str, Limits]:
        """{taxon: limits}: a pair has those of its animals too, and they its, where they have none of their own."""
        found = dict(figures)
        for pair, members in sorted(self._pairs.items(), key=lambda one: len(one[1])):
            if rows := [row for taxon, own in figures.items() if taxon == pair or taxon in members for row in own]:
                found[pair] = rows
                for taxon in members:
                    found.setdefault(taxon, rows)
        return {taxon: _limits(rows) for taxon, rows in found.items()}

    def of(self, element: str | None) -> tuple[Measurement, ...]:
        """Every measurement of an element, in any animal.

        An element without rows of its own has those of the nearest wider one (a neck vertebra: of a vertebra), else
        those of the bones it may be (a metapodial: of metacarpal and metatarsal).
        """
        return self._of.get(element or "", ())

    def one(
        self, element: str | None, code: str, taxon: str | None = None, position: str | None = None
    ) -> Measurement | None:
        """The measurement that a code stands for; None if the element, or the animal, has none of that code."""
        rows = [row for row in self.of(element) if row.code == code and (taxon is None or taxon in row.animals)]
        return next((row for row in rows if position and row.position == position), None) or next(
            (row for row in rows if not row.position), None
        )

    def way(self, element: str, code: str) -> str:
        """Which way a measurement is taken: one of SPANS; "" for a code that is not known."""
        return self.spans.get((element, code)) or self.spans.get(("", code), "")

    def numbered(self, element: str, code: str, taxon: str) -> tuple[str, ...]:
        """The positions ("3", "4") that a code is meant for in an animal whose foot has several of the element."""
        rows = (row for row in self.of(element) if row.code == code and row.position and taxon in row.animals)
        return tuple(row.position for row in rows)

    def possible(
        self,
        element: str | None,
        taxon: str | None,
        most: Collection[str],
        fusion: Mapping[str, Any] | None = None,
        position: str | None = None,
    ) -> tuple[Taking, ...]:
        """What can be measured on a fragment, and what is missing for the rest; in the order of the table.

        most    portions of which over half is there
        fusion  {centre: state}; a centre of which nothing is said is taken as joined
        """
        found: dict[str, Taking] = {}
        states = fusion or {}
        for code in dict.fromkeys(row.code for row in self.of(element)):
            row = self.one(element, code, taxon, position)
            if row is not None:
                unjoined = tuple(centre for centre in row.centres if states.get(centre) in UNJOINED)
                found[code] = Taking(row, row.lacking(most), unjoined)
        return tuple(found.values())

    def limits(self, element: str, code: str, taxon: str, position: str | None = None) -> Limits | None:
        """The widest plausible limits over all sources; None unless one of them is more than a few bones of a site.

        A pair that is often not parted has the limits of its animals, and they its, where they have none of their own.
        """
        found = self.span(element, code, taxon, position)
        return found if found is not None and found.firm else None

    def span(self, element: str, code: str, taxon: str, position: str | None = None) -> Limits | None:
        """The size of thing that it is: all figures of all sources, be they few. Good for a slip of the unit only."""
        row = self.one(element, code, taxon, position)
        # Only of a known bone of the foot: those of a pig's or dog's are of different lengths.
        if row is None or (not row.position and self.numbered(element, code, taxon)):
            return None
        for at in (row.position, ""):
            if (found := self._spans.get((element, code, at), {}).get(taxon)) is not None:
                return found
        return None

    def orders_of(self, element: str | None, taxon: str | None = None) -> tuple[Order, ...]:
        """What holds between two measurements of an element, in an animal (in all, where it is not known)."""
        found = self._orders.get(element or "", ())
        return tuple(one for one in found if one.animals is None or taxon in one.animals)

    def tolerance(self, key: str) -> float:
        """A number of the table measurement_tolerances."""
        return self.tolerances[key]


def _both(order: Order, rows: tuple[Measurement, ...]) -> bool:
    codes = {row.code for row in rows}
    return order.smaller in codes and order.larger in codes


def _sets_limits(row: Range) -> bool:
    return row.use in ("range", "derived") and row.min_mm is not None and row.max_mm is not None


def _limits(rows: list[Range]) -> Limits:
    figures = [mm for row in rows for mm in (row.min_mm, row.max_mm) if mm is not None]
    return Limits(min(figures), max(figures), any(_sets_limits(row) for row in rows), tuple(rows))


def read(
    tables: Tables,
    taxa: Mapping[str, Taxon],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
    portions: Mapping[str, tuple[Portion, ...]],
) -> Measures:
    """Measures from the tables named in NAMES. Raises TableFault."""
    under = {key: frozenset(one for one, row in taxa.items() if one == key or key in row.broader) for key in taxa}
    measurements: list[Measurement] = []
    # Hundreds of rows name a handful of sets of animals, and a set is large.
    sets: dict[frozenset[str], frozenset[str]] = {}
    for cells in cells_of("measurements", tables):
        row = _measurement(cells, under, elements, centres, portions)
        before = sum((one.element, one.code) == (row.element, row.code) for one in measurements)
        row = replace(
            row,
            text=f"{row.element}.{row.code}" + (f".{before + 1}" if before else ""),
            animals=sets.setdefault(row.animals, row.animals),
            own=sets.setdefault(row.own, row.own),
        )
        twins = (
            one
            for one in measurements
            if (one.element, one.code, one.position) == (row.element, row.code, row.position)
        )
        if any(not one.own.isdisjoint(row.own) for one in twins):
            raise cells.fault(f"{row.element} has the measurement {row.code!r} twice for the same animals")
        measurements.append(row)
    found = Measures(
        measurements=tuple(measurements),
        spans={
            (cells.known("element", {"", *elements}), cells.text("code")): cells.one_of("span", *SPANS)
            for cells in cells_of("measure_spans", tables)
        },
        ranges=tuple(_range(cells, taxa, elements) for cells in cells_of("measurement_ranges", tables)),
        orders=tuple(_order(cells, elements, under) for cells in cells_of("measurement_orders", tables)),
        tolerances={cells.key(): cells.number("value") or 0.0 for cells in cells_of("measurement_tolerances", tables)},
        _of=_resolved(measurements, elements, centres, portions),
        _pairs={key: under[key] - {key} for key, row in taxa.items() if row.kind == "pair"},
    )
    _check(tables, found)
    return found


def _animals(cells: Cells, column: str, under: Mapping[str, frozenset[str]]) -> frozenset[str]:
    """The taxa that a cell names, with everything under them."""
    for taxon in cells.several(column):
        if taxon not in under:
            raise cells.fault(f"`{column}` names {taxon!r}, which is not in its table")
    return frozenset[str]().union(*(under[one] for one in cells.several(column)))


def _measurement(
    cells: Cells,
    under: Mapping[str, frozenset[str]],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
    portions: Mapping[str, tuple[Portion, ...]],
) -> Measurement:
    element = cells.known("element", elements)
    own = _animals(cells, "animals", under) - _animals(cells, "not_in", under)
    needs = tuple(tuple(group.split("/")) for group in cells.several("needs"))
    there = {portion.key for portion in portions[element]}
    for portion in (one for group in needs for one in group if one not in there):
        raise cells.fault(f"`needs` names {portion!r}, which is no portion of {element}")
    for centre in cells.several("centres"):
        if centre not in {one.key for one in centres[element]}:
            raise cells.fault(f"`centres` names {centre!r}, which {element} does not have")
    if not own or not needs or not cells.text("code"):
        raise cells.fault("a measurement needs a code, an animal and something to take it on")
    return Measurement(
        element=element,
        code=cells.text("code"),
        position=cells.text("position"),
        animals=frozenset(taxon for taxon, those in under.items() if not those.isdisjoint(own)),
        own=own,
        needs=needs,
        centres=cells.several("centres"),
        tooth=cells.text("tooth"),
        text="",
        name=cells.text("name"),
        definition=cells.text("definition"),
        published_element=cells.text("published_element"),
        published_code=cells.text("published_code"),
        confidence=cells.one_of("confidence", "high", "medium", "low"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _range(cells: Cells, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Range:
    low, high = cells.number("min_mm"), cells.number("max_mm")
    given = [mm for mm in (low, high) if mm is not None]
    if not given or given != sorted(given) or given[0] <= 0:
        raise cells.fault("a range needs a figure above 0, and its smallest must not be above its largest")
    return Range(
        element=cells.known("element", elements),
        code=cells.text("code"),
        position=cells.text("position"),
        taxon=cells.known("taxon", taxa),
        min_mm=low,
        max_mm=high,
        use=cast(Use, cells.one_of("use", "range", "derived", "site", "rule")),
        published_element=cells.text("published_element"),
        published_taxon=cells.text("published_taxon"),
        confidence=cells.one_of("confidence", "high", "medium", "low"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _order(cells: Cells, elements: Mapping[str, Element], under: Mapping[str, frozenset[str]]) -> Order:
    own = _animals(cells, "animals", under)
    return Order(
        smaller=cells.text("smaller"),
        larger=cells.text("larger"),
        element=cells.known("element", {"", *elements}),
        animals=frozenset(taxon for taxon, those in under.items() if those <= own) if own else None,
        reason=cells.text("reason"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _resolved(
    measurements: list[Measurement],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
    portions: Mapping[str, tuple[Portion, ...]],
) -> dict[str, tuple[Measurement, ...]]:
    """{element: its measurements}: its own, or as `Measures.of` says."""
    own: dict[str, list[Measurement]] = {}
    for row in measurements:
        own.setdefault(row.element, []).append(row)
    found = {element: tuple(rows) for element, rows in own.items()}
    for element, bone in elements.items():
        if element not in own and bone.kind != "indeterminate":
            wider = next((own[one] for one in bone.broader if one in own), [])
            narrower = [one for key, those in own.items() if element in elements[key].broader for one in those]
            there = {portion.key for portion in portions[element]}
            joins = {centre.key for centre in centres[element]}
            lent = (_lent(one, element, there, joins) for one in wider or _first(narrower))
            if rows := tuple(one for one in lent if one is not None):
                found[element] = rows
    return found


def _first(rows: list[Measurement]) -> Iterator[Measurement]:
    """One row for each code and position and its animals, where several bones have it."""
    met: dict[tuple[str, str], frozenset[str]] = {}
    for row in rows:
        key = row.code, row.position
        if row.own.isdisjoint(met.get(key, frozenset())):
            met[key] = met.get(key, frozenset()) | row.own
            yield row


def _lent(row: Measurement, element: str, portions: set[str], centres: set[str]) -> Measurement | None:
    """A measurement as it is taken on a bone of another name; None if that bone lacks what it needs."""
    needs = tuple(tuple(one for one in group if one in portions) for group in row.needs)
    joins = tuple(centre for centre in row.centres if centre in centres)
    return replace(row, element=element, needs=needs, centres=joins) if all(needs) else None


def _check(tables: Tables, found: Measures) -> None:
    """Ranges and orders are of measurements that there are, and each of those is taken some way."""
    for cells, one in zip(cells_of("measurements", tables), found.measurements, strict=True):
        if not found.way(one.element, one.code):
            raise cells.fault(f"measure_spans does not say which way {one.code!r} of {one.element} is taken")
    for cells in cells_of("measure_spans", tables):
        if cells.text("code") not in found.codes:
            raise cells.fault(f"there is no measurement {cells.text('code')!r}")
    for cells, row in zip(cells_of("measurement_ranges", tables), found.ranges, strict=True):
        own = (one for one in found.of(row.element) if (one.code, one.position) == (row.code, row.position))
        if not any(row.taxon in one.animals for one in own):
            raise cells.fault(f"there is no measurement {row.code!r} of {row.element} in {row.taxon}")
    for cells, order in zip(cells_of("measurement_orders", tables), found.orders, strict=True):
        if not any(order in rows for rows in found._orders.values()):
            raise cells.fault(f"no bone has both {order.smaller!r} and {order.larger!r}")
        if order.element and order not in found._orders.get(order.element, ()):
            raise cells.fault(f"{order.element} does not have both {order.smaller!r} and {order.larger!r}")
