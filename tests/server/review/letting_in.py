"""Tablets let into the scene's cabin, by the same code and proof as from a real one."""

from __future__ import annotations

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldapp.records import enrolment
from tests.server.review.scene import BASE, Scene
from tests.server.tablets import an_id


def let_in(scene: Scene, name: str, code: str = "") -> dict[str, str]:
    """Lets the tablet called `name` in, with a new code or with one that was shown; what its requests carry."""
    secret, _ = enrolment.parse(code or scene.cabin.devices.open_code().text)
    notebook = an_id(name)
    proof = enrolment.tablets_proof(enrolment.key(secret, scene.cabin.fingerprint), notebook)
    found = scene.cabin.devices.enrol(proof, notebook, name)
    return {"Authorization": f"Bearer {found.token}", "X-Notebook": notebook}


def asks(scene: Scene, headers: dict[str, str]) -> TestResponse:
    """A tablet asks for what is new."""
    client: FlaskClient = scene.app.test_client()
    return client.get("/api/v1/pull", headers=headers, base_url=BASE)


def fetches_key(scene: Scene, headers: dict[str, str], role: str) -> TestResponse:
    """Somebody fetches the personal key of their role to a tablet."""
    account, password = scene.accounts[role]
    body = {"person": account.person, "role": role, "password": password}
    return scene.app.test_client().post("/api/v1/key", json=body, headers=headers, base_url=BASE)
