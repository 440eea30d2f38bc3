"""Which part of the assemblage is asked for, and into which units it is parted; kept with each result as one line.

For: the same choice from a command, an address and a report, read and written by `parse` and `text`. Not for: any
figure.

Hand-collected and sieved bone is never silently mixed: each unit is of one way of recovery, unless `ways` says that
they are to be put together, and then its name says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace

from fieldapp.domain.assemblage.specimens import Specimen
from fieldapp.domain.knowledge import Knowledge

BY = ("site", "trench", "phase", "context")
HAND, SIEVE, UNRECORDED, TOGETHER = "hand", "sieve", "unrecorded", "together"
WAYS = ("apart", HAND, SIEVE, TOGETHER)
"""How recovery is dealt with: a unit a way (each mesh one), only one of them, or all in one unit, which says so."""
LISTS = ("trench", "phase", "context", "taxon", "element", "stage")
CHOICES: Mapping[str, tuple[str, ...]] = {
    "by": BY,
    "ways": WAYS,
    "certainty": ("any", "certain"),
    "checked": ("any", "yes"),
    "groups": ("one", "pieces"),
    "refits": ("one", "pieces"),
}
"""{field: what may stand there, the usual first}."""


class SelectionError(ValueError):
    """A choice that cannot be followed. `field` and `value` say which; `allowed` what may stand, () if unknown."""

    def __init__(self, field: str, value: str, allowed: tuple[str, ...] = ()) -> None:
        super().__init__(f"{field}={value}")
        self.field, self.value, self.allowed = field, value, allowed


@dataclass(frozen=True, slots=True, order=True)
class Unit:
    """One pile of bone that figures are of. `place`: "" for the whole site; `way`: HAND, "sieve", "sieve:4" (mesh in
    millimetres), UNRECORDED or TOGETHER."""

    by: str = "site"
    place: str = ""
    way: str = TOGETHER


@dataclass(frozen=True, slots=True)
class Selection:
    """What is asked for. A list that is empty asks for everything.

    taxon      animals, each with everything under it;  element likewise
    context    numbers as people write them
    certainty  "certain" leaves out what is marked cf.
    groups     whether bones of one group count as one specimen or piece by piece; refits: pieces that fit together
    """

    by: str = "site"
    trench: tuple[str, ...] = ()
    phase: tuple[str, ...] = ()
    context: tuple[str, ...] = ()
    taxon: tuple[str, ...] = ()
    element: tuple[str, ...] = ()
    stage: tuple[str, ...] = ()
    ways: str = "apart"
    certainty: str = "any"
    checked: str = "any"
    groups: str = "pieces"
    refits: str = "one"

    def text(self) -> str:
        """One line, which `parse` reads back: only what differs from the usual choice."""
        usual = Selection()
        parts = []
        for one in fields(self):
            value = getattr(self, one.name)
            if value != getattr(usual, one.name):
                parts.append(f"{one.name}={value if isinstance(value, str) else '|'.join(map(quoted, value))}")
        return ",".join(parts)

    def takes(self, one: Specimen, number: str, knowledge: Knowledge) -> bool:
        """Whether a specimen, of the context with that number, is among what is asked for."""
        return (
            (not self.trench or one.trench in self.trench)
            and (not self.phase or one.phase in self.phase)
            and (not self.context or number in self.context)
            and (not self.taxon or any(knowledge.is_a(one.taxon or "", taxon) for taxon in self.taxon))
            and (not self.element or any(knowledge.is_part(one.element or "", of) for of in self.element))
            and (not self.stage or one.stage in self.stage)
            and (self.ways not in (HAND, SIEVE) or one.recovery == self.ways)
            and (self.certainty == "any" or one.certainty == self.certainty)
            and (self.checked == "any" or one.checked)
        )


def quoted(word: str) -> str:
    """A word with a backslash before each sign that parts words."""
    return "".join(f"\\{sign}" if sign in "\\|,=" else sign for sign in word)


def parse(text: str, knowledge: Knowledge, base: Selection | None = None) -> Selection:
    """The selection of a line such as `by=phase,taxon=cattle|pig,ways=hand`, on top of `base`.

    A backslash takes a sign as it is: `context=10\\,5`. Raises SelectionError for a word that means nothing here.
    """
    found = base or Selection()
    for part in _split(text, ","):
        if not part.strip():
            continue
        name, *rest = _split(part, "=")
        name, value = name.strip(), "=".join(rest)
        words = [_plain(one).strip() for one in _split(value, "|")]
        if name in LISTS and not any(words):
            # Left empty in a form it asks for everything; in a line somebody meant to say something.
            raise SelectionError(name, "")
        found = chosen(found, name, words, knowledge)
    return found


def chosen(selection: Selection, name: str, values: Iterable[str], knowledge: Knowledge) -> Selection:
    """The selection with one field set to these words. Raises SelectionError."""
    given = tuple(one for one in values if one)
    if name in LISTS:
        known = knowledge.taxa if name == "taxon" else knowledge.elements if name == "element" else given
        for one in given:
            if one not in known:
                raise SelectionError(name, one)
        return replace(selection, **{name: tuple(dict.fromkeys(given))})  # type: ignore[arg-type]
    if name not in CHOICES:
        raise SelectionError(name, "|".join(given), (*CHOICES, *LISTS))
    value = given[0] if len(given) == 1 else ""
    if value not in CHOICES[name]:
        raise SelectionError(name, "|".join(given), CHOICES[name])
    return replace(selection, **{name: value})  # type: ignore[arg-type]


def _split(text: str, sign: str) -> list[str]:
    """At each `sign` that no backslash stands before; backslashes stay."""
    parts, escaped = [""], False
    for one in text:
        if one == sign and not escaped:
            parts.append("")
            continue
        parts[-1] += one
        escaped = one == "\\" and not escaped
    return parts


def _plain(text: str) -> str:
    out, escaped = "", False
    for one in text:
        if one == "\\" and not escaped:
            escaped = True
            continue
        out, escaped = out + one, False
    return out


def way_of(one: Specimen) -> str:
    """How a specimen was got, as a word of a unit."""
    if one.recovery == HAND:
        return HAND
    if one.recovery == SIEVE:
        return SIEVE if one.mesh_mm is None else f"{SIEVE}:{one.mesh_mm:g}"
    return UNRECORDED


def units(specimens: Iterable[Specimen], selection: Selection) -> dict[Unit, list[Specimen]]:
    """{unit: its specimens}, by place and way. Which are asked for is decided before (Selection.takes)."""
    found: dict[tuple[str, str], list[Specimen]] = {}
    for one in specimens:
        place = "" if selection.by == "site" else getattr(one, selection.by)
        found.setdefault((place, TOGETHER if selection.ways == TOGETHER else way_of(one)), []).append(one)
    # What has no place comes last.
    return {Unit(selection.by, *key): found[key] for key in sorted(found, key=lambda key: (key[0] == "", key))}
