"""The API's description is true: its examples come out so at a real cabin, and a generator of requests finds nothing
that is not in it. Outside: OpenAPI 3.0.3 as openapi-spec-validator reads it, schemathesis.

Not here: a client made from it (test_described_client).
"""

from __future__ import annotations

import errno
import gzip
import json
import os
from collections.abc import Iterator
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
from server.api.examples import PICTURE
from server.cabin import Cabin, set_up
from server.config import Config
from server.ledger.devices import LIVES
from server.photos.incoming import LARGEST as LARGEST_PICTURE
from tests.server.conftest import Clock
from tests.server.tablets import an_id, ids

JSON, BYTES = "application/json", "application/octet-stream"
POSTS = {
    **{name: f"/api/v1/{name}" for name in ("enrol", "life", "push", "key")},
    "carry_keys": "/api/v1/carry-keys", "wanted": "/api/v1/photos/wanted",
}  # fmt: skip
"""{operation: its address} of those with a body of JSON."""
ROUNDS = int(os.environ.get("PROOF_ROUNDS", "200"))


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
    """(path, method, what is said of it, with what is said of its path)"""
    for path, methods in described["paths"].items():
        common = methods.get("parameters", [])
        for method, about in methods.items():
            if method != "parameters":
                yield path, method, {**about, "parameters": [*common, *about.get("parameters", [])]}


def shown(media: dict[str, Any]) -> list[Any]:
    """The examples of a body or an answer."""
    alone = [media["example"]] if "example" in media else []
    return alone + [one["value"] for one in media.get("examples", {}).values()]


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
        return self.client.post(POSTS[name], json={**examples.REQUESTS[name], **more}, headers=self.headers)

    def pull(self, **more: Any) -> TestResponse:
        query = {**examples.QUERIES, "all": "false", "lean": "false", **more}
        return self.client.get("/api/v1/pull", query_string=query, headers=self.headers)

    def have(self, name: str = examples.PICTURE_ID, sealed: str = "false") -> TestResponse:
        return self.client.get(f"/api/v1/photo/{name}?sealed={sealed}", headers=self.headers)

    def send(self, data: bytes, offset: int = 0, size: int = len(examples.PICTURE), **more: Any) -> TestResponse:
        where = f"/api/v1/photo/{more.pop('name', examples.PICTURE_ID)}?offset={offset}&size={size}"
        return self.client.put(where, data=data, headers={**self.headers, **more})


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
        for each in about["parameters"]:
            assert (each.get("description") or each["schema"].get("description", "")).strip(), (where, each)
            if each["in"] == "path":
                assert each["example"], (where, each)
        for status, answer in about["responses"].items():
            assert answer["description"].strip(), (where, status)
            if status == "304":
                assert "content" not in answer, where
                continue
            media = answer["content"]["application/json"]
            assert shown(media), (where, status)
        if "requestBody" in about:
            assert about["requestBody"]["required"], where
            ((kind, media),) = about["requestBody"]["content"].items()
            assert (kind == JSON and shown(media)) or (kind == BYTES and about["operationId"] == "send"), where
        assert {"500", "503"} <= set(about["responses"]), where
    names = [about["operationId"] for _, _, about in operations(described)]
    assert len(set(names)) == len(names)
    assert set(names) == {*examples.ANSWERS}
    assert {one.removesuffix("ed") for one in examples.LEAN} <= set(names)
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
        for one in shown(media):
            OAS30Validator(schema).validate(one)
        return len(shown(media))

    looked_at = 0
    for _, _, about in operations(described):
        for one in (about.get("requestBody"), *about["responses"].values()):
            looked_at += fits(one["content"][JSON]) if one and JSON in one.get("content", ()) else 0
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
    alike(examples.ANSWERS["news"], client.get("/api/v1/news", headers=first.headers).json)
    alike(examples.ANSWERS["push"], first.post("push").json)
    second = Tablet(cabin, client, an_id("second"))
    second.enrol()
    alike(examples.ANSWERS["pull"], second.pull().json)
    alike(examples.LEAN["pulled"], second.pull(lean="true").json)
    alike(examples.ANSWERS["carry_keys"], first.post("carry_keys").json)
    for name in ("wanted", "have", "send"):
        answer = first.post(name) if name == "wanted" else first.have() if name == "have" else first.send(PICTURE)
        alike(examples.ANSWERS[name], answer.json)
    account, password = cabin.accounts.add("Oswin (invented)", "human_osteologist")
    real = first.post("key", person=account.person, password=password)
    alike({**examples.ANSWERS["key"], "person": account.person}, real.json)
    private = examples.ANSWERS["key"]["private"].splitlines()
    assert [private[0], private[-1]] == [real.json["private"].splitlines()[0], real.json["private"].splitlines()[-1]]


def test_a_batch_without_its_hashes_comes_out_as_its_example_too(cabin: Cabin, client: FlaskClient) -> None:
    tablet = Tablet(cabin, client, examples.NOTEBOOK)
    tablet.enrol()
    answer = client.post("/api/v1/push", json=examples.LEAN["push"], headers=tablet.headers)
    alike(examples.LEAN["pushed"], answer.json)


def test_a_tablet_that_goes_on_as_a_new_one_is_answered_as_the_example_says(cabin: Cabin, client: FlaskClient) -> None:
    tablet = Tablet(cabin, client, examples.NOTEBOOK)
    tablet.enrol()
    alike(examples.ANSWERS["life"], tablet.post("life").json)


def causes(
    cabin: Cabin, client: FlaskClient, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[str, TestResponse]]:
    """(operation, a refusal) for every refusal that is described but those of a fault and of a busy cabin."""
    first = Tablet(cabin, client, examples.NOTEBOOK)
    first.enrol()
    gone = Tablet(cabin, client, an_id("gone"))
    letter = gone.enrol().json["letter"]
    cabin.devices.withdraw(letter)
    stranger = Tablet(cabin, client, an_id("stranger"))
    for who in (stranger, gone):
        for name in set(POSTS) - {"enrol"}:
            yield name, who.post(name)
        yield "pull", who.pull()
        yield "news", client.get("/api/v1/news", headers=who.headers)
        yield "have", who.have()
        yield "send", who.send(PICTURE)
    yield "pull", client.get("/api/v1/pull?limit=0", headers=first.headers)
    bomb = gzip.compress(bytes(LARGEST + 1))
    for name, to in POSTS.items():
        packed = {**first.headers, "Content-Encoding": "gzip"}
        yield name, client.post(to, data="{", headers=first.headers, content_type=JSON)
        wrong = {"changes": 1, "photos": 1, "sign": "x", "notebook": "x" * 300}
        yield name, client.post(to, json=wrong, headers=first.headers)
        yield name, client.post(to, data=b"x", headers={**packed, "Content-Encoding": "br"}, content_type=JSON)
        yield name, client.post(to, data=bomb, headers=packed, content_type=JSON)
    yield from causes_of_photographs(first, monkeypatch)
    yield "life", first.post("life", notebook=an_id("gone"))
    for nr in range(LIVES + 1):
        answer = first.post("life", notebook=an_id(f"life {nr}"))
    yield "life", answer
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


def causes_of_photographs(tablet: Tablet, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, TestResponse]]:
    """The same for photographs: the first eight bytes of one have come."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    yield "have", tablet.have(name="no-hash")
    yield "have", tablet.have(sealed="perhaps")
    yield "send", tablet.send(PICTURE, name="no-hash")
    yield "send", tablet.send(PICTURE, size=0)
    yield "send", tablet.send(PICTURE, **{"Content-Encoding": "gzip"})
    yield "send", tablet.send(PICTURE, size=LARGEST_PICTURE + 1)
    with monkeypatch.context() as patched:
        patched.setattr("server.photos.incoming.Incoming._open", full)
        yield "send", tablet.send(PICTURE[:8])
    assert tablet.send(PICTURE[:8]).json["have"] == 8
    yield "send", tablet.send(PICTURE)
    yield "send", tablet.send(bytes(len(PICTURE) - 8), 8)


def test_every_refusal_that_is_described_happens_and_reads_as_its_example(
    cabin: Cabin, client: FlaskClient, clock: Clock, described: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    abouts = {about["operationId"]: about for _, _, about in operations(described)}
    told = {
        (operation, status, name)
        for operation, about in abouts.items()
        for status, answer in about["responses"].items()
        for name in answer.get("content", {JSON: {}})[JSON].get("examples", {})
        if status not in ("200", "500") and (status, name) != ("503", "refused")
    }
    met = set()
    for operation, answer in causes(cabin, client, clock, monkeypatch):
        status = str(answer.status_code)
        found = abouts[operation]["responses"][status]["content"][JSON]["examples"]
        key = str(answer.json.get("errors", {}).get("key", ""))
        cause = key.rpartition(".")[2] or "refused"
        example = found[cause]["value"]
        met.add((operation, status, cause))
        if examples.UNTIL in example["message"]:
            # The time is the cabin's.
            assert len(example["message"]) == len(answer.json["message"])
            example = {**example, "message": answer.json["message"]}
        # What is wrong in which field is told beside it.
        assert example == {each: answer.json[each] for each in example}
        assert not key or example == answer.json
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
    generated(app, cabin, examples=5, seed=1)


@pytest.mark.proof
def test_many_requests_made_from_the_description_are_answered_as_it_says(app: Flask, cabin: Cabin) -> None:
    generated(app, cabin, examples=ROUNDS * 2, seed=int(os.environ.get("PROOF_SEED", os.getpid())))


def generated(app: Flask, cabin: Cabin, *, examples: int, seed: int) -> None:
    """By schemathesis, with a tablet's token and without. Its usual checks, and that nothing is left unasked."""
    import schemathesis

    tablet = Tablet(cabin, app.test_client(), an_id("generated"))
    tablet.enrol()
    print(f"seed {seed}")
    schema = schemathesis.openapi.from_wsgi("/api/openapi.json", app)
    for headers in (tablet.headers, {}):
        met = {
            found.ok().label: asked(found.ok(), headers, examples=examples, seed=seed)
            for found in schema.get_all_operations()
        }
        assert len(met) == 11
        assert OPEN | TAKES_ANY < set(met)
        for label, statuses in met.items():
            taken = label in OPEN or (bool(headers) and label in TAKES_ANY)
            # Of a photograph's bytes a few fit by chance.
            assert (200 in statuses) == taken or (label == SENDING and headers), (label, statuses)


SENDING = "PUT /api/v1/photo/{sha256}"
OPEN = {"GET /api/v1/hello"}
TAKES_ANY = {
    *(f"POST /api/v1/{name}" for name in ("push", "carry-keys", "life", "photos/wanted")),
    "GET /api/v1/pull", "GET /api/v1/news", "GET /api/v1/photo/{sha256}",
}  # fmt: skip
"""What is answered with 200 for whatever has the right shape."""


def more_than_a_shape(case: Any) -> bool:
    """Whether more is asked of a request than its shape can say: a batch has to fit its check, and to stand alone; what
    is sent of a photograph has to fit in its size."""
    if case.operation.path == "/api/v1/push":
        return (
            not isinstance(case.body, dict)
            or ("changes" in case.body) == ("batch" in case.body)
            or "batch" in case.body
        )
    return bool(case.operation.label == SENDING)


def asked(operation: Any, headers: dict[str, str], *, examples: int, seed: int) -> set[int]:
    """The statuses that an operation answered with, all of them as described."""
    import hypothesis
    from schemathesis import GenerationMode
    from schemathesis.core.parameters import ParameterLocation
    from schemathesis.specs.openapi.checks import positive_data_acceptance

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
            left_out = [positive_data_acceptance] if more_than_a_shape(case) else []
            case.validate_response(answer, headers=own, excluded_checks=left_out)
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
