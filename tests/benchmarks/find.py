"""Finding among 20,000 records, and the start of the app, each in one run with its anchor.

    xvfb-run -a python -m tests.benchmarks.find [--records 20000]

Aims, with software drawing on two cores: the list open within 1 s, 95 of 100 frames while it moves within 33 ms, a
filter within 300 ms; from the start to the first screen at most twice what an app of nothing but as many buttons
takes (both in fresh processes, imports counted).
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.dockets import CONTEXT, changes, opened

APP = """
import sys, time
begun = time.perf_counter()
from pathlib import Path
from fieldapp.ui.environment import prepare
prepare(1280, 800)
from kivy.clock import Clock
from fieldapp.ui.app import TabletApp
from fieldapp.ui.shell import SCREENS
from server.demo.touch import start
Clock._max_fps = 0
app = TabletApp(Path(sys.argv[1]))
start(app)
took = time.perf_counter() - begun
count = sum(1 for name in SCREENS for one in app.views[name].walk())
print(took, count)
"""
BARE = """
import sys, time
begun = time.perf_counter()
from fieldapp.ui.environment import prepare
prepare(1280, 800)
from kivy.base import EventLoop, runTouchApp
from kivy.uix.button import Button
from kivy.uix.floatlayout import FloatLayout
EventLoop.ensure_window()
root = FloatLayout()
for n in range(int(sys.argv[1])):
    place = dict(size_hint=(None, None), size=(60, 40), pos=(n % 20 * 62, n // 20 % 18 * 42))
    root.add_widget(Button(text=str(n), **place))
runTouchApp(root, embedded=True)
for _ in range(3):
    EventLoop.idle()
print(time.perf_counter() - begun)
"""


def filled(folder: Path, count: int) -> None:
    """A notebook with a context and so many dockets."""
    with opened(folder) as book:
        book.save("context", CONTEXT, {"number": "1042", "type": "pit_fill", "state": "open"}, {}, {"name": "Ana"})
        book.save("bag", "00000000-0000-0000-0000-000000000007", {"label": "HLG26 B0-0", "context": CONTEXT}, {}, {})
        book.set_setting("place", {"person": {"person": "", "name": "Ana", "role": "recorder"}, "context": CONTEXT})
        made = changes(count, 3)
        for at in range(0, len(made), 2000):
            book.pull(made[at : at + 2000])


def process(code: str, argument: str) -> list[float]:
    """What a fresh process prints."""
    done = subprocess.run([sys.executable, "-c", code, argument], capture_output=True, text=True, check=True)
    return [float(one) for one in done.stdout.split()]


def start_up(folder: Path) -> None:
    """From the start to the first screen, against an empty app with as many widgets, in turns."""
    ours, anchor = [], []
    for _ in range(3):
        took, count = process(APP, str(folder))
        ours.append(took)
        anchor += process(BARE, f"{count:.0f}")
    ratio = statistics.median(ours) / statistics.median(anchor)
    print(
        f"start to first screen   {statistics.median(ours):6.2f} s   x{ratio:.2f} of {count:.0f} bare widgets (aim 2)"
    )


def timed(hand: Any, action: Any, until: Any) -> float:
    """Seconds from an action to the frame in which something is so."""
    begun = time.perf_counter()
    action()
    while not until():
        hand.frames(1)
    hand.frames(1)
    return time.perf_counter() - begun


def main() -> None:
    """Measures and prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=20000)
    args = parser.parse_args()
    folder = Path(tempfile.mkdtemp())
    filled(folder / "full", args.records)
    with opened(folder / "empty"):
        pass
    start_up(folder / "empty")
    from fieldapp.ui.environment import prepare

    prepare(1280, 800)
    from kivy.clock import Clock

    from fieldapp.ui.app import TabletApp
    from server.demo.touch import Hand, start, stop

    Clock._max_fps = 0
    ticks = itertools.count()
    app = TabletApp(folder / "full", monotonic=lambda: float(next(ticks)))
    app.notebook.load()
    start(app)
    hand = Hand()
    view, shell = app.views["find"], app.shell
    shell.show("more")
    hand.frames(3)
    took = timed(hand, lambda: shell.show("find"), lambda: len(view._found) == args.records)
    print(f"open {args.records:,} records    {took:6.2f} s   (aim 1)")
    filters = []
    for action in (
        lambda: shell.finding.choose("taxon", "pig"),
        lambda: shell.finding.clear(),
        lambda: shell.finding.text.press("B19"),
        lambda: shell.finding.clear(),
        lambda: shell.finding.toggle("raised"),
        lambda: shell.finding.clear(),
    ):
        filters.append(timed(hand, lambda action=action: (action(), shell.heard()), lambda: True))
    print(f"filter                  {1000 * max(filters):6.0f} ms  slowest of {len(filters)} (aim 300)")
    frames = []
    for n in range(400):
        if n % 3 == 0:
            view.ids.lines.page(1)
        else:
            view.ids.lines.scroll_y = (n * 37 % 200) / 200
        begun = time.perf_counter()
        hand.frames(1)
        frames.append(time.perf_counter() - begun)
    print(f"frame while it moves    {1000 * statistics.quantiles(frames, n=20)[-1]:6.1f} ms  p95 (aim 33)")
    stop(app)


if __name__ == "__main__":
    main()
