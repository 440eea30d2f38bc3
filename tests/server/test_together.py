"""Many at once: threads that push, another process that writes, all into one ledger."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from server.ledger import CABIN, Ledger
from tests.server.conftest import address_of
from tests.server.tablets import Tablet, an_id

ROOT = Path(__file__).parent.parent.parent
WRITER = """
import sys
from server.ledger import CABIN, Ledger
ledger = Ledger.open(sys.argv[1], schema=sys.argv[4])
for count in range(int(sys.argv[2])):
    ledger.write("docket", "b", {f"note/{sys.argv[3]}-{count}": {"text": "x"}}, {}, CABIN)
ledger.close()
"""


def pushed_together(ledger: Ledger, tablets: list[Tablet], batch: int) -> None:
    faults: list[BaseException] = []

    def push(tablet: Tablet) -> None:
        try:
            for start in range(0, len(tablet.changes), batch):
                ledger.accept(tablet.entries(start)[: batch + 1], tablet.id)
                ledger.pull(0, 50, tablet.id)
                ledger.holds()
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=push, args=(tablet,)) for tablet in tablets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []


def tablets_with(count: int, changes: int) -> list[Tablet]:
    found = [Tablet(f"tablet {number}") for number in range(count)]
    for tablet in found:
        for number in range(changes):
            tablet.write("docket", an_id(f"docket {number % 7}"), {"count": number, f"note/{tablet.id}-{number}": "x"})
    return found


def test_tablets_that_push_at_once_lose_nothing_and_the_count_has_no_gap(ledger):
    tablets = tablets_with(4, 30)
    pushed_together(ledger, tablets, 7)
    rows = ledger.pull(0, 1000).rows
    assert [seq for seq, _, _ in rows] == list(range(1, 122))
    assert {one for _, one, _ in rows} >= {one.id for tablet in tablets for one in tablet.changes}
    assert ledger.rebuild_matches()


def test_commands_beside_the_running_cabin_keep_its_notebook_in_one_chain(ledger):
    place = ledger.database.place
    where = address_of(place)
    others = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, where, "20", name, place.schema], cwd=ROOT, stderr=subprocess.PIPE
        )
        for name in ("one", "two")
    ]
    for count in range(20):
        ledger.write("docket", an_id("a"), {f"note/{count}": {"text": "x"}}, {}, CABIN)
    for process in others:
        _, said = process.communicate(timeout=60)
        assert process.returncode == 0, said
    own = [one for one in ledger.who([row[1] for row in ledger.pull(0, 1000).rows]).values()]
    chain = sorted((one.change for one in own), key=lambda one: one.n)
    assert [one.n for one in chain] == list(range(1, 62))
    assert [one.prev for one in chain[1:]] == [one.id for one in chain[:-1]]
    assert ledger.rebuild_matches()


@pytest.mark.proof
def test_a_long_day_of_pushing_at_once_loses_nothing(ledger):
    tablets = tablets_with(8, 2000)
    pushed_together(ledger, tablets, 100)
    assert ledger.names().head == 16_001
    assert ledger.rebuild_matches()
