"""What a rule looks at and what it hands back. No rules here, and no sentences: those are texts by key.

A record comes as {path: value}. It may hold anything: a newer tablet's words, a half-made form, a value of the wrong
kind. The views below take from it only what has the right kind, so that a rule never has to ask.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldapp.domain import human
from fieldapp.domain.knowledge import Element, Knowledge, Portion, Taxon

Values = Mapping[str, Any]
Finding = tuple[str, dict[str, str]]
"""(path, fields of the sentence). A field is a text key where there is a text for it, else the word itself."""

PRESENT = ("most", "part")
_NO_VALUES: Values = {}


@dataclass(frozen=True, slots=True)
class Problem:
    """Something to mend or to look at. The record is kept whatever is found.

    rule    key of the rule
    level   "impossible" (left out of counts until mended), "check" or "note"
    path    what it is about: "weight_g", "reading/side", "reading/portions/head" ...
    fields  what to put into the rule's sentence
    raises  the answer to the human question that is to be added by rule ("query", "not_excluded"), or ""
    """

    rule: str
    level: str
    path: str
    fields: Mapping[str, str]
    raises: str = ""


@dataclass(slots=True)  # one is made for every record: a frozen one takes three times as long to fill
class Around:
    """What surrounds a record; never altered. All optional: what is not given is not looked at.

    record    id of the record that is checked
    new       it is being made now, not read again
    context   values of its context;  context_id  that context's id
    bag       values of its bag
    labels    {label: how many records of its kind carry it}; for a context, {number: how many}
    siblings  values of the other dockets in its bag; one that weighs the same and reads the same is enough
    joined    {docket id: values} of the dockets it is said to be one bone with
    refits    {docket id: values} of the dockets it is said to have broken from
    site, sample  values of the site; of the sample that it, or its bag, was taken from
    readings  every reading of it that stands, where people disagree; () where they do not
    photos, transfers  {id: values} of its photos; of the records of where it was sent
    subject   values of the docket, bag or context that a transfer or a photo names
    inside    values of the dockets in the bag that it is or names; of the dockets that name the photo
    whole     everything it names was looked for: what is not given is not there
    """

    record: str = ""
    new: bool = False
    context: Values | None = None
    context_id: str = ""
    bag: Values | None = None
    labels: Mapping[str, int] = field(default_factory=dict)
    siblings: Sequence[Values] = ()
    joined: Mapping[str, Values] = field(default_factory=dict)
    refits: Mapping[str, Values] = field(default_factory=dict)
    site: Values | None = None
    sample: Values | None = None
    readings: Sequence[Any] = ()
    photos: Mapping[str, Values] = field(default_factory=dict)
    transfers: Mapping[str, Values] = field(default_factory=dict)
    subject: Values | None = None
    inside: Sequence[Values] = ()
    whole: bool = False


def text(value: Any) -> str | None:
    """A value if it is a word that says something, else None."""
    return value if isinstance(value, str) and value else None


def number(value: Any) -> float | None:
    """A value if it is a number, else None. Truth values, NaN and infinity are none."""
    kind = type(value)
    if kind is not float and kind is not int:
        return None
    # A whole number past what a float holds is no weight and no count either.
    return float(value) if abs(value) < 1e15 else None


def shown(value: Any) -> str:
    """A value as a sentence can show it: short, whatever it is."""
    if isinstance(value, str):
        cut = value if len(value) <= 40 else value[:39] + "…"
        # Signs that turn a line round, break it, or cannot be written to a file are not shown as they are.
        return cut if cut.isprintable() else "".join(one if one.isprintable() else "·" for one in cut)
    if value is None or isinstance(value, bool | float) or number(value) is not None:
        return repr(value)
    return "{…}" if isinstance(value, Mapping) else "[…]" if isinstance(value, list | tuple) else "…"


def states(value: Any) -> dict[str, str]:
    """The {key: state} items of a reading's portions or centres that are written as words."""
    if type(value) is not dict and not isinstance(value, Mapping):  # nearly always a dict, which is asked faster
        return {}
    return {key: state for key, state in value.items() if isinstance(key, str) and isinstance(state, str)}


class Record:
    """A record of any kind, as its rules see it.

    heads  {first part of a path: the (path, value) under it}: "tooth" of "tooth/a"
    there  what a rule may need to have anything to look at (rules.NEEDS): the first parts of its paths
    kept   {name: what several rules need and the first of them worked out}
    """

    __slots__ = ("heads", "kept", "label", "there", "values")

    def __init__(self, values: Values) -> None:
        self.values = values
        self.kept: dict[str, Any] = {}
        self.heads: dict[str, list[tuple[str, Any]]] = {}
        for item in values.items():
            path = item[0]
            first = path.partition("/")[0] if "/" in path else path
            if first in self.heads:
                self.heads[first].append(item)
            else:
                self.heads[first] = [item]
        self.there = set(self.heads)
        self.label = text(values.get("label"))

    def items(self, prefix: str) -> list[tuple[str, Any]]:
        """(path, value) of what lies under `prefix`, such as "human/"."""
        return [item for item in self.heads.get(prefix.partition("/")[0], ()) if item[0].startswith(prefix)]


class Docket(Record):
    """A docket as its rules see it.

    element, taxon      keys, None where not examined or not a word
    element_row, taxon_row  their rows, None where the key is not known
    portions, fusion    {key: state}
    parted              {key: portion}: how its element is parted in its taxon, empty where the element is not known
    present, most       portions of which something, over half, is there
    answers             (path, value, answer as it counts) of its answers to the human question
    caution             how cautious the most cautious of them is, 0 if there is none (human.CAUTION)
    named               the taxon names an animal, not only a size or a class
    there               also the fields of its reading that are filled, the states of its portions and centres, its
                        answers as they count, and the fields of these that say something
    """

    __slots__ = (
        "answers",
        "caution",
        "element",
        "element_row",
        "fusion",
        "material",
        "most",
        "named",
        "parted",
        "portions",
        "present",
        "reading",
        "side",
        "taxon",
        "taxon_row",
    )

    def __init__(self, values: Values, know: Knowledge) -> None:
        super().__init__(values)
        reading = values.get("reading")
        own: Values = reading if type(reading) is dict or isinstance(reading, Mapping) else _NO_VALUES
        self.reading = own
        self.element = text(own.get("element"))
        self.taxon = text(own.get("taxon"))
        self.side = text(own.get("side"))
        self.portions = states(own.get("portions"))
        self.fusion = states(own.get("fusion"))
        self.material = text(values.get("material"))
        self.element_row: Element | None = know.elements.get(self.element) if self.element else None
        self.taxon_row: Taxon | None = know.taxa.get(self.taxon) if self.taxon else None
        self.named = self.taxon_row is not None and self.taxon_row.named
        self.parted: Mapping[str, Portion] = know.portion_map(self.element or "", self.taxon)
        self.most = {key for key, state in self.portions.items() if state == "most"}
        self.present = {key for key, state in self.portions.items() if state in PRESENT}
        self.answers = [(path, value, human.answer_of(value)) for path, value in self.items("human/")]
        self.caution = max([human.CAUTION[answer] for _, _, answer in self.answers], default=0)
        self.there.update([name for name, value in own.items() if value], self.portions.values(), self.fusion.values())
        for _, value, answer in self.answers:
            self.there.add(answer)
            if isinstance(value, Mapping):
                self.there.update([name for name, said in value.items() if said is not None and said is not False])

    def none_of(self, keys: Collection[str]) -> bool:
        """Whether all of these portions are written down as absent (and there are any)."""
        return bool(keys) and all(self.portions.get(key) == "absent" for key in keys)

    def names(self, **more: str) -> dict[str, str]:
        """Sentence fields for its element and taxon, and others."""
        return {"element": term("element", self.element), "taxon": term("taxon", self.taxon), **more}


def term(of: str, key: str | None) -> str:
    """The text key of a word of the tables: term("portion.tibia", "head")."""
    return f"{of}.{shown(key)}" if key else "rules.not_given"


Rule = Callable[[Any, Around, Knowledge], Iterator[Finding]]
"""A rule looks at a Record (or Docket, or Members of a group) and gives a finding for each thing it minds."""


def by_name(*rules: Rule) -> dict[str, Rule]:
    """Rules by their key, which is the function's name."""
    return {rule.__name__: rule for rule in rules}
