"""`bonedocket tablet`: the touch app over a notebook folder. Kivy is imported last, and never sees the arguments."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "record on the touch screen"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument(
        "--data", type=Path, required=True, metavar="DIR", help="the notebook's folder, made if missing"
    )
    parser.add_argument(
        "--ppi", type=float, default=None, metavar="N", help="the panel's pixels per inch (default: 189)"
    )
    parser.add_argument("--size", type=_size, default=(1280, 800), metavar="WxH", help="window size in pixels")
    parser.add_argument("--stage", choices=("trench", "scan", "analysis"), default="trench", help="stage of the work")


def run(args: argparse.Namespace) -> int:
    """Runs the app until its window is closed. Raises CommandError if the notebook cannot be opened."""
    from fieldapp.cli import CommandError
    from fieldapp.store.errors import StoreError
    from fieldapp.ui.environment import prepare

    prepare(*args.size)
    from fieldapp.ui.app import TabletApp
    from fieldapp.ui.theme import DESKTOP_PPI

    try:
        app = TabletApp(args.data, ppi=args.ppi or DESKTOP_PPI, stage=args.stage)
    except StoreError as error:
        raise CommandError(str(error)) from error
    app.run()
    return 0


def _size(text: str) -> tuple[int, int]:
    wide, _, high = text.lower().partition("x")
    if not (wide.isdigit() and high.isdigit() and int(wide) > 0 and int(high) > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a size such as 1280x800")
    return int(wide), int(high)
