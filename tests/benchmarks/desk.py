"""How soon the desk's pages answer with 100,000 dockets, beside an indexed query for the same rows, in one run.

    python -m tests.benchmarks.desk [--dockets N] [--rounds N] [--keep FOLDER] [--cpu]

Each page is asked for through the app as a browser would, without a network; the median of the rounds. The query is
what a database with an index for just this question takes to give the rows that the page shows. Ends with 1 where a
page takes longer than 150 ms. The site is invented, from a seed (desk_site).
"""

from __future__ import annotations

import argparse
import gc
import re
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil
from sqlalchemy import text

from fieldapp.domain.ids import context_id
from server import create_app
from server.cabin import set_up
from server.config import Config
from server.ledger import Ledger
from server.serving import COLLECT_EVERY
from tests.benchmarks import desk_site
from tests.server.apps import QUICK
from tests.server.review.scene import BASE

MUST_MS = 150
DRAW = "second/draw?show=yes&name=a&of={}&how={}&size=500&seed=7"
MEMORY_AFTER = 300
"""Requests, over all pages by turns."""


def pages(ledger: Ledger) -> dict[str, tuple[str, str]]:
    """{what it is: (address, the query for its rows)}."""
    site = ledger.names().site
    with ledger.database.reading() as connection:
        docket = connection.scalar(
            text("select id from record where kind = 'docket' order by label limit 1 offset 5000")
        )
        hold = connection.scalar(text("select docket from record where docket is not null limit 1"))
        record, path = connection.execute(text("select record, path from disagreement limit 1")).one()
        bag = connection.scalar(text("select record from bag_line order by sort limit 1 offset 2000"))
        (one, other) = connection.scalars(
            text("select record from docket_line where context = :there order by sort limit 2"),
            {"there": context_id(site, str(1000 + desk_site.A_CONTEXT))},
        )
    middle = context_id(site, str(1000 + desk_site.A_CONTEXT))
    state = "select r.state, c.body from record r left join change c on c.id = r.state where r.id in"
    listed = f"{state} (select record from docket_line where true"
    return {
        "today": ("today", "select kind, life, count(*) from record group by kind, life"),
        "contexts": ("contexts", "select context, count(*) from docket_line group by context"),
        "context": (f"context/{middle}", f"{listed} and context = '{middle}')"),
        "dockets": ("dockets", f"{listed} order by sort limit 50)"),
        "dockets, page 1000": ("dockets?page=1000", f"{listed} order by sort limit 50 offset 49950)"),
        "dockets by animal": ("dockets?sort=taxon", f"{listed} order by taxon, sort limit 50)"),
        "dockets by context": ("dockets?sort=-context", f"{listed} order by context, sort limit 50)"),
        "dockets found": ("dockets?find=tibia+horse", f"{listed} and taxon = 'horse' and element = 'tibia' limit 50)"),
        "dockets asked": ("dockets?only=asked", f"{listed} and asks limit 50)"),
        "docket": (f"docket/{docket}", f"{state} ('{docket}')"),
        "disagreements": ("disagreements", f"{state} (select record from disagreement limit 50)"),
        "disagreement": (f"disagreement/{record}/{path}", f"{state} ('{record}')"),
        "problems": ("problems", "select * from problem where level = 'check' limit 50"),
        "problems, last": ("problems?page=9999", "select * from problem where level = 'note' limit 50 offset 37000"),
        "bags": ("bags", "select * from bag_line"),
        "bags by what is in": ("bags?sort=-inside", "select bag, count(*) from record group by bag"),
        "bag": (f"bag/{bag}", f"{state} (select id from record where bag = '{bag}')"),
        "transfers": ("transfers", "select id from record where kind = 'transfer'"),
        "boxes": ("boxes", "select box, count(*) from bag_line group by box"),
        "groups": ("groups", "select id from record where kind = 'group'"),
        "doubles": ("doubles", "select record from problem where rule = 'possible_double'"),
        "causes": ("disagreements/causes", f"{state} (select record from disagreement)"),
        "pair": (f"pair/{one}/{other}", f"{state} ('{one}', '{other}')"),
        "refits": (f"refits/{middle}", f"{listed} and context = '{middle}')"),
        "second readings": ("second", "select id from record where kind = 'second_reading'"),
        "draw of one trench": (DRAW.format("trench:A", "random"), f"{listed} limit 500)"),
        "draw of hard bones": (DRAW.format("site", "hard"), f"{listed} and hard limit 500)"),
        "draw by animal": (DRAW.format("site", "by_taxon"), f"{listed} limit 500)"),
        "printing": (f"context/{middle}/print", "select trench, count(*) from context_line group by trench"),
        "docket's form": (f"docket/{docket}/edit", f"{state} ('{docket}')"),
        "context's form": (f"context/{middle}/edit", f"{state} ('{middle}')"),
        "changes": ("changes", "select record, count(*) from change where seq > 190000 group by record limit 50"),
        "site": ("site", f"{state} (select id from record where kind = 'site')"),
        "holds": ("holds", f"{state} (select docket from record where docket is not null)"),
        "hold": (f"hold/{hold}", f"{state} ('{hold}')"),
        "log": ("log", "select * from event order by nr desc limit 100"),
    }  # fmt: skip


def median_ms(work: Callable[[], object], rounds: int, clock: Callable[[], float]) -> float:
    def once() -> float:
        start = clock()
        work()
        return clock() - start

    once()
    return statistics.median(once() for _ in range(rounds)) * 1000


def signed_in(app: Any, account: str, password: str) -> Any:
    client = app.test_client()
    first = client.get("/review/sign-in", base_url=BASE).text
    (token,) = re.findall(r'name="csrf" value="([^"]*)"', first)[:1]
    client.post("/review/sign-in", base_url=BASE, data={"csrf": token, "account": account, "password": password})
    return client


def measure(folder: Path, count: int, rounds: int, clock: Callable[[], float]) -> int:
    config = Config(folder / "cabin", host="127.0.0.1", port=0, testing=True)
    if not config.data.exists():
        set_up(config, code="HLG26", name="Large field (invented)")
        ledger = Ledger.open(config.data / "ledger.sqlite")
        desk_site.fill(ledger, count, seed=1)
        ledger.close()
    gc.set_threshold(COLLECT_EVERY)
    app = create_app(config, QUICK)
    cabin = app.extensions["bonedocket.cabin"]
    account, password = cabin.accounts.add("Tansy", "zooarchaeologist")
    client = signed_in(app, account.id, password)
    slow = 0
    print(f"{'page':24}{'ms':>8}{'query ms':>10}{'ratio':>8}")
    for what, (address, query) in pages(cabin.ledger).items():
        answer = client.get(f"/review/{address}", base_url=BASE)
        assert answer.status_code == 200, (what, answer.status)

        def ask(query: str = query) -> None:
            with cabin.ledger.database.reading() as connection:
                connection.execute(text(query)).all()

        page = median_ms(lambda address=address: client.get(f"/review/{address}", base_url=BASE).data, rounds, clock)
        plain = median_ms(ask, rounds, clock)
        slow += page > MUST_MS
        print(f"{what:24}{page:8.1f}{plain:10.2f}{page / plain:8.1f}{'  above 150 ms' if page > MUST_MS else ''}")
    addresses = [address for address, _ in pages(cabin.ledger).values()]
    for n in range(MEMORY_AFTER):
        client.get(f"/review/{addresses[n % len(addresses)]}", base_url=BASE).get_data()
        if n % 100 == 99:
            now = psutil.Process().memory_info().rss / 2**20
            print(f"memory after {n + 1} requests more, over all pages: {now:.0f} MB")
    print(f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    cabin.close()
    return 1 if slow else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dockets", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--keep", type=Path, help="a folder for the site, used again if it is there")
    parser.add_argument("--cpu", action="store_true", help="count processor time: for a machine that is shared")
    asked = parser.parse_args()
    clock = time.process_time if asked.cpu else time.perf_counter
    if asked.keep:
        return measure(asked.keep, asked.dockets, asked.rounds, clock)
    with tempfile.TemporaryDirectory() as folder:
        return measure(Path(folder), asked.dockets, asked.rounds, clock)


if __name__ == "__main__":
    sys.exit(main())
