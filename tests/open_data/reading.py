"""Two published assemblages read into records of ours, row by row, by the tables in tests/data/outside/open_context.

Each table maps a word of the analysts to a key of ours; the README there says whose data they are. A row becomes the
values of one docket, and two lists: `missing`, what the vocabulary has no place for, and `kept`, what is written down
in words only (doubts, ranges of wear, remarks). Nothing is guessed that no table says.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.readings import blank_reading

FOLDER = Path(__file__).parents[1] / "data" / "outside" / "open_context"
ASSEMBLAGES = ("barcin", "mentese")
BEARERS = {"mandible": "lower", "skull": "upper"}
_JAWS = {"dens inf.": "lower", "dens sup.": "upper"}
_SPANS = ("proximal_end", "proximal_shaft", "mid_shaft", "distal_shaft", "distal_end")
_PARTED_IN_SPANS = frozenset(
    {"humerus", "radius", "ulna", "femur", "tibia", "metacarpal", "metatarsal", "metapodial", "phalanx_1", "phalanx_2"}
)
_WEAR = re.compile(r"^(d?p|m)(\d)_?(.+)$")
_CODE = re.compile(r"^\d{1,2}[A-Z]?$")


@dataclass
class Row:
    """One published row as a docket: its path values, what could not be said, what is said in words only."""

    assemblage: str
    line: int
    cells: dict[str, str]
    values: dict[str, Any] = field(default_factory=dict)
    missing: list[tuple[str, str]] = field(default_factory=list)
    kept: list[tuple[str, str]] = field(default_factory=list)
    read: set[str] = field(default_factory=set)

    @property
    def stated(self) -> bool:
        """Whether the analyst named an animal (or a size) and a bone, or a tooth of a jaw."""
        bone = self.cells["element"] not in ("", "Identified bone", "Koprolith") or bool(self.cells.get("tooth"))
        return bool(self.cells["taxon"]) and bone

    @property
    def reading(self) -> dict[str, Any]:
        found: dict[str, Any] = self.values["reading"]
        return found

    def keep(self, column: str, word: str) -> None:
        """Puts a word into a note, as it stands."""
        self.kept.append((column, word))
        self.values[f"note/{len(self.kept)}"] = {"text": f"{column}: {word}", "stage": "analysis"}


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """The rows of a file in the folder."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as opened:
        return tuple(csv.DictReader(opened))


@cache
def mapping(name: str, *columns: str) -> dict[tuple[str, ...], dict[str, str]]:
    """A mapping table by the columns named."""
    found = {tuple(row[column] for column in columns): row for row in table(name)}
    assert len(found) == len(table(name)), f"{name} maps a word twice"
    return found


def rows(knowledge: Knowledge) -> Iterator[Row]:
    """Every row of both assemblages as a record."""
    for assemblage in ASSEMBLAGES:
        for line, cells in enumerate(table(assemblage), 2):
            yield expressed(Row(assemblage, line, cells), knowledge)


def expressed(row: Row, know: Knowledge) -> Row:
    """Fills a row's values."""
    taxon = _taxon(row, know)
    element, position = _element(row, taxon, know)
    blank = blank_reading(element, taxon, know, "analysis")
    row.values |= {"label": f"{row.assemblage} {row.line}", "reading": blank, "count": 1}
    material = know.elements[element].material if element is not None else "bone"
    if row.cells["element"] == "Koprolith":
        material = "not_bone"
    row.values["material"] = material
    if material == "not_bone":
        row.values["reading"] = None
        return row
    if position:
        blank["position"] = position
    _side(row, know)
    _sex(row)
    _zones(row, know)
    _portions(row)
    _fusion(row, know)
    _states(row, know)
    _teeth(row, know)
    _burning(row, know)
    _marks(row, know)
    _rest(row)
    return row


def _word(row: Row, of: str, key: str, know: Knowledge, said: str) -> str | None:
    """A key if the list has it; else what was said is missing."""
    if know.is_word(of, key):
        return key
    row.missing.append((of, said))
    return None


def _taxon(row: Row, know: Knowledge) -> str | None:
    word = row.cells["taxon"]
    key = mapping("taxon", "assemblage", "word")[row.assemblage, word]["key"]
    if word and key not in know.taxa:
        row.missing.append(("taxon", word))
    return key if key in know.taxa else None


def _element(row: Row, taxon: str | None, know: Knowledge) -> tuple[str | None, str]:
    """Our element and the position in it (digit); from the dental series where the row is one tooth of a jaw."""
    word, detail = row.cells["element"], row.cells["detail"]
    found = mapping("element", "assemblage", "word", "detail")
    said = found.get((row.assemblage, word, detail)) or found[row.assemblage, word, ""]
    key = said["key"]
    if not word and row.cells.get("tooth"):
        series = row.cells["series"].partition(" ")[0]
        key = {"Mandible": "mandible", "Maxilla": "skull", "Isolated": "loose_tooth"}[series]
    if key and key not in know.elements:
        row.missing.append(("element", f"{word} {detail}".strip()))
    elif key == "shell" and taxon is not None:
        # A mussel's shell is a valve, a snail's a snail shell.
        own = [one for one in know.elements if key in know.elements[one].broader and know.occurs(one, taxon)]
        key = own[0] if len(own) == 1 else key
    return (key if key in know.elements else None), said["position"]


def _side(row: Row, know: Knowledge) -> None:
    word = row.cells["side"]
    if word:
        said = mapping("side", "assemblage", "word")[row.assemblage, word]
        if said["note"]:
            row.keep("side", word)
        element = know.elements.get(row.reading["element"] or "")
        if element is None or (element.midline and not element.sided):
            # A side of a bone that lies on the midline, or of none that is known: half of it is meant.
            row.keep("side", word)
        else:
            row.reading["side"] = _word(row, "side", said["key"], know, word)


def _sex(row: Row) -> None:
    word = row.cells["sex"]
    if word:
        said = mapping("sex", "assemblage", "word")[row.assemblage, word]
        row.reading["sex"] = said["key"] or None
        if said["note"]:
            row.keep("sex", word)


def _zones(row: Row, know: Knowledge) -> None:
    """What is there of a long bone: spans of its length, laid over the steps of our portions."""
    element = row.reading["element"]
    said = [
        one
        for one in table("zone")
        if one["assemblage"] == row.assemblage and (word := row.cells[one["column"]]) and one["word"] in ("", word)
    ]
    if not said:
        return
    spans = _spans(element, row.reading["taxon"], know) if element in _PARTED_IN_SPANS else {}
    if not spans:
        row.keep("zone", " ".join(f"{one['column']} {one['word']}".strip() for one in said))
        return
    portions = row.reading["portions"]
    if row.assemblage == "mentese":
        # This analyst filled in all three thirds: what is not named was not there.
        portions.update(dict.fromkeys(portions, "absent"))
    centres = mapping("fusion", "assemblage", "word", "end")
    for one in said:
        keys = [key for span in one["zone"].split("|") for key in spans[span]]
        end = centres.get((row.assemblage, row.cells["element"], one["column"]))
        if "epiphysis" in one["word"] and end is not None:
            # That of the centre, where the end has several (the head of the femur, not its trochanters).
            keys = [portion.key for portion in know.epiphysis(element, end["key"], row.reading["taxon"])] or keys
        portions.update(dict.fromkeys(keys, one["state"]))


def _portions(row: Row) -> None:
    """Parts of a bone named in words: that something of them is there; how much is not told."""
    found, own, side = mapping("portion", "assemblage", "word", "element"), row.reading["portions"], row.reading["side"]
    for column in ("element", "detail"):
        said = found.get((row.assemblage, row.cells[column], row.reading["element"] or ""))
        keys = said["portions"].format(side=side).split("|") if said is not None else []
        if keys and set(keys) <= own.keys():
            own.update({key: "part" for key in keys if own[key] == "not_examined"})
            row.read.add(column)


def _spans(element: str, taxon: str | None, know: Knowledge) -> dict[str, list[str]]:
    """{span: our portions in it}, by step: the ends are the first and last step and the epiphyses beside them."""
    own = know.portions_of(element, taxon)
    last = max((portion.step for portion in own), default=0)
    found: dict[str, list[str]] = {span: [] for span in _SPANS}
    for portion in own:
        if portion.step in (1, last) or portion.kind == "epiphysis":
            spans = ["proximal_end" if portion.step * 2 <= last else "distal_end"]
        else:
            spans = [span for span, at in (("proximal_shaft", 2), ("distal_shaft", last - 1)) if portion.step == at]
            # A bone of few steps has no portion for the middle alone.
            spans = [*spans, "mid_shaft"] if not spans or last <= 4 else spans
        for span in spans:
            found[span].append(portion.key)
    return found if own else {}


def _fusion(row: Row, know: Knowledge) -> None:
    for end in ("proximal", "distal"):
        state = row.cells[f"fusion_{end}"]
        if not state:
            continue
        centre = mapping("fusion", "assemblage", "word", "end")[row.assemblage, row.cells["element"], end]["key"]
        if centre not in row.reading["fusion"]:
            row.missing.append(("fusion", f"{row.cells['element']} {end}"))
            continue
        if state == "unfused" and row.cells[end] in ("epiphysis", "fragment of epiphysis"):
            state = "loose_epiphysis"
        row.reading["fusion"][centre] = _word(row, "fusion_state", state, know, state) or "not_examined"


def _states(row: Row, know: Knowledge) -> None:
    """Age and joining written in words."""
    column = "fusion_text" if row.assemblage == "barcin" else "age"
    word = row.cells[column]
    said = mapping("state", "assemblage", "word").get((row.assemblage, word))
    if not word or (said is None and (row.cells["fusion_proximal"] or row.cells["fusion_distal"]) and column != "age"):
        return
    if said is None:
        row.keep(column, word)
    elif said["what"] == "age":
        row.reading["age"] = _word(row, "age_class", said["key"], know, word)
    else:
        centres = [one for one in said["what"].split("|") if one in row.reading["fusion"]]
        row.reading["fusion"].update(dict.fromkeys(centres, said["key"]))
        if not centres or said["note"].endswith("note"):
            row.keep(column, word)


def _teeth(row: Row, know: Knowledge) -> None:
    """The teeth that a row names, each an item of its own; wear where one stage of a scheme is named."""
    element, found = row.reading["element"], mapping("tooth", "assemblage", "column", "word")
    named = [
        said
        for column in ("element", "tooth", "detail")
        if (said := found.get((row.assemblage, column, row.cells.get(column, "")))) is not None
    ]
    if not named:
        if row.cells.get("payne") or row.cells.get("grant"):
            row.keep("wear", f"{row.cells['payne']} {row.cells['grant']}".strip())
        return
    if element not in (*BEARERS, "loose_tooth"):
        row.keep("detail", row.cells["detail"])
        return
    jaw = (
        BEARERS.get(element) or next((one["jaw"] for one in named if one["jaw"]), "") or _JAWS.get(row.cells["element"])
    )
    seat = next((one["seat"] for one in named if one["seat"]), "loose" if element == "loose_tooth" else "in_jaw")
    if (remark := found.get((row.assemblage, "remark", row.cells.get("remark", "")))) is not None:
        named.append(remark)
    stage = next((one["stage"] for one in named if one["stage"]), "")
    wear, side = _wear(row), row.reading["side"]
    keys = dict.fromkeys(key for said in named for key in said["key"].split("|") if key)
    # "I lower" with the remark "I2" is one tooth, by its narrower name.
    keys = {key: None for key in keys if not any(know.teeth.is_a(one, key) for one in keys if one != key)}
    for key in keys:
        if know.teeth.tooth(key) is None:
            row.missing.append(("tooth", key))
            continue
        scheme, code, state = wear.get(key) or (wear.get("") if len(keys) == 1 else None) or (None, None, "")
        row.values[f"tooth/{key}"] = {
            "tooth": key,
            "jaw": jaw or row.cells.get("jaw", "").lower() or None,
            "side": side if side in ("left", "right") else None,
            "seat": seat,
            "stage": _word(row, "eruption_state", stage or state, know, stage or state) if stage or state else None,
            "scheme": scheme,
            "wear": code,
            "crown_height_mm": None,
            "note": "",
        }


def _wear(row: Row) -> dict[str, tuple[str | None, str | None, str]]:
    """{tooth, or "" for the only one: (scheme, code, eruption state)}; what is no single stage is kept in words."""
    found: dict[str, tuple[str | None, str | None, str]] = {}
    if row.assemblage == "mentese":
        code = row.cells["payne"] or row.cells["grant"]
        payne = row.cells["taxon"] in ("Ovis", "Capra", "Ovis/Capra") and row.cells["jaw"] == "Lower"
        if payne and _CODE.match(code) and row.cells["tooth"] in ("D4", "P4", "M1", "M2", "M3"):
            found[""] = ("payne_1987", code, "")
        elif code:
            row.keep("wear", code)
        return found
    for scheme, text in (("grant_1982", row.cells["grant"]), (None, row.cells["payne"])):
        for part in filter(None, re.split(r"[;,]", text)):
            tooth, code = _tooth_and_code(part)
            if scheme and row.cells["element"] != "dens sup." and code in tuple("abcdefghjklmnop"):
                found[tooth] = (scheme, code, "in_wear")
            elif code in ("E", "erupt"):
                found[tooth] = (None, None, "erupting")
            elif code == "germ":
                found[tooth] = (None, None, "in_crypt")
            elif code == "1/2":
                found[tooth] = (None, None, "half_up")
            else:
                found.setdefault(tooth, (None, None, "in_wear"))
                row.keep("wear", part)
    return found


def _tooth_and_code(text: str) -> tuple[str, str]:
    """("dP4", "5-7") of "dp4_5-7"."""
    match = _WEAR.match(text)
    assert match is not None, text
    kind, place, code = match.groups()
    return {"dp": "dP", "p": "P", "m": "M"}[kind] + place, code


def _burning(row: Row, know: Knowledge) -> None:
    for said in table("burning"):
        word = row.cells.get(said["column"], "") if said["assemblage"] == row.assemblage else ""
        if word and said["word"] in ("", word):
            if said["burning"]:
                row.values["burning"] = _word(row, "burning", said["burning"], know, word or said["column"])
            else:
                row.keep("burning", word)
            if said["colour"]:
                row.values["burn_colour"] = _word(row, "burn_colour", said["colour"], know, word)


def _marks(row: Row, know: Knowledge) -> None:
    for column, kind in (("cuts", "cut"), ("gnawed", "carnivore_gnawing")):
        if word := row.cells.get(column, ""):
            said = _word(row, "mark_kind", kind, know, column)
            row.values[f"mark/{kind}"] = {"kind": said, "number": int(word), "portion": None}


def _rest(row: Row) -> None:
    """Weight and number; remarks that no table reads stay what they are."""
    teeth, elements = (
        mapping("tooth", "assemblage", "column", "word"),
        mapping("element", "assemblage", "word", "detail"),
    )
    for column in ("detail", "remark"):
        word = row.cells.get(column, "")
        read = (row.assemblage, column, word) in teeth or (row.assemblage, row.cells["element"], word) in elements
        if word and not read and column not in row.read:
            row.keep(column, word)
    if row.assemblage == "barcin":
        if weight := row.cells["weight_g"]:
            row.values["weight_g"] = float(weight)
        number = float(row.cells["nisp"])
        if number >= 1 and number.is_integer():
            row.values["count"] = int(number)
        else:
            # Halves, and pieces that this analyst did not count as specimens.
            row.keep("nisp", row.cells["nisp"])
