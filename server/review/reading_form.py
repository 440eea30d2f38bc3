"""Between a form of plain fields and what was seen on a bone: the reading, and what stands beside it. No script needed.

A form's answers are flat, {name: text}: `element`, `taxon`, `portions.<key>`, `fusion.<key>`, `measure.<code>`,
`mark.<row>.kind` and so on; `rest` says what every portion is of which nothing was chosen. `shown` says what to offer
for a bone, `read` makes values of answers (`reading` that of the bone alone), `answers` makes answers of values. Which
portions, centres, positions and measurements there are hangs on element and animal: `parts_of` names both, and a form
whose portions were of another bone is to be shown again before it is saved (`is_stale`).

Not here: HTML, what is written to which record, and whether it is true of a skeleton (the rules).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldapp.assets import knowledge, texts
from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.readings import blank_reading
from fieldapp.domain.rules.words import ITEMS, PLAIN, READING
from fieldapp.records.schemas import OBSERVED

Answers = dict[str, str]

SINGLE = ("element", "taxon", "side", "certainty", "position", "sex", "age", "texture", "compared")
"""Fields of a reading that hold a word each."""
PARTS = {"portions": "portion_state", "fusion": "fusion_state"}
LISTS = tuple(path for path in OBSERVED if path in PLAIN["docket"])
"""Paths of the docket that hold a word of a list."""
WHOLE, NUMBERS = ("count", "weathering"), ("weight_g", "longest_mm")
FRACTURE = ("angle", "outline", "texture")
ROWS = {
    "mark": ("kind", "portion", "aspect", "direction", "tool", "number"),
    "tooth": ("tooth", "jaw", "side", "seat", "stage", "wear", "crown_height_mm"),
    "pathology": ("kind", "portion"),
}
"""{item: its fields in a row}. A tooth's wear is said with its scheme: "grant_1982:g"."""
SPARE = {"mark": 3, "tooth": 4, "pathology": 2}
"""Empty rows beyond those that are filled."""
MOST_ROWS = 60
KEEP = "not_examined"
"""What a portion or centre is of which nothing was said, unless `rest` says something else."""

Choice = tuple[str, str]
"""(key, name)."""


@dataclass(frozen=True)
class Shown:
    """What a form offers. `rows`: {item: how many rows}; `parts_of`: the bone whose parts these are."""

    lists: Mapping[str, list[Choice]]
    portions: list[Choice]
    centres: list[Choice]
    measures: list[tuple[str, str, str]]
    rows: Mapping[str, int]
    parts_of: str


@dataclass
class Read:
    """What a form said: {path: value}, and the names of the fields that could not be understood."""

    values: dict[str, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def given(form: Mapping[str, str]) -> Answers:
    """The answers of a form that was sent, without the empty ones and without what is no field of a reading."""
    heads = {*SINGLE, *PARTS, *LISTS, *WHOLE, *NUMBERS, *ROWS, "rest", "fracture", "measure"}
    found = {name: " ".join(value.replace("\0", "").split())[:200] for name, value in form.items()}
    return {name: value for name, value in found.items() if value and name.partition(".")[0] in heads}


def parts_of(answers: Mapping[str, str]) -> str:
    """The bone whose parts a form shows."""
    return f"{answers.get('element', '')}/{answers.get('taxon', '')}"


def is_stale(form: Mapping[str, str]) -> bool:
    """Whether the portions that the form showed are of another bone than it names."""
    return form.get("parts_of", "/") != parts_of(form)


def shown(answers: Mapping[str, str]) -> Shown:
    """What to offer for the bone that the answers name."""
    known, said = knowledge(), texts()
    element, taxon = answers.get("element", ""), answers.get("taxon") or None
    lists = {
        "element": _named("element", known.elements),
        "taxon": _named("taxon", known.taxa),
        "position": [(one, one) for one in known.positions_of(element, taxon)],
        "tooth.tooth": [(key, said.get(f"tooth.{key}", row.name)) for key, row in known.teeth.teeth.items()],
        "tooth.wear": [
            (f"{scheme.key}:{stage}", f"{said.get(f'wear_scheme.{scheme.key}', scheme.name)}: {stage}")
            for scheme in known.teeth.schemes.values()
            for stage in scheme.stages
        ],
        **{name: _list(of) for name, of in {**READING, **{path: PLAIN["docket"][path] for path in LISTS}}.items()},
        **{name: _list(of) for name, of in PARTS.items()},
        **{f"{item}.{name}": _list(of) for item in ROWS for name, of in ITEMS["docket"][item]},
    }
    lists.pop("stage", None)
    portions = [
        (one.key, said.get(f"portion.{element}.{one.key}", one.name)) for one in known.portions_of(element, taxon)
    ]
    lists["mark.portion"] = lists["pathology.portion"] = portions
    centres = [(one.key, said.get(f"centre.{element}.{one.key}", one.name)) for one in known.centres_of(element, taxon)]
    measures = {row.code: row for row in known.measures.of(element) if taxon is None or taxon in row.animals}
    filled = {
        item: max((_row(name) for name in answers if name.startswith(f"{item}.")), default=-1) + 1 for item in ROWS
    }
    return Shown(
        lists,
        portions,
        centres,
        [(code, said.get(f"measure.{row.text}", row.name), row.definition) for code, row in measures.items()],
        {item: min(MOST_ROWS, filled[item] + SPARE[item]) for item in ROWS},
        f"{element}/{taxon or ''}",
    )


def read(answers: Mapping[str, str], stage: str, new_id: Callable[[str], str]) -> Read:
    """The values that the answers say, each whole. `new_id`: an id for an item, by its name in the form ("mark.0")."""
    found = Read()
    if (whole := reading(answers, stage)) is not None:
        found.values["reading"] = whole
    for path in LISTS:
        if answer := answers.get(path):
            found.values[path] = answer
    for path in (*WHOLE, *NUMBERS):
        _number(found, path, answers.get(path), path, whole=path in WHOLE)
    scores = {name: int(said) for name in FRACTURE if (said := answers.get(f"fracture.{name}", "")) in ("0", "1", "2")}
    if scores:
        found.values["fracture"] = {name: scores.get(name) for name in FRACTURE}
    for name in answers:
        head, _, code = name.partition(".")
        if head == "measure" and not code.endswith(".estimated"):
            taken = Read()
            _number(taken, "mm", answers[name], name)
            found.faults += taken.faults
            if taken.values:
                estimated = f"{name}.estimated" in answers
                found.values[f"measure/{new_id(name)}"] = {"code": code, **taken.values, "estimated": estimated}
    for item in ROWS:
        for row in range(MOST_ROWS):
            _item(found, answers, item, row, new_id)
    return found


def answers(values: Mapping[str, Any]) -> Answers:
    """The answers that stand for values, for a form that is opened again. What is odd is left out."""
    found: Answers = {}
    written = _mapping(values.get("reading"))
    for name in SINGLE:
        if isinstance(said := written.get(name), str) and said:
            found[name] = said
    for part in PARTS:
        for key, state in _mapping(written.get(part)).items():
            if isinstance(state, str) and state != KEEP:
                found[f"{part}.{key}"] = state
    for path in (*LISTS, *WHOLE, *NUMBERS):
        found |= _said(path, values.get(path))
    for name, score in _mapping(values.get("fracture")).items():
        found |= _said(f"fracture.{name}", score)
    rows = dict.fromkeys(ROWS, 0)
    for path, value in values.items():
        head, _, one = path.partition("/")
        if not one or not isinstance(value, Mapping):
            continue
        if head == "measure" and isinstance(code := value.get("code"), str):
            found |= _said(f"measure.{code}", value.get("mm"))
            if value.get("estimated") is True:
                found[f"measure.{code}.estimated"] = "yes"
        elif head in ROWS and rows[head] < MOST_ROWS:
            for name in ROWS[head]:
                said = value.get(name)
                if name == "wear" and said:
                    said = f"{value.get('scheme')}:{said}"
                found |= _said(f"{head}.{rows[head]}.{name}", said)
            rows[head] += 1
    return found


def reading(answers: Mapping[str, str], stage: str) -> dict[str, Any] | None:
    """The reading as one whole value; None where nothing was said of the bone."""
    if not any(name in answers for name in SINGLE) and not any(name.partition(".")[0] in PARTS for name in answers):
        return None
    known = knowledge()
    found: dict[str, Any] = blank_reading(answers.get("element"), answers.get("taxon"), known, stage)
    for name in SINGLE:
        if name in answers:
            found[name] = answers[name]
    rest = answers.get("rest", KEEP)
    for part, of in PARTS.items():
        for key in found[part]:
            usual = rest if part == "portions" and known.is_word(of, rest) else KEEP
            said = answers.get(f"{part}.{key}", usual)
            found[part][key] = said if known.is_word(of, said) else KEEP
    return found


def _item(found: Read, answers: Mapping[str, str], item: str, row: int, new_id: Callable[[str], str]) -> None:
    """One row of marks, teeth or unhealthy bone, if its first field is filled."""
    fields = ROWS[item]
    value: dict[str, Any] = {name: answers.get(f"{item}.{row}.{name}") for name in fields}
    if not any(value.values()):
        return
    if not value[fields[0]]:
        found.faults.append(f"{item}.{row}.{fields[0]}")
        return
    for name in ("number", "crown_height_mm"):
        if name in value:
            taken = Read()
            _number(taken, name, value[name], f"{item}.{row}.{name}", whole=name == "number")
            found.faults += taken.faults
            value[name] = taken.values.get(name)
    if item == "tooth":
        scheme, _, wear = (value.pop("wear") or "").partition(":")
        value |= {"scheme": scheme or None, "wear": wear or None}
    found.values[f"{item}/{new_id(f'{item}.{row}')}"] = value


def _number(found: Read, path: str, said: str | None, name: str, whole: bool = False) -> None:
    if not said:
        return
    try:
        if "_" in said:
            raise ValueError(said)
        value = int(said) if whole else float(said.replace(",", "."))
    except ValueError:
        found.faults.append(name)
        return
    if not 0 <= value < 1e9:
        found.faults.append(name)
        return
    found.values[path] = value


def _said(name: str, value: Any) -> Answers:
    if value is None or value == "" or isinstance(value, bool) or not isinstance(value, str | int | float):
        return {}
    return {name: f"{value:.10g}" if isinstance(value, float) else str(value)}


def _mapping(value: Any) -> Mapping[str, Any]:
    return {key: one for key, one in value.items() if isinstance(key, str)} if isinstance(value, Mapping) else {}


def _row(name: str) -> int:
    number = name.split(".")[1]
    return min(int(number), MOST_ROWS - 1) if number.isascii() and number.isdigit() and len(number) < 4 else -1


def _list(of: str) -> list[Choice]:
    said = texts()
    return [(word, said.get(f"{of}.{word}", word)) for word in knowledge().words.get(of, ())]


def _named(of: str, rows: Mapping[str, Any]) -> list[Choice]:
    """By name, as the language has them."""
    said = texts()
    named = [(key, said.get(f"{of}.{key}", row.name)) for key, row in rows.items()]
    return sorted(named, key=lambda one: alphabetical(one[1]))
