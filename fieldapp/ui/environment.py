"""What kivy is told before it is first imported: it reads the environment and its settings only then.

No writing outside a folder of its own, no eating of arguments, no red dots, no settings panel, no leaving on Esc.
"""

from __future__ import annotations

import atexit
import logging
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path


def prepare(width: int, height: int, home: Path | None = None) -> None:
    """Call before anything imports kivy. `home`: a folder kivy may write in; by default one that goes at the end."""
    if home is None:
        home = Path(tempfile.mkdtemp(prefix="bonedocket-"))
        atexit.register(lambda: shutil.rmtree(home, ignore_errors=True))
    os.environ.update(
        KIVY_NO_ARGS="1",
        KIVY_NO_FILELOG="1",
        KIVY_NO_ENV_CONFIG="1",
        KIVY_USE_DEFAULTCONFIG="1",
        KIVY_HOME=str(home),
        # A density of one: sizes are worked out from the panel's own pixels per inch.
        KIVY_METRICS_DENSITY="1",
        KIVY_METRICS_FONTSCALE="1",
        KIVY_DPI="96",
    )
    # Through Python's own logging: kivy would else take standard error away, and tracebacks with it.
    os.environ["KIVY_LOG_MODE"] = "PYTHON"
    logging.getLogger("kivy").setLevel(logging.ERROR)
    from kivy.config import Config

    Config.set("kivy", "exit_on_escape", "0")
    Config.set("kivy", "pause_on_minimize", "0")
    Config.set("graphics", "width", str(width))
    Config.set("graphics", "height", str(height))
    Config.set("graphics", "resizable", "1")
    Config.set("graphics", "multisamples", "0")
    Config.set("input", "mouse", "mouse,disable_multitouch")
    with suppress(Exception):
        Config.remove_option("input", "%(name)s")
