"""How soon the pages of the assemblage answer with 20,000 fragments, each with its charts, in one run.

    python -m tests.benchmarks.analysis [--dockets N] [--keep FOLDER]

Each page is asked for once with nothing kept of it (its table worked out, every chart drawn), by site and by phase. The
specimens are gathered first, which takes its own time once after the start and little after each change; both are
printed. Not for: whether figures are right.
"""

from __future__ import annotations

import argparse
import re
import resource
import tempfile
import time
from html import unescape
from pathlib import Path
from typing import Any

from server import create_app
from server.analysis import topics
from server.cabin import set_up
from server.config import Config
from server.ledger import Ledger
from server.review import analysis
from tests.benchmarks import analysis_site
from tests.benchmarks.desk import signed_in
from tests.server.review.scene import BASE, QUICK

MUST_S = 1.0
ASKED = ("", "by=phase", "by=phase&ways=together&taxon=cattle")


def measure(folder: Path, dockets: int) -> int:
    config = Config(folder / "cabin", host="127.0.0.1", port=0, testing=True)
    if not config.data.exists():
        set_up(config, code="HLG26", name="Large field (invented)")
        ledger = Ledger.open(config.data / "ledger.sqlite")
        analysis_site.fill(ledger, dockets)
        ledger.close()
    app = create_app(config, QUICK)
    cabin = app.extensions["bonedocket.cabin"]
    account, password = cabin.accounts.add("Tansy", "zooarchaeologist")
    client = signed_in(app, account.id, password)
    slow = 0
    with app.app_context():
        began = time.perf_counter()
        kept = analysis.kept()
        found = kept.now()
        print(f"gathering {len(found.specimens)} specimens, once: {time.perf_counter() - began:.2f} s")
        docket = next(one.id for one in found.specimens)
        cabin.ledger.write("docket", docket, {"note/x": {"text": "x", "stage": "analysis"}}, {}, account.by)
        cabin.ledger.check_due()
        began = time.perf_counter()
        kept.now()
        print(f"after one change: {time.perf_counter() - began:.2f} s")
    _page(client, f"{BASE}/review/analysis")
    print(f"{'table':26}{'asked for':40}{'page s':>8}{'charts':>8}{'charts s':>10}")
    for topic in topics.TOPICS:
        for table in topics.tables(topic):
            for query in ASKED:
                kept._answers.clear()
                took, html = _page(client, f"/review/analysis/{topic}/{table.key}?{query}")
                charts = [unescape(one) for one in re.findall(r'<img src="([^"]+chart-[^"]+svg[^"]*)"', html)]
                drawn = sum(_page(client, one)[0] for one in charts)
                above = took + drawn / max(1, len(charts)) > MUST_S
                slow += above
                sign = "  above 1 s with its chart" if above else ""
                print(f"{topic + ' ' + table.key:26}{query:40}{took:8.2f}{len(charts):8}{drawn:10.2f}{sign}")
    print(f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    cabin.close()
    return 1 if slow else 0


def _page(client: Any, address: str) -> tuple[float, str]:
    began = time.perf_counter()
    answer = client.get(address, base_url=BASE)
    took = time.perf_counter() - began
    assert answer.status_code == 200, (address, answer.status)
    return took, answer.get_data(as_text=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dockets", type=int, default=20_000)
    parser.add_argument("--keep", type=Path, help="a folder in which the site is made once and used again")
    asked = parser.parse_args()
    if asked.keep:
        return measure(asked.keep, asked.dockets)
    with tempfile.TemporaryDirectory() as folder:
        return measure(Path(folder), asked.dockets)


if __name__ == "__main__":
    raise SystemExit(main())
