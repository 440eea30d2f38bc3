"""Who is about at an attack: a recorder with an enrolled tablet that writes what it likes, and an honest tablet that
pulls. Everything invented.

Not here: the attacks, nor what has to stand after them.
"""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

from fieldapp.assets import knowledge
from fieldapp.records import enrolment
from fieldapp.records.fold import Record
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import enrol
from fieldapp.sync.exchange import exchange
from fieldapp.sync.transport import ClientTransport
from fieldapp.ui.presenters.desk import Desk
from server.ledger.accounts import Unlocked
from tests.server.conftest import Clock
from tests.server.review.scene import BASE, Scene
from tests.server.tablets import SITE, Tablet, an_id


class Rogue:
    """A recorder's enrolled tablet. Its token pushes whatever its notebook, or any other, is made to hold."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.tablet = Tablet("rogue")
        self.client = scene.app.test_client()
        code = scene.cabin.devices.open_code("rogue")
        secret, _ = enrolment.parse(code.text)
        proof = enrolment.tablets_proof(enrolment.key(secret, scene.cabin.fingerprint), self.tablet.id)
        answer = self._post("/api/v1/enrol", {"proof": proof, "notebook": self.tablet.id, "name": "rogue"}, {})
        self.headers = {"Authorization": f"Bearer {answer['token']}", "X-Notebook": self.tablet.id}

    def write(self, kind: str, record: str, set: dict[str, Any], over: dict[str, list[str]] | None = None) -> str:
        """A change of its own; the change's id."""
        return self.tablet.write(kind, record, set, over).id

    def push(self, entries: list[tuple[str, str]] | None = None) -> list[str]:
        """Pushes entries, by default all that it wrote; the answers."""
        given = self.tablet.entries() if entries is None else entries
        body = {"epoch": "", "changes": [{"id": one, "body": text} for one, text in given]}
        return [one["answer"] for one in self._post("/api/v1/push", body, self.headers)["answers"]]

    def _post(self, path: str, body: dict[str, Any], headers: dict[str, str]) -> dict[str, Any]:
        answer = self.client.post(path, json=body, headers=headers, base_url=BASE)
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json
        return found

    # -- what it can look up and get hold of

    def record(self, one: str) -> Record:
        found = self.scene.cabin.ledger.record(one)
        assert found is not None
        return found

    def heads(self, one: str, *paths: str) -> dict[str, list[str]]:
        """The heads of a record, all or those of some paths: what `over` would name."""
        heads = self.record(one).head_ids()
        return {path: ids for path, ids in heads.items() if not paths or path in paths}

    def seen(self, name: str = "stop") -> list[str]:
        return sorted(self.record(an_id(name)).added("human"))

    def unlocked(self, role: str) -> Unlocked:
        """Somebody's opened key: for signatures that were honestly made, for another place or by another role."""
        account, password = self.scene.accounts[role]
        return self.scene.cabin.accounts.unlock(account.person, password, account.role)

    def signed(self, role: str, path: str, *, record: str, site: str = SITE, **value: Any) -> dict[str, Any]:
        return self.unlocked(role).sign(value, site=site, record=record, path=path)


class Reader:
    """Another tablet of the site, honest, with a notebook of its own."""

    def __init__(self, scene: Scene, folder: Path, clock: Clock) -> None:
        self.notebook = Notebook.open(folder, clock, lambda: str(uuid.uuid4()))
        cabin, client = scene.cabin, scene.app.test_client()

        def connect(_: str, fingerprint: str, *, notebook: str, token: str = "") -> ClientTransport:
            return ClientTransport(client, fingerprint, notebook=notebook, token=token)

        met = cabin.fingerprint
        found = enrol(
            self.notebook, "cabin", cabin.devices.open_code("reader").text, meet=lambda _: met, connect=connect
        )
        self.way = connect("", met, notebook=self.notebook.id, token=found.token)

    def pulled(self) -> Desk:
        """What its screens are made from, after it has fetched everything there is."""
        exchange(self.notebook, self.way)
        return Desk(self.notebook, knowledge())
