"""What a plate costs: reading its file, drawing it first, drawing it again with one portion in another state.

    xvfb-run -a python -m tests.benchmarks.plates

Aim: a plate drawn, and a portion recoloured, within a frame of 16 ms, a skeleton within two. As a
ratio: against a frame that draws one rectangle anew on the same screen, and for reading against ElementTree parsing
the same text.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from xml.etree import ElementTree

from fieldapp import assets
from fieldapp.domain.plates import STATES, read_plate

FRAME_MS = 16.0


def took(action: Callable[[], object]) -> float:
    """Milliseconds."""
    begun = time.perf_counter()
    action()
    return 1000 * (time.perf_counter() - begun)


def line(name: str, found: list[float], anchor: float | None = None) -> None:
    found = sorted(found)
    p95 = found[int(0.95 * (len(found) - 1))]
    ratio = f"  x{statistics.median(found) / anchor:.2f}" if anchor else ""
    print(f"{name:34} median {statistics.median(found):6.2f} ms  p95 {p95:6.2f}  most {found[-1]:6.2f}{ratio}")


def main() -> None:
    from fieldapp.ui.environment import prepare

    prepare(1280, 800)
    from kivy.base import EventLoop
    from kivy.clock import Clock
    from kivy.core.window import Window
    from kivy.graphics import Color, Rectangle
    from kivy.uix.widget import Widget

    from fieldapp.ui.theme import theme
    from fieldapp.ui.widgets.plate import PlateView
    from fieldapp.ui.widgets.skeleton import SkeletonView

    Clock._max_fps = 0
    rows = list(assets.knowledge().gallery.rows())
    texts = {row.key: assets.plate_svg(row.form, row.element, row.view) for row in rows}
    parse = [took(lambda text=text: ElementTree.fromstring(text)) for text in texts.values()]
    line("reading, ElementTree alone", parse)
    line("reading a plate", [took(lambda t=text: read_plate(t)) for text in texts.values()], statistics.median(parse))

    EventLoop.ensure_window()
    bare = Widget(size=(400, 700))
    with bare.canvas:
        Color(1, 1, 1)
        Rectangle(pos=(20, 20), size=(300, 600))
    view = PlateView(size=(theme.mm(53), theme.mm(95)))
    names = list(STATES)

    def frame() -> None:
        EventLoop.idle()

    Window.add_widget(bare)
    frame()
    anchor = []
    for _ in range(60):
        bare.canvas.ask_update()
        anchor.append(took(frame))
    Window.remove_widget(bare)
    Window.add_widget(view)
    first: list[float] = []
    again: list[float] = []
    orders: list[float] = []
    for row in rows:
        plate = assets.plate(row.form, row.element, row.view)
        states = {key: names[at % 4] for at, key in enumerate(plate.portions)}

        def show(states: dict[str, str], plate: object = plate) -> None:
            view.show(plate, states)
            frame()

        first.append(took(lambda states=states: show(states)))
        for key in list(plate.portions)[:3]:
            states = {**states, key: names[(names.index(states[key]) + 1) % 4]}
            again.append(took(lambda states=states: show(states)))
        orders.append(took(view._draw))
    Window.remove_widget(view)
    body = SkeletonView(size=(theme.mm(84), theme.mm(95)))
    Window.add_widget(body)
    maps: list[float] = []
    for form in assets.MAPS:
        whole = assets.skeleton(form)
        for region in (None, *whole.regions()):
            for number in (0, 1, 5, 20):
                numbers = dict.fromkeys(whole.elements(), number)
                begun = time.perf_counter()
                body.show(whole, region, numbers)
                frame()
                maps.append(1000 * (time.perf_counter() - begun))
    line("a frame with one rectangle", anchor)
    line("drawing orders of a plate, no frame", orders, statistics.median(anchor))
    line("a plate shown first, with its frame", first, statistics.median(anchor))
    line("a portion recoloured, with its frame", again, statistics.median(anchor))
    line("a skeleton or region, with its frame", maps, statistics.median(anchor))
    over = sum(one > FRAME_MS for one in again)
    print(f"{len(rows)} plates; recoloured within {FRAME_MS:g} ms: {1 - over / len(again):.1%}")


if __name__ == "__main__":
    main()
