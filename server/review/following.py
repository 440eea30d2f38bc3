"""Which docket comes after one, so that a bag is worked through from the first to the last. Not here: pages."""

from __future__ import annotations

from fieldapp.domain import labels
from fieldapp.records import checked
from fieldapp.records.fold import Record
from server.review import desk
from server.review.showing import label


def next_unchecked(record: Record) -> Record | None:
    """The next docket after this one, by label, of its bag, or of its context if it is in none, that nobody has checked
    as it stands now."""
    ledger, bag = desk.ledger(), record.value("bag")
    if isinstance(bag, str) and bag:
        there = ledger.in_bag(bag)
    else:
        context = ledger.contexts_of([record]).get(record.id)
        there = [one for one in ledger.records("docket", context) if not one.value("bag")] if context else []
    here = by_label(record)
    after = [one for one in there if by_label(one) > here and one.id != record.id]
    return min((one for one in after if checked.state_of(one) != "checked"), key=by_label, default=None)


def by_label(record: Record) -> tuple[str, int, str, str]:
    """Sorts dockets by letter and running number; those without a proper label come last."""
    text = label(record)
    try:
        found = labels.read(text)
    except labels.LabelError:
        return "~", 0, text, record.id
    return found.letter, found.number, text, record.id
