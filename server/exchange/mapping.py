"""A row of somebody's table as the values of one docket, by a map; and what of it the map did not tell. Pure.

Nothing is guessed that no line of the map says. What is not understood is a `Miss`, and stands in the row that the
docket keeps. The human question is never answered here, only raised. Not here: contexts and bags, writing (loading).
"""

from __future__ import annotations

import math
import re
import unicodedata
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import lru_cache
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.records import answers as readings
from server.exchange import along, slots
from server.exchange.maps import ANY, LONGEST, MOST, Column, Map
from server.exchange.tables import ROW, Row

STAGE = "analysis"
_FIGURE = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?\Z", re.ASCII)
_HUMAN = re.compile(
    r"(?<![^\W\d_])(?:(?:homo|sapiens|uman[aeioă]?|mens|insan|emberi?|人[骨类類]?)(?![^\W\d_])"
    r"|huma(?:n|in)|mensch|mensen|menselijk|mennesk|m[aä]nnisk|mänsklig|ihmi(?:nen|s)|homin(?:in|id)"
    r"|ludzk|człowie|lidsk|člově|ľudsk|človek|človeš|ljudsk|čov(?:j?e)[kč]|челове[кч]|люд(?:ин|ськ)|[άα]νθρ[ωώ]π)",
    re.IGNORECASE,
)
"""Words for human remains in the languages of many tables, whole or as the beginning of a longer one, such as
"Menschenknochen". Common practice, no source."""
_SHORT = {"hum", "homsap", "hsap", "hosa", "hom"}
_ALIKE = ("human", "humans", "homosapiens", "humain", "mensch")
"""Abbreviations, and words that a slip of the pen makes others of. Common practice, no source. Only in a column of
animals, since "hum" is a humerus too, and only where the map does not say what they mean."""
_NAMING = {"taxon", "element"}
"""In whose columns such a word is looked for: "human skull" stands under bones too."""
_PLACE = ("context", "trench", "phase", "context_type", "grave_like", "bag", "recovery", "mesh_mm")
_PLAIN = tuple(one for one in readings.PLAIN if one not in ("material", "place", "fracture", "ask"))


@dataclass(frozen=True, slots=True)
class Miss:
    """Something of a row that the map did not tell, or could not mean. `why`: a key of the texts; `fields` fill it."""

    column: str
    value: str
    why: str
    fields: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Mapped:
    """A row as a docket.

    docket   its id                        place   {slot: word} of where it lay
    said     {slot: word} of all that the map told        values  {path: value} of the docket, without place and label
    human    whether it is read as human, or may be
    counted  what the table counts of specimens: 7.5; None where it counts none
    left     why no docket can be made of it, a key of the texts; "" for one that is
    """

    row: Row
    docket: str
    said: dict[str, Any] = field(default_factory=dict)
    place: dict[str, Any] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)
    label: str = ""
    human: bool = False
    counted: float | None = None
    left: str = ""
    misses: list[Miss] = field(default_factory=list)
    _from: dict[str, tuple[str, str]] = field(default_factory=dict)

    def miss(self, slot: str, why: str, **fields: str) -> None:
        """What a slot was told cannot be so."""
        column, value = self._from.get(slot, ("", str(self.said.get(slot, ""))))
        found = Miss(column, value, why, fields)
        if found not in self.misses:
            self.misses.append(found)


class Mapper:
    """Reads the rows of a file with this name and digest, for a site."""

    def __init__(self, by: Map, knowledge: Knowledge, site: str, file: str, sha256: str) -> None:
        self.map, self.knowledge = by, knowledge
        self._space = uuid.uuid5(uuid.UUID(site), f"import/{sha256}")
        tells = [(each, {*each.to, *(slot for said in each.words.values() for slot in said)}) for each in by.columns]
        self._taxa = [each for each, told in tells if "taxon" in told]
        naming = [each.heading for each, told in tells if _NAMING & told]
        naming += [heading for case in by.cases if _NAMING & case.said.keys() for heading in case.when]
        self._animals, self._read = [*dict.fromkeys(naming)], frozenset(by.headings())
        self._origin = {"file": file[-LONGEST:], "sha256": sha256, "map": by.name}
        self._origin |= {"credit": by.credit} if by.credit else {}

    def id(self, name: str) -> str:
        """The id of a record that the file brings: the same whenever it is read."""
        return str(uuid.uuid5(self._space, name))

    def read(self, row: Row) -> Mapped:
        """A row."""
        one = Mapped(row, self.id(f"row/{row.number}"))
        # With a cell too many, all of them are mostly in the wrong columns: nothing of such a row is believed.
        one.left = "ragged_long" if row.ragged == "long" else "row_long" if row.length > ROW else ""
        if one.left:
            one.misses.append(Miss("", " | ".join(row.cells.values()), one.left))
            one.human = any(map(_says_human, row.cells.values()))
            return one
        if row.ragged:
            one.misses.append(Miss("", "", "ragged_short"))
        self._hear(one)
        self._place(one)
        self._docket(one)
        one.values["imported"] = {**self._origin, "row": row.number, "columns": row.cells}
        return one

    # What the cells say

    def _hear(self, one: Mapped) -> None:
        cells = one.row.cells
        for slot, value in self.map.every.items():
            one.said[slot] = value
        for column in self.map.columns:
            cell = cells.get(column.heading, "").replace("\0", "").strip()
            if cell in self.map.nothing:
                continue
            if "\0" in cells[column.heading]:
                one.misses.append(Miss(column.heading, cells[column.heading], "nul"))
            text = _bare(cell, column)
            means = column.words.get(text, column.words.get(cell, column.words.get(ANY)))
            if means is not None:
                self._put(one, column, text, means)
            elif not column.to:
                one.misses.append(Miss(column.heading, cell, "word"))
            else:
                for slot in column.to:
                    self._tell(one, column, slot, text)
        for case in self.map.cases:
            if all(_meant(cells.get(heading, ""), wanted) for heading, wanted in case.when.items()):
                heading = next(iter(case.when))
                for slot in [slot for slot, value in case.said.items() if value == ""]:
                    one.said.pop(slot, None)
                self._put(one, Column(heading), cells.get(heading, "").strip(), case.said)

        self._doubt(one)

    def _doubt(self, one: Mapped) -> None:
        """A cell of an animal or a bone that says human in so many words raises the question, whatever a map makes of
        it; a cell of an animal that looks like it, where the map says nothing of it. In a column that is not read it
        may say who gnawed or cut; that it is there is told."""
        if self.knowledge.may_be_human(one.said.get("taxon")):
            return
        for heading in self._animals:
            if _says_human(cell := one.row.cells.get(heading, "")):
                one.said[slots.HUMAN] = "query"
                one.misses.append(Miss(heading, cell, "perhaps_human"))
                return
        for column in self._taxa:
            cell = one.row.cells.get(column.heading, "").strip()
            text = _bare(cell, column)
            if not {text, cell} & column.words.keys() and _looks_like_human(text):
                one.said[slots.HUMAN] = "query"
                one.misses.append(Miss(column.heading, cell, "looks_like_human"))
                return
        if slots.HUMAN not in one.said:
            for heading, cell in one.row.cells.items():
                if heading not in self._read and _says_human(cell):
                    one.misses.append(Miss(heading, cell, "human_unread"))

    def _put(self, one: Mapped, column: Column, text: str, said: Mapping[str, Any]) -> None:
        for slot, value in said.items():
            if slot == slots.NOTE and value is True:
                self._note(one, column.heading, text)
            elif value != "":
                one.said[slot] = [*one.said.get(slot, ()), *value] if slot == slots.TOOTH else value
                one._from[slot] = (column.heading, text)

    def _note(self, one: Mapped, heading: str, text: str) -> None:
        one.said.setdefault("notes", []).append(f"{heading}: {text}")

    def _tell(self, one: Mapped, column: Column, slot: str, text: str) -> None:
        """What a cell says without a word of the map: a figure, a key of ours, or free words."""
        family = slot.partition(".")[0]
        value: Any
        if slot == slots.NOTE:
            self._note(one, column.heading, text)
            return
        if slots.is_figure(slot) or slot == slots.COUNT or family in slots.WHOLES:
            value, why = self._figure(text.removesuffix(column.estimated) if column.estimated else text, column.unit)
            if value is not None and column.estimated and text.endswith(column.estimated):
                one.said[f"estimated {slot}"] = True
        elif slot in slots.TEXTS:
            before = one.said.get(slot) if slot in slots.JOINED and slot in one._from else None
            value, why = f"{before} {text}" if before else text, "text_long"
            value = value if len(value) <= LONGEST else None
        elif slot == slots.TOOTH:
            value, why = [text] if self.knowledge.teeth.tooth(text) is not None else None, "word"
        elif family == "wear":
            value, why = text if self.knowledge.teeth.stage(slot.partition(".")[2], text) else None, "word"
        else:
            allowed = slots.words_of(slot, self.knowledge) or ()
            value, why = text if text in allowed else None, "word"
        if value is None:
            one.misses.append(Miss(column.heading, text, why))
            return
        self._put(one, column, text, {slot: value})

    def _figure(self, text: str, unit: float) -> tuple[float | None, str]:
        plain, other = text.replace("\N{MINUS SIGN}", "-"), "," if self.map.decimal == "." else "."
        if other in plain and _FIGURE.match(plain.replace(",", ".")):
            # 1,234 is a thousand to some and a little over one to others.
            return None, "decimal"
        plain = plain.replace(self.map.decimal, ".")
        if not _FIGURE.match(plain):
            return None, "no_figure"
        value = float(plain) * unit
        if value < 0:
            return None, "negative"
        if not math.isfinite(value) or value > MOST:
            return None, "absurd"
        # What a unit makes of 0.1 kg is 100 g, not 100.00000000000001.
        return round(value, 9), ""

    # What a docket is then

    def _place(self, one: Mapped) -> None:
        one.place = {slot: one.said[slot] for slot in _PLACE if slot in one.said}
        if one.place and "context" not in one.place:
            # Trench, phase and the way it was got are said by contexts and bags.
            one.misses.append(Miss("", ", ".join(map(str, one.place.values())), "no_context"))
        one.label = str(one.said.get("label") or f"{self.map.prefix} {one.row.number}")

    def _docket(self, one: Mapped) -> None:
        said, know = one.said, self.knowledge
        answers: dict[str, Any] = {slot: said[slot] for slot in ("element", "taxon", *readings.FURTHER) if slot in said}
        if "certainty" in said and "taxon" in said:
            answers["certainty"] = said["certainty"]
        element, taxon = answers.get("element", ""), answers.get("taxon")
        one.human = "human" in said or know.may_be_human(taxon)
        self._portions(one, answers, element, taxon)
        self._side(one, answers)
        self._fusion(one, answers, element, taxon)
        values: dict[str, Any] = {slot: said[slot] for slot in _PLAIN if slot in said and slot != slots.COUNT}
        if "weathering" in said:
            self._whole(one, "weathering", values)
        self._count(one, values)
        row = know.elements.get(element)
        told = one._from.get("material") and said["material"]
        values["material"] = told or (row.material if row is not None else said.get("material", "unsure"))
        reading = readings.reading_of(answers, know, str(said.get("stage", STAGE)))
        if reading is not None and values["material"] != "not_bone":
            if "compared" in said:
                reading["compared"] = said["compared"]
            values["reading"] = reading
        self._items(one, values, row.key if row is not None else "", answers.get("side"))
        if answer := said.get(slots.HUMAN):
            path = f"human/{self._own(one, 'human')}"
            in_place = False if answer == "query" else None
            values[path] = {"answer": answer, "why": "", "in_place": in_place, "by_rule": None, "stage": STAGE}
        one.values = values

    def _side(self, one: Mapped, answers: dict[str, Any]) -> None:
        element = self.knowledge.elements.get(answers.get("element", ""))
        midline = element is not None and element.midline and not element.sided
        side = one.said.get("side")
        if midline:
            answers["side"] = "midline"
            if side not in (None, "midline", "unsided") and not any("{side}" in slot for slot in one.said):
                # The half of a bone that lies on the midline is meant; which half no slot of ours says.
                one.miss("side", "side_of_midline")
        elif side is not None:
            answers["side"] = side

    def _portions(self, one: Mapped, answers: dict[str, Any], element: str, taxon: str | None) -> None:
        know, found = self.knowledge, {}
        own = know.portion_map(element, taxon)
        spans: dict[str, list[str]] | None = None
        for slot, state in one.said.items():
            family, _, key = slot.partition(".")
            if slot == "whole":
                found.update(dict.fromkeys(own, state))
            elif family == "span":
                spans = along.spans(element, taxon, know) if spans is None else spans
                if not spans:
                    one.miss(slot, "no_spans")
                self._rest(found, own if spans else ())
                found.update(dict.fromkeys(spans.get(key, ()), state))
            elif family == "epiphysis":
                keys = self._epiphysis(one, key, element, taxon) or along.spans(element, taxon, know).get(f"{key}_end")
                if not keys:
                    one.miss(slot, "no_spans")
                self._rest(found, own if keys else ())
                found.update(dict.fromkeys(keys or (), state))
            elif family == "portion":
                named = key.replace("{side}", str(one.said.get("side")))
                if named not in own:
                    one.miss(slot, "no_portion")
                else:
                    found[named] = state
        answers.update({f"portion.{key}": state for key, state in found.items() if state != readings.NOT_EXAMINED})

    def _rest(self, found: dict[str, str], own: Iterable[str]) -> None:
        """The first stretch that is told of a bone says what the rest of it is, if the map says so."""
        if self.map.rest and not found:
            found.update(dict.fromkeys(own, self.map.rest))

    def _centre(self, one: Mapped, end: str, element: str, taxon: str | None) -> str | None:
        called = self.map.ends.get(end, {})
        if f"end.{end}" in one.said:
            called = {element: one.said[f"end.{end}"]}
        return along.centre_at(end, element, taxon, self.knowledge, called)

    def _epiphysis(self, one: Mapped, end: str, element: str, taxon: str | None) -> list[str]:
        centre = self._centre(one, end, element, taxon)
        return [] if centre is None else [each.key for each in self.knowledge.epiphysis(element, centre, taxon)]

    def _fusion(self, one: Mapped, answers: dict[str, Any], element: str, taxon: str | None) -> None:
        own = {each.key for each in self.knowledge.centres_of(element, taxon)}
        for slot, state in one.said.items():
            family, _, key = slot.partition(".")
            if family != "fusion":
                continue
            centre = self._centre(one, key, element, taxon) if key in slots.ENDS else key
            if centre is None or centre not in own:
                one.miss(slot, "no_centre")
            else:
                answers[f"fusion.{centre}"] = state

    def _count(self, one: Mapped, values: dict[str, Any]) -> None:
        if (counted := one.said.get(slots.COUNT)) is None:
            return
        one.counted = float(counted)
        number = int(one.counted)
        if one.counted != number:
            half = abs(one.counted - number - 0.5) < 1e-9
            number = math.ceil(one.counted) if self.map.halves == "up" else math.floor(one.counted)
            one.miss(slots.COUNT, "half" if half else "broken_count", n=str(number))
        if number < 1:
            # Not counted as a specimen there; here whatever lies in a docket is a piece, and this is said.
            one.miss(slots.COUNT, "count_nought")
        else:
            values["count"] = number

    def _whole(self, one: Mapped, slot: str, values: dict[str, Any]) -> None:
        if one.said[slot] == int(one.said[slot]):
            values[slot] = int(one.said[slot])
        else:
            values.pop(slot, None)
            one.miss(slot, "no_figure")

    def _items(self, one: Mapped, values: dict[str, Any], element: str, side: Any) -> None:
        for slot, value in one.said.items():
            family, _, key = slot.partition(".")
            if family == "measure":
                if value > 0:
                    measure: dict[str, Any] = {"code": key, "mm": value}
                    measure |= {"estimated": True} if one.said.get(f"estimated {slot}") else {}
                    values[f"measure/{self._own(one, slot)}"] = measure
                else:
                    one.miss(slot, "nought")
            elif family == "mark" and value:
                mark = {"kind": key, "number": int(value), "portion": None}
                values[f"mark/{self._own(one, slot)}"] = mark
                if value != int(value):
                    one.miss(slot, "no_figure")
        for n, text in enumerate(one.said.get("notes", ())):
            values[f"note/{self._own(one, f'note {n}')}"] = {"text": text[:10_000], "stage": STAGE}
        self._teeth(one, values, element, side)

    def _teeth(self, one: Mapped, values: dict[str, Any], element: str, side: Any) -> None:
        said, know = one.said, self.knowledge.teeth
        named = list(dict.fromkeys(said.get(slots.TOOTH, ())))
        # "Incisor" in one column and "I2" in another are one tooth.
        named = [tooth for tooth in named if not any(know.is_a(other, tooth) for other in named if other != tooth)]
        worn = said.get("worn") or (named[0] if len(named) == 1 else None)
        wear = [(slot, value) for slot, value in said.items() if slot.startswith("wear.")]
        if wear and worn not in named:
            # Of several teeth, or of none that is named: whose it is nobody has said.
            for slot, _ in wear:
                one.miss(slot, "whose_wear")
            wear = []
        jaw = said.get("jaw") or {"mandible": "lower", "skull": "upper"}.get(element)
        for tooth in named:
            own = wear if tooth == worn else []
            values[f"tooth/{self._own(one, f'tooth {tooth}')}"] = {
                "tooth": tooth,
                "jaw": jaw,
                "side": side if side in ("left", "right") else None,
                "seat": said.get("seat") or ("loose" if element == "loose_tooth" else "in_jaw"),
                "stage": said.get("tooth_stage") or ("in_wear" if own else None),
                "scheme": own[0][0].partition(".")[2] if own else None,
                "wear": own[0][1] if own else None,
                "crown_height_mm": said.get("crown_height_mm"),
                "note": "",
            }

    def _own(self, one: Mapped, name: str) -> str:
        return str(uuid.uuid5(uuid.UUID(one.docket), name))


def _bare(cell: str, column: Column) -> str:
    """A cell without the beginning that its column's map leaves off."""
    return cell.removeprefix(column.without).strip() if column.without else cell


def _says_human(cell: str) -> bool:
    if not cell.isascii():
        # The same letters in another width, or parted by a sign that nobody sees, are the same word.
        cell = "".join(one for one in unicodedata.normalize("NFKC", cell) if unicodedata.category(one) != "Cf")
    return _HUMAN.search(cell) is not None


@lru_cache(1000)
def _looks_like_human(cell: str) -> bool:
    letters = "".join(one for one in cell.casefold() if one.isalpha())
    return letters in _SHORT or bool(get_close_matches(letters, _ALIKE, 1, 0.8))


def _meant(cell: str, wanted: Iterable[str]) -> bool:
    text = cell.strip()
    return any(text == each or (each.endswith(ANY) and text and text.startswith(each[:-1])) for each in wanted)
