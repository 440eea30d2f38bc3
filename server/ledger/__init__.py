"""Accepts changes, folds them into records, finds disagreements and holds. `Ledger` is the way in."""

from server.ledger.asking import Disputed, Listed, Pulled, Written
from server.ledger.checks import Found
from server.ledger.events import Event
from server.ledger.holds import Hold
from server.ledger.intake import Answer
from server.ledger.ledger import CABIN, Accepted, Ledger

__all__ = [
    "CABIN",
    "Accepted",
    "Answer",
    "Disputed",
    "Event",
    "Found",
    "Hold",
    "Ledger",
    "Listed",
    "Pulled",
    "Written",
]
