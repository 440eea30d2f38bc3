"""How many ends of bones had joined: fused, fusing and unfused, end by end and by stages of age.

For: the definitions, over specimens of one animal (a pair with its animals). Adopted here (common practice, no source,
where nothing else is said):

- A specimen counts once at each centre whose state can be seen. What is said to be the same bone counts once.
- A loose epiphysis may belong to an open shaft. So the two are never added: of one end of one bone, *unfused* is
  max(loose epiphyses, open shafts) of the left + the same of the right, or the same of all with the unsided, whichever
  is more. Of a pair, the animals are added like sides, and the undivided pair with them like all.
- *Fused* of 100: of all ends of that centre, those joined; *begun*: those joined or joining.
- Ages come from one source. Its own stages are used where it names any, else ends that join at the same ages stand
  together; a bone with two ends in one stage counts with both.

Not for: the age of one animal (survival), or choosing the source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from fieldapp.domain.assemblage.results import Span
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.knowledge import Knowledge

FUSED, FUSING, SHAFT, LOOSE = "fused", "fusing", "unfused", "loose_epiphysis"
STATES = (FUSED, FUSING, SHAFT, LOOSE)
_STAGE = re.compile(r"fusion group (\w+)")

End = tuple[str, str]
"""(element, centre)."""
Kind = tuple[str, str]
"""(animal, side)."""
Months = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Counted:
    """Ends of one centre, or of one stage. Each figure from what nobody disputes to what anybody says.

    fused, fusing, unfused   as defined above
    loose, shafts            what unfused is made of
    sure     (fused, fusing, unfused) of what nobody disputes: what the shares are of
    records  ids that stand behind it
    """

    fused: Span
    fusing: Span
    unfused: Span
    loose: Span
    shafts: Span
    sure: tuple[int, int, int]
    records: tuple[str, ...] = field(repr=False)

    @property
    def n(self) -> int:
        """How many ends, of what nobody disputes."""
        return sum(self.sure)


def ends(
    specimens: Iterable[Specimen], taxon: str, knowledge: Knowledge, refits: str = "one", groups: str = "pieces"
) -> dict[End, Counted]:
    """{end: how many} of specimens of one animal, in the order of the tables of elements and centres. An end of bones
    grown together is that of the one bone."""
    parts = {
        (row.element, row.key): (row.part_element, row.part_key)
        for row in knowledge.element_parts
        if row.what == "centre"
    }
    found: dict[End, list[tuple[str, Specimen]]] = {}
    for one in specimens:
        element = one.element or ""
        if one.kind != TALLY and one.fusion and element in knowledge.centre_keys:
            for centre, state in one.fusion.items():
                if state in STATES and centre in knowledge.centre_keys[element]:
                    found.setdefault(parts.get((element, centre), (element, centre)), []).append((state, one))
    known = ((element, centre.key) for element, own in knowledge.centres.items() for centre in own)
    return {end: counted(found[end], taxon, refits, groups) for end in known if end in found}


def counted(seen: Sequence[tuple[str, Specimen]], taxon: str, refits: str = "one", groups: str = "pieces") -> Counted:
    """How many, given each (state, specimen) of one end. `taxon`: what they all are."""
    sure = _least([(state, one) for state, one in seen if one.sure], taxon, refits, groups)
    every = _least(seen, taxon, refits, groups)
    fused, fusing, unfused, loose, shafts = (Span(low, max(low, high)) for low, high in zip(sure, every, strict=True))
    ids = tuple(dict.fromkeys(one.id for _, one in seen))
    return Counted(fused, fusing, unfused, loose, shafts, (sure[0], sure[1], sure[2]), ids)


def _least(
    seen: Iterable[tuple[str, Specimen]], taxon: str, refits: str, groups: str
) -> tuple[int, int, int, int, int]:
    """(fused, fusing, unfused, loose epiphyses, open shafts), each bone once in each."""
    once: dict[tuple[str, str], tuple[int, Kind]] = {}
    for state, one in seen:
        own = (one.group if groups == "one" else "") or (one.fitted if refits == "one" else "") or one.bone or one.id
        kept = once.get((state, own))
        if kept is None or one.count > kept[0]:
            once[state, own] = (one.count, (one.taxon or "", one.side or ""))
    tallies: dict[str, dict[Kind, int]] = {state: {} for state in STATES}
    for (state, _), (count, kind) in once.items():
        tallies[state][kind] = tallies[state].get(kind, 0) + count
    fused, fusing, shafts, loose = (sum(tallies[state].values()) for state in STATES)
    return fused, fusing, paired(tallies[LOOSE], tallies[SHAFT], taxon), loose, shafts


def paired(loose: Mapping[Kind, int], shafts: Mapping[Kind, int], taxon: str) -> int:
    """The least number of unfused ends that loose epiphyses and open shafts are of, given {(animal, side): how many}.

    Two sides are of two bones, and so are two animals; what is only called `taxon` may be any animal of it.
    """

    def at_least(animal: str | None) -> int:
        of = [(_of(loose, animal, side), _of(shafts, animal, side)) for side in ("left", "right", None)]
        left, right, every = (max(pair) for pair in of)
        return max(left + right, every)

    animals = {animal for animal, _ in (*loose, *shafts) if animal != taxon}
    return max(at_least(None), sum(at_least(animal) for animal in animals))


def _of(tally: Mapping[Kind, int], animal: str | None, side: str | None) -> int:
    return sum(n for (its, at), n in tally.items() if animal in (None, its) and side in (None, at))


@dataclass(frozen=True, slots=True)
class Stage:
    """Ends that join at the same time. `name`: the source's own, "" where it names none; months: (from, to)."""

    name: str
    months: Months
    ends: tuple[End, ...]
    count: Counted


def stages(found: Mapping[End, Counted], taxon: str, knowledge: Knowledge) -> tuple[list[Stage], list[End]]:
    """(the stages in order of age, the ends of which the chosen source gives no age)."""
    names = stage_names(taxon, knowledge)
    together: dict[tuple[str, Months], list[End]] = {}
    ageless: list[End] = []
    for end in found:
        months = knowledge.fusion_range(taxon, *end)
        if months is None:
            ageless.append(end)
        else:
            name = names.get(end, "")
            key = next((one for one in together if name and one[0] == name), (name, months))
            together.setdefault(key, []).append(end)
    told = [
        Stage(name, _around([knowledge.fusion_range(taxon, *end) or months for end in own]), tuple(own),
              added([found[end] for end in own]))
        for (name, months), own in together.items()
    ]  # fmt: skip
    return sorted(told, key=lambda one: (_order(one.months), one.name)), ageless


def stage_names(taxon: str, knowledge: Knowledge) -> dict[End, str]:
    """{end: the name of the stage that the chosen source puts it in}; {} where it names none. Of a pair, where its
    animals agree."""
    own = [taxon] if any(row.taxon == taxon and row.chosen for row in knowledge.fusion_ages) else [
        *knowledge.members(taxon)
    ]  # fmt: skip
    found: dict[End, set[str]] = {}
    for row in knowledge.fusion_ages:
        if row.chosen and row.taxon in own:
            said = _STAGE.search(row.note)
            found.setdefault((row.element, row.centre), set()).add(said[1] if said else "")
    return {end: next(iter(names)) for end, names in found.items() if len(names) == 1 and names != {""}}


def added(counts: Iterable[Counted]) -> Counted:
    """Ends of several centres together."""
    every = list(counts)
    spans = [
        Span(sum(getattr(one, name).low for one in every), sum(getattr(one, name).high for one in every))
        for name in ("fused", "fusing", "unfused", "loose", "shafts")
    ]
    fused, fusing, unfused, loose, shafts = spans
    sure = (sum(one.sure[0] for one in every), sum(one.sure[1] for one in every), sum(one.sure[2] for one in every))
    return Counted(
        fused, fusing, unfused, loose, shafts, sure, tuple(dict.fromkeys(id for one in every for id in one.records))
    )


def _around(ranges: Sequence[Months]) -> Months:
    lows, highs = [low for low, _ in ranges], [high for _, high in ranges]
    return (
        None if None in lows else min(low for low in lows if low is not None),
        None if None in highs else max(high for high in highs if high is not None),
    )


def _order(months: Months) -> tuple[float, float]:
    low, high = months
    return (0.0 if low is None else low, math.inf if high is None else high)
