"""Photographs at the API: any offset, wrong offsets, names that are none, limits, who is let in. Everything invented.

SHA-256 is checked against the standard library, what is stored against the files in the cabin's folder.
"""

from __future__ import annotations

import gzip
import hashlib
import itertools
import os
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldapp.records import enrolment, sealing
from server.photos.incoming import AT_ONCE, KEPT, LARGEST, SEAL
from tests.server.tablets import Tablet, an_id

_salt = itertools.count()


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


class Sender:
    """An enrolled tablet's requests."""

    def __init__(self, client, cabin, name: str, notebook: str = "") -> None:
        self.client, self.tablet = client, Tablet(name)
        self.tablet.id = notebook or self.tablet.id
        secret, _ = enrolment.parse(cabin.devices.open_code().text)
        proof = enrolment.tablets_proof(enrolment.key(secret, cabin.fingerprint), self.tablet.id)
        answer = client.post("/api/v1/enrol", json={"proof": proof, "notebook": self.tablet.id, "name": name})
        self.headers = {"Authorization": f"Bearer {answer.json['token']}", "X-Notebook": self.tablet.id}

    def put(self, name: str, data: bytes, offset: int, size: int, sealed: int = 0, **headers: str):
        query = {"offset": offset, "size": size, "sealed": sealed}
        head = {**self.headers, **headers}
        return self.client.put(f"/api/v1/photo/{name}", data=data, query_string=query, headers=head)

    def have(self, name: str, sealed: int = 0):
        return self.client.get(f"/api/v1/photo/{name}?sealed={sealed}", headers=self.headers).json

    def wanted(self, *pairs: tuple[str, bool]) -> list[str]:
        asked = [{"sha256": name, "sealed": sealed} for name, sealed in pairs]
        answer = self.client.post("/api/v1/photos/wanted", json={"photos": asked}, headers=self.headers)
        assert answer.status_code == 200, answer.json
        return answer.json["wanted"]


@pytest.fixture
def sender(client, cabin) -> Sender:
    return Sender(client, cabin, "one")


def kept(cabin) -> dict[str, bytes]:
    folder = cabin.config.data / "photos"
    return {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def unfinished(cabin):
    return [path for path in (cabin.config.data / "photos-unfinished").rglob("*") if path.is_file()]


def test_a_photograph_is_kept_with_what_is_known_of_it(sender, cabin):
    data = b"\xff\xd8\xff\xe0 invented"
    assert sender.have(sha(data)) == {"have": 0, "complete": False}
    answer = sender.put(sha(data), data, 0, len(data))
    assert (answer.status_code, answer.json["have"], answer.json["complete"]) == (200, len(data), True)
    assert kept(cabin) == {sha(data): data}
    (row,) = cabin.photos.found([sha(data)]).values()
    assert (row.size, row.sealed, row.sort, row.notebook) == (len(data), False, "jpeg", sender.tablet.id)
    assert row.received_at == cabin.ledger.now()
    (path,) = (cabin.config.data / "photos").rglob(sha(data))
    assert path.parent.name == sha(data)[:2]
    assert path.stat().st_mode & 0o077 == 0


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(min_size=1, max_size=200), st.lists(st.integers(0, 200), max_size=6), st.integers(-300, 300))
def test_an_upload_goes_on_at_any_offset_and_at_no_wrong_one(sender, cabin, data, cuts, wrong):
    data = f"{next(_salt)}:".encode() + data
    name = sha(data)
    ends = sorted({min(one, len(data)) for one in cuts} | {len(data)})
    at = 0
    for end in ends:
        if wrong and at + wrong >= 0 and at + wrong <= len(data):
            refused = sender.put(name, b"", at + wrong, len(data))
            assert (refused.status_code, refused.json["errors"]["have"]) == (409, at)
        answer = sender.put(name, data[at:end], at, len(data))
        assert (answer.status_code, answer.json["have"]) == (200, end)
        assert answer.json["complete"] is (end == len(data))
        assert sender.have(name)["have"] == end
        at = end
    assert kept(cabin)[name] == data
    # Sent again, from anywhere: whole already.
    assert sender.put(name, data[3:], 3, len(data)).json["complete"] is True
    assert sum(one.startswith(name) for one in kept(cabin)) == 1


def test_what_is_not_the_picture_of_its_name_is_thrown_away_and_said(sender, cabin):
    data = b"picture"
    answer = sender.put(sha(data), b"pictur3", 0, 7)
    assert (answer.status_code, answer.json["errors"]["key"]) == (422, "cabin.photo_wrong")
    assert kept(cabin) == {}
    assert unfinished(cabin) == []
    assert sender.put(sha(data), data, 0, 7).json["complete"] is True


def test_a_sealed_photograph_is_checked_by_opening_it(sender, cabin):
    data = b"closed, invented"
    for about, inside in ((sha(b"other"), data), (sha(data), b"another picture")):
        wrong = sealing.seal_bytes(inside, cabin.seal_key, about)
        assert sender.put(sha(data), wrong, 0, len(wrong), 1).status_code == 422
    sealed = sealing.seal_bytes(data, cabin.seal_key, sha(data))
    assert len(sealed) == len(data) + SEAL
    assert sender.put(sha(data), sealed, 0, len(sealed), 1).json["complete"] is True
    assert kept(cabin) == {f"{sha(data)}.sealed": sealed}
    assert cabin.photos.read(cabin.photos.found([sha(data)])[sha(data)]) == data


def test_a_sealed_file_takes_a_clear_ones_place_and_never_the_other_way_round(sender, cabin):
    data = b"picture"
    name, sealed = sha(data), sealing.seal_bytes(data, cabin.seal_key, sha(data))
    sender.put(name, data, 0, len(data))
    assert sender.wanted((name, False)) == []
    assert sender.wanted((name, True)) == [name]
    assert sender.have(name, 1)["complete"] is False
    assert sender.put(name, sealed, 0, len(sealed), 1).json["complete"] is True
    assert list(kept(cabin)) == [f"{name}.sealed"]
    assert sender.put(name, data, 0, len(data)).json["complete"] is True
    assert list(kept(cabin)) == [f"{name}.sealed"]
    assert sender.wanted((name, False), (name, True)) == []


def test_a_clear_upload_of_what_a_record_closes_never_lies_in_the_clear(sender, cabin):
    data = b"sent by a tablet that did not know, invented"
    sender.tablet.write("photo", an_id("photo"), {"sha256": sha(data), "closed": True})
    cabin.ledger.accept(sender.tablet.entries(), sender.tablet.id)
    assert sender.put(sha(data), data, 0, len(data)).json["complete"] is True
    assert list(kept(cabin)) == [f"{sha(data)}.sealed"]
    assert cabin.photos.read(cabin.photos.found([sha(data)])[sha(data)]) == data


def test_what_lies_in_the_clear_is_sealed_when_its_record_comes_closed(sender, cabin):
    data, other = b"closed afterwards, invented", b"not closed, invented"
    for one in (data, other):
        sender.put(sha(one), one, 0, len(one))
        values = {"sha256": sha(one), "note/x": {"text": '"closed":true'}}
        sender.tablet.write("photo", an_id(str(one)), values)
    first = sender.tablet.changes[0]
    sender.tablet.write("photo", first.record, {"closed": True})
    changes = [{"id": one, "body": body} for one, body in sender.tablet.entries()]
    sender.client.post("/api/v1/push", json={"changes": changes}, headers=sender.headers)
    assert sorted(kept(cabin)) == sorted([f"{sha(data)}.sealed", sha(other)])
    assert cabin.photos.read(cabin.photos.found([sha(data)])[sha(data)]) == data


@pytest.mark.parametrize(
    "name",
    [
        "..", "../ledger.sqlite", "..%2F..%2Fcabin.key", "%2e%2e/%2e%2e/cabin.key", "a" * 63, "a" * 65, "A" * 64,
        "g" * 64, "a" * 64 + "%00", "a" * 63 + "%0a", "a" * 64 + "%0a", "/etc/passwd", "a" * 64 + ".sealed", "*" * 64,
    ],
)  # fmt: skip
def test_a_name_that_is_no_sha256_reaches_no_file(sender, cabin, name):
    before = sorted(cabin.config.data.rglob("*"))
    for answer in (
        sender.put(name, b"x", 0, 1),
        sender.client.get(f"/api/v1/photo/{name}", headers=sender.headers),
    ):
        assert answer.status_code in (404, 405, 308)
    assert sorted(cabin.config.data.rglob("*")) == before


def test_a_notebooks_id_is_no_part_of_a_path(client, cabin):
    sender = Sender(client, cabin, "x", "../../../escaped")
    assert sender.put(sha(b"xy"), b"x", 0, 2).status_code == 200
    (path,) = unfinished(cabin)
    assert path.parent.parent == cabin.config.data / "photos-unfinished"


def test_sizes_are_limited_and_a_part_is_never_longer_than_was_said(sender, cabin):
    name = sha(b"abc")
    assert sender.put(name, b"a", 0, LARGEST + 1).status_code == 413
    assert sender.put(name, b"a", 0, LARGEST).status_code == 200
    assert sender.put(name, b"a", 0, LARGEST + SEAL, 1).status_code == 200
    assert sender.put(name, b"a", 0, LARGEST + SEAL + 1, 1).status_code == 413
    refused = sender.put(name, b"abcd", 0, 3)
    assert (refused.status_code, refused.json["errors"]["key"]) == (413, "cabin.photo_too_large")
    assert sender.put(name, b"abc", 0, 3).json["complete"] is True


def test_another_file_of_the_same_picture_begins_anew(sender, cabin):
    data = b"picture"
    first, second = (sealing.seal_bytes(data, cabin.seal_key, sha(data)) + bytes(extra) for extra in (1, 0))
    sender.put(sha(data), first[:20], 0, len(first), 1)
    state = sender.have(sha(data), 1)
    assert (state["have"], state["size"], state["sealed"]) == (20, len(first), True)
    assert sender.put(sha(data), second[20:], 20, len(second), 1).json["errors"]["have"] == 0
    assert sender.put(sha(data), second, 0, len(second), 1).json["complete"] is True
    assert unfinished(cabin) == []


def test_a_packed_part_is_refused(sender):
    answer = sender.put(sha(b"x"), gzip.compress(b"x"), 0, 100, **{"Content-Encoding": "gzip"})
    assert answer.status_code == 415


def test_a_tablet_has_so_many_unfinished_uploads_and_the_longest_left_gives_way(client, cabin, sender):
    other = Sender(client, cabin, "two")
    other.put(sha(b"other"), b"x", 0, 9)
    names = [sha(f"picture {number}".encode()) for number in range(AT_ONCE + 3)]
    for number, name in enumerate(names):
        assert sender.put(name, b"x", 0, 9).status_code == 200
        for path in unfinished(cabin):
            if path.name.startswith(name):
                os.utime(path, (1_800_000_000 + number, 1_800_000_000 + number))
    assert [sender.have(name)["have"] for name in names] == [0] * 3 + [1] * AT_ONCE
    assert other.have(sha(b"other"))["have"] == 1


def test_what_nobody_goes_on_with_is_thrown_away_after_thirty_days(sender, cabin, clock):
    assert timedelta(days=30) == KEPT
    for name, age in (("old", 31), ("young", 29)):
        sender.put(sha(name.encode()), b"x", 0, 9)
        (path,) = (one for one in unfinished(cabin) if one.name.startswith(sha(name.encode())))
        moment = (clock() - timedelta(days=age)).timestamp()
        os.utime(path, (moment, moment))
    sender.put(sha(b"new"), b"x", 0, 9)
    assert [sender.have(sha(one))["have"] for one in (b"old", b"young", b"new")] == [0, 1, 1]


def test_tablets_neither_see_nor_disturb_each_others_parts(client, cabin, sender):
    other, data = Sender(client, cabin, "two"), b"one picture on two tablets"
    name = sha(data)
    sender.put(name, data[:10], 0, len(data))
    assert other.have(name)["have"] == 0
    other.put(name, b"wrong", 0, len(data))
    assert sender.put(name, data[10:], 10, len(data)).json["complete"] is True
    # The other one need not send the rest of anything.
    assert other.put(name, b"", 5, len(data)).json["complete"] is True
    assert kept(cabin) == {name: data}
    assert unfinished(cabin) == []


def test_a_withdrawn_tablet_is_told_so_at_every_route(sender, cabin):
    cabin.devices.withdraw("A")
    for answer in (
        sender.put(sha(b"x"), b"x", 0, 1),
        sender.client.get(f"/api/v1/photo/{sha(b'x')}", headers=sender.headers),
        sender.client.post("/api/v1/photos/wanted", json={"photos": []}, headers=sender.headers),
    ):
        assert (answer.status_code, answer.json["errors"]) == (401, {"key": "cabin.token_withdrawn"})
    assert unfinished(cabin) == []


def test_which_are_lacking_is_told_for_many_in_one_small_answer(sender):
    data = b"picture"
    sender.put(sha(data), data, 0, len(data))
    names = [sha(str(number).encode()) for number in range(499)]
    assert sender.wanted((sha(data), False), *((one, False) for one in names)) == names
    assert sender.wanted((sha(data), False)) == []
