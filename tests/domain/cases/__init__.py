"""For every rule one record that breaks it and one near miss that does not, in a module named as the rule's own."""

from __future__ import annotations

from tests.domain.cases import (
    amounts,
    caution,
    containers,
    fusion,
    groups,
    identity,
    measures,
    places,
    portions,
    presence,
    protocol,
    samples,
    surface,
    tallies,
    teeth,
    transfers,
    words,
)
from tests.domain.cases.records import Cases

CASES: Cases = [
    *amounts.CASES,
    *caution.CASES,
    *containers.CASES,
    *fusion.CASES,
    *groups.CASES,
    *identity.CASES,
    *measures.CASES,
    *places.CASES,
    *portions.CASES,
    *presence.CASES,
    *protocol.CASES,
    *samples.CASES,
    *surface.CASES,
    *tallies.CASES,
    *teeth.CASES,
    *transfers.CASES,
    *words.CASES,
]
