"""The words of the pages: texts by key, vocabulary in words, values, times, readings in a line.

What a page says in the same words as the printed sheet (where a docket stands, why an assessment does not count, the
steps of a hold, names of fields) comes from the sheet's texts, so that the two never differ. A key without a text is
shown as it came; what was not recorded says so. Not here: HTML.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from fieldapp.assets import knowledge, texts
from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.naming import ANSWERS
from fieldapp.records.changes import canonical
from fieldapp.records.shapes import CUSTODY
from fieldapp.sheets.observed import LISTS, observed
from fieldapp.sheets.words import number

PARTS = ("portions", "fusion")
"""Fields of a reading that hold a state for each portion or centre."""

FIELDS = (
    "element",
    "side",
    "taxon",
    "certainty",
    "position",
    "portions",
    "fusion",
    "sex",
    "age",
    "texture",
    "stage",
    "compared",
)
"""Fields of a reading, in the order in which they are shown."""

ITEMS = ("tooth", "measure", "mark", "pathology", "fracture", "joins", "fraction", "cremation", "dating")
"""Paths whose values are objects that read as a line."""

CLOSED = object()
"""Stands for a value that is closed to who asks."""

HIDDEN = object()
"""Stands for a first reading that is hidden from who is to read the bone again."""

LIST_OF = {
    "type": "context_type",
    "tier": "human_answer",
    "answer": "human_answer",
    "portions": "portion_state",
    "fusion": "fusion_state",
    "mode": "site_mode",
}
"""{path or field of a reading: the vocabulary list of its words}, where that is not called the same."""

_UNITS = {"weight_g": "sheets.grams", "mesh_mm": "sheets.millimetres"}


def say(key: str, **fields: Any) -> str:
    """The text `review.<key>`, filled in. Raises KeyError for a key that has none."""
    return texts()[f"review.{key}"].format(**fields)


def many(key: str, n: int, **fields: Any) -> str:
    """The text `review.<key>.one` or `.many`, by number."""
    return say(f"{key}.{'one' if n == 1 else 'many'}", n=n, **fields)


def signs(criteria: Any) -> list[str]:
    """What an assessment says of the criteria, an answer a line; [] where it says nothing of them."""
    if not isinstance(criteria, Mapping):
        return []
    # As they are asked; what is asked no longer comes last.
    keys = dict.fromkeys((*knowledge().criteria, *sorted(criteria)))
    lines = []
    for answer in ANSWERS:
        about = [word("criterion", key) for key in keys if criteria.get(key) == answer]
        if about:
            lines.append(f"{say(f'assess.said.{answer}')}: {' · '.join(about)}")
    return lines


def text(key: str, **fields: Any) -> str:
    """The text at a whole key, or the last part of the key where there is none."""
    found = texts().get(key)
    return found.format(**fields) if found is not None else key.rpartition(".")[2].replace("_", " ")


def word(of: str, value: Any) -> str:
    """A value of the vocabulary list `of`."""
    if value is None or value == "":
        return say("not_recorded")
    return texts().get(f"{of}.{value}", value) if isinstance(value, str) else plain(value)


def in_order(keys: Iterable[str], said: Callable[[str], str]) -> list[str]:
    """Keys in the alphabetical order of what the page says for them: for lists without an order of their own."""
    return sorted(keys, key=lambda one: alphabetical(said(one)))


def named(of: str, keys: Iterable[str]) -> list[str]:
    """The same of the words of a vocabulary list."""
    return in_order(keys, lambda one: word(of, one))


def listed(of: str, keys: Iterable[str]) -> list[str]:
    """Keys of a vocabulary list that has an order of its own, in that; others after them, by the alphabet."""
    found = named(of, keys)
    known = knowledge().words.get(of, ())
    return [*(one for one in known if one in found), *(one for one in found if one not in known)]


def person(name: str, role: str) -> str:
    """Who wrote something, with the role; the cabin's own rules and commands have none."""
    if (name, role) in _NOBODY:
        return say(_NOBODY[name, role])
    return ", ".join(one for one in (name or say("not_known_who"), word("role", role) if role else "") if one)


_NOBODY = {
    ("rules", "recorder"): "by_the_rules",
    ("cabin", "administrator"): "by_the_cabin",
    ("import", "recorder"): "by_an_import",
}


def plain(value: Any) -> str:
    """A value without a vocabulary, as it was written."""
    if value is None or value == "":
        return say("not_recorded")
    if isinstance(value, bool):
        return say("yes" if value else "no")
    if isinstance(value, float):
        return number(value)
    return value if isinstance(value, str) else canonical(value)


def field(path: str) -> str:
    """The name of a path, or of a reading's field (`portions/distal_epiphysis` without its element: see `part`)."""
    name = path.partition("/")[0]
    found = texts().get(f"review.field.{name}") or texts().get(f"sheets.field.{name}")
    return path if found is None or "{" in found else found


def part(field_path: str, element: Any) -> str:
    """The name of a reading's field; of a portion or centre, its own name in the element."""
    name, _, key = field_path.partition("/")
    if not key or name not in PARTS:
        return field(field_path)
    of = "portion" if name == "portions" else "centre"
    return texts().get(f"{of}.{element}.{key}", key.replace("_", " "))


def value(path: str, given: Any) -> str:
    """The value at a path of a record or a field of a reading."""
    if given is CLOSED:
        return say("closed")
    if given is HIDDEN:
        return say("second.hidden")
    if given is None or given == "":
        return say("not_recorded")
    name = path.partition("/")[0]
    if name in _UNITS:
        return text(_UNITS[name], value=plain(given))
    if name == "reading":
        return title(given)
    if isinstance(given, Mapping) and isinstance(given.get("text"), str):
        return str(given["text"])
    if name == "checked" and isinstance(given, Mapping):
        return say("checked.checked")
    if name == "imported" and isinstance(given, Mapping):
        return say("imported.row", file=plain(given.get("file")), row=plain(given.get("row")))
    if name == "step" and isinstance(given, Mapping):
        return step(given)
    if name == "release" and isinstance(given, Mapping):
        return ", ".join(plain(given[part]) for part in ("word_of", "reference") if given.get(part))
    if name in LISTS or (isinstance(given, Mapping) and name in ITEMS):
        return observed(path, given, texts())
    return word(LIST_OF.get(name, name), given)


def title(reading: Any) -> str:
    """A reading in one line: side, element and animal."""
    if reading is None:
        return say("no_reading")
    if not isinstance(reading, Mapping):
        return say("as_written", value=plain(reading))
    element, side, taxon = (reading.get(name) for name in ("element", "side", "taxon"))
    part = word("element", element) if element not in (None, "") else say("no_element")
    animal = word("taxon", taxon) if taxon not in (None, "") else say("no_taxon")
    if reading.get("certainty") == "cf":
        animal = say("cf", taxon=animal)
    if side in (None, ""):
        return say("title", element=part, taxon=animal)
    return say("title.sided", side=word("side", side), element=part, taxon=animal)


def of_step(part: str, written: Any) -> str:
    """What a line of a hold's log says in its field `part`: whom and how may be keys, as tablets write them."""
    if written in (None, ""):
        return ""
    found = texts().get(f"sheets.{part}.{written}") if isinstance(written, str) else None
    return found or plain(written)


def custody(line: Mapping[str, Any]) -> list[str]:
    """What a line of a hold's log says of a hand-over."""
    return [f"{texts()[f'sheets.custody.{name}']}: {plain(line[name])}" for name in CUSTODY if line.get(name)]


def step(line: Mapping[str, Any]) -> str:
    """A line of a hold's log, in a line."""
    at = when(line["at"]) if line.get("at") else ""
    return ", ".join(one for one in (of_step("step", line.get("what")), *_said(line), *custody(line), at) if one)


def _said(line: Mapping[str, Any]) -> list[str]:
    return [of_step(name, line.get(name)) for name in ("whom", "how", "ref", "note")]


def states(reading: Any, name: str) -> list[tuple[str, list[str]]]:
    """[(state in words, [portions or centres in words])] of a reading, states in the order of the vocabulary."""
    if not isinstance(reading, Mapping) or not isinstance(reading.get(name), Mapping):
        return []
    element, written = reading.get("element"), reading[name]
    tables = {"portions": knowledge().portion_keys, "fusion": knowledge().centre_keys}
    known = tables[name].get(element, {}) if isinstance(element, str) else {}
    # Along the bone, as the table has them; what is not in it comes last.
    keys = [*(key for key in known if key in written), *(key for key in written if key not in known)]
    found: dict[str, list[str]] = {}
    for key in keys:
        found.setdefault(value(name, written[key]), []).append(part(f"{name}/{key}", element))
    of = LIST_OF[name]
    order = [word(of, key) for key in knowledge().words.get(of, ())]
    return sorted(found.items(), key=lambda one: order.index(one[0]) if one[0] in order else len(order))


def when(at: Any) -> str:
    """An ISO 8601 time to the minute, with its zone; any other text as it came."""
    try:
        time = datetime.fromisoformat(at)
    except (ValueError, TypeError):
        return plain(at)
    zone = f" {time:%z}"[:4] + ":" + f"{time:%z}"[3:5] if time.tzinfo else ""
    return f"{time:%Y-%m-%d %H:%M}{zone}"


def sentence(key: str, fields: Mapping[str, Any]) -> str:
    """A sentence by its whole key. A field it was not given shows as its name rather than hiding the rest."""

    class Open(dict[str, Any]):
        def __missing__(self, name: str) -> str:
            return f"({name})"

    found = texts().get(key)
    if found is None:
        return f"{key.rpartition('.')[2].replace('_', ' ')} {canonical(dict(fields)) if fields else ''}".strip()
    return found.format_map(Open(fields))


def animal(reading: Any) -> str:
    """A reading's animal, with its certainty."""
    taxon = reading.get("taxon") if isinstance(reading, Mapping) else None
    if taxon in (None, ""):
        return say("not_recorded")
    return say("cf", taxon=word("taxon", taxon)) if reading.get("certainty") == "cf" else word("taxon", taxon)


def assessed(value: Mapping[str, Any]) -> str:
    """The animal and part an assessment names, in a line."""
    names = (("side", "side"), ("element", "element"), ("portion", "portion"), ("taxon", "taxon"))
    return ", ".join(word(of, value.get(name)) for name, of in names if value.get(name) not in (None, ""))


def why(written: str) -> str:
    """Why somebody answered the human question so: words, or keys of the texts."""
    return "; ".join(texts().get(one.strip(), one.strip()) for one in written.split("|"))
