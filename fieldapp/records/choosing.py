"""What else an answer to a docket's form changes: the side of a bone without sides, the parts of one called otherwise.

Answers are those of `answers`; what comes back are the slots to set, None to empty one. The same for taps on a tablet
and for typed lines. Pure. Not here: how a form looks.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.answers import Answers

NO_SKELETON = ("not_bone", "shell")
"""Materials that have no place in a skeleton, so no element, side, portions or fusion are asked for."""
AGAIN = ("element", "taxon", "certainty")
"""What "same again" takes from the docket before."""

Changes = dict[str, Any]


def chosen(answers: Answers, name: str, value: Any, knowledge: Knowledge) -> Changes:
    """What answering a field with one value changes."""
    changes: Changes = {name: value}
    if name == "element" and value != answers.get("element"):
        changes.update(without(answers, "portion.", "fusion."), position=None)
        known = knowledge.elements.get(value)
        if known is not None and not known.sided:
            changes["side"] = "midline" if known.midline else None
        elif answers.get("side") == "midline" and not (known and known.midline):
            changes["side"] = None
    if name in ("element", "taxon"):
        changes.update(_not_of({**answers, **changes}, knowledge))
    if name == "material" and not answers.get("element"):
        # A loose tooth, an antler, a horn core: what it is of says what it is.
        changes["element"] = only_element(value, knowledge)
    if name == "material" and value in NO_SKELETON:
        changes.update(without(answers, "portion.", "fusion."), element=None, taxon=None, side=None, certainty=None)
    return changes


def again(answers: Answers, before: Mapping[str, Any], knowledge: Knowledge) -> Changes:
    """What changes where it is the same bone of the same animal as the docket before."""
    changes: Changes = {slot: before.get(slot) for slot in AGAIN}
    known = knowledge.elements.get(before.get("element", ""))
    if known is not None and not known.sided:
        changes["side"] = "midline" if known.midline else None
    changes.update(_not_of({**answers, **changes}, knowledge))
    return changes


def only_element(material: object, knowledge: Knowledge) -> str | None:
    """The element of a material that is of one alone."""
    own = [one.key for one in knowledge.elements.values() if one.material == material]
    return own[0] if len(own) == 1 else None


def without(answers: Answers, *prefixes: str) -> Changes:
    """Empties the slots that begin so."""
    return {slot: None for slot in answers if slot.startswith(prefixes)}


def _not_of(answers: Answers, knowledge: Knowledge) -> Changes:
    """The answers about portions and centres that the bone, now that it is called otherwise, does not have."""
    element, taxon = answers.get("element") or "", answers.get("taxon")
    own = {f"portion.{key}" for key in knowledge.portion_map(element, taxon)}
    own |= {f"fusion.{one.key}" for one in knowledge.centres_of(element, taxon)}
    return {slot: None for slot in answers if slot.startswith(("portion.", "fusion.")) and slot not in own}
