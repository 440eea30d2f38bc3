"""A specimen as it is counted: one reading of a docket or a line of a tally, with where it lay and how it was got.

For: the one shape that every figure of an analysis is worked out from. Not for: how it came from records, or which
of them are asked for (selection).

A docket in dispute is several specimens of one `id`, one for each reading. Where all agree on a part (whatever it is,
at least three pieces), that is `sure`; else none is. So every figure has a range: its low end is over those that are
sure, its high end over all, where an `id` counts once in each place, with the most that anybody says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import counting

DOCKET, TALLY = "docket", "tally"
HUMAN, IMPOSSIBLE = "possible_human", "impossible"
"""Why a specimen is not among the animals: raised as possibly human, or impossible until it is mended."""


@dataclass(frozen=True, slots=True)
class Tooth:
    """One tooth in a jaw or loose, or its place alone. `tooth`: its key in the table of teeth; `wear`: a stage of
    `scheme`."""

    tooth: str
    jaw: str | None = None
    side: str | None = None
    seat: str | None = None
    stage: str | None = None
    scheme: str | None = None
    wear: str | None = None
    crown_height_mm: float | None = None

    @property
    def empty(self) -> bool:
        """Whether its socket or crypt is there, and the tooth is not to be seen."""
        return self.seat == "socket_only" or (self.stage == "crypt_open" and self.seat != "loose")


@dataclass(frozen=True, slots=True)
class Measured:
    """A measurement in millimetres; `estimated` where the reader said so."""

    code: str
    mm: float
    estimated: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on the surface, or `number` alike; `x`, `y` as shares of the plate in `view`, where it was shown there."""

    kind: str
    portion: str | None = None
    aspect: str | None = None
    direction: str | None = None
    tool: str | None = None
    number: int | None = None
    view: str | None = None
    x: float | None = None
    y: float | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """Something of life or sickness that changed the bone, and the portion it is on."""

    kind: str
    portion: str | None = None


@dataclass(frozen=True, slots=True)
class Specimen:
    """One reading of `count` pieces alike.

    id        of its record;  kind: DOCKET or TALLY
    sure      whether everybody says at least this
    readings  how many specimens its record is in all; 0 where somebody has deleted it, and nothing of it is sure
    context, trench, phase   the context's id, the others by name; "" where it is not known
    recovery, mesh_mm        how it was got; None where that is not recorded
    share     how much of its fraction was sorted, over 0 up to 1; None where that is not recorded, or of no sample
    portions  {portion: "most", "part" or "absent"}, without those not examined
    fusion    {centre: "unfused", "loose_epiphysis", "fusing" or "fused"}, of the visible ones
    surface   {path: value} of what was seen on the surface: weathering, breaks, burn_colour, fracture ...
    open      of its paths, those of which several people say several things: they say nothing in `surface`
    apart     HUMAN, IMPOSSIBLE, or "" for one that counts among the animals
    excluded  whether human is said to be neither raised nor ruled out ("not excluded"): it counts, and is told
    bone      a word that those share which are said to be one and the same bone; "" for none
    fitted    likewise for pieces that fit together, directly or by others
    group     likewise for bones of one body, with all that they fit; bones merely found together are in none
    """

    id: str
    label: str = ""
    kind: str = DOCKET
    sure: bool = True
    readings: int = 1
    context: str = ""
    trench: str = ""
    phase: str = ""
    recovery: str | None = None
    mesh_mm: float | None = None
    sample: str = ""
    fraction: str = ""
    share: float | None = None
    count: int = 1
    weight_g: float | None = None
    material: str | None = None
    element: str | None = None
    side: str | None = None
    taxon: str | None = None
    certainty: str | None = None
    position: str | None = None
    stage: str | None = None
    sex: str | None = None
    age: str | None = None
    texture: str | None = None
    portions: Mapping[str, str] = field(default_factory=dict)
    fusion: Mapping[str, str] = field(default_factory=dict)
    teeth: tuple[Tooth, ...] = ()
    measures: tuple[Measured, ...] = ()
    marks: tuple[Mark, ...] = ()
    changes: tuple[Change, ...] = ()
    surface: Mapping[str, Any] = field(default_factory=dict)
    open: frozenset[str] = frozenset()
    checked: bool = False
    apart: str = ""
    excluded: bool = False
    bone: str = ""
    fitted: str = ""
    group: str = ""

    @property
    def most(self) -> frozenset[str]:
        """The portions of which over half is there."""
        return frozenset(portion for portion, state in self.portions.items() if state == "most")

    @property
    def there(self) -> frozenset[str]:
        """The portions of which anything is there, so that a mark on them can be seen."""
        return frozenset(portion for portion, state in self.portions.items() if state in ("most", "part"))

    def lot(self) -> counting.Lot:
        """The same as domain.counting takes it."""
        return counting.Lot(
            self.count, self.weight_g, self.material, self.element, self.taxon, self.bone or self.id, self.fitted
        )


def surely(specimens: Iterable[Specimen]) -> list[Specimen]:
    """Those that everybody reads so: the low end of every figure is over these."""
    return [one for one in specimens if one.sure]
