"""A tablet for the tests: with a window (`tablet`), or only its presenters over a notebook (`desk`)."""

from __future__ import annotations

import itertools
import re
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fieldapp.ui.environment import prepare

prepare(1280, 800)

from fieldapp import assets  # noqa: E402
from fieldapp.domain import ids  # noqa: E402
from fieldapp.store.notebook import Edit, Notebook  # noqa: E402
from fieldapp.sync.finding import Seen  # noqa: E402
from fieldapp.ui.presenters.cabin import Exchange  # noqa: E402
from fieldapp.ui.presenters.desk import Desk  # noqa: E402
from fieldapp.ui.theme import theme  # noqa: E402

CODE = "HLG26"


class Clock:
    """A time that moves on by a second at each look."""

    def __init__(self) -> None:
        self.now = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def id_maker() -> Callable[[], str]:
    """Random-looking ids, the same in each run."""
    count = itertools.count()
    return lambda: str(uuid.UUID(int=next(count) + (1 << 90), version=4))


class FakeCabin:
    """Stands in for the exchange: answers what it is told to."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.trouble = ""
        self.answer = Exchange(sent=3, received=2)
        self.steps = 2
        self.codes: list[tuple[str, str]] = []
        self.seen: list[Seen] = []
        self.keys: list[tuple[str, str, str]] = []

    def look(self) -> list[Seen]:
        return self.seen

    def new_life(self) -> str:
        if not self.trouble:
            self.desk.notebook.new_life("F")
        return self.trouble

    def enrol(self, addresses: Sequence[str], code: str) -> str:
        address = " ".join(addresses)
        self.codes.append((address, code))
        if not self.trouble:
            self.desk.notebook.identify(site=ids.site_id(CODE), code=CODE, letter="B")
            self.desk.notebook.set_setting("cabin", {"address": address, "fingerprint": "f", "seal_key": ""})
        return self.trouble

    def move(self, address: str) -> str:
        if not self.trouble:
            self.desk.notebook.set_setting("cabin", {**self.desk.cabin, "address": address})
        return self.trouble

    def fetch_key(self, person: str, role: str, password: str) -> str:
        self.keys.append((person, role, password))
        return self.trouble

    def exchange(self, progress: Any, cancelled: Callable[[], bool]) -> Exchange:
        for step in range(self.steps):
            progress(step + 1, 0)
            if cancelled():
                return Exchange(sent=step + 1, cancelled=True)
        return self.answer


@pytest.fixture
def notebook(tmp_path: Path) -> Iterator[Notebook]:
    """A notebook that knows its site and letter."""
    with Notebook.open(tmp_path / "notebook", Clock(), id_maker()) as found:
        found.identify(site=ids.site_id(CODE), code=CODE, letter="B")
        yield found


@pytest.fixture
def desk(notebook: Notebook) -> Desk:
    """A desk in context 1042, a pit fill, with a bag of hand-collected bones, and a recorder."""
    found = Desk(notebook, assets.knowledge())
    found.go(person=found.make_person("Ana"))
    context = found.make_context("1042", "pit_fill", "no")
    found.go(context=context, bag=found.make_bag(context, "hand"))
    return found


def save_as_other(desk: Desk, kind: str, record: str, values: dict[str, Any], over: dict[str, Any]) -> None:
    """Brings in a change that another tablet made, as a pull does."""
    with Notebook.open(
        desk.notebook.folder.parent / f"other-{uuid.uuid4()}", Clock(), lambda: str(uuid.uuid4())
    ) as other:
        other.identify(site=desk.site, code=desk.code, letter="C")
        by = {"person": "", "name": "Ben", "role": "zooarchaeologist"}
        changes = other.save_many([Edit(kind, record, values, over)], by)
    desk.notebook.pull(changes)
    desk.refresh()


_TURN = re.compile(r"^(view\.more|key\.turn)$|\.page\.\d+$")


@dataclass
class Tablet:
    """A running app, a hand before it, and its notebook's folder."""

    app: Any
    hand: Any
    folder: Path

    @property
    def shell(self) -> Any:
        """The app's shell, to look at."""
        return self.app.shell

    @property
    def screen(self) -> str:
        """The screen shown."""
        return str(self.app.shell.screen)

    def press(self, *idents: str) -> None:
        """Taps one after the other."""
        for ident in idents:
            # A narrow screen shows in pages what a wide one shows at once.
            for _ in range(6):
                turn = next((one for one in self.hand.idents() if _TURN.search(one)), "")
                if self.hand.sees(ident) or not turn:
                    break
                self.hand.press(turn)
            self.hand.press(ident)

    def leave(self) -> None:
        """Leaves the open form or card, whatever was entered in it."""
        self.press("card.leave" if self.screen == "card" else "action.leave")
        if self.screen == "leave":
            self.press("leave.drop")

    def begin(self, number: str = "1042", kind: str = "pit_fill", grave: str = "no") -> None:
        """From the first start to a context with a bag."""
        self.press("setup.alone", "key.H", "key.L", "key.G", "entry.letter", "key.B", "setup.go")
        self.press("people.new", "key.A", "key.N", "key.A", "people.add")
        self.press("contexts.new", *(f"key.{one}" for one in number), f"type.{kind}", f"grave.{grave}", "contexts.make")
        self.press("bag.new", "recovery.hand.0")


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Tablet]]:
    """Starts tablets, each over a folder; all are stopped at the end."""
    from fieldapp.ui.app import TabletApp
    from server.demo import touch

    touch.unwatched()
    running: list[Tablet] = []

    def begin(folder: Path | None = None, **options: Any) -> Tablet:
        for one in running:
            touch.stop(one.app)
        running.clear()
        ticks = itertools.count()
        seconds = {"now": 0.0}

        def tick() -> None:
            seconds["now"] = float(next(ticks))

        options.setdefault("cabin", FakeCabin)
        size = options.pop("size", (1280, 800))
        kept = options.pop("manner", None)
        app = TabletApp(
            folder or tmp_path / "tablet",
            Clock(),
            monotonic=lambda: seconds["now"],
            new_id=lambda: str(uuid.uuid4()),
            **options,
        )
        if kept is not None:
            app.notebook.set_setting("manner", asdict(kept))
        touch.start(app, size)
        running.append(Tablet(app, touch.Hand(before_tap=tick), folder or tmp_path / "tablet"))
        return running[0]

    yield begin
    for one in running:
        touch.stop(one.app)
    theme.wear()
    assets.speak("en")


@pytest.fixture
def tablet(start: Callable[..., Tablet]) -> Tablet:
    """A tablet at its first start."""
    return start()
