"""Contexts numbered anew and dockets joined while others go on recording: nothing moves, nothing is lost."""

from __future__ import annotations

from collections.abc import Callable

from fieldapp.domain.ids import context_id, site_id
from fieldapp.store.notebook import Notebook
from fieldapp.sync.exchange import exchange
from tests.server.tablets import CODE, an_id
from tests.sync.conftest import BY, Site

SITE = site_id(CODE)
CONTEXT = context_id(SITE, "1042")


def save(notebook: Notebook, kind: str, record: str, **values: object) -> None:
    """Like a form: over what it shows."""
    found = notebook.record(kind, record)
    heads = found.head_ids() if found else {}
    notebook.save(kind, record, values, {path: heads[path] for path in values if path in heads}, BY)


def two(site: Site, new_notebook: Callable[[str], Notebook]) -> tuple[Notebook, Notebook]:
    a, b = new_notebook("a"), new_notebook("b")
    for one in (a, b):
        site.enrolled(one)
    save(a, "context", CONTEXT, number="1042", type="layer")
    save(a, "bag", an_id("bag"), label=str(a.next_label()), context=CONTEXT)
    everybody(site, a, b)
    return a, b


def everybody(site: Site, *notebooks: Notebook) -> None:
    for _ in range(2):
        for one in notebooks:
            exchange(one, site.way(one))


def test_what_was_recorded_under_the_old_number_is_found_under_the_new_one(site: Site, new_notebook) -> None:
    a, b = two(site, new_notebook)
    save(a, "context", CONTEXT, number="1099")
    label = str(b.next_label())
    save(b, "docket", an_id("bone"), label=label, bag=an_id("bag"))
    everybody(site, a, b)
    for one in (a, b):
        assert one.record("context", CONTEXT).value("number") == "1099"
        assert one.record("docket", an_id("bone")).value("label") == label
        assert one.disputed() == []
    (listed,) = site.ledger.listing("docket", CONTEXT)
    assert (listed.label, site.ledger.record(CONTEXT).value("number")) == (label, "1099")


def test_two_new_numbers_for_one_context_are_a_disagreement_with_both_kept(site: Site, new_notebook) -> None:
    a, b = two(site, new_notebook)
    save(a, "context", CONTEXT, number="1099")
    save(b, "context", CONTEXT, number="2000")
    everybody(site, a, b)
    (disputed,) = site.ledger.disagreements()
    assert (disputed.path, sorted(disputed.heads.values())) == ("number", ["1099", "2000"])
    for one in (a, b):
        assert [record.id for record in one.disputed()] == [CONTEXT]


def test_the_number_of_two_contexts_is_shown_and_both_are_kept(site: Site, new_notebook) -> None:
    a, b = two(site, new_notebook)
    save(a, "context", CONTEXT, number="1099")
    save(b, "context", context_id(SITE, "1099"), number="1099", type="pit_fill")
    everybody(site, a, b)
    while site.ledger.check_due():
        pass
    assert {one.record for one in site.ledger.problems() if one.rule == "context_number_repeated"} == {
        CONTEXT,
        context_id(SITE, "1099"),
    }


def test_dockets_joined_on_one_tablet_and_worked_on_at_another_stay_whole(site: Site, new_notebook) -> None:
    a, b = two(site, new_notebook)
    for name, one in (("first", a), ("second", b)):
        save(one, "docket", an_id(name), label=str(one.next_label()), bag=an_id("bag"), weight_g=10.0)
    everybody(site, a, b)
    save(a, "docket", an_id("second"), **{f"same_as/{an_id('first')}": True})
    save(b, "docket", an_id("second"), weight_g=12.0)
    save(b, "docket", an_id("first"), **{f"human/{an_id('look')}": {"answer": "query", "why": "", "stage": "lab"}})
    everybody(site, a, b)
    for one in (a, b):
        second = one.record("docket", an_id("second"))
        assert (second.value("weight_g"), second.linked("same_as")) == (12.0, [an_id("first")])
        assert one.record("docket", an_id("first")).value("weight_g") == 10.0
    held = {hold.docket: hold.answer for hold in site.ledger.holds()}
    assert held == {an_id("first"): "query", an_id("second"): "query"}, "one bone, on hold under both its labels"
    # And parted again.
    save(b, "docket", an_id("second"), **{f"same_as/{an_id('first')}": None})
    everybody(site, a, b)
    assert {hold.docket for hold in site.ledger.holds()} == {an_id("first")}
    assert {one.value("weight_g") for one in a.records("docket")} == {10.0, 12.0}
