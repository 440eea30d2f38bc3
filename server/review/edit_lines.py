"""A typed line over a docket's form: what it says goes into the fields, as if it had been typed there.

Quick records are finished with a line of codes and a key. A line with a word that is not understood alters nothing and
comes back; one that answers the human question too, since that is asked beside the form. Not here: what lines mean
(fieldapp.records.typed), and writing (editing).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.records.typed import Slip, Wrong, takings
from server.review import desk, words
from server.review.docket_form import SLOTS, DocketForm
from server.review.forms import YES, shown
from server.review.line_words import reader, why

LINE = "line"
NOTE = "new/note/0.text"
PARTS = ("portion.", "fusion.")
_FIELDS = (*SLOTS, "material", "burning", "count", "weight_g")


def taken(form: DocketForm, line: str) -> tuple[dict[str, str], list[str]]:
    """({field: text} that a line says of the docket in the form, why words of it were not taken): one of them empty."""
    slip = Slip(form.knowledge, {}, lambda code: code)
    slip.answers = before = _answers(form)
    read = reader(form.knowledge, desk.ledger().site())
    told = read.take(slip, line)
    wrong = [*told.wrong, *([Wrong("left", told.waits)] if told.waits else [])]
    codes = [one.measurement.code for one in takings(slip.answers, form.knowledge)]
    faults = [why(one, codes, read) for one in wrong]
    if "human" in slip.answers:
        faults.insert(0, words.say("edit.line.human"))
    return ({}, faults) if faults else (_fields(form, before, slip.answers), [])


def _answers(form: DocketForm) -> dict[str, Any]:
    """What the form holds, as a line is taken into it."""
    named = [*_FIELDS, *(one for one in form.typed if one.startswith(PARTS))]
    found = {name: form.text(name) for name in named if form.text(name)}
    return found | ({"certainty": "cf"} if form.text("cf") == YES else {})


def _fields(form: DocketForm, before: Mapping[str, Any], after: Mapping[str, Any]) -> dict[str, str]:
    measured = {one.code: one.name for one in form.items("measure") if not one.new}
    found = {"parts_of": f"{after.get('element', '')}|{after.get('taxon', '')}"}
    for slot in dict.fromkeys([*before, *after]):
        value, head = after.get(slot), slot.partition("/")[0]
        if value == before.get(slot):
            continue
        if head == "measure" and value is not None:
            code = value["code"]
            found[measured.get(code, f"new/measure/{code}") + ".mm"] = shown(value["mm"])
        elif slot == "note":
            found[NOTE] = "; ".join(one for one in (form.text(NOTE), value) if one)
        elif slot == "certainty":
            found["cf"] = YES if value == "cf" else ""
        else:
            found[slot] = shown(value)
    return found
