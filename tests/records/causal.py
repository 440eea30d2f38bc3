"""What truly conflicts in a history, worked out slowly from who had seen what, without the merge and without `over`.

An edit stands while nobody who had seen it has set the same field of the same record since. Edits that stand with
different values are a conflict. A writer here is one running copy of a tablet: a clone or a backup put back is another
one, which is why no field can hold more standing edits than it had writers.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from fieldapp.records.changes import Change
from fieldapp.records.fold import Record

Place = tuple[str, str]


@dataclass
class Causes:
    """Every edit with the set of edits that its writer had seen, and which running copy wrote it."""

    edits: list[Change] = field(default_factory=list)
    seen: dict[str, frozenset[str]] = field(default_factory=dict)
    writer: dict[str, int] = field(default_factory=dict)

    def note(self, change: Change, seen: set[str], writer: int) -> None:
        self.edits.append(change)
        self.seen[change.id] = frozenset(seen)
        self.writer[change.id] = writer

    def forget(self, gone: set[str]) -> None:
        """Edits that were on one tablet only, which was destroyed before it had met anybody."""
        self.edits = [one for one in self.edits if one.id not in gone]

    def places(self) -> set[Place]:
        return {(one.record, path) for one in self.edits for path in one.set}

    def at(self, place: Place) -> list[Change]:
        return [one for one in self.edits if one.record == place[0] and place[1] in one.set]

    def standing(self, place: Place) -> list[Change]:
        mine = self.at(place)
        return [one for one in mine if not any(one.id in self.seen[other.id] for other in mine)]

    def conflicts(self) -> set[Place]:
        return {place for place in self.places() if len({_text(one, place) for one in self.standing(place)}) > 1}

    def writers(self, place: Place) -> int:
        """How many copies have written at a place without having seen each other's last word there."""
        return len({self.writer[one.id] for one in self.standing(place)})


@dataclass
class Score:
    """How a merge compares with the truth, over as many histories as it is given."""

    true: int = 0
    flagged: int = 0
    both: int = 0
    standing: int = 0
    lost: int = 0
    hidden: int = 0
    too_many: int = 0

    def add(self, causes: Causes, records: dict[str, Record]) -> None:
        """Compares what `records` show with what is true."""
        true = causes.conflicts()
        flagged = {(one.id, path) for one in records.values() for path in one.disagreements()} & causes.places()
        self.true += len(true)
        self.flagged += len(flagged)
        self.both += len(true & flagged)
        for place in causes.places():
            record, path = records.get(place[0]), place[1]
            heads = record.heads.get(path, {}) if record else {}
            shown = record.disagreements().get(path, {"": record.value(path)}) if record else {}
            texts = {json.dumps(value, sort_keys=True) for value in shown.values()}
            standing = causes.standing(place)
            self.standing += len(standing)
            self.lost += sum(one.id not in heads for one in standing)
            self.hidden += sum(_text(one, place) not in texts for one in standing)
            self.too_many += len(heads) > causes.writers(place)

    @property
    def recall(self) -> float:
        return self.both / self.true if self.true else 1.0

    @property
    def precision(self) -> float:
        return self.both / self.flagged if self.flagged else 1.0

    def is_honest(self) -> bool:
        return self.both == self.true == self.flagged and not (self.lost or self.hidden or self.too_many)


def _text(change: Change, place: Place) -> str:
    value: Any = change.set[place[1]]
    return json.dumps(value, sort_keys=True)
