"""A cabin as the pages meet it: two tablets that agree and do not, holds, gaps and twins; everything invented."""

from __future__ import annotations

import re
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldapp.assets import knowledge
from fieldapp.domain.labels import Label
from fieldapp.domain.readings import blank_reading
from fieldapp.records import sealing
from fieldapp.records.fold import Record
from server.cabin import Cabin, set_up
from server.config import Config, settings_text
from server.ledger.accounts import Account
from server.ledger.place import schema_for
from server.serving import Serving
from tests.server.apps import QUICK, opened
from tests.server.tablets import CODE, Tablet, an_id, context_id, hold_of

BASE = "https://localhost"
PLACE = "4.20 m east of the north-west peg, 0.31 m down"
PEOPLE = {
    "recorder": "Wren",
    "supervisor": "Bryony",
    "zooarchaeologist": "Tansy",
    "human_osteologist": "Oswin",
    "director": "Linnet",
    "administrator": "Sorrel",
}


@dataclass
class Scene:
    """The cabin's app, its people's accounts and passwords, and two tablets."""

    app: Flask
    cabin: Cabin
    accounts: dict[str, tuple[Account, str]]
    a: Tablet
    b: Tablet
    serving: Serving | None = None
    sent: dict[str, int] = field(default_factory=dict)

    def send(self) -> None:
        """What the tablets wrote since, to the ledger; then the rules."""
        for tablet in (self.a, self.b):
            self.cabin.ledger.accept(tablet.entries(self.sent.get(tablet.id, 0)), tablet.id)
            self.sent[tablet.id] = len(tablet.changes)
        while self.cabin.ledger.check_due():
            pass

    def record(self, name: str) -> Record:
        found = self.cabin.ledger.record(an_id(name))
        assert found is not None
        return found

    def visitor(self) -> Visitor:
        return Visitor(self.app.test_client(), self)

    def signed_in(self, role: str) -> Visitor:
        visitor = self.visitor()
        visitor.sign_in(role)
        return visitor


class Visitor:
    """A browser without a screen."""

    def __init__(self, client: FlaskClient, scene: Scene) -> None:
        self.client, self.scene = client, scene

    def get(self, path: str, follow: bool = False, language: str = "en") -> TestResponse:
        wish = {"Accept-Language": language}
        return self.client.get(path, base_url=BASE, follow_redirects=follow, buffered=True, headers=wish)

    def post(self, path: str, data: dict[str, Any]) -> TestResponse:
        return self.client.post(path, data=data, base_url=BASE, buffered=True)

    def sign_in(self, role: str) -> TestResponse:
        account, password = self.scene.accounts[role]
        form = {**self.form("/review/sign-in", "/review/sign-in"), "account": account.id, "password": password}
        return self.post("/review/sign-in", form)

    def form(self, page: str, action: str) -> dict[str, Any]:
        """What the hidden fields of the page's form with this action hold."""
        text = self.get(page).get_data(as_text=True)
        found = re.search(rf'<form[^>]*action="{re.escape(action)}"[^>]*>(.*?)</form>', text, re.S)
        assert found, f"{page} has no form for {action}"
        fields: dict[str, Any] = {}
        for tag in re.findall(r'<input type="hidden"[^>]*>', found[1]):
            name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
            assert name
            assert value
            fields.setdefault(name[1], []).append(value[1].replace("&#34;", '"').replace("&amp;", "&"))
        return {name: values[0] if len(values) == 1 and name != "seen" else values for name, values in fields.items()}


def make(folder: Path, clock: Any, serve: bool = False, ledger: str = "") -> Scene:
    """The whole scene, in a folder of its own; with `serve`, over TLS at a free port of this machine once started."""
    config = _config(folder, clock, serve)
    set_up(config, code=CODE, name="Test field (invented)", ledger=ledger)
    scene = _opened(config, serve)
    cabin = scene.cabin
    scene.accounts |= {role: cabin.accounts.add(name, role) for role, name in PEOPLE.items()}
    recorder = scene.accounts["recorder"][0]
    scene.a.by, scene.b.by = recorder.by, {"person": an_id("Moss"), "name": "Moss", "role": "recorder"}
    _contexts(scene.a, scene.b)
    _dockets(scene.a, scene.b)
    _holds(scene.a, scene.b, cabin.seal_key)
    _mishaps(scene)
    scene.send()
    return scene


def copy(made: Scene, source: Path, folder: Path, clock: Any, ledger: str = "") -> Scene:
    """A scene that was made and closed, with a life of its own in another folder; its ledger copied to `ledger`."""
    shutil.copytree(source / "cabin", folder / "cabin")
    if ledger:
        (folder / "cabin" / "cabin.toml").write_text(settings_text(ledger=ledger, schema=schema_for(CODE)), "utf-8")
    scene = _opened(_config(folder, clock, False), False)
    scene.accounts |= made.accounts
    for mine, theirs in ((scene.a, made.a), (scene.b, made.b)):
        mine.by, mine.changes = theirs.by, list(theirs.changes)
        scene.sent[mine.id] = len(mine.changes)
    return scene


def _config(folder: Path, clock: Any, serve: bool) -> Config:
    return Config(folder / "cabin", host="127.0.0.1", port=0, clock=clock, testing=not serve)


def _opened(config: Config, serve: bool) -> Scene:
    serving = Serving(config, QUICK) if serve else None
    app = serving.app if serving else opened(config)
    return Scene(app, app.extensions["bonedocket.cabin"], {}, Tablet("tablet one"), Tablet("tablet two"), serving)


def label(letter: str, number: int) -> str:
    """A field label whose check character fits."""
    return str(Label(CODE, letter, number))


def seen(taxon: str | None, element: str | None = "tibia", side: str | None = "left", **more: Any) -> dict[str, Any]:
    """A whole reading, its shaft there, its ends not."""
    found = {**blank_reading(element, taxon, knowledge(), "trench"), "side": side}
    for portion in knowledge().portions_of(element or ""):
        found["portions"][portion.key] = "most" if portion.kind == "shaft" else "absent"
    return {**found, **more}


def _contexts(a: Tablet, b: Tablet) -> None:
    for tablet in (a, b):
        values = {"number": "1042", "type": "ditch_fill", "grave_like": "no", "trench": "A", "state": "open"}
        tablet.write("context", context_id(tablet.site, "1042"), values)
    a.write(
        "context", context_id(a.site, "1057"), {"number": "1057", "type": "pit_fill", "phase": "3", "state": "open"}
    )
    b.write(
        "context", context_id(a.site, "1057"), {"number": "1057", "type": "pit_fill", "phase": "2", "state": "open"}
    )
    a.write("bag", an_id("bag"), {"label": "1042-1", "context": context_id(a.site, "1042"), "recovery": "hand"})


def _dockets(a: Tablet, b: Tablet) -> None:
    a.write(
        "docket",
        an_id("disputed"),
        {
            "label": label("A", 1),
            "bag": an_id("bag"),
            "material": "bone",
            "reading": seen("sheep"),
            "weight_g": 14.5,
            f"human/{an_id('no sign')}": {"answer": "no_sign", "why": "", "in_place": False, "stage": "trench"},
            f"note/{an_id('gnawed')}": {"text": "gnawed at the distal end", "stage": "trench"},
        },
    )
    b.write("docket", an_id("disputed"), {"reading": seen("pig", side="right")})
    a.docket("precise", reading=seen("sheep", "femur"), label=label("A", 2))
    b.write("docket", an_id("precise"), {"reading": seen("sheep_goat", "femur")})
    a.docket("rib", reading=seen("medium_mammal", "rib"), label=label("A", 3), count=2)
    a.docket("heavy", reading=seen("fowl", "femur", "right"), label=label("A", 4), weight_g=900.0)
    a.docket("deleted", reading=seen("cattle", "radius"), label=label("A", 5))
    a.write("docket", an_id("deleted"), {"deleted": True}, {"deleted": [], "label": [a.changes[-1].id]})
    b.write("docket", an_id("deleted"), {"weight_g": 3.0})
    a.docket("impossible", reading=seen("fowl", "astragalus"), label=label("A", 10))
    a.docket("blank", label=label("A", 6), context=context_id(a.site, "1057"))


def _holds(a: Tablet, b: Tablet, key: str) -> None:
    pit = context_id(a.site, "1057")
    a.docket("stop", reading=seen(None, "femur", None), label=label("A", 7), context=pit)
    a.human("stop", "stop", "stop first")
    a.write(
        "hold",
        hold_of("stop"),
        {
            "docket": an_id("stop"),
            "context": pit,
            "tier": "stop",
            "zone": "the whole of trench B and its spoil",
            "in_place": True,
            f"step/{an_id('told')}": {
                "what": "told",
                "whom": "Bryony, supervisor",
                "how": "in person",
                "at": "2026-06-01T10:10:00+02:00",
            },
        },
    )
    a.write("hold", hold_of("stop"), {"place_sealed": sealing.seal(PLACE, key, hold_of("stop"))})
    b.docket("query", reading=seen("mammal", "humerus", "left"), label=label("B", 1), bag=an_id("bag"), context=None)
    b.human("query", "query", "query first")
    hold = {"docket": an_id("query"), "tier": "query", "zone": "finds hut, shelf 3", "in_place": False}
    b.write("hold", hold_of("query"), hold)
    a.docket("twin", reading=seen("mammal", "humerus", "left"), label=label("A", 8), bag=an_id("bag"), context=None)
    a.write("docket", an_id("twin"), {f"same_as/{an_id('query')}": True})
    a.docket("worn", reading=seen(None, "long_bone", None), label=label("A", 9))
    a.human("worn", "not_excluded", "worn first")


def _mishaps(scene: Scene) -> None:
    """A change that cannot be read, one that is set aside, a gap, and a twin of one number."""
    scene.send()
    broken = Tablet("tablet three")
    later = broken.write("docket", an_id("after the gap"), {"label": label("C", 5)}, n=5, prev="0" * 64)
    stranger = Tablet("tablet four")
    stranger.write("person", an_id("nobody"), {"name": "Nobody", "role": "director"})
    ledger = scene.cabin.ledger
    ledger.accept([(later.id, later.body), ("f" * 64, "{not a change")], broken.id)
    ledger.accept(stranger.entries(), stranger.id)
    twin = replace_tablet(scene.a)
    twin.write("docket", an_id("rib"), {"weight_g": 1.0}, n=3)
    ledger.accept([(twin.changes[-1].id, twin.changes[-1].body)], twin.id)


def replace_tablet(tablet: Tablet) -> Tablet:
    """The tablet as an old copy of it would go on."""
    twin = Tablet("copy")
    twin.id, twin.site, twin.by = tablet.id, tablet.site, tablet.by
    twin.changes = tablet.changes[:2]
    return twin
