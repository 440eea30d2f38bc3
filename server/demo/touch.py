"""A hand for the tablet's screen: finds what can be pressed by its ident and presses it with real touch events.

Knows nothing of presenters or records; it sees the window's widgets and sends input into kivy's own dispatch, so a
test or demonstration that uses it goes the way a finger goes. The app must be running in this process (`start`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from kivy.base import EventLoop, runTouchApp, stopTouchApp
from kivy.clock import Clock
from kivy.core.window import Window
from kivy.graphics.opengl import glViewport
from kivy.input.motionevent import MotionEvent

LETTERS = {"back": 27, "enter": 13, "backspace": 8}


class NotOnScreen(LookupError):
    """Nothing with that ident can be pressed now. `there`: the idents that can."""

    def __init__(self, ident: str, there: list[str]) -> None:
        super().__init__(f"{ident!r} is not on the screen; there are: {', '.join(there)}")
        self.ident = ident
        self.there = there


class FingerTouch(MotionEvent):  # type: ignore[misc]  # kivy has no types
    """One contact of a finger, in window pixels."""

    def __init__(self, x: float, y: float) -> None:
        super().__init__(
            "finger",
            id(self),
            {"x": x / max(1, Window.width - 1), "y": y / max(1, Window.height - 1)},
            is_touch=True,
            type_id="touch",
        )

    def depack(self, args: Any) -> None:
        self.sx, self.sy = args["x"], args["y"]
        self.profile = ["pos"]
        super().depack(args)


class Hand:
    """Presses, types and looks. `taps` counts the presses.

    before_tap  called before each press: to move an injected clock on
    pace        seconds to wait after each press, for people who watch
    """

    def __init__(self, before_tap: Callable[[], None] | None = None, pace: float = 0.0) -> None:
        self.before_tap = before_tap or (lambda: None)
        self.pace = pace
        self.taps = 0

    # -- seeing --

    def things(self) -> Iterator[tuple[str, Any, tuple[float, float]]]:
        """(ident, widget, window point) of everything that can be pressed and lies within the window."""
        for child in Window.children:
            for widget in child.walk(restrict=True):
                spots = getattr(widget, "spots", None)
                if spots is not None:
                    for ident, point in spots().items():
                        yield ident, widget, widget.to_window(*point)
                    continue
                ident = getattr(widget, "ident", "")
                if not ident or not getattr(widget, "enabled", True) or not _shown(widget):
                    continue
                x, y = widget.to_window(*widget.center)
                if 0 <= x < Window.width and 0 <= y < Window.height:
                    yield ident, widget, (x, y)

    def idents(self) -> list[str]:
        """The idents of everything that can be pressed now."""
        return [ident for ident, _, _ in self.things()]

    def find(self, ident: str) -> tuple[float, float]:
        """The window point at which to press `ident`. Raises NotOnScreen."""
        for one, _, point in self.things():
            if one == ident:
                return point
        raise NotOnScreen(ident, self.idents())

    def sees(self, ident: str) -> bool:
        """Whether `ident` can be pressed now."""
        return ident in self.idents()

    def widget(self, ident: str) -> Any:
        """The widget of `ident`, to look at. Raises NotOnScreen."""
        for one, widget, _ in self.things():
            if one == ident:
                return widget
        raise NotOnScreen(ident, self.idents())

    def picture(self, path: Path | str) -> Path:
        """Writes a picture of the window to exactly `path` (.png)."""
        wanted = Path(path)
        self.frames(2)
        Window.canvas.ask_update()
        # In full, whatever `unwatched` has said.
        glViewport(0, 0, Window.width, Window.height)
        type(Window).on_draw(Window)
        # Kivy puts a number into the name it is given, and says which.
        made = Window.screenshot(name=str(wanted))
        Path(made).replace(wanted)
        return wanted

    # -- doing --

    def tap(self, x: float, y: float) -> None:
        """Presses and lets go at a window point, and lets the screen follow."""
        self.before_tap()
        self.taps += 1
        touch = FingerTouch(x, y)
        self.down(touch)
        self.frames(1)
        self.up(touch)
        self.frames(2)
        if self.pace:
            self.wait(self.pace)

    def press(self, ident: str) -> None:
        """Finds `ident` and taps it. Raises NotOnScreen."""
        self.tap(*self.find(ident))

    def down(self, touch: FingerTouch) -> None:
        """A contact begins."""
        EventLoop.post_dispatch_input("begin", touch)

    def up(self, touch: FingerTouch) -> None:
        """A contact ends."""
        EventLoop.post_dispatch_input("end", touch)

    def type(self, text: str) -> None:
        """Types on a keyboard, into what has the focus."""
        for one in text:
            Window.dispatch("on_textinput", one)
            self.frames(1)

    def key(self, name: str) -> None:
        """Presses `back`, `enter` or `backspace`."""
        code = LETTERS[name]
        if not Window.dispatch("on_key_down", code, 0, "", []):
            Window.dispatch("on_keyboard", code, 0, "", [])
        self.frames(2)

    # -- time --

    def frames(self, count: int = 1) -> None:
        """Lets the app draw `count` frames."""
        for _ in range(count):
            EventLoop.idle()

    def wait(self, seconds: float) -> None:
        """Lets the app run for a while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            EventLoop.idle()

    def until(self, is_so: Callable[[], bool], seconds: float = 10.0) -> None:
        """Lets the app run until something is so. Raises TimeoutError."""
        end = time.monotonic() + seconds
        while not is_so():
            if time.monotonic() > end:
                raise TimeoutError(f"it was not so within {seconds:g} s")
            EventLoop.idle()


def _shown(widget: Any) -> bool:
    at = widget
    while at is not None and at is not at.parent:
        if at.opacity == 0:
            return False
        at = at.parent
    return True


def unwatched() -> None:
    """Nobody looks at this process's window: no waiting for its next frame, and each is drawn onto a single pixel.

    Filling a window without a graphics card takes longer than all the rest. A picture is drawn in full all the same.
    """
    Clock._max_fps = 0
    Window.on_draw = _onto_a_pixel


def _onto_a_pixel() -> None:
    glViewport(0, 0, 1, 1)
    type(Window).on_draw(Window)


def start(app: Any, size: tuple[int, int] = (1280, 800)) -> None:
    """Starts an app in this thread without its own loop; `Hand.frames` drives it."""
    EventLoop.ensure_window()
    Window.size = size
    app._run_prepare()
    runTouchApp(embedded=True)
    for _ in range(3):
        EventLoop.idle()


def stop(app: Any) -> None:
    """Ends it, and clears the window for the next."""
    app.stop()
    stopTouchApp()
    for child in Window.children[:]:
        Window.remove_widget(child)
