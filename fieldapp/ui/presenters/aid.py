"""The aid on the tablet: the questions of the bone in hand, one by one, and what the answers allow to be said. Pure.

The answers stand in the form, so that a tablet that dies has them, and are kept with the answer to the human question.
Not here: what the answers come to (domain.aid). Nothing on this screen clears a bone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldapp import assets
from fieldapp.domain import aid, human
from fieldapp.domain.aid import Case, Verdict
from fieldapp.domain.criteria import JUDGES, beside_human
from fieldapp.domain.plates import Plate
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

SLOT = "aid"
"""Where in the form's answers {criterion: answer} stands."""
BURNT = ("burnt", "charred", "calcined", "mixed")
YOUNGEST = ("foetal", "newborn", "infant")
WORN = ("poor", "lost")
OFFERED = {
    aid.STOP: (human.STOP, human.QUERY),
    aid.CANNOT_TELL: (human.STOP, human.QUERY, human.NOT_EXCLUDED),
    aid.CONFIRM: (human.STOP, human.QUERY, human.NOT_EXCLUDED, human.NO_SIGN),
}
"""What can be answered to the human question after an outcome: as cautious as it, or more."""


def asked(form: Form) -> tuple[str, ...]:
    """The criteria that are asked, the gravest first: a digger's of everybody, a specialist's of a specialist."""
    specialist = form.desk.by["role"] in ("zooarchaeologist", "human_osteologist")
    return aid.questions(form.answers.get("element", ""), form.desk.knowledge, JUDGES[:2] if specialist else JUDGES[:1])


def said(form: Form) -> dict[str, str]:
    """{criterion: answer} as given so far."""
    held = form.answers.get(SLOT)
    return dict(held) if isinstance(held, dict) else {}


def next_open(form: Form) -> int:
    """The place of the first question that has no answer; how many there are where all have one."""
    held, keys = said(form), asked(form)
    return next((at for at, key in enumerate(keys) if key not in held), len(keys))


def answer(form: Form, key: str, chosen: str) -> None:
    """Answers a question; the same answer again takes it back."""
    held = said(form)
    if held.get(key) == chosen:
        held.pop(key)
    else:
        held[key] = chosen
    form.put("human", {SLOT: held or None})


def case(form: Form) -> Case:
    """What is known of the piece in hand."""
    answers = form.answers
    context = form.desk.record(form.state.context)
    round_it = {
        "burnt": answers.get("burning") in BURNT,
        "infant": answers.get("age") in YOUNGEST or answers.get("texture") == "woven",
        "worn": answers.get("preservation") in WORN,
        "worked": any(
            isinstance(one, dict) and one.get("kind") == "worked"
            for slot, one in answers.items()
            if slot.startswith("mark/")
        ),
        "grave": context is not None and context.value("grave_like") == "yes",
    }
    size, count = answers.get("longest_mm"), answers.get("count")
    return Case(
        element=str(answers.get("element") or ""),
        kind=str(context.value("type") or "") if context is not None else "",
        answers=said(form),
        size_mm=size if isinstance(size, int | float) else None,
        pieces=count if isinstance(count, int) else None,
        circumstances=frozenset(key for key, holds in round_it.items() if holds),
    )


def verdict(form: Form) -> Verdict:
    """What the answers come to as they stand."""
    return aid.judge(case(form), form.desk.knowledge)


def kept(form: Form) -> dict[str, Any] | None:
    """What is written with the answer to the human question; None where nothing was asked."""
    return aid.keep(case(form), verdict(form), assets.criteria_version()) if said(form) else None


def pads(form: Form, key: str) -> list[Choice]:
    """The answers to one question."""
    now = said(form).get(key)
    return [Choice(f"aid.say.{one}", say(f"aid.{one}"), chosen=now == one) for one in aid.ANSWERS]


def beneath(form: Form, key: str) -> str:
    """How a criterion misleads, where it comes from, and whether that was seen."""
    one = form.desk.knowledge.criteria[key]
    pitfall = text("aid.pitfall", pitfall=word("criterion", f"{key}.pitfall"))
    seen = text("aid.seen.memory" if one.seen == "memory" else "aid.seen.seen")
    return f"{pitfall}. {text('aid.source', source=one.source, seen=seen)}"


def pictures(form: Form, key: str) -> list[tuple[Plate, str]]:
    """The human bone that a question is about, and the likely animals': [] where no human one is drawn."""
    one = form.desk.knowledge.criteria[key]
    element = form.answers.get("element") or next(iter(one.elements), "")
    taxon = form.desk.knowledge.taxa.get(form.answers.get("taxon", ""))
    gallery = form.desk.knowledge.gallery
    found = beside_human(gallery, form.desk.knowledge.criteria, element, taxon.form if taxon else "")
    if found is None:
        return []
    rows = (found.human, *found.animals[:2])
    return [(assets.plate(row.form, row.element, row.view), word("form", row.form)) for row in rows]


def reasons(form: Form) -> list[tuple[str, str]]:
    """(mark, sentence) of each reason, then what would have helped."""
    held, found, know = case(form), verdict(form), form.desk.knowledge
    lines = [("!" if one.raises != aid.CONFIRM else "·", _reason(one, held)) for one in found.reasons]
    helpful = [
        ("?", text("aid.helpful", question=word("criterion", key), judge=text(f"aid.judge.{know.criteria[key].judge}")))
        for key in found.helpful
    ]
    return [*lines, *helpful]


def _reason(one: aid.Reason, held: Case) -> str:
    know = assets.knowledge().criteria.get(one.about)
    return text(
        f"aid.reason.{one.key}",
        about=one.about,
        question=word("criterion", one.about),
        judge=text(f"aid.judge.{know.judge}") if know is not None else "",
        strength=text(f"aid.strength.{know.strength}") if know is not None else "",
        element=word("element", held.element),
        circumstance=word("circumstance", one.about),
        pieces=held.pieces,
    )


def headline(form: Form) -> str:
    """The outcome in words."""
    return text(f"aid.outcome.{verdict(form).outcome}")


def offered(form: Form) -> list[Choice]:
    """The answers to the human question that are as cautious as the outcome, or more."""
    return [
        Choice(
            f"human.{one}",
            say(f"human.{one}"),
            note=say(f"human.{one}.note"),
            tone="clay" if one == human.STOP else "plain",
            sign="stop" if one == human.STOP else "",
        )
        for one in OFFERED[verdict(form).outcome]
    ]


def text(key: str, **fields: object) -> str:
    """A sentence of the aid, filled."""
    return assets.texts()[key].format(**fields)
