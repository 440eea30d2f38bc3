"""What the teeth of a lower jaw say of its age: stages of published schemes, and the added score of its molars.

For: the definitions. A scheme's stages follow one another, and each but the first begins with something that can be
seen (table `wear_limits`: M1 in wear, M3 at 11G). A jaw so *may be of* the stages from the last whose beginning is seen
to have come, to the last whose beginning is not seen to be still to come. What is not recorded is not guessed: then
the jaw may be of several. One thing a tooth says of another (BEHIND): while the enamel of a molar is only just broken,
the molars behind it are not in wear. A jaw that says both is contradictory, and of no stage.

How jaws of several stages are shared out (both are common practice, no source):
- *evenly*: the same part to each of its stages;
- *as the certain ones are*: in proportion to the jaws of one stage alone, evenly where there is none of these.

Not for: teeth found loose, which may be of a jaw that is counted (they are listed apart), or ages of single teeth
(domain.teeth).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fieldapp.domain.assemblage.specimens import TALLY, Specimen, Tooth
from fieldapp.domain.cells import Tables, cells_of
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.teeth import GONE, Scheme, Teeth, coming

NAMES = ("wear_limits",)
GRANT, PAYNE = "grant_1982", "payne_1987"
MOLARS = ("M1", "M2", "M3")
BEHIND = "project decision: while the enamel of a molar is only just broken, the molars behind it are not in wear"
JUST_BROKEN = "a"
"""The letter of Grant for it."""
_IN_WEAR, _THROUGH = coming("in_wear") or 0, coming("erupting") or 0


@dataclass(frozen=True, slots=True)
class Limit:
    """What is seen when a stage has begun: `tooth` at least as far as `state`, and, where one is named, worn as far as
    a letter of Grant or a number of Payne. A stage with several asks for all. `taxa`: () for all of the scheme.
    `denies`: short of it the stage has not begun, and beyond it that is still not said."""

    scheme: str
    stage: str
    taxa: tuple[str, ...]
    tooth: str
    state: str
    grant: str
    payne: int | None
    denies: bool
    source: str
    seen: str


def read(tables: Tables, known: Knowledge) -> tuple[Limit, ...]:
    """The table of limits. Raises TableFault."""
    found = []
    for cells in cells_of("wear_limits", tables):
        schemes = {key: one for key, one in known.teeth.schemes.items() if one.kind == "jaw"}
        scheme = schemes[cells.known("scheme", schemes)]
        found.append(
            Limit(
                scheme=scheme.key,
                stage=cells.known("stage", scheme.stages),
                taxa=cells.several("taxa"),
                tooth=cells.known("tooth", known.teeth.teeth),
                state=cells.known("state", known.words["eruption_state"]),
                grant=cells.known("grant", ("", *known.teeth.schemes[GRANT].stages)),
                payne=cells.whole("payne") if cells.text("payne") else None,
                denies=cells.one_of("tells", "both", "denial") == "denial",
                source=cells.text("source"),
                seen=cells.text("seen"),
            )
        )
        if not set(found[-1].taxa) <= known.taxa.keys():
            raise cells.fault(f"`taxa` is {cells.text('taxa')!r}, and not all of it is in its table")
        if coming(found[-1].state) is None:
            raise cells.fault(f"`state` is {found[-1].state!r}, which is no step of coming through")
    return tuple(found)


def is_jaw(one: Specimen, knowledge: Knowledge) -> bool:
    """Whether it is a lower jaw with at least one tooth recorded in it."""
    return (
        one.kind != TALLY
        and knowledge.teeth.bearers.get(one.element or "") == "lower"
        and any(tooth.jaw in (None, "lower") for tooth in one.teeth)
    )


def is_loose(one: Specimen, knowledge: Knowledge) -> bool:
    """Whether its teeth were found out of a jaw."""
    row = knowledge.elements.get(one.element or "")
    return one.kind != TALLY and bool(one.teeth) and row is not None and row.kind == "tooth"


def state_of(tooth: Tooth, teeth: Teeth) -> str | None:
    """How far it has come: as written, or as its wear says."""
    stage = teeth.stage(tooth.scheme, tooth.wear)
    return tooth.stage or (stage.state if stage is not None else None) or None


def reached(limit: Limit, tooth: Tooth, teeth: Teeth) -> bool | None:
    """Whether a tooth is as far as a limit asks; None where that is not recorded."""
    state = state_of(tooth, teeth)
    if tooth.tooth != limit.tooth:
        # Where the tooth that follows a milk tooth has come, the milk tooth was in wear long before.
        after = limit.tooth == teeth.replaces(tooth.tooth) and limit.state == "in_wear"
        return True if after and tooth.seat != "socket_only" and (coming(state) or 0) >= _THROUGH else None
    if state == "shed":
        return True if not limit.grant and limit.payne is None else None
    if tooth.scheme == PAYNE and teeth.stage_order(PAYNE, tooth.wear) == 0 and limit.state == "in_wear":
        return False  # Unworn, whatever its height.
    if state in GONE or coming(state) is None:
        return None
    if (coming(state) or 0) < (coming(limit.state) or 0):
        return False
    if not limit.grant and limit.payne is None:
        return True
    order = teeth.stage_order(tooth.scheme, tooth.wear)
    if order is not None and tooth.scheme == GRANT and limit.grant:
        return order >= (teeth.stage_order(GRANT, limit.grant) or 0)
    if order is not None and tooth.scheme == PAYNE and limit.payne is not None:
        return order >= limit.payne
    return None


def to_come_behind(limit: Limit, own: Iterable[Tooth], teeth: Teeth) -> bool:
    """Whether the nearest molar in front that has a letter says, its enamel only just broken, that the limit is still
    to come."""
    front = MOLARS[: MOLARS.index(limit.tooth)] if limit.tooth in MOLARS and limit.state == "in_wear" else ()
    just = teeth.stage_order(GRANT, JUST_BROKEN) or 0
    orders: dict[str, list[int]] = {}
    for tooth in own:
        order = teeth.stage_order(GRANT, tooth.wear) if tooth.scheme == GRANT else None
        if order is not None and tooth.tooth in front and tooth.jaw in (None, "lower"):
            orders.setdefault(tooth.tooth, []).append(order)
    nearest = next((orders[one] for one in reversed(front) if one in orders), None)
    return nearest is not None and max(nearest) <= just


@dataclass(frozen=True, slots=True)
class Stages:
    """The stages that a jaw may be of, (first, last) as places in the order of its scheme."""

    first: int
    last: int

    @property
    def certain(self) -> bool:
        """Whether it can be of one only."""
        return self.first == self.last


CONTRADICTORY, SILENT = "contradictory", "silent"
"""Why a jaw is of no stage: its teeth say that a later one has begun and an earlier has not; or they say nothing."""


def stages_of(one: Specimen, scheme: Scheme, limits: Iterable[Limit], knowledge: Knowledge) -> Stages | str:
    """The stages that a jaw may be of, or why it is of none. A stage of this scheme that somebody wrote is taken."""
    keys = list(scheme.stages)
    written = [found for tooth in one.teeth if tooth.scheme == scheme.key and (found := _written(tooth.wear, keys))]
    if written:
        first, last = max(found.first for found in written), min(found.last for found in written)
        return Stages(first, last) if first <= last else CONTRADICTORY
    told: dict[int, list[bool | None]] = {}
    for limit in limits:
        if limit.scheme == scheme.key and (
            not limit.taxa or any(knowledge.is_a(one.taxon or "", taxon) for taxon in limit.taxa)
        ):
            said = {reached(limit, tooth, knowledge.teeth) for tooth in one.teeth if tooth.jaw in (None, "lower")}
            said -= {None, True} if limit.denies else {None}
            if not said and to_come_behind(limit, one.teeth, knowledge.teeth):
                said = {False}
            # Left and right may differ: then it is not said.
            told.setdefault(keys.index(limit.stage), []).append(said.pop() if len(said) == 1 else None)
    begun = [at for at, said in told.items() if all(said)]
    to_come = [at for at, said in told.items() if False in said]
    if not begun and not to_come:
        return SILENT
    first, last = max(begun, default=0), min(to_come, default=len(keys)) - 1
    return Stages(first, last) if first <= last else CONTRADICTORY


def _written(wear: str | None, keys: Sequence[str]) -> Stages | None:
    """A stage, or two with a dash between."""
    first, dash, last = (wear or "").partition("-")
    if wear in keys:
        return Stages(keys.index(wear), keys.index(wear))
    if dash and first in keys and last in keys and keys.index(first) <= keys.index(last):
        return Stages(keys.index(first), keys.index(last))
    return None


def months_of(found: Stages, scheme: Scheme) -> tuple[float | None, float | None]:
    """(from, to) in months. A stage without ages begins where the last one with ages before it ends, and is open."""
    rows = list(scheme.stages.values())
    low = rows[found.first].min_months
    if low is None:
        before = [row.max_months for row in rows[: found.first] if row.max_months is not None]
        low = max(before) if before else None
    return low, rows[found.last].max_months


def has_ages(scheme: Scheme) -> bool:
    """Whether any of its stages has an age."""
    return any(row.max_months is not None for row in scheme.stages.values())


@dataclass(frozen=True, slots=True)
class Shared:
    """Of each stage in order: jaws that can be of it alone, that may be of it, and its part of all jaws after either
    way of sharing out."""

    certain: tuple[int, ...]
    possible: tuple[int, ...]
    evenly: tuple[float, ...]
    as_certain: tuple[float, ...]


def shared(jaws: Mapping[Stages, int], stages: int) -> Shared:
    """{the stages it may be of: how many jaws} shared out over so many stages."""
    certain, possible = [0] * stages, [0] * stages
    for one, n in jaws.items():
        for at in range(one.first, one.last + 1):
            possible[at] += n
            certain[at] += n if one.certain else 0
    evenly, as_certain = [0.0] * stages, [0.0] * stages
    for one, n in jaws.items():
        own = range(one.first, one.last + 1)
        known = sum(certain[at] for at in own)
        for at in own:
            evenly[at] += n / len(own)
            as_certain[at] += n * certain[at] / known if known else n / len(own)
    return Shared(tuple(certain), tuple(possible), tuple(evenly), tuple(as_certain))


def molar_scores(one: Specimen, knowledge: Knowledge) -> dict[str, int | None]:
    """{molar: its score after Grant}; None where neither a letter nor a code of coming through says it."""
    scheme = knowledge.teeth.schemes[GRANT]
    by_state = {row.state: row.score_min for row in scheme.stages.values() if row.kind == "eruption"}
    found: dict[str, int | None] = {}
    for molar in MOLARS:
        scores = set()
        for tooth in one.teeth:
            if tooth.tooth == molar and tooth.jaw in (None, "lower"):
                stage = scheme.stage(tooth.wear) if tooth.scheme == GRANT else None
                scores.add(stage.score_min if stage is not None else by_state.get(tooth.stage or ""))
        found[molar] = scores.pop() if len(scores) == 1 else None
    return found


def mandible_score(scores: Mapping[str, int | None]) -> int | None:
    """The scores of the three molars added; None unless all three are known. Nothing is put in for what is missing."""
    known = [scores.get(molar) for molar in MOLARS]
    return None if None in known else sum(one for one in known if one is not None)


def stage_of_score(score: int, scheme: Scheme) -> str | None:
    """The stage of a scheme of scores that a score falls in."""
    for key, row in scheme.stages.items():
        if row.score_min is not None and row.score_min <= score and (row.score_max is None or score <= row.score_max):
            return key
    return None
