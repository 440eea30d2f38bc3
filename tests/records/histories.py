"""Histories of a few notebooks that work offline and meet now and then, made by hypothesis.

A history is a list of steps. Replaying it gives every change made, plus what each notebook had seen when it made it;
from that alone the true conflicts follow: two edits of a path by people who had not seen each other's.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from hypothesis import strategies as st

from fieldapp.records.changes import Change
from fieldapp.records.fold import Fold
from tests.records.makers import Pen

PATHS = ["reading", "count", "bag", "note/1", "human/x", "deleted"]


@dataclass
class Notebook:
    """A notebook without a store: its pen and the fold of what it has seen."""

    pen: Pen
    fold: Fold = field(default_factory=Fold)
    known: dict[str, Change] = field(default_factory=dict)

    def take(self, change: Change) -> None:
        self.known[change.id] = change
        self.fold.apply(change)

    def edit(self, record: str, path: str, value: object, at: str) -> Change:
        seen = self.fold.records.get(record)
        shown = seen.head_ids() if seen else {}
        over = shown if path == "deleted" else {path: shown.get(path, [])}
        change = self.pen.write({path: value}, over, record=record, at=at)
        self.take(change)
        return change


steps = st.lists(
    st.one_of(
        st.tuples(st.just("edit"), st.integers(0, 2), st.integers(0, 2), st.sampled_from(PATHS), st.integers(0, 3)),
        st.tuples(st.just("meet"), st.integers(0, 2), st.integers(0, 2)),
        st.tuples(st.just("clone"), st.integers(0, 2)),
        st.tuples(st.just("restore"), st.integers(0, 2)),
    ),
    max_size=40,
)


def play(history: list[tuple], seed: int = 0) -> list[Change]:
    """Every change made in `history`, in the order made; clocks are off by up to ten years either way."""
    rng = random.Random(seed)
    notebooks = [Notebook(Pen(name)) for name in "ABC"]
    backups = [notebook.pen.copy() for notebook in notebooks]
    made: list[Change] = []
    for step in history:
        if step[0] == "edit":
            _, who, record, path, value = step
            at = f"{rng.randint(2016, 2036)}-06-01T09:00:00+00:00"
            shown = (value % 2 == 0) if path == "deleted" else value
            made.append(notebooks[who].edit(f"r{record}", path, shown, at))
        elif step[0] == "meet":
            one, other = notebooks[step[1]], notebooks[step[2]]
            for change in list(one.known.values()):
                other.take(change)
            for change in list(other.known.values()):
                one.take(change)
        elif step[0] == "clone":
            # The tablet's folder copied: from here the copy goes on under the same notebook id.
            copy = Notebook(notebooks[step[1]].pen.copy())
            for change in notebooks[step[1]].known.values():
                copy.take(change)
            notebooks.append(copy)
            notebooks[0], notebooks[-1] = notebooks[-1], notebooks[0]
        else:
            # An old backup put back: it forgets what came since, and writes the same numbers again.
            old = backups[step[1]]
            restored = Notebook(old.copy())
            for change in made:
                if change.notebook == old.notebook and change.n <= old.n:
                    restored.take(change)
            backups[step[1]] = notebooks[step[1]].pen.copy()
            notebooks[step[1]] = restored
    return made
