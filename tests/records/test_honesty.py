"""Conflicts are told exactly: every true one, no other, and no standing edit is lost or hidden.

Seeded histories of five tablets that work apart, with clocks up to ten years wrong, clones of a tablet that both go on,
and old backups put back. The truth comes from tests.records.causal. Once for the fold alone, and once through real
notebooks and a real cabin. Deletions have rules of their own (test_fold) and are left out.
"""

from __future__ import annotations

import os
import random
import shutil
import uuid
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from fieldapp.store import disk
from fieldapp.store.notebook import Notebook
from fieldapp.sync.exchange import exchange
from tests.records import histories
from tests.records.causal import Causes, Score
from tests.records.makers import Pen
from tests.server.conftest import Clock
from tests.sync.conftest import BY, Site

PATHS = ("reading", "count", "bag", "note/1")
REPLICAS, ROUNDS = 5, 4


def seeds(usual: int, proof: int) -> list[int]:
    """The usual run's fixed seeds, or as many fresh ones as the proof asks for."""
    if not proof:
        return list(range(usual))
    first = int(os.environ.get("PROOF_SEED") or random.SystemRandom().randrange(10**9))
    return list(range(first, first + proof))


def proof_rounds(most: int) -> int:
    return max(1, most * int(os.environ.get("PROOF_ROUNDS") or 200) // 200)


def wrong_clock(rng: random.Random) -> str:
    return f"{rng.randint(2016, 2036)}-06-01T09:00:00+00:00"


# -- the fold alone


def play(seed: int) -> tuple[Causes, list[histories.Notebook]]:
    """A history; afterwards everybody has met everybody."""
    rng, causes = random.Random(seed), Causes()
    tablets = [histories.Notebook(Pen(f"{seed}-{name}")) for name in "ABCDE"[:REPLICAS]]
    copies = list(range(REPLICAS))
    backups = [_copied(one) for one in tablets]
    for _ in range(ROUNDS):
        for at, tablet in enumerate(tablets):
            for _ in range(rng.randint(0, 3)):
                seen = set(tablet.known)
                made = tablet.edit(f"{seed}-r{rng.randrange(3)}", rng.choice(PATHS), rng.randrange(4), wrong_clock(rng))
                causes.note(made, seen, copies[at])
        what, at = rng.random(), rng.randrange(len(tablets))
        if what < 0.2:
            tablets.append(_copied(tablets[at]))
            copies.append(len(copies) + 100)
        elif what < 0.4 and at < REPLICAS:
            tablets[at], copies[at] = _copied(backups[at]), rng.randrange(10**6) + 10**6
        elif what < 0.6 and at < REPLICAS:
            backups[at] = _copied(tablets[at])
        for _ in range(rng.randint(0, 3)):
            one, other = rng.sample(tablets, 2)
            for change in list(one.known.values()):
                other.take(change)
    everything = list(causes.edits)
    for tablet in tablets:
        rng.shuffle(everything)
        for change in everything:
            tablet.take(change)
    return causes, tablets


def _copied(one: histories.Notebook) -> histories.Notebook:
    copy = histories.Notebook(one.pen.copy())
    for change in one.known.values():
        copy.take(change)
    return copy


def judge_fold(all_seeds: list[int]) -> None:
    score = Score()
    for seed in all_seeds:
        causes, tablets = play(seed)
        for tablet in tablets:
            score.add(causes, tablet.fold.records)
        assert score.is_honest(), f"seed {seed}: {score}"
    print(f"seeds {all_seeds[0]} to {all_seeds[-1]}: {score}")
    assert score.true > len(all_seeds)
    assert (score.recall, score.precision) == (1.0, 1.0)


def test_the_fold_tells_every_conflict_and_no_other():
    judge_fold(seeds(50, 0))


@pytest.mark.proof
def test_the_fold_tells_every_conflict_and_no_other_over_a_thousand_histories():
    judge_fold(seeds(0, proof_rounds(1000)))


def test_the_judge_sees_a_merge_by_the_latest_clock_for_what_it_is():
    """The check can fail: of a merge in which the latest time wins, hardly a conflict is left to tell."""
    score = Score()
    for seed in range(5):
        causes, (tablet, *_) = play(seed)
        for record in tablet.fold.records.values():
            times = {one.id: one.at for one in causes.edits}
            record.heads = {
                path: {last: heads[last]}
                for path, heads in record.heads.items()
                for last in [max(heads, key=lambda one: (times[one], one))]
            }
        score.add(causes, tablet.fold.records)
    assert score.recall == 0
    assert score.lost > 10
    assert score.hidden > 10


# -- notebooks and a cabin


class Camp:
    """Real notebooks in folders, and a real cabin."""

    def __init__(self, folder: Path, site: Site, rng: random.Random) -> None:
        self.folder, self.site, self.rng = folder, site, rng
        self.causes = Causes()
        self.open: dict[int, Notebook] = {}
        self.copy_of: dict[int, int] = {}
        self.own: dict[int, set[str]] = {number: set() for number in range(REPLICAS)}
        self.delivered: set[str] = set()
        for number in range(REPLICAS):
            self._take_up(number)
            site.enrolled(self.open[number])
        self.backups = {number: (self._kept(number), set(self.own[number])) for number in self.open}

    def _take_up(self, number: int) -> None:
        wrong = timedelta(days=self.rng.randint(-3650, 3650))
        self.open[number] = Notebook.open(
            self.folder / f"tablet-{number}",
            lambda: datetime.fromisoformat("2026-06-01T08:00:00+00:00") + wrong,
            lambda: str(uuid.UUID(int=self.rng.getrandbits(128), version=4)),
        )
        self.copy_of[number] = self.rng.getrandbits(64)

    def _kept(self, number: int) -> Path:
        """A copy of a tablet's folder as it is now."""
        kept = self.folder / f"kept-{self.rng.getrandbits(64)}"
        shutil.copytree(self.folder / f"tablet-{number}", kept, ignore=shutil.ignore_patterns("lock"))
        return kept

    def edit(self, number: int) -> None:
        notebook, rng = self.open[number], self.rng
        record_id, path = str(uuid.UUID(int=rng.randrange(1, 4))), rng.choice(PATHS)
        seen = {one for _, one, _ in notebook.bodies()}
        record = notebook.record("docket", record_id)
        over = {path: record.head_ids().get(path, [])} if record else {}
        made = notebook.save("docket", record_id, {path: rng.randrange(4)}, over, BY)
        self.causes.note(made, seen, self.copy_of[number])
        self.own[number].add(made.id)

    def clone(self, number: int) -> None:
        twin = len(self.open)
        self._kept(number).rename(self.folder / f"tablet-{twin}")
        self._take_up(twin)
        self.own[twin] = set(self.own[number])

    def restore(self, number: int) -> None:
        self.open[number].close()
        shutil.rmtree(self.folder / f"tablet-{number}")
        kept, own = self.backups[number]
        shutil.copytree(kept, self.folder / f"tablet-{number}")
        self._take_up(number)
        lost, self.own[number] = self.own[number], set(own)
        # What was on that tablet alone went with it, and is nobody's any more.
        self.causes.forget(lost - self.delivered - set().union(*self.own.values()))

    def meet(self, number: int) -> None:
        exchange(self.open[number], self.site.way(self.open[number]))
        self.delivered |= self.own[number]

    def play(self) -> None:
        rng = self.rng
        for _ in range(ROUNDS):
            for number in list(self.open):
                for _ in range(rng.randint(0, 3)):
                    self.edit(number)
            what, number = rng.random(), rng.randrange(REPLICAS)
            if what < 0.25:
                self.clone(number)
            elif what < 0.5:
                self.restore(number)
            elif what < 0.75:
                self.backups[number] = (self._kept(number), set(self.own[number]))
            for number in rng.sample(list(self.open), rng.randint(0, len(self.open))):
                self.meet(number)
        # What was fetched brings out forks, and forks bring out more to fetch.
        for _ in range(3):
            for number in self.open:
                self.meet(number)

    def close(self) -> None:
        for notebook in self.open.values():
            notebook.close()


def judge_camps(all_seeds: list[int], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from server.cabin import set_up
    from server.config import Config
    from tests.server.tablets import CODE

    monkeypatch.setattr(disk, "sync", lambda descriptor: None)
    config = Config(folder / "cabin", host="127.0.0.1", port=0, clock=Clock(), testing=True)
    set_up(config, code=CODE, name="Test field")
    cabin, tablets = Score(), Score()
    for seed in all_seeds:
        here = folder / str(seed)
        shutil.copytree(config.data, here / "cabin")
        site = Site(replace(config, data=here / "cabin"))
        camp = Camp(here, site, random.Random(seed))
        try:
            camp.play()
            cabin.add(camp.causes, {one.id: one for one in site.ledger.records("docket")})
            assert cabin.is_honest(), f"seed {seed}, cabin: {cabin}"
            assert site.ledger.rebuild_matches()
            for number, notebook in camp.open.items():
                tablets.add(camp.causes, {one.id: one for one in notebook.records("docket")})
                assert tablets.is_honest(), f"seed {seed}, tablet {number}: {tablets}"
        finally:
            camp.close()
            site.close()
        shutil.rmtree(here)
    print(f"seeds {all_seeds[0]} to {all_seeds[-1]}: cabin {cabin}, tablets {tablets}")
    assert cabin.true >= len(all_seeds)


def test_notebooks_and_cabin_tell_every_conflict_and_no_other(tmp_path, monkeypatch):
    judge_camps(seeds(3, 0), tmp_path, monkeypatch)


@pytest.mark.proof
def test_notebooks_and_cabin_tell_every_conflict_and_no_other_over_many_histories(tmp_path, monkeypatch):
    judge_camps(seeds(0, proof_rounds(100)), tmp_path, monkeypatch)
