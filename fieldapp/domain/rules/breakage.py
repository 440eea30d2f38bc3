"""Rules about breaks: how fresh the bone was when it broke, and pieces that join."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, Values, by_name, shown, term, text

_SCORES = ("angle", "outline", "texture")
_NEW, _OLD = frozenset({"fresh", "both"}), frozenset({"old", "both"})
_ON_FIRE = frozenset({"charred", "calcined", "burnt"})


def fracture_score_out_of_range(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A score of fracture freshness that is none."""
    fracture = docket.values.get("fracture")
    if fracture is not None and not isinstance(fracture, Mapping):
        yield "fracture", {"score": shown(fracture)}
    for name, score in _scores(docket).items():
        words = know.words.get(f"fracture_{name}", ())
        whole = isinstance(score, int) and not isinstance(score, bool) and -1 < score < 10
        if not whole or f"score_{score}" not in words:
            yield f"fracture/{name}", {"score": shown(score)}


def fracture_half_scored(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One or two of the three scores: they only mean something together."""
    scores = _scores(docket)
    if scores and len(scores) < len(_SCORES):
        missing = next(name for name in _SCORES if name not in scores)
        yield f"fracture/{missing}", {"number": str(len(scores))}


def fracture_without_marrow(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Scored on a bone, or an animal, without a marrow-bearing shaft, or where no part of the shaft is there."""
    row = docket.element_row
    if row is None or not _scores(docket):
        return
    shaft = [key for key, part in docket.parted.items() if part.kind == "shaft"]
    if not has_marrow(row.key, docket.taxon, know) or docket.none_of(shaft):
        yield "fracture", docket.names()


def fracture_without_old_break(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Scored although no break is old: the scores tell how fresh the bone was in the past."""
    breaks = text(docket.values.get("breaks"))
    if _scores(docket) and breaks in ("fresh", "none"):
        yield "fracture", {"breaks": term("break", breaks)}


def refit_to_itself(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Said to join itself."""
    if around.record and isinstance(docket.values.get(f"joins/{around.record}"), Mapping):
        yield f"joins/{around.record}", {}


def refit_conflicts(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Pieces that join, and were read as two animals, two bones or two sides."""
    for path, _, other in _refits(docket, around, know):
        # A tooth joins its jaw, an antler its skull: bones of the head may go by several names.
        both_head = all(one.element_row is not None and one.element_row.region == "head" for one in (docket, other))
        pairs = (
            ("taxon", docket.taxon, other.taxon, _apart(docket.taxon, other.taxon, know.share)),
            (
                "element",
                docket.element,
                other.element,
                not both_head and _apart(docket.element, other.element, know.is_part),
            ),
            ("side", docket.side, other.side, {docket.side, other.side} == {"left", "right"}),
        )
        for of, one, second, apart in pairs:
            if apart:
                yield path, {"other": _name(other, path), "one": term(of, one), "second": term(of, second)}
                break


def refit_shares_portion(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Pieces that join, and each holds over half of the same portion."""
    for path, _, other in _refits(docket, around, know):
        both = docket.most & other.most if docket.element == other.element and docket.element_row is not None else set()
        if both:
            portion = term(f"portion.{docket.element}", min(both))
            yield path, {"other": _name(other, path), "portion": portion}


def refit_without_such_break(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Joins another piece at a new (or old) break, and has none such."""
    breaks = text(docket.values.get("breaks"))
    if breaks is not None and know.is_word("break", breaks):
        for path, join in _joins(docket):
            at = join.get("break")
            if (at == "fresh" and breaks not in _NEW) or (at == "old" and breaks not in _OLD):
                yield path, {"at": term("break", at), "breaks": term("break", breaks)}


def new_break_counted_twice(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two pieces that were one until it was dug up, counted as two."""
    for path, join, other in _refits(docket, around, know):
        if join.get("break") == "fresh" and docket.values.get(path.replace("joins/", "same_as/", 1)) is not True:
            yield path, {"other": _name(other, path)}


def new_break_burnt_unlike(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One bone until it was dug up, and only one of its pieces burnt."""
    burning = text(docket.values.get("burning"))
    for path, join, other in _refits(docket, around, know) if burning is not None else ():
        theirs = text(other.values.get("burning"))
        if join.get("break") == "fresh" and (
            (burning == "unburnt" and theirs in _ON_FIRE) or (theirs == "unburnt" and burning in _ON_FIRE)
        ):
            yield (
                path,
                {"other": _name(other, path), "one": term("burning", burning), "second": term("burning", theirs)},
            )


def new_break_without_refit(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Newly broken and being recorded now, with no piece that joins: it may lie in the same bag."""
    if around.new and text(docket.values.get("breaks")) in _NEW and "joins" not in docket.heads:
        yield "breaks", {}


def has_marrow(element: str, taxon: str | None, know: Knowledge) -> bool:
    """Whether a shaft of the element can hold marrow that is worth breaking it for; True where it may be so."""
    for one, groups in know.surface.marrow.items():
        # A wider name (long bone) may stand for a bone that has it.
        if one == element or know.is_part(one, element):
            known = taxon if taxon in know.taxa else None
            return known is None or any(know.is_a(known, g) or know.is_a(g, known) for g in groups)
    return False


def _scores(docket: Docket) -> dict[str, object]:
    """The scores that are given."""
    fracture = docket.values.get("fracture")
    if not isinstance(fracture, Mapping):
        return {}
    return {name: fracture[name] for name in _SCORES if fracture.get(name) is not None}


def _joins(docket: Docket) -> Iterator[tuple[str, Values]]:
    return ((path, join) for path, join in docket.items("joins/") if isinstance(join, Mapping))


def _refits(docket: Docket, around: Around, know: Knowledge) -> Iterator[tuple[str, Values, Docket]]:
    """(path, join, the other piece) of what it joins and is known here; a deleted piece is none."""
    if around.refits and "joins" in docket.heads:
        for path, join in _joins(docket):
            other = path.partition("/")[2]
            values = around.refits.get(other)
            if values is not None and other != around.record and values.get("deleted") is not True:
                yield path, join, Docket(values, know)


def _apart(one: str | None, other: str | None, lies_under: Callable[[str, str], bool]) -> bool:
    """Whether two words are both given and neither is the wider of the other."""
    return (
        one is not None
        and other is not None
        and one != other
        and not lies_under(one, other)
        and not lies_under(other, one)
    )


def _name(other: Docket, path: str) -> str:
    return shown(other.label or path.partition("/")[2])


FRACTURE_RULES = by_name(
    fracture_score_out_of_range,
    fracture_half_scored,
    fracture_without_marrow,
    fracture_without_old_break,
)
"""Those that look at how it broke."""

JOIN_RULES = by_name(
    refit_to_itself,
    refit_conflicts,
    refit_shares_portion,
    refit_without_such_break,
    new_break_counted_twice,
    new_break_burnt_unlike,
)
"""Those that look at the pieces it fits."""

RULES = {**FRACTURE_RULES, **JOIN_RULES, **by_name(new_break_without_refit)}
