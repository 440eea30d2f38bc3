"""A record read back from the ledger is the record that was folded, however it was written down."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fieldapp.records import changes
from fieldapp.records.fold import fold
from server.ledger import folding
from tests.server.tablets import Tablet, an_id

PATHS = ("count", "label", "deleted", "human/1", "context")
UNKNOWN = "f" * 64


@st.composite
def histories(draw):
    """Changes of one record, each over some of those before it or over one that has not come."""
    made: list[changes.Change] = []
    for n in range(1, draw(st.integers(1, 5)) + 1):
        earlier = st.sampled_from([one.id for one in made] + [UNKNOWN])
        made.append(
            changes.write(
                notebook="n",
                n=n,
                prev="",
                site=draw(st.sampled_from(["s", "s", "s", "t"])),
                record="r",
                kind=draw(st.sampled_from(["docket", "docket", "docket", "bag"])),
                set=draw(st.dictionaries(st.sampled_from(PATHS), st.sampled_from([1, "x", None, True, [1.5]]))),
                over=draw(st.dictionaries(st.sampled_from(PATHS), st.lists(earlier, max_size=2), max_size=2)),
                by={},
                at="2026-06-01T10:00:00+02:00",
            )
        )
    return draw(st.permutations(made))


@given(histories())
def test_what_is_kept_of_a_record_gives_the_same_record_again(history):
    (record,) = fold(history)
    bodies = {one.id: one.body for one in history}
    text = folding.state_text(record)
    again = folding._loaded(text, bodies.get(text))
    assert again.as_json() == record.as_json()
    assert folding.state_text(again) == text


def test_a_record_of_one_change_is_kept_once_and_one_that_was_edited_with_what_stands(ledger):
    tablet = Tablet()
    written = tablet.docket("a", count=1)
    ledger.accept(tablet.entries(), tablet.id)
    record = ledger.record(an_id("a"))
    assert folding.state_text(record) == written.id
    tablet.write("docket", an_id("a"), {"count": 2}, {"count": [written.id]})
    ledger.accept(tablet.entries(1), tablet.id)
    assert folding.state_text(ledger.record(an_id("a"))).startswith("{")
    assert ledger.record(an_id("a")).value("count") == 2
    assert ledger.rebuild_matches()
