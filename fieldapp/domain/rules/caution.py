"""Rules about the human question. They only ever raise it: nothing here lowers or clears anything.

A rule that raises asks for an answer to be added (its `raises`), and is quiet once an answer at least as cautious is
there; what assessments make of the answers is the business of domain.human.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from fieldapp.domain import aid, human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.naming import NOTHING, named
from fieldapp.domain.rules.findings import Around, Docket, Finding, Values, by_name, number, shown, term, text

NOT_BODILY = frozenset({"not_bone", "shell"})
"""Eggshell is not among them: thin pieces of a skull may be taken for it."""
CREMATION_PLACES = frozenset({"cremation_deposit", "pyre"})
"""Types of context that hold burnt dead."""
CREMATIONS = CREMATION_PLACES | {"cremation"}
"""The same, and the type of their samples."""
BURNT = frozenset({"burnt", "charred", "calcined", "mixed"})
_SHAFT = frozenset({"shaft", "metaphysis"})
_QUERY = human.CAUTION[human.QUERY]
_NOT_EXCLUDED = human.CAUTION[human.NOT_EXCLUDED]


def not_bodily(docket: Docket) -> bool:
    # Where a bone is read, a material that is none quietens nothing: one of the two is wrong.
    row = docket.element_row
    return docket.material in NOT_BODILY and (row is None or row.material == docket.material)


def like_a_grave(context: Values | None) -> bool:
    """Whether a context is a grave or like one. A word of a newer version for it counts as yes: unclear is not no."""
    if context is None:
        return False
    return text(context.get("grave_like")) not in (None, "no", "unknown") or context.get("type") == "grave"


def human_without_answer(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Read as human, and nobody has raised the question."""
    if docket.caution < _QUERY and docket.taxon is not None and know.is_a(docket.taxon, "human"):
        yield "reading/taxon", docket.names()


def human_open_without_answer(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called by the name that leaves human open, and the question not answered so."""
    if docket.caution < _NOT_EXCLUDED and docket.taxon == "mammal_or_human":
        yield "reading/taxon", docket.names()


def grave_without_answer(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """From something like a grave, and nobody has raised the question: an animal's name does not answer it."""
    context = around.context
    if context is None or docket.caution >= _QUERY or not_bodily(docket):
        return
    if like_a_grave(context):
        yield "human", {"context": shown(context.get("number") or around.context_id)}


def fits_possible_human(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to have broken from a bone that may be human, and nobody has raised the question for this piece of it."""
    if around.refits and docket.caution < _QUERY:
        for other in around.refits.values():
            if other.get("deleted") is not True and standing_of(piece := Docket(other, know), know) in human.RAISED:
                yield "human", {"other": shown(piece.label)}
                return


def young_shaft_not_excluded(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A long bone without its ends, of the size of an infant's.

    A name given before full analysis does not quieten it for the small animals that infants have been taken for.
    """
    row, taxon = docket.element_row, docket.taxon_row
    if docket.caution >= _NOT_EXCLUDED or row is None or row.kind not in ("long_bone", "indeterminate"):
        return
    size = "some" if taxon is None else taxon.infant_sized
    if size == "no" or (docket.named and (size != "yes" or docket.reading.get("stage") == "analysis")):
        return
    if _ends(docket) & docket.present:
        return
    # Where an animal is named, a bone of which no part was written is not yet a shaft without ends.
    if "unfused" in docket.fusion.values() or (size == "yes" and (docket.present or not docket.named)):
        yield "human", docket.names()


def _ends(docket: Docket) -> set[str]:
    """The portions of its bone that are ends, or parts of one."""
    return {key for key, one in docket.parted.items() if one.kind not in _SHAFT}


def newborn_not_excluded(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The bone of an unborn or newborn creature of a size that an infant's may have."""
    youngest = docket.reading.get("age") in ("foetal", "newborn") or docket.reading.get("texture") == "woven"
    taxon = docket.taxon_row
    if not youngest or docket.caution >= _NOT_EXCLUDED or not_bodily(docket):
        return
    size = "some" if taxon is None else taxon.infant_sized
    if size != "no" and not (docket.named and docket.reading.get("stage") == "analysis"):
        yield "human", docket.names()


def child_size_not_excluded(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A long bone that is not fully grown and as long as a child's. An animal's name given before full analysis does
    not quieten it, unless the animal is a large one."""
    limits = know.child_lengths.get(docket.element or "")
    if limits is None or docket.caution >= _NOT_EXCLUDED or "unfused" not in docket.fusion.values():
        return
    if docket.named and docket.taxon is not None:
        large = know.size_class(docket.taxon) == "large_mammal"
        if large or docket.reading.get("stage") == "analysis" or not know.share(docket.taxon, "mammal"):
            return
    for length in (docket.values.get("longest_mm"), _measured(docket, "GL")):
        size = number(length)
        if size is not None and limits[0] <= size <= limits[1]:
            yield "human", docket.names(size=f"{size:g}")
            return


def _measured(docket: Docket, code: str) -> object:
    for _, value in docket.items("measure/"):
        if isinstance(value, Mapping) and value.get("code") == code:
            return value.get("mm")
    return None


def readings_conflict(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two people read it as animals that have nothing in common: neither name can be leant on."""
    if len(around.readings) < 2 or docket.caution >= _NOT_EXCLUDED or not_bodily(docket):
        return
    names = [text(one.get("taxon")) for one in around.readings if isinstance(one, Mapping)]
    known = sorted({one for one in names if one is not None and one in know.taxa})
    for at, one in enumerate(known):
        for other in known[at + 1 :]:
            if not know.share(one, other):
                yield "reading", docket.names(one=term("taxon", one), other=term("taxon", other))
                return


def burnt_not_excluded(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Burnt, and no animal named."""
    burning = docket.values.get("burning")
    if docket.caution < _NOT_EXCLUDED and not docket.named and not not_bodily(docket):
        if isinstance(burning, str) and burning in BURNT:
            yield "human", docket.names(burning=term("burning", burning))


def no_sign_without_portion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """ "Nothing points to human" for a piece of which no part is over half there, or a long bone of which no end is:
    it cannot be said of such a piece, unless the full analysis has named the animal."""
    if docket.caution >= _NOT_EXCLUDED or _is_enough(docket):
        return
    for path, _, answer in docket.answers:
        if answer == human.NO_SIGN:
            yield path, docket.names()
            return


def _is_enough(docket: Docket) -> bool:
    """Whether so much of it is there that nothing human can have been looked for and not seen."""
    row = docket.element_row
    if not docket.most or row is None or row.kind != "long_bone":
        return bool(docket.most)
    if docket.named and docket.reading.get("stage") == "analysis":
        return True
    ends = _ends(docket)
    return not ends or bool(docket.most & ends)


def _aided(docket: Docket) -> Iterator[tuple[str, str]]:
    """(path, outcome) of each answer that the aid was asked for; an outcome this version does not know is a stop."""
    for path, answer, _ in docket.answers:
        if isinstance(answer, Mapping) and isinstance(kept := answer.get("aid"), Mapping):
            outcome = kept.get("outcome")
            yield path, outcome if isinstance(outcome, str) and outcome in aid.OUTCOMES else aid.STOP


def aid_possible_human(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The answers to the criteria came to possible human, and the question was answered more mildly."""
    if docket.caution < _QUERY:
        for path, outcome in _aided(docket):
            if outcome == aid.STOP:
                yield path, docket.names()
                return


def aid_cannot_tell(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The answers to the criteria came to cannot tell, and the question was answered more mildly."""
    if docket.caution < _NOT_EXCLUDED:
        for path, outcome in _aided(docket):
            if outcome == aid.CANNOT_TELL:
                yield path, docket.names()
                return


def question_not_asked(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The human question has not been asked."""
    if all(answer == human.NOT_ASKED for _, _, answer in docket.answers) and not not_bodily(docket):
        yield "human", {}


def stop_but_lifted(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A stop in the ground, for a bone that is said to be out of it."""
    for path, answer, _ in docket.answers:
        if isinstance(answer, Mapping) and answer.get("answer") == human.STOP and answer.get("in_place") is False:
            yield path, {}


def in_place_but_bagged(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to lie in the ground, and in a bag."""
    if text(docket.values.get("bag")) is not None:
        for path, answer, _ in docket.answers:
            if isinstance(answer, Mapping) and answer.get("in_place") is True:
                yield path, {}


def assessment_against_reading(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A specialist's verdict, and a reading that names another animal."""
    for path, verdict in docket.items("assessment/"):
        if not isinstance(verdict, Mapping) or docket.taxon_row is None:
            continue
        found = "human" if verdict.get("verdict") == human.HUMAN else text(verdict.get("taxon"))
        if verdict.get("verdict") not in (human.HUMAN, human.NON_HUMAN) or found is None or found not in know.taxa:
            continue
        if not know.share(found, docket.taxon_row.key):
            yield path, docket.names(verdict=term("taxon", found))


def assessment_cannot_clear(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """ "Not human" without a name that counts as an animal's and a part, or from pictures only."""
    for path, verdict in docket.items("assessment/"):
        if isinstance(verdict, Mapping) and verdict.get("verdict") == human.NON_HUMAN:
            if named(verdict, know.names) == NOTHING or verdict.get("bone_seen") != "bone":
                yield path, {}


def standing_of(docket: Docket, know: Knowledge) -> str:
    """Where a docket stands if every signature holds. A bone read as human stands at `query` before an assessment."""
    readings = dict(docket.items("human/"))
    written = {path: value for path, value in docket.items("assessment/") if isinstance(value, Mapping)}
    if not readings and not written and docket.taxon is None:
        return human.NOT_ASKED
    # An id is "<path>@<change>"; here the change is left out wherever a path was added to only once.
    known = readings.keys() | written.keys()
    assessments = {
        path: human.Assessment({**value, "seen": _seen(value, known)}, "somebody", "human_osteologist")
        for path, value in written.items()
    }
    found = human.standing(readings, assessments, human.Policy(names=know.names))
    # A verdict that cannot tell, or that has seen no answer, leaves a bone read as human where it was.
    if (
        found.answer != human.NON_HUMAN
        and not found.raised
        and docket.taxon is not None
        and know.is_a(docket.taxon, "human")
    ):
        return human.QUERY
    return found.answer


def _seen(verdict: Values, known: Collection[str]) -> list[str]:
    seen = verdict.get("seen")
    said = [one for one in seen if isinstance(one, str)] if isinstance(seen, list) else []
    return [one if one in known else one.partition("@")[0] for one in said]


ASSESSMENT_RULES = by_name(assessment_against_reading, assessment_cannot_clear)
"""Those that look at a specialist's verdicts."""

RULES = {
    **by_name(
        human_without_answer,
        human_open_without_answer,
        grave_without_answer,
        fits_possible_human,
        young_shaft_not_excluded,
        newborn_not_excluded,
        child_size_not_excluded,
        readings_conflict,
        burnt_not_excluded,
        no_sign_without_portion,
        aid_possible_human,
        aid_cannot_tell,
        question_not_asked,
        stop_but_lifted,
        in_place_but_bagged,
    ),
    **ASSESSMENT_RULES,
}
NEEDS = {
    **dict.fromkeys(ASSESSMENT_RULES, "assessment"),
    "child_size_not_excluded": "unfused",
    "burnt_not_excluded": "burning",
    "no_sign_without_portion": "no_sign",
    "aid_possible_human": "aid",
    "aid_cannot_tell": "aid",
    "stop_but_lifted": "stop",
    "in_place_but_bagged": "in_place",
}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""
