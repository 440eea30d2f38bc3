"""A human bone beside animals': which plates, and the published signs in words. Pure.

Not here: the answer to the human question (form), drawing (screens.beside). Nothing on this screen clears a bone.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldapp import assets
from fieldapp.domain.criteria import Beside, Criterion, beside_human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.plates import Plate
from fieldapp.ui.texts import say, word


@dataclass(frozen=True)
class Pictured:
    """A plate and what stands below it."""

    plate: Plate
    name: str


def of(knowledge: Knowledge, element: str, taxon: str | None = None) -> Beside | None:
    """The comparison for an element, the animal in hand first; None where no human plate is drawn."""
    known = knowledge.taxa.get(taxon or "")
    return beside_human(knowledge.gallery, knowledge.criteria, element, known.form if known else "")


def pictures(found: Beside) -> list[Pictured]:
    """The human plate first."""
    return [
        Pictured(
            assets.plate(row.form, row.element, row.view),
            say("beside.name", form=word("form", row.form), view=word("view", row.view)),
        )
        for row in (found.human, *found.animals)
    ]


def signs(found: Beside) -> list[tuple[str, str]]:
    """(mark, sentence): what tells each picture, then each sign: what it points to, how strongly, how it misleads."""
    shown = [
        ("·", say("beside.shows", form=word("form", row.form), shows=assets.texts()[f"plate.{row.key}"]))
        for row in (found.human, *found.animals)
    ]
    return shown + [(say(f"beside.mark.{one.points_to}"), _sentence(one)) for one in found.criteria]


def _sentence(one: Criterion) -> str:
    return say(
        "beside.sign",
        question=word("criterion", one.key),
        points=say(f"beside.points.{one.points_to}"),
        strength=say(f"beside.strength.{one.strength}") if one.points_to != "none" else "",
        judge=say(f"beside.judge.{one.judge}"),
        pitfall=word("criterion", f"{one.key}.pitfall"),
    ).replace("  ", " ")
