"""Requests as nobody should send them, made from a seed: for the API's addresses and for the door before them.

Not here: what has to come of them (test_malformed).
"""

from __future__ import annotations

import gzip
import hashlib
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from fieldapp.records import batches
from server.api.answers import LARGEST
from tests.server.tablets import Tablet, an_id

PATHS = (
    "/api/v1/push", "/api/v1/enrol", "/api/v1/key", "/api/v1/life", "/api/v1/carry-keys", "/api/v1/photos/wanted",
)  # fmt: skip
PHOTO = f"/api/v1/photo/{'a' * 64}"
TYPES = (
    "application/json", "text/plain", "", "application/x-www-form-urlencoded", "multipart/form-data",
    "application/json;charset=utf-16", "\xff/\xff",
)  # fmt: skip
NUMBERS = ("1" * 5_000, "-" + "9" * 400, "1e999", "NaN", "-Infinity", "0x10", "01", "1" * 100_000)
NAMES = (
    "since", "limit", "characters", "lean", "all", "epoch", "mark", "offset", "size", "sealed", "", "%ff",
)  # fmt: skip
QUERIES = ("", "-1", "1e9", "NaN", "9" * 5000, "%00", "%ff%fe", "%ED%A0%80", "true", "%D9%A1", "x" * 300)
WHERE = (
    "/api/v1/pull", "/api/v1/hello", PHOTO, "/api/v1/photo/..", "/health",
    "/api/v1/%00", "/api/v1/..%2f", "/api/docs", "/api/openapi.json",
)  # fmt: skip
PACKINGS = ("gzip", "GZIP", "br", "deflate", "gzip, gzip", "identity", "\xff")
SCALARS: tuple[Any, ...] = (
    None, True, 0, -1, 2**53, 2**63, -(2**64), 1e308, float("nan"), float("inf"), "", "\0", "\ud800", "\udfff\ud800",
    "x" * 10_000, "\U0010ffff", "\u202e", "١٢", [], {}, [[]], {"": {}},
)  # fmt: skip


@dataclass
class Request:
    """One of them. `kind` says how it was made."""

    kind: str
    path: str
    body: bytes
    headers: dict[str, str] = field(default_factory=dict)
    environ: dict[str, str] = field(default_factory=dict)
    method: str = "POST"


class Maker:
    """Makes them, the same for a seed."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        tablet = Tablet("malformed")
        for number in range(3):
            tablet.docket(f"malformed {number}", count=number, note="ünïcode \U0001f9b4")
        changes = [{"id": one, "body": body} for one, body in tablet.entries()]
        self.valid: dict[str, dict[str, Any]] = {
            PATHS[0]: {"epoch": "", "changes": changes},
            PATHS[1]: {"proof": "0" * 64, "notebook": an_id("x"), "name": "x", "letter": "A"},
            PATHS[2]: {"person": an_id("p"), "role": "director", "password": "x"},
            PATHS[3]: {"notebook": an_id("malformed life")},
            PATHS[4]: {"sign": "A" * 43 + "=", "seal": "B" * 43 + "="},
            PATHS[5]: {"photos": [{"sha256": "a" * 64, "sealed": False}, {"sha256": "b" * 64, "sealed": True}]},
        }
        bomb = gzip.compress(bytes(LARGEST + 1))
        self._bombs = (bomb, gzip.compress(bomb), gzip.compress(b'{"changes":[' + b" " * LARGEST), bomb + bomb)
        self._kinds: tuple[Callable[[str], Request], ...] = (
            self._noise, self._bytes, self._bytes, self._parts, self._parts, self._parts, self._inner, self._inner,
            self._packed, self._deep, self._numbers, self._twice, self._typed, self._headed, self._queried,
            self._lean, self._sent,
        )  # fmt: skip

    def one(self) -> Request:
        """The next."""
        path = self.dice.choice(PATHS)
        if self.dice.random() < 1 / 400:
            return Request("bomb", path, self.dice.choice(self._bombs), {"Content-Encoding": "gzip"})
        return self.dice.choice(self._kinds)(path)

    def _text(self, path: str) -> bytes:
        return json.dumps(self.valid[path], ensure_ascii=self.dice.random() < 0.5).encode()

    def _noise(self, path: str) -> Request:
        return Request("noise", path, self.dice.randbytes(self.dice.choice((0, 1, 10, 1000, 70_000))))

    def _bytes(self, path: str) -> Request:
        return Request("bytes", path, self._spoilt(self._text(path)))

    def _spoilt(self, text: bytes) -> bytes:
        found = bytearray(text)
        for _ in range(self.dice.randint(1, 4)):
            at = self.dice.randrange(len(found) + 1)
            act = self.dice.randrange(5)
            if act == 0:
                found[at : at + 1] = self.dice.randbytes(1)
            elif act == 1:
                del found[at : at + self.dice.randint(1, 30)]
            elif act == 2:
                found[at:at] = self.dice.choice(
                    (b"\xff\xfe", b"\xed\xa0\x80", b'"', b"}", b"\\u0000", b"\0", b"\xc0\x80")
                )
            elif act == 3:
                found[at:at] = found[: self.dice.randint(1, 50)]
            else:
                del found[at:]
        return bytes(found)

    def _parts(self, path: str) -> Request:
        body = json.loads(json.dumps(self.valid[path]))
        self._spoil(body)
        return Request("parts", path, json.dumps(body).encode())

    def _spoil(self, body: Any) -> None:
        """Another value, or none, or one more, at one place of it."""
        place, key = body, self.dice.choice(list(body))
        while isinstance(place[key], dict | list) and place[key] and self.dice.random() < 0.7:
            place = place[key]
            key = self.dice.choice(list(place)) if isinstance(place, dict) else self.dice.randrange(len(place))
        act = self.dice.randrange(3)
        if act == 0:
            place[key] = self.dice.choice(SCALARS)
        elif act == 1:
            del place[key]
        elif isinstance(place, dict):
            place[self.dice.choice(("", "\ud800", "id", "x" * 1000))] = self.dice.choice(SCALARS)

    def _inner(self, _: str) -> Request:
        """A change whose text is odd, under an id that fits it or not."""
        body = json.loads(json.dumps(self.valid[PATHS[0]]))
        entry = self.dice.choice(body["changes"])
        inner = json.loads(entry["body"])
        self._spoil(inner)
        entry["body"] = json.dumps(inner)
        if self.dice.random() < 0.3:
            entry["body"] = self._spoilt(entry["body"].encode()).decode("utf-8", "surrogateescape")
        if self.dice.random() < 0.7:
            entry["id"] = _hash(entry["body"])
        return Request("inner", PATHS[0], json.dumps(body).encode())

    def _lean(self, _: str) -> Request:
        """A batch without its hashes, spoilt, under a check that fits or not."""
        entries = [(one["id"], one["body"]) for one in self.valid[PATHS[0]]["changes"]]
        batch = {"batch": batches.packed(entries)}
        self._spoil(batch)
        return Request("lean", PATHS[0], json.dumps(batch).encode())

    def _sent(self, _: str) -> Request:
        """Bytes of a photograph: too many, too few, at an odd place, under an odd name."""
        odd = self.dice.random() < 0.5
        offset, size = (
            self.dice.choice(("-1", "", "x", "9" * 30, "1e3") if odd else ("0", "1", "3")) for _ in range(2)
        )
        name = self.dice.choice(("..", "A" * 64, "%00", "a" * 63, "x" * 5_000) if odd else ("a" * 64, "b" * 64))
        sealed = self.dice.choice(("", "x") if odd else ("0", "1"))
        packing = {"Content-Encoding": self.dice.choice(PACKINGS)} if odd else {}
        where = f"/api/v1/photo/{name}?offset={offset}&size={size}&sealed={sealed}"
        return Request("sent", where, self.dice.randbytes(self.dice.choice((0, 1, 2, 3, 100))), packing, method="PUT")

    def _packed(self, path: str) -> Request:
        packed = gzip.compress(self._text(path))
        for _ in range(self.dice.randrange(3)):
            packed = gzip.compress(packed)
        body = self.dice.choice(
            (packed[:-5], packed[:12], self._spoilt(packed), packed + packed, packed + b"x", packed)
        )
        return Request("packed", path, body, {"Content-Encoding": self.dice.choice(PACKINGS)})

    def _deep(self, path: str) -> Request:
        levels = self.dice.choice((70, 900, 1_100, 30_000))
        kind = self.dice.randrange(3)
        if kind == 0:
            return Request("deep", path, b"[" * levels + b"]" * levels * self.dice.randrange(2))
        text = b'{"a":' * levels + b"1" + b"}" * levels
        if kind == 1:
            return Request("deep", path, b'{"changes":[],"x":' + text + b"}")
        inner = text.decode()
        return Request("deep", PATHS[0], json.dumps({"changes": [{"id": _hash(inner), "body": inner}]}).encode())

    def _numbers(self, path: str) -> Request:
        number = self.dice.choice(NUMBERS)
        return Request("numbers", path, f'{{"changes":{number},"proof":{number},"person":{number}}}'.encode())

    def _twice(self, path: str) -> Request:
        text = self._text(path)
        return Request("twice", path, text[:-1] + b"," + text[1:])

    def _typed(self, path: str) -> Request:
        return Request("typed", path, self._text(path), {"Content-Type": self.dice.choice(TYPES)})

    def _headed(self, path: str) -> Request:
        odd = self.dice.choice(("", "x", "\xff", "x" * 5_000, "Bearer", "Bearer ", "Bearer \xff", "Basic eDp4", "\t"))
        name = self.dice.choice(("Authorization", "X-Notebook", "Accept-Encoding", "Accept-Language", "Cookie", "Host"))
        length = self.dice.choice(("-1", "0", "1", "99999999999999", "x", "", "+5", "1_0", " 7"))
        return Request("headed", path, self._text(path), {name: odd}, {"CONTENT_LENGTH": length})

    def _queried(self, _: str) -> Request:
        parts = (f"{self.dice.choice(NAMES)}={self.dice.choice(QUERIES)}" for _ in range(self.dice.randint(1, 4)))
        method = self.dice.choice(("GET", "HEAD", "OPTIONS", "PATCH"))
        return Request("queried", f"{self.dice.choice(WHERE)}?{'&'.join(parts)}", b"", method=method)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


TLS_SAID = (
    b"GET /api/v1/hello HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
    b"GET /api/v1/hello HTTP/1.1\r\nHost: x\r\nContent-Length: +1\r\n\r\nx",
    b"GET /api/v1/hello HTTP/1.1\r\nHost: x\r\nContent-Length: 1_0\r\n\r\n0123456789",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999999999999\r\n\r\nx",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 50\r\n\r\n{}...",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 5, 5\r\n\r\n{}...",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nffffffffffffffff\r\nx\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n-1\r\nx\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.0\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: 3\r\n\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nTransfer-Encoding : chunked\r\n\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nX: y\r\n Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nTransfer_Encoding: chunked\r\nContent_Length: 9\r\n\r\n0\r\n\r\n",
    b"GET /api/v1/hello HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    b"GET /api/v1/hello HTTP/1.1\nHost: x\n\n",
    b"GET /api/v1/hello HTTP/9.9\r\nHost: x\r\n\r\n",
    b"GET /api/v1/hello HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 100_000 + b"\r\n\r\n",
    b"GET /api/v1/hello HTTP/1.1\r\n" + b"X: y\r\n" * 40_000 + b"\r\n",
    b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
    b"GET /api/v1/%00 HTTP/1.1\r\nHost: x\r\n\r\n",
    b"GET /review/docket/%2e%2e%2f%2e%2e HTTP/1.1\r\nHost: x\r\n\r\n",
    b"GET http://elsewhere.test/api/v1/hello HTTP/1.1\r\nHost: x\r\n\r\n",
    b"CONNECT elsewhere.test:443 HTTP/1.1\r\nHost: x\r\n\r\n",
    b"TRACE /api/v1/hello HTTP/1.1\r\nHost: x\r\nX-Secret: y\r\n\r\n",
    b"get /api/v1/hello HTTP/1.1\r\nHost: x\r\n\r\n",
    b"\r\n\r\n\r\n\r\n",
    b"GET\r\n\r\n",
    b"\x00\x00\x00\x00",
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nExpect: 100-continue\r\nContent-Length: 2\r\n\r\n{}",
    b"POST /api/v1/enrol HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{}",
)
"""What is said after the handshake."""
