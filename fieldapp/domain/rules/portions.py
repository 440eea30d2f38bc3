"""Rules about which parts of a bone are there, and which side it is from. Not fusion."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import PRESENT, Around, Docket, Finding, by_name, shown, term


def portion_of_other_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A portion, there or not, that belongs to another element."""
    row = docket.element_row
    if row is None or row.kind == "indeterminate":
        return
    own = know.portion_keys[row.key]
    for key, state in docket.portions.items():
        if key not in own and state != "not_examined":
            yield f"reading/portions/{shown(key)}", docket.names(portion=shown(key))


def portion_of_other_animal(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A portion, there or not, of the element as it is parted in other animals: a bird's shin has no tuberosity."""
    row = docket.element_row
    if row is None:
        return
    own, anywhere = docket.parted, know.portion_keys[row.key]
    if len(own) != len(anywhere):
        for key, state in docket.portions.items():
            if key not in own and key in anywhere and state != "not_examined":
                yield f"reading/portions/{key}", docket.names(portion=term(f"portion.{row.key}", key))


def detail_without_element(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Portions, a side or a fusion of a bone that is not known."""
    row = docket.element_row
    if docket.element is not None and (row is None or row.kind != "indeterminate"):
        return
    if docket.present:
        yield "reading/portions", docket.names()
    if docket.side in ("left", "right"):
        yield "reading/side", docket.names()
    if any(state not in ("not_examined", "not_visible") for state in docket.fusion.values()):
        yield "reading/fusion", docket.names()


def side_on_midline(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Left or right on a bone that lies on the midline."""
    row = docket.element_row
    if row is not None and row.midline and not row.sided and docket.side in ("left", "right"):
        yield "reading/side", docket.names(side=term("side", docket.side))


def midline_on_paired(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """`midline` on a bone of which there is one on each side."""
    row = docket.element_row
    if row is not None and docket.side == "midline" and not row.midline:
        yield "reading/side", docket.names()


def side_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """No side, although a portion is there that tells it."""
    row = docket.element_row
    if row is None or not row.sided or docket.side not in (None, "unsided"):
        return
    telling = [key for key, portion in docket.parted.items() if portion.tells_side and key in docket.most]
    if telling:
        yield "reading/side", docket.names(portion=term(f"portion.{row.key}", telling[0]))


def portions_all_absent(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Every portion written down as absent: then there is no bone."""
    if docket.none_of(docket.parted.keys()):
        yield "reading/portions", docket.names()


def portions_not_written(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Portions of the element that the reading leaves out altogether, so that nobody knows if they were looked at."""
    missing = docket.parted.keys() - docket.portions.keys()
    if missing:
        yield "reading/portions", docket.names(number=str(len(missing)))


def portions_not_joined(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two parts of a bone with nothing between them: two pieces, not one."""
    row = docket.element_row
    if row is None or len(docket.present) < 2:
        return
    own = docket.parted
    steps = {own[key].step for key in docket.present if key in own}
    first, last = min(steps, default=0), max(steps, default=0)
    for step in range(first + 1, last) if last - first >= len(steps) else ():
        if step not in steps:
            between = [key for key, portion in own.items() if portion.step == step]
            if docket.none_of(frozenset(between)):
                yield "reading/portions", docket.names(portion=term(f"portion.{row.key}", between[0]))
                return


def portions_not_examined(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Full analysis of a known bone, and no portion looked at: it will count as no more than a fragment."""
    if docket.parted and docket.reading.get("stage") == "analysis":
        if not any(state in PRESENT or state == "absent" for state in docket.portions.values()):
            yield "reading/portions", docket.names()


RULES = by_name(
    portion_of_other_bone,
    portion_of_other_animal,
    detail_without_element,
    side_on_midline,
    midline_on_paired,
    side_missing,
    portions_all_absent,
    portions_not_written,
    portions_not_joined,
    portions_not_examined,
)
NEEDS = {
    "portion_of_other_bone": "portions",
    "portion_of_other_animal": "portions",
    "side_missing": "most",
    "portions_all_absent": "absent",
    "portions_not_joined": "absent",
}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""
