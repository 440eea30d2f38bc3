"""The mark of a specialist on a docket, against whatever comes after it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records import checked
from fieldapp.records.fold import fold
from tests.server.tablets import Tablet, an_id

ONE = an_id("one")


def record(tablet: Tablet, *others: Tablet):  # type: ignore[no-untyped-def]
    return fold([change for each in (tablet, *others) for change in each.changes]).records[ONE]


def marked(tablet: Tablet) -> None:
    heads = record(tablet).head_ids()
    tablet.write("docket", ONE, {"checked": checked.mark(heads)}, {"checked": heads.get("checked", [])})


def tablet_with_one() -> Tablet:
    tablet = Tablet("a tablet")
    tablet.docket("one", weight_g=3.0)
    return tablet


def test_nobody_has_marked_a_new_docket() -> None:
    assert checked.state_of(record(tablet_with_one())) == ""


def test_a_mark_holds_until_anything_but_a_note_comes() -> None:
    tablet = tablet_with_one()
    marked(tablet)
    assert checked.state_of(record(tablet)) == "checked"
    tablet.write("docket", ONE, {"note/x": {"text": "dusty", "stage": "analysis"}})
    assert checked.state_of(record(tablet)) == "checked"
    tablet.write("docket", ONE, {"weight_g": 4.0}, {"weight_g": record(tablet).head_ids()["weight_g"]})
    assert checked.state_of(record(tablet)) == "changed_since"
    marked(tablet)
    assert checked.state_of(record(tablet)) == "checked"


def test_an_answer_to_the_human_question_that_comes_later_shows() -> None:
    tablet = tablet_with_one()
    marked(tablet)
    tablet.human("one", "query", "later")
    assert checked.state_of(record(tablet)) == "changed_since"


def test_a_mark_taken_off_is_no_mark_and_beside_another_it_is_the_cautious_one() -> None:
    tablet, other = tablet_with_one(), Tablet("another tablet")
    marked(tablet)
    mark = record(tablet).head_ids()["checked"]
    other.write("docket", ONE, {"checked": None}, {"checked": mark})
    assert checked.state_of(record(tablet, other)) == ""
    tablet.write("docket", ONE, {"checked": checked.mark(record(tablet).head_ids())}, {"checked": mark})
    assert checked.state_of(record(tablet, other)) == "changed_since"
    assert "checked" in record(tablet, other).disagreements()
    assert checked.disagreements(record(tablet, other)) == {}, "marks are nothing that anybody has to settle"


@given(st.one_of(st.none(), st.booleans(), st.text(), st.lists(st.integers()), st.dictionaries(st.text(), st.none())))
def test_an_odd_mark_marks_nothing(value: object) -> None:
    tablet = tablet_with_one()
    tablet.write("docket", ONE, {"checked": value})
    assert checked.state_of(record(tablet)) != "checked"
