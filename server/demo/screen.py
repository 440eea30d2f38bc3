"""A screen to draw on where there is none: Xvfb for the time of a `with`. Not a window manager, not a recorder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from fieldapp.cli import CommandError


def has_display() -> bool:
    """Whether a window can be opened here."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


@contextmanager
def virtual_screen(width: int, height: int) -> Iterator[dict[str, str]]:
    """The environment of a process that draws on a screen of its own, in software."""
    program = shutil.which("Xvfb")
    if program is None:
        if has_display():
            # Windows and macOS have no Xvfb; a real window does as well.
            yield dict(os.environ)
            return
        raise CommandError(
            "there is no display, and Xvfb, which stands in for one, is not installed. "
            "On Debian: sudo apt-get install xvfb libgl1 libgl1-mesa-dri"
        )
    reader, writer = os.pipe()
    server = subprocess.Popen(
        [program, "-displayfd", str(writer), "-screen", "0", f"{width}x{height}x24", "-nolisten", "tcp", "-ac"],
        pass_fds=[writer],
        stderr=subprocess.DEVNULL,
    )
    os.close(writer)
    try:
        with os.fdopen(reader) as answer:
            number = answer.readline().strip()
        if not number:
            raise CommandError("Xvfb did not start; is its package whole? On Debian: sudo apt-get install xvfb")
        yield {**os.environ, "DISPLAY": f":{number}", "LIBGL_ALWAYS_SOFTWARE": "1"}
    finally:
        server.terminate()
        server.wait(timeout=10)
