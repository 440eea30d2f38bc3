"""Readings of a bone set side by side: the same, one coarser than the other, or in conflict.

A reading is the plain value under a docket's path `reading`. Here: the blank one, the comparison of two, and the
coarsest thing both support. Not here: which reading is right, and merging of two people's halves into one bone.

Every field is a small tree from "nothing said" to "fully said": a value further up says less and contradicts
nothing below it.

    element    null > long_bone > humerus, femur ... ; null > vertebra > atlas ... (a word may stand under several)
    taxon      null > unknown > mammal > medium_mammal > sheep_goat > sheep ...
    side       null > unsided > left, right, midline
    certainty  null > cf > certain
    a portion  (not written) = not_examined > most, part, absent
    a centre   (not written) = not_examined > not_visible > unfused, fusing, fused; unfused > loose_epiphysis
    the rest   null = "" = (not written) > any value

Two values are the same, differ in *precision* (one lies above the other) or *conflict*. `most` against `part` is a
conflict and not a matter of precision: only `most` counts towards a minimum number, so the two give other totals.
A word that is not in the tables stands directly under the top: it conflicts with everything but itself and null.
Stage and what a bone was compared with say how it was looked at; they never conflict, and differ in precision.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from fieldapp.domain.knowledge import Knowledge

Verdict = Literal["same", "precision", "conflict"]
Reading = dict[str, Any]

_LINES: dict[str, dict[str, tuple[str, ...]]] = {
    "side": {one: ("unsided",) for one in ("left", "right", "midline")},
    "certainty": {"certain": ("cf",)},
    "stage": {"analysis": ("scan", "trench"), "scan": ("trench",)},
    "fusion": {
        "loose_epiphysis": ("unfused", "not_visible"),
        **{one: ("not_visible",) for one in ("unfused", "fusing", "fused")},
    },
}
_CIRCUMSTANCES = ("stage", "compared")
_PARTS = ("portions", "fusion")

Above = Callable[[str], Sequence[str]]
"""All values above a word, nearest first; empty for one that stands directly under the top."""


def blank_reading(element: str | None, taxon: str | None, knowledge: Knowledge, stage: str | None = None) -> Reading:
    """A reading with every portion and every centre of the element written out as not examined.

    A bone that lies on the midline and cannot be sided is `midline` from the start; nothing else is assumed.
    """
    known = knowledge.elements.get(element) if element is not None else None
    centres = knowledge.centres_of(element, taxon) if element is not None else ()
    return {
        "element": element,
        "side": "midline" if known is not None and known.midline and not known.sided else None,
        "taxon": taxon,
        "certainty": None if taxon is None else "certain",
        "portions": {portion.key: "not_examined" for portion in knowledge.portions_of(element or "", taxon)},
        "fusion": {centre.key: "not_examined" for centre in centres},
        "sex": None,
        "stage": stage,
        "compared": "",
    }


def compare(a: Any, b: Any, knowledge: Knowledge) -> Verdict:
    """Whether two readings are the same, differ only in precision, or conflict. Any values, never an error."""
    verdicts = set(differences(a, b, knowledge).values())
    return "conflict" if "conflict" in verdicts else "precision" if verdicts else "same"


def differences(a: Any, b: Any, knowledge: Knowledge) -> dict[str, Verdict]:
    """The fields in which two readings differ: {"taxon": "precision", "portions/head": "conflict" ...}.

    A whole reading that is no reading at all is reported under "".
    """
    if not isinstance(a, Mapping) or not isinstance(b, Mapping):
        verdict = _verdict(a, b, _flat)
        return {} if verdict == "same" else {"": verdict}
    found: dict[str, Verdict] = {}
    for field in _fields(a, b):
        if field in _PARTS and _is_part(a.get(field)) and _is_part(b.get(field)):
            one, other = a.get(field) or {}, b.get(field) or {}
            for key in _fields(one, other):
                found[f"{field}/{key}"] = _verdict(one.get(key), other.get(key), _above(field, knowledge))
        else:
            verdict = _verdict(a.get(field), b.get(field), _above(field, knowledge))
            if verdict == "conflict" and (field in _CIRCUMSTANCES or _may_be_both(field, a, b, knowledge)):
                verdict = "precision"
            found[field] = verdict
    return {field: verdict for field, verdict in found.items() if verdict != "same"}


def _may_be_both(field: str, a: Mapping[str, Any], b: Mapping[str, Any], knowledge: Knowledge) -> bool:
    """Whether two names are of groups that share an animal: deer and large mammal differ and do not contradict."""
    one, other = a.get(field), b.get(field)
    return field == "taxon" and isinstance(one, str) and isinstance(other, str) and knowledge.share(one, other)


def coarser(a: Any, b: Any, knowledge: Knowledge) -> Any:
    """The most that both readings support: the finest value at or above both, field by field.

    Where they conflict that may be nothing: null, or `not_examined`. It conflicts with neither.
    """
    if not isinstance(a, Mapping) or not isinstance(b, Mapping):
        return _common(a, b, _flat)
    found: Reading = {}
    for field in _fields(a, b):
        one, other = a.get(field), b.get(field)
        if field in _PARTS and _is_part(one) and _is_part(other) and (one is not None or other is not None):
            above = _above(field, knowledge)
            one, other = one or {}, other or {}
            found[field] = {
                key: _common(one.get(key), other.get(key), above, "not_examined") for key in _fields(one, other)
            }
        else:
            found[field] = _common(one, other, _above(field, knowledge))
    return found


def _fields(a: Mapping[str, Any], b: Mapping[str, Any]) -> list[str]:
    return [*a, *(key for key in b if key not in a)]


def _is_part(value: Any) -> bool:
    return value is None or isinstance(value, Mapping)


def _flat(_: str) -> Sequence[str]:
    return ()


def _above(field: str, knowledge: Knowledge) -> Above:
    """How the words of a field lie above one another."""
    if field in ("taxon", "element"):
        rows = knowledge.taxa if field == "taxon" else knowledge.elements
        return lambda word: rows[word].broader if word in rows else ()
    return lambda word: _LINES.get(field, {}).get(word, ())


def _nothing(value: Any) -> bool:
    return value is None or (isinstance(value, str) and value in ("", "not_examined"))


def _same(a: Any, b: Any) -> bool:
    # bool is an int to Python and not to JSON; a reading that says true is not one that says 1.
    return a is b or (isinstance(a, bool) == isinstance(b, bool) and bool(a == b))


def _line(value: Any, above: Above) -> list[str]:
    """A word and everything above it, nearest first; empty for what is not a word."""
    return [value, *above(value)] if isinstance(value, str) else []


def _verdict(a: Any, b: Any, above: Above) -> Verdict:
    if (_nothing(a) and _nothing(b)) or _same(a, b):
        return "same"
    if _nothing(a) or _nothing(b):
        return "precision"
    if isinstance(a, str) and isinstance(b, str) and (a in _line(b, above) or b in _line(a, above)):
        return "precision"
    return "conflict"


def _common(a: Any, b: Any, above: Above, nothing: Any = None) -> Any:
    if _same(a, b):
        return a
    line = _line(b, above)
    found = next((word for word in _line(a, above) if word in line), None)
    return nothing if found is None or _nothing(a) or _nothing(b) else found
