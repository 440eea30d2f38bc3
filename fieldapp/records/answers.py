"""Between a form's answers and the values that are written down: the one way of tablet and desk. Pure.

Answers are a flat {slot: value}: `material`, `element`, `taxon`, `certainty`, `side`, `portion.<key>`,
`fusion.<key>`, and so on. A slot that is not there was not examined. A reading is one whole value; every other slot is
a path of the docket wherever it can be: `weight_g`, `tooth/<id>`. Not here: how a form looks and what changes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.domain.knowledge import Centre, Knowledge

READING_SLOTS = ("element", "taxon", "side")
FURTHER = ("sex", "age", "texture", "position")
"""Slots of a reading that are answered only where there is something to see."""
NOT_EXAMINED, NOT_VISIBLE, ABSENT = "not_examined", "not_visible", "absent"

PLAIN = (
    "material", "count", "weight_g", "longest_mm", "burning", "burn_colour", "weathering", "preservation", "roots",
    "staining", "breaks", "fracture", "digestion", "antler_base", "finder", "find_no", "place", "ask",
)  # fmt: skip
ITEMS = ("tooth/", "measure/", "mark/", "pathology/", "joins/", "photo/")
"""What there can be several of, each at a path with an id of its own."""

Answers = Mapping[str, Any]


def is_path(slot: str) -> bool:
    """Whether a slot is a path of the docket itself."""
    return slot in PLAIN or slot.startswith(ITEMS)


def portion_states(answers: Answers, knowledge: Knowledge) -> dict[str, str]:
    """{portion: state} of every portion of the element in hand."""
    found = knowledge.portions_of(answers.get("element", ""), answers.get("taxon"))
    return {one.key: answers.get(f"portion.{one.key}", NOT_EXAMINED) for one in found}


def centres(answers: Answers, knowledge: Knowledge) -> tuple[Centre, ...]:
    """The fusion centres of the element in hand."""
    return knowledge.centres_of(answers.get("element", ""), answers.get("taxon"))


def cannot_be_seen(centre: Centre, answers: Answers, knowledge: Knowledge) -> bool:
    """Whether both sides of the growth line are recorded as absent, so that its fusion cannot be seen."""
    parts = [part.key for part in knowledge.epiphysis(centre.element, centre.key, answers.get("taxon"))]
    if centre.metaphysis:
        parts.append(centre.metaphysis)
    return bool(parts) and all(answers.get(f"portion.{part}") == ABSENT for part in parts)


def fusion_states(answers: Answers, knowledge: Knowledge) -> dict[str, str]:
    """{centre: state} of every centre of the element in hand."""
    found = {}
    for one in centres(answers, knowledge):
        state = answers.get(f"fusion.{one.key}")
        if state is None:
            state = NOT_VISIBLE if cannot_be_seen(one, answers, knowledge) else NOT_EXAMINED
        found[one.key] = state
    return found


def reading_of(answers: Answers, knowledge: Knowledge, stage: str, base: Mapping[str, Any] | None = None) -> Any:
    """The reading as one value, or None if nothing of it was examined. `base`: what it held that a form cannot show."""
    asked = any(answers.get(slot) for slot in (*READING_SLOTS, *FURTHER)) or any(
        slot.startswith(("portion.", "fusion.")) for slot in answers
    )
    if not asked and not isinstance(base, Mapping):
        return base  # what is no reading stays as it came until somebody reads the bone
    kept = dict(base) if isinstance(base, Mapping) else {}
    kept.update(
        element=answers.get("element"),
        side=answers.get("side"),
        taxon=answers.get("taxon"),
        certainty=answers.get("certainty", "certain" if answers.get("taxon") else None),
        portions=portion_states(answers, knowledge),
        fusion=fusion_states(answers, knowledge),
        stage=stage,
    )
    for slot in FURTHER:
        if slot in answers or slot in kept or slot == "sex":
            kept[slot] = answers.get(slot)
    kept.setdefault("compared", "")
    return kept


def answers_of(reading: Any, knowledge: Knowledge) -> dict[str, Any]:
    """The answers that a stored reading gives. A value that is no reading gives none."""
    if not isinstance(reading, Mapping):
        return {}
    found: dict[str, Any] = {}
    for slot in (*READING_SLOTS, "certainty", *FURTHER):
        if isinstance(reading.get(slot), str):
            found[slot] = reading[slot]
    if found.get("certainty") == "certain":
        del found["certainty"]
    for group, slot in (("portions", "portion"), ("fusion", "fusion")):
        states = reading.get(group)
        if isinstance(states, Mapping):
            for key, state in states.items():
                if isinstance(state, str) and state != NOT_EXAMINED:
                    found[f"{slot}.{key}"] = state
    # What the form works out by itself is not an answer: it must follow when the portions are mended.
    for one in centres(found, knowledge):
        if found.get(f"fusion.{one.key}") == NOT_VISIBLE and cannot_be_seen(one, found, knowledge):
            del found[f"fusion.{one.key}"]
    return found


def same_reading(one: Any, other: Any) -> bool:
    """Whether two readings say the same of the bone, whatever stage they are of."""
    if not isinstance(one, Mapping) or not isinstance(other, Mapping):
        return bool(one == other)
    return {k: v for k, v in one.items() if k != "stage"} == {k: v for k, v in other.items() if k != "stage"}
