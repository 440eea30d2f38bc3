"""Which docket comes after one, so that a bag is worked through from the first to the last. Not here: pages."""

from __future__ import annotations

from fieldapp.records.fold import Record
from server.ledger import lines
from server.review import desk


def next_unchecked(record: Record) -> Record | None:
    """The next docket after this one, by label, of its bag, or of its context if it is in none, that nobody has checked
    as it stands now."""
    ledger, bag = desk.ledger(), record.value("bag")
    context = ledger.contexts_of([record]).get(record.id, "")
    with ledger.database.reading() as connection:
        found = lines.next_unmarked(connection, record, bag if isinstance(bag, str) else "", context)
    return ledger.record(found) if found else None
