"""Second readings on the tablet: blind, a record of their own, and a doubt that goes to the docket in the same save."""

from __future__ import annotations

from typing import Any

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.domain.readings import blank_reading
from fieldapp.records.schemas import problems_of
from fieldapp.ui.presenters import form_fields, more
from fieldapp.ui.presenters.context import Context
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.finding import Finding
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.second import Seconds
from tests.ui.conftest import save_as_other

ROSA = {"person": "person-rosa", "name": "Rosa Example", "role": "zooarchaeologist"}


def drawn(desk: Desk, *names: str, reader: str | None = None) -> None:
    """Dockets that others read, and that were drawn at the desk to be read again."""
    reading = {**blank_reading("tibia", "sheep", desk.knowledge), "side": "left"}
    for at, name in enumerate(names):
        values = {"label": f"HLG26 C{at}-X", "context": desk.context, "material": "bone", "reading": reading}
        note = {"note/n": {"text": "gnawed"}, "human/h": {"answer": "no_sign"}}
        save_as_other(desk, "docket", name, {**values, **note}, {})
        drawn = {"name": "Spring", "how": "random", "seed": "7", "shown": ["context"]}
        again = {"docket": name, "sample": "draw", "drawn": drawn, "reader": reader, "first": {}}
        save_as_other(desk, "second_reading", f"again-{name}", again, {})


def begin(desk: Desk, name: str) -> Form:
    record = desk.record(f"again-{name}")
    assert record is not None
    return Form.again(desk, record)


def words(desk: Desk) -> str:
    return str([*Context(desk).rows(), *map(Finding(desk).row, Finding(desk).found()), *Seconds(desk).rows()])


def test_the_first_reading_is_hidden_from_who_reads_again_alone(desk: Desk) -> None:
    drawn(desk, "one", reader=ROSA["person"])
    context = Context(desk)
    assert "sheep tibia" in str(context.rows())
    assert "go.second" not in [one.ident for one in more.tablet(desk)]
    desk.go(person=ROSA)
    assert "go.second" in [one.ident for one in more.tablet(desk)]
    assert "sheep" not in str(context.rows()), "also where the list was shown to somebody else just now"
    assert "in your second reading" in words(desk)
    assert "sheep" not in words(desk)
    finding = Finding(desk)
    finding.taxon = "sheep"
    assert finding.found() == []
    desk.go(person={**ROSA, "person": "another"})
    assert "sheep" in words(desk)
    assert Seconds(desk).rows() == []


def test_the_form_is_blank_and_saves_a_record_of_its_own(desk: Desk) -> None:
    drawn(desk, "one", "two")
    desk.go(person=ROSA)
    form = begin(desk, "one")
    assert form.answers == {}
    assert form.record is None
    assert form_fields.earlier_notes(form) == []
    assert form_fields.differing(form) == []
    assert form.earlier_answers()[0] == ["no_sign"], "the human question is hidden from nobody"
    assert not form.may_delete()
    form.choose("material", "bone")
    form.choose("element", "femur")
    form.choose("taxon", "pig")
    form.choose("side", "right")
    form.put("find", {"weight_g": 12.5})
    resumed = Form.resumed(desk)
    assert resumed is not None
    assert resumed.state.second == "again-one"
    before = desk.record("one")
    saved = resumed.save()
    record = desk.record("again-one")
    assert record is not None
    assert (record.kind, record.value("done"), record.value("weight_g")) == ("second_reading", True, 12.5)
    assert (record.value("reading")["taxon"], record.value("reading")["stage"]) == ("pig", "analysis")
    assert problems_of("second_reading", record.values()) == {}
    assert desk.record("one") is before
    assert (saved.hold, saved.label) == ("", "HLG26 C0-X")
    assert [row.signs for row in Seconds(desk).rows()] == [(), (("tick", "read"),)]
    # Mended while the draw is open, over what the form showed.
    again = begin(desk, "one")
    assert again.answers["taxon"] == "pig"
    again.choose("taxon", "cattle")
    again.save()
    record = desk.record("again-one")
    assert record is not None
    assert record.value("reading")["taxon"] == "cattle"
    assert record.disagreements() == {}
    # The last one ends the draw, and what was read first is there again.
    last = begin(desk, "two")
    last.choose("material", "bone")
    last.save()
    assert Seconds(desk).rows() == []
    assert "sheep" in words(desk)


def test_leaving_gives_back_no_label(desk: Desk) -> None:
    drawn(desk, "one")
    desk.go(person=ROSA)
    begin(desk, "one").leave()
    assert desk.new_label() != "HLG26 C0-X"
    assert desk.draft("form") is None


def test_a_doubt_goes_to_the_docket_and_its_hold_in_the_same_save(desk: Desk) -> None:
    drawn(desk, "one", "two")
    desk.go(person=ROSA)

    def read(name: str, **answers: Any) -> Any:
        form = begin(desk, name)
        form.choose("material", "bone")
        for slot, value in answers.items():
            form.answer_human(value) if slot == "human" else form.choose(slot, value)
        return form.save()

    saved = read("one", human="query")
    docket = desk.record("one")
    assert docket is not None
    assert desk.standing(docket) == human.QUERY
    assert desk.record(hold_id("one")) is not None
    assert saved.hold == hold_id("one")
    assert docket.value("reading")["taxon"] == "sheep", "the first reading stays"
    # By rule, whatever was answered before; under the path that the cabin's rules use, so that it is said once.
    ruled = read("two", element="femur", taxon="human", side="left")
    assert ruled.rule == "human_without_answer"
    two = desk.record("two")
    assert two is not None
    assert desk.standing(two) == human.QUERY
    paths = [path for path in two.heads if path.startswith("human/")]
    assert len(paths) == 2
    found = [one for one, problems in desk.among(desk.context or "").raises([two]) if problems]
    assert found == []
