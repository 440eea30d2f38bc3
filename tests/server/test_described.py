"""The API's description is true: its examples come out so at a real cabin, a generator of requests finds nothing that
is not in it, and a client made from it alone carries a change from one tablet to another.

Outside: OpenAPI 3.0.3 as openapi-spec-validator reads it, schemathesis, openapi-python-client.
"""

from __future__ import annotations

import gzip
import json
import os
import ssl
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import filelock
import pytest
from flask import Flask, Response
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldapp.records import enrolment
from server.api import examples
from server.api.answers import LARGEST
from server.cabin import Cabin, set_up
from server.config import Config
from server.serving import Serving
from tests.server.conftest import QUICK, Clock
from tests.server.tablets import an_id, ids

JSON = "application/json"
SLOW = int(os.environ.get("PROOF_ROUNDS", "200"))


@pytest.fixture
def config(tmp_path: Path, clock: Clock) -> Config:
    """The cabin of the examples."""
    made = ids()
    config = Config(tmp_path / "cabin", clock=clock, testing=True, new_id=lambda: next(made))
    set_up(config, code=examples.SITE_CODE, name="Invented field")
    return config


@pytest.fixture
def described(client: FlaskClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/openapi.json").json
    return found


def operations(described: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """(path, method, what is said of it)"""
    for path, methods in described["paths"].items():
        for method, about in methods.items():
            yield path, method, about


class Tablet:
    """The tablet of the examples, or another, at a cabin."""

    def __init__(self, cabin: Cabin, client: FlaskClient, notebook: str) -> None:
        self.client, self.notebook = client, notebook
        secret, _ = enrolment.parse(cabin.devices.open_code().text)
        self.proof = enrolment.tablets_proof(enrolment.key(secret, cabin.fingerprint), notebook)
        self.headers = {"X-Notebook": notebook}

    def enrol(self) -> TestResponse:
        body = {**examples.REQUESTS["enrol"], "proof": self.proof, "notebook": self.notebook}
        answer = self.client.post("/api/v1/enrol", json=body)
        self.headers["Authorization"] = f"Bearer {answer.json['token']}"
        return answer

    def post(self, name: str, **more: Any) -> TestResponse:
        return self.client.post(f"/api/v1/{name}", json={**examples.REQUESTS[name], **more}, headers=self.headers)

    def pull(self) -> TestResponse:
        query = {**examples.QUERIES, "all": "false"}
        return self.client.get("/api/v1/pull", query_string=query, headers=self.headers)


def alike(example: Any, real: Any, name: str = "") -> None:
    """What is random of the same type, everything else the same."""
    assert type(example) is type(real), name
    if isinstance(example, dict):
        assert list(sorted(example)) == list(sorted(real)), name
        for each in example:
            alike(example[each], real[each], each)
    elif isinstance(example, list):
        assert len(example) == len(real), name
        for one, other in zip(example, real, strict=True):
            alike(one, other, name)
    elif name in examples.RANDOM:
        assert name == "private" or len(example) == len(real), name
    else:
        assert example == real, name


# -- complete


def test_it_is_openapi_and_every_part_has_words(described: dict[str, Any]) -> None:
    from openapi_spec_validator import validate

    validate(described)
    for path, method, about in operations(described):
        where = f"{method} {path}"
        assert about["summary"].strip(), where
        assert about["description"].strip(), where
        for each in about.get("parameters", []):
            assert (each.get("description") or each["schema"].get("description", "")).strip(), (where, each)
        for status, answer in about["responses"].items():
            assert answer["description"].strip(), (where, status)
            media = answer["content"]["application/json"]
            assert "example" in media or media["examples"], (where, status)
        if "requestBody" in about:
            assert about["requestBody"]["required"], where
            assert about["requestBody"]["content"]["application/json"]["example"], where
        assert {"500", "503"} <= set(about["responses"]), where
    names = [about["operationId"] for _, _, about in operations(described)]
    assert len(set(names)) == len(names)
    pull = described["paths"]["/api/v1/pull"]["get"]["parameters"]
    assert {one["name"] for one in pull} == {*examples.QUERIES, "X-Notebook"}
    told = {one["name"]: one["schema"]["example"] for one in pull if "example" in one["schema"]}
    assert told.items() <= examples.QUERIES.items()
    assert told
    assert described["servers"]
    assert described["components"]["securitySchemes"]["token"]["description"]


def test_the_examples_have_the_shape_of_their_schemas(described: dict[str, Any]) -> None:
    from openapi_schema_validator import OAS30Validator

    def fits(media: dict[str, Any]) -> int:
        schema = {"allOf": [media["schema"]], "components": described["components"]}
        found = [media["example"]] if "example" in media else []
        found += [one["value"] for one in media.get("examples", {}).values()]
        for one in found:
            OAS30Validator(schema).validate(one)
        return len(found)

    looked_at = 0
    for _, _, about in operations(described):
        for one in (about.get("requestBody"), *about["responses"].values()):
            looked_at += fits(one["content"]["application/json"]) if one else 0
    assert looked_at > 40


def test_its_server_is_the_cabin_wherever_the_description_was_read(described: dict[str, Any]) -> None:
    from urllib.parse import urljoin

    (server,) = described["servers"]
    for base in ("https://cabin.local:8443/", "https://192.168.4.1/INV26/"):
        assert urljoin(urljoin(base, "api/openapi.json"), server["url"]) == base


# -- true


def test_the_examples_come_out_so_at_a_real_cabin(cabin: Cabin, client: FlaskClient) -> None:
    first = Tablet(cabin, client, examples.NOTEBOOK)
    alike(examples.ANSWERS["hello"], client.get("/api/v1/hello").json)
    alike(examples.ANSWERS["enrol"], first.enrol().json)
    alike(examples.ANSWERS["push"], first.post("push").json)
    second = Tablet(cabin, client, an_id("second"))
    second.enrol()
    alike(examples.ANSWERS["pull"], second.pull().json)
    account, password = cabin.accounts.add("Oswin (invented)", "human_osteologist")
    real = first.post("key", person=account.person, password=password)
    alike({**examples.ANSWERS["key"], "person": account.person}, real.json)
    private = examples.ANSWERS["key"]["private"].splitlines()
    assert [private[0], private[-1]] == [real.json["private"].splitlines()[0], real.json["private"].splitlines()[-1]]


def causes(cabin: Cabin, client: FlaskClient, clock: Clock) -> Iterator[tuple[str, TestResponse]]:
    """(path, a refusal) for every refusal that is described but those of a fault."""
    first = Tablet(cabin, client, examples.NOTEBOOK)
    first.enrol()
    gone = Tablet(cabin, client, an_id("gone"))
    letter = gone.enrol().json["letter"]
    cabin.devices.withdraw(letter)
    for name in ("push", "key"):
        yield name, client.post(f"/api/v1/{name}", json=examples.REQUESTS[name])
        yield name, gone.post(name)
    yield "pull", client.get("/api/v1/pull")
    yield "pull", gone.pull()
    yield "pull", client.get("/api/v1/pull?limit=0", headers=first.headers)
    bomb = gzip.compress(bytes(LARGEST + 1))
    for name in ("enrol", "push", "key"):
        to, json_ = f"/api/v1/{name}", "application/json"
        packed = {**first.headers, "Content-Encoding": "gzip"}
        yield name, client.post(to, data="{", headers=first.headers, content_type=json_)
        yield name, client.post(to, json={"changes": 1}, headers=first.headers)
        yield name, client.post(to, data=b"x", headers={**packed, "Content-Encoding": "br"}, content_type=json_)
        yield name, client.post(to, data=bomb, headers=packed, content_type=json_)
    account, _ = cabin.accounts.add("Oswin (invented)", "human_osteologist")
    for _ in range(6):
        yield "key", first.post("key", person=account.person, password="wrong")
    for _ in range(20):
        answer = first.post("key", person=an_id("nobody"))
    yield "key", answer
    clock.forward(hours=1)
    for _ in range(11):
        answer = client.post("/api/v1/enrol", json=examples.REQUESTS["enrol"])
        if answer.status_code == 403:
            yield "enrol", answer
    yield "enrol", answer


def test_every_refusal_that_is_described_happens_and_reads_as_its_example(
    cabin: Cabin, client: FlaskClient, clock: Clock, described: dict[str, Any]
) -> None:
    told = {
        (path.rpartition("/")[2], status, name)
        for path, _, about in operations(described)
        for status, answer in about["responses"].items()
        for name in answer["content"]["application/json"].get("examples", {})
        if status not in ("500", "503")
    }
    met = set()
    for name, answer in causes(cabin, client, clock):
        about = described["paths"][f"/api/v1/{name}"]
        status = str(answer.status_code)
        (method,) = about
        found = about[method]["responses"][status]["content"]["application/json"]["examples"]
        key = str(answer.json.get("errors", {}).get("key", ""))
        cause = key.rpartition(".")[2] or "refused"
        example = found[cause]["value"]
        met.add((name, status, cause))
        if key:
            alike({**example, "message": ""}, {**answer.json, "message": ""})
        else:
            assert example == {each: answer.json[each] for each in example}
        alike(len(example["message"]), len(answer.json["message"]))
    assert met == told


def test_a_cabin_that_is_kept_waiting_says_so_and_when_to_ask_again(
    cabin: Cabin, client: FlaskClient, monkeypatch: pytest.MonkeyPatch, described: dict[str, Any]
) -> None:
    tablet = Tablet(cabin, client, examples.NOTEBOOK)
    tablet.enrol()

    def kept(*_: object) -> None:
        raise filelock.Timeout("ledger")

    monkeypatch.setattr("server.ledger.Ledger.accept", kept)
    answer = tablet.post("push")
    told = described["paths"]["/api/v1/push"]["post"]["responses"]["503"]["content"]["application/json"]
    assert answer.status_code == 503
    assert answer.json == told["examples"]["refused"]["value"]
    assert int(answer.headers["Retry-After"]) > 0


# -- nothing beside it


def test_requests_made_from_the_description_are_answered_as_it_says(app: Flask, cabin: Cabin) -> None:
    generated(app, cabin, examples=15, seed=1)


@pytest.mark.proof
def test_many_requests_made_from_the_description_are_answered_as_it_says(app: Flask, cabin: Cabin) -> None:
    generated(app, cabin, examples=SLOW * 10, seed=int(os.environ.get("PROOF_SEED", os.getpid())))


def generated(app: Flask, cabin: Cabin, *, examples: int, seed: int) -> None:
    """By schemathesis, with a tablet's token and without. Its usual checks, and that nothing is left unasked."""
    import schemathesis

    tablet = Tablet(cabin, app.test_client(), an_id("generated"))
    tablet.enrol()
    print(f"seed {seed}")
    schema = schemathesis.openapi.from_wsgi("/api/openapi.json", app)
    for headers in (tablet.headers, {}):
        met = {
            found.ok().path: asked(found.ok(), headers, examples=examples, seed=seed)
            for found in schema.get_all_operations()
        }
        assert set(met) == {f"/api/v1/{name}" for name in ("hello", "enrol", "push", "pull", "key")}
        for path, statuses in met.items():
            assert (200 in statuses) == (path.endswith("hello") or (bool(headers) and path in TAKES_ANY)), (
                path,
                statuses,
            )


OPEN = {"/api/v1/hello"}
TAKES_ANY = {"/api/v1/push", "/api/v1/pull"}
"""What is answered with 200 for whatever has the right shape."""


def asked(operation: Any, headers: dict[str, str], *, examples: int, seed: int) -> set[int]:
    """The statuses that an operation answered with, all of them as described."""
    import hypothesis
    from schemathesis import GenerationMode
    from schemathesis.core.parameters import ParameterLocation

    met: set[int] = set()
    # Of a request without a body or a query there is no wrong one.
    modes = [one for one in GenerationMode if one.is_positive or operation.body or operation.query]
    for mode in modes:

        @hypothesis.seed(seed)
        @hypothesis.settings(
            max_examples=examples, deadline=None, database=None, derandomize=False,
            suppress_health_check=list(hypothesis.HealthCheck), phases=[hypothesis.Phase.generate],
        )  # fmt: skip
        @hypothesis.given(case=operation.as_strategy(generation_mode=mode))
        def one(case: Any) -> None:
            head = case.meta.components.get(ParameterLocation.HEADER)
            # Where the headers are what is wrong, they stay so.
            own = {} if head is not None and head.mode.is_negative else headers
            answer = case.call(headers={**own, "Accept-Encoding": "identity"})
            case.validate_response(answer, headers=own)
            met.add(answer.status_code)

        one()
    return met


@pytest.mark.parametrize("spoilt", [{"mark": None}, {"more": "perhaps"}])
def test_an_answer_that_is_not_as_described_is_found(
    spoilt: dict[str, Any], app: Flask, cabin: Cabin, monkeypatch: pytest.MonkeyPatch
) -> None:
    from schemathesis.core.failures import FailureGroup

    monkeypatch.setattr(
        "server.api.sync.jsonify", lambda **values: Response(json.dumps({**values, **spoilt}), mimetype=JSON)
    )
    with pytest.raises(FailureGroup):
        generated(app, cabin, examples=3, seed=1)


# -- a client made of nothing else

SCRIPT = """
import hashlib, hmac, json, ssl, sys
from pathlib import Path
from invented_client import AuthenticatedClient, Client
from invented_client.api.sync import enrol, hello, pull, push
from invented_client.models import EnrolAsked, Entry, Pushed

address, certificate, *codes = sys.argv[1:]
seen = ssl.create_default_context(cafile=certificate)
fingerprint = hashlib.sha256(ssl.PEM_cert_to_DER_cert(Path(certificate).read_text())).digest()

def let_in(notebook, code):
    secret = code.replace("-", "")[:8].encode()
    salt = b"bonedocket enrolment 1 " + fingerprint
    key = hashlib.scrypt(secret, salt=salt, n=2**14, r=8, p=1, dklen=32, maxmem=2**26)
    prove = lambda *lines: hmac.new(key, "\\n".join(("bonedocket", *lines)).encode(), "sha256").hexdigest()
    with Client(base_url=address, verify_ssl=seen) as stranger:
        body = EnrolAsked(proof=prove("tablet", notebook), notebook=notebook, name="invented")
        found = enrol.sync(client=stranger, body=body)
    relied_on = (found.token, found.letter, str(found.site), found.site_code, found.seal_key, str(found.cabin_notebook))
    assert found.proof == prove("cabin", notebook, *relied_on)
    return found, AuthenticatedClient(base_url=address, token=found.token, verify_ssl=seen)

first, second = "11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222"
said, one = let_in(first, codes[0])
_, other = let_in(second, codes[1])
body = json.dumps({
    "notebook": first, "n": 1, "prev": "", "site": str(said.site), "record": "33333333-3333-4333-8333-333333333333",
    "kind": "docket", "set": {"label": "x", "count": 3}, "over": {}, "at": "2026-06-01T10:00:00+02:00", "format": 1,
    "by": {"person": "p", "name": "Wren (invented)", "role": "recorder"},
}, separators=(",", ":"))
entry = Entry(id=hashlib.sha256(body.encode()).hexdigest(), body=body)
with one, other:
    taken = push.sync(client=one, body=Pushed(changes=[entry]), x_notebook=first)
    assert [each.answer.value for each in taken.answers] == ["taken"], taken
    page = pull.sync(client=other, x_notebook=second, since=1, epoch=taken.epoch)
    assert [(each.id, each.body) for each in page.changes] == [(entry.id, entry.body)], page
    refused = pull.sync(client=other, x_notebook=first)
    assert (refused.code, refused.errors.additional_properties) == (401, {"key": "cabin.not_enrolled"})
assert not {"fieldapp", "server"} & {each.partition(".")[0] for each in sys.modules}
print("carried", page.cursor)
"""


def test_a_client_made_from_the_description_carries_a_change_to_another_tablet(config: Config, tmp_path: Path) -> None:
    beside = Path(sys.executable).parent
    path = {**os.environ, "PATH": f"{beside}{os.pathsep}{os.environ['PATH']}"}
    with Serving(replace(config, testing=False), QUICK) as serving:
        address = f"https://localhost:{serving.port}"
        context = ssl.create_default_context(cafile=str(config.certificate))
        with urllib.request.urlopen(f"{address}/api/openapi.json", context=context, timeout=10) as answer:
            (tmp_path / "openapi.json").write_bytes(answer.read())
        words = ["generate", "--path", "openapi.json", "--meta", "none", "--output-path", "invented_client"]
        made = run([beside / "openapi-python-client", *words, "--fail-on-warning"], tmp_path, path)
        assert "arning" not in made
        (tmp_path / "script.py").write_text(SCRIPT)
        codes = [serving.cabin.devices.open_code().text for _ in range(2)]
        said = run([sys.executable, "-W", "error", "script.py", address, config.certificate, *codes], tmp_path, path)
        assert "carried" in said
        assert serving.cabin.ledger.record("33333333-3333-4333-8333-333333333333").value("count") == 3  # type: ignore[union-attr]


def run(words: list[Any], folder: Path, environment: dict[str, str]) -> str:
    """What a program says, which has to end well."""
    done = subprocess.run(
        [str(one) for one in words], cwd=folder, env=environment, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr
