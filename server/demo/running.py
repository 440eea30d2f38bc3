"""The demonstration from end to end: sets the invented site up, plays its days, reviews, prints, and sums up.

Everything is the real thing in processes of its own: the tablet app under a screen, the cabin over HTTPS on loopback.
The cabin is shut down while the tablets record, so that "offline" is no claim. Not here: what people tap (story).
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from demo_data.site import CODE, NAME, PEOPLE, ZONE, earlier_weeks, last_season
from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.domain.ids import context_id
from server import cabin as cabins
from server.config import Config
from server.demo import story
from server.demo.visiting import Visitor, camera
from server.keys import fingerprint_of
from server.ledger import Ledger

HOST = "127.0.0.1"
EARLIER = 36
"""Fragments that the earlier weeks recorded."""

Tell = Callable[[str], None]


@dataclass
class Login:
    """An account of the demonstration, with the random password it was given."""

    name: str
    role: str
    account: str
    password: str


@dataclass
class Stage:
    """Where it all happens.

    out     folder of the results; below it `cabin`, `tablet-A`, `tablet-B`, `screens`, `pages`, `sheets`
    screen  the environment of processes that draw
    pace    seconds after each tap
    """

    out: Path
    screen: Mapping[str, str]
    tell: Tell
    pace: float = 0.0
    port: int = 0
    logins: list[Login] = field(default_factory=list)
    taps: int = 0
    screens: list[str] = field(default_factory=list)
    pages: list[str] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)

    @property
    def config(self) -> Config:
        return Config(self.out / "cabin", host=HOST, port=self.port)

    @property
    def address(self) -> str:
        return f"https://{HOST}:{self.port}"

    def login(self, role: str) -> Login:
        """The account with a role."""
        return next(one for one in self.logins if one.role == role)


def run(stage: Stage) -> dict[str, Any]:
    """Plays everything and returns the summary, which is also written to `summary.json`."""
    for name in ("screens", "pages", "sheets"):
        (stage.out / name).mkdir(parents=True, exist_ok=True)
    stage.tell("setting the cabin up")
    set_up(stage)
    with running_cabin(stage):
        for letter, name in (("A", "Wren"), ("B", "Moss")):
            stage.tell(f"tablet {letter} enrols; {name} records")
            play(stage, letter, story.enrol(f"{HOST}:{stage.port}", new_code(stage, letter), name, letter))
    stage.tell("the cabin is shut down; both tablets record offline")
    play(stage, "A", story.wren_s_day())
    play(stage, "B", story.moss_s_day())
    with running_cabin(stage):
        stage.tell("in the evening both sync: A first, then B, which so gets what A recorded")
        for letter in "AB":
            play(stage, letter, story.only_sync())
    stage.tell("offline again, both look at the same bones without knowing of each other")
    play(stage, "A", story.wren_looks_again())
    play(stage, "B", story.moss_looks_too())
    with running_cabin(stage):
        stage.tell("both sync again: nothing is lost, and what they differ in shows")
        for letter in "BA":
            play(stage, letter, story.after(letter))
        before = counted(stage)
        stage.tell("the specialist reviews and settles one disagreement")
        review(stage)
        play(stage, "A", story.settled())
    stage.tell("printing the context bone sheets")
    print_sheets(stage)
    stage.tell("last season's washed bone is put in; the assemblage is counted, and a report drafted")
    add_last_season(stage)
    with running_cabin(stage):
        look_at_assemblage(stage)
    draft_report(stage)
    summary = sum_up(stage, before)
    (stage.out / "summary.json").write_text(json.dumps(summary, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return summary


def set_up(stage: Stage) -> None:
    """A new cabin with the site, its people, and what earlier weeks recorded."""
    config = stage.config
    cabins.set_up(config, code=CODE, name=NAME, zone=ZONE)
    with closing(cabins.Cabin(config)) as found:
        for name, role in PEOPLE:
            account, password = found.accounts.add(name, role)
            stage.logins.append(Login(name, role, account.id, password))
        changes = list(earlier_weeks(assets.knowledge(), EARLIER))
        found.ledger.accept([(change.id, change.body) for change in changes], changes[0].notebook)
        while found.ledger.check_due():
            pass


def new_code(stage: Stage, letter: str) -> str:
    """A one-use enrolment code, as `bonedocket cabin enrol` prints it."""
    with closing(cabins.Cabin(stage.config)) as found:
        made = found.devices.open_code(f"tablet {letter}")
        if made.letter != letter:
            raise CommandError(f"the cabin gave out the letter {made.letter}, the story needs {letter}")
        return made.text


@contextmanager
def running_cabin(stage: Stage) -> Iterator[None]:
    """The cabin as a process of its own, listening on loopback for the time of the `with`."""
    if not stage.port:
        stage.port = _free_port()
    command = [sys.executable, "-m", "fieldapp", "cabin", "--data", str(stage.config.data), "--host", HOST]
    log = (stage.out / "cabin.log").open("a", encoding="utf-8")
    process = subprocess.Popen([*command, "--port", str(stage.port)], stdout=log, stderr=subprocess.STDOUT)
    try:
        _wait_for(process, stage.port, stage.out / "cabin.log")
        yield
    finally:
        process.terminate()
        try:
            process.wait(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        log.close()


def _free_port() -> int:
    with socket.socket() as one:
        one.bind((HOST, 0))
        port: int = one.getsockname()[1]
        return port


def _wait_for(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        if process.poll() is not None:
            raise CommandError(f"the cabin ended by itself; its last words are in {log}")
        with socket.socket() as one:
            one.settimeout(0.5)
            if one.connect_ex((HOST, port)) == 0:
                return
        time.sleep(0.1)
    raise CommandError(f"the cabin did not answer within 30 s; see {log}")


def play(stage: Stage, letter: str, steps: story.Steps) -> None:
    """Runs one tablet's app through some steps. Raises CommandError with what the app said."""
    command = [sys.executable, "-m", "server.demo.playing", "--data", str(stage.out / f"tablet-{letter}")]
    done = subprocess.run(
        [*command, "--out", str(stage.out / "screens"), "--pace", str(stage.pace)],
        input=json.dumps(steps),
        env={**os.environ, **stage.screen},
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    if done.returncode:
        raise CommandError(f"tablet {letter} did not come to the end of its steps:\n{done.stderr.strip()[-2000:]}")
    told = json.loads(done.stdout.splitlines()[-1])
    stage.taps += told["taps"]
    stage.screens += told["pictures"]


def review(stage: Stage) -> None:
    """The zooarchaeologist settles what the tibia was; the osteologist looks at the hold. Pictures where possible."""
    photographer = camera(stage.out / "pages")
    if photographer is None:
        stage.tell("no Chromium with its driver and selenium here: the pages are used, but not photographed")

    def picture(path: str, name: str) -> None:
        if photographer is not None:
            stage.pages.append(photographer.picture(stage.address + path, name))

    visitors = []

    def visit(role: str) -> Visitor:
        visitor = Visitor(stage.address, fingerprint_of(stage.config.certificate))
        visitors.append(visitor)
        login = stage.login(role)
        visitor.sign_in(login.account, login.password)
        if photographer is not None:
            photographer.sees(visitor)
        return visitor

    try:
        picture("/review/sign-in", "01-sign-in")
        tansy = visit("zooarchaeologist")
        docket, place = _disputed(stage)
        picture("/review/today", "02-today")
        picture("/review/contexts", "03-contexts")
        picture(f"/review/context/{context_id(_site(stage), '1042')}", "04-context-1042")
        picture(f"/review/docket/{docket}", "05-docket")
        picture(place, "06-disagreement")
        taken = next(one for one in tansy.choices(place, "choice") if _says(stage, docket, one, "sheep"))
        tansy.send(place, place, choice=taken, reason="Distal end compared with reference skeletons: sheep, and fused.")
        picture(place, "07-settled")
        visit("human_osteologist")
        picture("/review/holds", "08-holds")
        picture(f"/review/hold/{_held(stage)}", "09-hold")
        visit("recorder")
        picture(f"/review/hold/{_held(stage)}", "10-hold-as-a-recorder-sees-it")
    finally:
        for visitor in visitors:
            visitor.close()
        if photographer is not None:
            photographer.close()


@contextmanager
def _ledger(stage: Stage) -> Iterator[Ledger]:
    with closing(Ledger.open(stage.config.ledger)) as ledger:
        yield ledger


def _site(stage: Stage) -> str:
    with _ledger(stage) as ledger:
        return ledger.names().site


def _disputed(stage: Stage) -> tuple[str, str]:
    """The tibia that is sheep or goat, and the address of the page about it."""
    with _ledger(stage) as ledger:
        one = next(one for one in ledger.disagreements("conflict") if one.label == story.label("A", 2))
    return one.record, f"/review/disagreement/{one.record}/{one.path}"


def _says(stage: Stage, docket: str, change: str, taxon: str) -> bool:
    """Whether a choice on the page is the version that reads the bone as `taxon`."""
    with _ledger(stage) as ledger:
        record = ledger.record(docket)
    value = record.heads["reading"].get(change) if record else None
    return isinstance(value, dict) and value.get("taxon") == taxon


def _held(stage: Stage) -> str:
    """The docket of the in-situ stop."""
    with _ledger(stage) as ledger:
        return next(one.docket for one in ledger.holds() if one.answer == "stop")


def counted(stage: Stage) -> dict[str, int]:
    """Disagreements and precision differences that are open now."""
    with _ledger(stage) as ledger:
        found = Counter(one.nature for one in ledger.disagreements())
    return {"conflict": found["conflict"], "precision": found["precision"], "deletion": found["deletion"]}


def print_sheets(stage: Stage) -> None:
    """Every context's sheet, by the command that a person would use."""
    command = [sys.executable, "-m", "fieldapp", "sheet", str(stage.config.data), "--out", str(stage.out / "sheets")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    if done.returncode:
        raise CommandError(f"the sheets were not printed: {done.stderr.strip()}")
    stage.sheets += [Path(line).name for line in done.stdout.splitlines()]


def add_last_season(stage: Stage) -> None:
    """Puts some hundred fragments of invented herds into the ledger, so that there is something to count."""
    changes = list(last_season(assets.knowledge()))
    with _ledger(stage) as ledger:
        ledger.accept([(change.id, change.body) for change in changes], changes[0].notebook)
        while ledger.check_due():
            pass


def look_at_assemblage(stage: Stage) -> None:
    """Pictures of some tables of the assemblage, where there is a browser."""
    photographer = camera(stage.out / "pages")
    if photographer is None:
        return
    visitor = Visitor(stage.address, fingerprint_of(stage.config.certificate))
    try:
        login = stage.login("zooarchaeologist")
        visitor.sign_in(login.account, login.password)
        photographer.sees(visitor)
        for path, name in _ASSEMBLAGE.items():
            stage.pages.append(photographer.picture(f"{stage.address}/review/analysis{path}", name))
    finally:
        visitor.close()
        photographer.close()


_ASSEMBLAGE = {
    "": "11-assemblage",
    "/counts/mau?ways=together": "12-skeletal-parts",
    "/ages/survival?by=phase&ways=together": "13-age-at-death",
    "/sizes/measurements?ways=together": "14-measurements",
}


def draft_report(stage: Stage) -> None:
    """The draft of a report, by the command that a person would use."""
    file = stage.out / "report.pdf"
    file.unlink(missing_ok=True)
    command = [sys.executable, "-m", "fieldapp", "report", "--data", str(stage.config.data), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    if done.returncode:
        raise CommandError(f"the report was not drafted: {done.stderr.strip()}")


def sum_up(stage: Stage, before: Mapping[str, int]) -> dict[str, Any]:
    """What came out, counted from the ledger and the folder."""
    after = counted(stage)
    with _ledger(stage) as ledger:
        while ledger.check_due():
            pass
        kinds = ("context", "bag", "docket", "group", "hold")
        records = {kind: len(ledger.records(kind)) for kind in kinds}
        holds = Counter(one.answer for one in ledger.holds())
        problems = Counter(one.level for one in ledger.problems())
        head, sound = ledger.names().head, ledger.rebuild_matches()
    return {
        "site": f"{CODE}, {NAME}",
        "records": records,
        "changes": head,
        "disagreements": {"open": after["conflict"], "settled": before["conflict"] - after["conflict"]},
        "precision_differences": after["precision"],
        "holds": dict(holds),
        "problems": {level: problems[level] for level in ("impossible", "check", "note")},
        "sheets": stage.sheets,
        "screens": stage.screens,
        "pages": stage.pages,
        "taps": stage.taps,
        "ledger_folds_to_what_it_holds": sound,
    }
