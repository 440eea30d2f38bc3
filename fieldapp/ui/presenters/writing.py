"""From a form's answers to what is written down, and back: paths, values, and the heads they replace. Pure.

An answer's slot is a path of the docket wherever it can be: `material`, `weight_g`, `tooth/<id>`. Only the reading,
the human question and the note are put together from several. Not here: what a tap does (form).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fieldapp.domain import human
from fieldapp.domain.aid import answer_for
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records import answers as reading_parts
from fieldapp.records.answers import is_path
from fieldapp.records.checking import answers_wanted
from fieldapp.records.fold import Record
from fieldapp.ui.presenters import aid

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form


def opened(record: Record, knowledge: Knowledge) -> dict[str, Any]:
    """The answers that a stored docket gives to a form over it."""
    answers = reading_parts.answers_of(record.value("reading"), knowledge)
    answers.update(
        (path, value) for path in record.heads if is_path(path) and (value := record.value(path)) is not None
    )
    return answers


def values(form: Form) -> dict[str, Any]:
    """The docket's values as the form has them; null where there is none."""
    answers, state = form.answers, form.state
    # Bone that is left in the ground is in no bag, whichever bag is open.
    bag = None if state.new and answers.get("human") == human.STOP else state.bag
    found: dict[str, Any] = {"label": state.label, "bag": bag, "context": None if bag else state.context}
    found.update({slot: None for slot in state.opening if is_path(slot)})
    found.update({slot: value for slot, value in answers.items() if is_path(slot)})
    found.update({slot: True for slot, value in answers.items() if slot.startswith("photo/") and value})
    found["reading"] = reading_parts.reading_of(answers, form.desk.knowledge, form.stage, state.base)
    if answer := answered(form):
        found["human/draft"] = human_value(form, answer)
    return found


def changes(form: Form) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """What to set, and the heads it replaces."""
    state, now = form.state, values(form)
    now.pop("human/draft", None)
    if state.new:
        found = {path: value for path, value in now.items() if value is not None}
        if form.desk.person:
            found.setdefault("finder", form.desk.by["name"])
    else:
        found = {
            path: value
            for path, value in now.items()
            if is_path(path) and form.answers.get(path) != state.opening.get(path)
        }
        if state.took or not reading_parts.same_reading(now["reading"], state.base):
            found["reading"] = now["reading"]
    if form.answers.get("note"):
        found[f"note/{form.desk.new_id()}"] = {"text": form.answers["note"], "stage": form.stage}
    # A picture is a record of its own; the docket only names it.
    found = {path: True if path.startswith("photo/") and value else value for path, value in found.items()}
    over = {path: state.heads[path] for path in found if path in state.heads}
    record = form.record
    if record is not None and "reading" in over and "reading" in record.disagreements() and not state.took:
        # Who may not settle a disagreement replaces only the reading that the form began with.
        over["reading"] = [one for one in over["reading"] if record.heads["reading"].get(one) == state.base]
    return found, over


def photos(form: Form) -> dict[str, dict[str, Any]]:
    """{id: values} of the photo records that a save makes: of pictures taken in this form."""
    return {
        slot.removeprefix("photo/"): {"docket": form.state.docket, **value}
        for slot, value in form.answers.items()
        if slot.startswith("photo/") and isinstance(value, dict)
    }


def answered(form: Form) -> str:
    """The answer to the human question; where only the aid was asked, what its answers come to. "" for none."""
    answer = form.answers.get("human")
    if answer or not form.answers.get(aid.SLOT):
        return str(answer or "")
    # Nobody has said that it lies in the ground, so it is a query and no stop; but it is one.
    return answer_for(aid.verdict(form).outcome, in_place=False)


def human_value(form: Form, answer: str) -> dict[str, Any]:
    """One answer to the human question as it is written, with what the aid was told and made of it."""
    # What nobody was asked is not known: only who answers says whether it was lifted.
    said = answer if form.answers.get("human") else ""
    in_place = {human.STOP: True, human.QUERY: False}.get(said)
    value = {"answer": answer, "why": "", "in_place": in_place, "by_rule": None, "stage": form.stage}
    kept = aid.kept(form)
    return {**value, "aid": kept} if kept else value


def human_readings(form: Form) -> Mapping[str, dict[str, Any]]:
    """{path: reading} of the human question that a save adds: the recorder's, and the rules'."""
    added: dict[str, dict[str, Any]] = {}
    answer, record = answered(form), form.desk.record(form.state.docket)
    if answer:
        added[f"human/{form.desk.new_id()}"] = human_value(form, answer)
    added.update(answers_wanted(form.state.second or form.state.docket, record, (one.problem for one in form.found())))
    return added
