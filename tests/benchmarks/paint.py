"""From a tap to the painted frame, against a bare screen of 24 toggle buttons, in one run.

    xvfb-run -a python -m tests.benchmarks.paint [--dockets 10]

Aim: 95 of 100 taps of recording a docket painted within 50 ms. Needs a display; timed with software drawing it tells
little of a tablet, so the ratio to the bare screen stands beside it.
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

DOCKET = (
    "material.bone", "human.no_sign", "element.tibia", "taxon.sheep_goat", "side.right", "plate.distal_medial",
    "plate.distal_lateral", "plate.distal_metaphysis", "portion.rest_absent", "fusion.distal.fused",
)  # fmt: skip


def timed(hand: Any, points: Iterable[Callable[[], tuple[float, float]]], on_press: bool = False) -> list[float]:
    """Seconds from the half of a tap that acts (letting go; of a toggle the press) to the painted frame."""
    from server.demo.touch import FingerTouch

    took = []
    for point in points:
        touch = FingerTouch(*point())
        for half in (hand.down, hand.up):
            begun = time.perf_counter()
            half(touch)
            hand.frames(1)
            if (half == hand.down) is on_press:
                took.append(time.perf_counter() - begun)
        hand.frames(1)
    return took


def bare(hand: Any, taps: int) -> list[float]:
    """The same on a window with nothing but 24 toggle buttons, which then goes again."""
    from kivy.core.window import Window
    from kivy.uix.gridlayout import GridLayout
    from kivy.uix.togglebutton import ToggleButton

    grid = GridLayout(cols=6)
    for n in range(24):
        grid.add_widget(ToggleButton(text=str(n)))
    others = Window.children[:]
    for one in others:
        Window.remove_widget(one)
    Window.add_widget(grid)
    hand.frames(3)
    buttons = itertools.islice(itertools.cycle(grid.children), taps)
    took = timed(hand, [lambda one=one: one.to_window(*one.center) for one in buttons], on_press=True)
    Window.remove_widget(grid)
    for one in reversed(others):
        Window.add_widget(one)
    hand.frames(3)
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--dockets", type=int, default=10)
    args = parser.parse_args()
    from fieldapp.ui.environment import prepare

    prepare(1280, 800)
    from kivy.clock import Clock

    from fieldapp.ui.app import TabletApp
    from server.demo.touch import Hand, start, stop

    Clock._max_fps = 0
    ticks = itertools.count()
    app = TabletApp(Path(tempfile.mkdtemp()) / "notebook", monotonic=lambda: float(next(ticks)))
    start(app)
    hand = Hand()
    for ident in ("setup.alone", "entry.site", *(f"key.{one}" for one in "HLG26"), "entry.letter", "key.A", "setup.go"):
        if ident == "key.2" and not hand.sees(ident):
            hand.press("key.page")
        hand.press(ident)
    hand.press("people.new")
    hand.type("Wren")
    for ident in ("people.add", "contexts.new", "key.1", "key.0", "type.fill", "grave.no", "contexts.make"):
        hand.press(ident)
    hand.press("bag.new")
    hand.press("recovery.hand.0")
    ours: list[float] = []
    anchor: list[float] = []
    for _ in range(args.dockets):
        hand.press("docket.new")
        ours += timed(hand, [lambda ident=ident: hand.find(ident) for ident in DOCKET])
        hand.press("action.save")
        anchor += bare(hand, len(DOCKET))
    stop(app)
    for name, took in (("24 toggle buttons", anchor), ("recording a docket", ours)):
        cuts = statistics.quantiles(took, n=20)
        ratio = statistics.median(took) / statistics.median(anchor)
        print(f"{name:20} median {1000 * statistics.median(took):5.1f} ms  p95 {1000 * cuts[-1]:5.1f} ms  x{ratio:.2f}")


if __name__ == "__main__":
    main()
