"""Plays steps on the real tablet app, in a process of its own: `python -m server.demo.playing --data DIR …`.

Steps come as JSON on standard input. A step is a list: its verb, then its words.

    press IDENT        tap what has this ident, at its place in the window
    press_text P TEXT  tap what has an ident beginning with P and shows TEXT
    type TEXT          type on a keyboard
    wait IDENT         until this can be pressed
    picture NAME       a picture of the window, NAME.png

Everything goes through real touches at window coordinates (server.demo.touch). What was done comes back as one JSON
object on standard output. Not a test and not a stand-in: presenters, records and the notebook are the app's own.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
from pathlib import Path
from typing import Any

PATIENCE = 60.0
"""Seconds for what may take a while: enrolling, syncing."""


def play(hand: Any, steps: list[list[str]], out: Path) -> list[str]:
    """Does the steps and returns the pictures' names. Raises NotOnScreen, with what was there instead."""
    pictures = []
    for verb, *words in steps:
        if verb == "press":
            hand.press(words[0])
        elif verb == "press_text":
            hand.tap(*_showing(hand, words[0], words[1]))
        elif verb == "type":
            hand.type(words[0])
        elif verb == "wait":
            hand.until(lambda ident=words[0]: hand.sees(ident), PATIENCE)
        elif verb == "picture":
            pictures.append(hand.picture(out / f"{words[0]}.png").name)
        else:
            raise ValueError(f"no such step: {verb}")
    return pictures


def _showing(hand: Any, prefix: str, text: str) -> tuple[float, float]:
    for ident, widget, point in hand.things():
        if ident.startswith(prefix) and text in getattr(widget, "text", ""):
            found: tuple[float, float] = point
            return found
    raise LookupError(f"nothing that begins with {prefix!r} shows {text!r}; there are: {', '.join(hand.idents())}")


def main() -> int:
    """Reads the steps, runs the app over the notebook, plays, closes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--pace", type=float, default=0.0, help="seconds after each tap, for people who watch")
    args = parser.parse_args()
    steps = json.load(sys.stdin)

    # Kivy reads its settings when it is first imported.
    from fieldapp.ui.environment import prepare

    prepare(1280, 800)
    from fieldapp.ui.app import TabletApp
    from server.demo.touch import Hand, start, stop, unwatched

    # The app drops a second tap that comes too soon after the first, as from a bouncing finger; this hand does not
    # bounce, so its clock runs ahead.
    ticks = itertools.count()
    app = TabletApp(args.data, monotonic=lambda: next(ticks) * 1.0)
    if not args.pace:
        unwatched()
    start(app)
    hand = Hand(pace=args.pace)
    try:
        pictures = play(hand, steps, args.out)
    finally:
        stop(app)
    print(json.dumps({"taps": hand.taps, "pictures": pictures}))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
