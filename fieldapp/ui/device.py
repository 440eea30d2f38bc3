"""The tablet's body: battery, room on its storage, a buzz and a click when something is saved.

Asked of the system where it tells; None where it does not. Never in the way: whatever fails here is passed over.
"""

from __future__ import annotations

import math
import shutil
import struct
import tempfile
import wave
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from kivy.clock import Clock
from kivy.utils import platform

POWER = Path("/sys/class/power_supply")
RATE = 22_050


class Device:
    """The machine that the app runs on. `folder`: where the notebook lies."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._click: Any = None
        self._silent = False

    def battery(self) -> tuple[int, bool] | None:
        """(percent, whether it is being charged), None where the system does not tell."""
        with suppress(Exception):
            if platform == "android":
                from plyer import battery

                found = battery.status
                return round(found["percentage"]), bool(found["isCharging"])
            for one in sorted(POWER.glob("*/capacity")):
                state = (one.parent / "status").read_text(encoding="ascii").strip()
                return int(one.read_text(encoding="ascii")), state in ("Charging", "Full")
        return None

    def free_bytes(self) -> int | None:
        """Room left where the notebook lies."""
        with suppress(OSError):
            return shutil.disk_usage(self.folder).free
        return None

    def saved(self, sound: bool, buzz: bool) -> None:
        """Something is on disk: a click that is heard, a buzz that is felt through a glove."""
        if buzz and platform == "android":
            with suppress(Exception):
                from plyer import vibrator

                vibrator.vibrate(0.08)
        if sound and not self._silent:
            try:
                self._sound().play()
            except Exception:
                self._silent = True  # no loudspeaker, or none for us: not asked again

    def picture_folders(self) -> list[Path]:
        """Where the system keeps pictures."""
        with suppress(Exception):
            if platform == "android":
                from plyer import storagepath

                return [Path(storagepath.get_pictures_dir()), Path(storagepath.get_dcim_dir()) / "Camera"]
        return [Path.home() / "Pictures"]

    def camera(self) -> Callable[[Callable[[Path], None]], None] | None:
        """Takes a picture with the system's camera and tells where it is; None where there is no camera to ask."""
        if platform != "android":
            return None

        def take(taken: Callable[[Path], None]) -> None:
            from plyer import camera

            path = self.folder / "photos-in" / "taken.jpg"
            path.parent.mkdir(parents=True, exist_ok=True)
            # On another thread when the camera closes; the screens are told on their own.
            camera.take_picture(str(path), lambda made: Clock.schedule_once(lambda _: taken(Path(made))))

        return take

    def shared_folder(self) -> Path | None:
        """Where other programs and a stick's copying reach files; None for a machine with folders of its own."""
        if platform == "android":
            with suppress(Exception):
                from plyer import storagepath

                return Path(storagepath.get_downloads_dir()) / "bonedocket"
        return None

    def chooser(self) -> Callable[[Callable[[str], None]], None] | None:
        """Lets a file be chosen in the system's window and tells its path; None where one is typed."""
        if platform != "android":
            return None
        try:
            from plyer import filechooser
        except ImportError:
            return None

        def choose(chosen: Callable[[str], None]) -> None:
            # On another thread, and with an empty list where nothing was chosen.
            filechooser.open_file(on_selection=lambda paths: chosen(str(paths[0])) if paths else None)

        return choose

    def _sound(self) -> Any:
        if self._click is None:
            from kivy.core.audio import SoundLoader

            path = Path(tempfile.gettempdir()) / "bonedocket-saved.wav"
            write_click(path)
            self._click = SoundLoader.load(str(path))
        return self._click


def write_click(path: Path) -> None:
    """Two short notes, the second higher, as a WAV file."""
    samples = []
    for pitch in (660.0, 990.0):
        for n in range(int(RATE * 0.07)):
            fade = 1 - n / (RATE * 0.07)
            samples.append(int(12_000 * fade * math.sin(2 * math.pi * pitch * n / RATE)))
    with wave.open(str(path), "wb") as made:
        made.setnchannels(1)
        made.setsampwidth(2)
        made.setframerate(RATE)
        made.writeframes(struct.pack(f"<{len(samples)}h", *samples))


def size_words(free: int) -> str:
    """Bytes in a few characters: "12 GB"."""
    return f"{free / 1e9:.0f} GB" if free >= 1e9 else f"{free / 1e6:.0f} MB"
