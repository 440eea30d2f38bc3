"""How a tablet's questions reach the cabin: JSON over TLS with a pinned certificate, or straight into a test client.

The pin is everything: a connection whose certificate has not exactly the known SHA-256 is dropped before a byte of a
request is sent. Names, authorities and dates say nothing on a site without internet and are not looked at; proxies
and other settings of the environment are not followed, and neither are redirects. Not here: what is asked (exchange).
"""

from __future__ import annotations

import gzip
import io
import json
import socket
import ssl
from collections.abc import Callable, Mapping
from email.utils import parsedate_to_datetime
from types import MappingProxyType
from typing import Any, NamedTuple, Protocol
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.util.ssl_ import create_urllib3_context

from fieldapp.records import enrolment, wire
from fieldapp.sync.errors import (
    BY_CABINS_KEY,
    CertificateChanged,
    ConnectionCut,
    NotReachable,
    NotUnderstood,
    Refused,
)

PORT = 8443
CONNECT_SECONDS, READ_SECONDS = 8.0, 30.0
"""Time for a connection, which a lost packet delays by seconds, and for the first byte of an answer."""

SLOWEST = 4_000
"""Bytes in a second, below which a line counts as cut. What is sent may still lie in this machine's own buffers when
the wait for the answer begins."""

PIECE = 16_384
"""Bytes between two looks at whether somebody has cancelled."""

Moved = Callable[[int, int], None]
"""Told bytes sent and bytes received since it was last told; what it raises ends the request."""


class Transport(Protocol):
    """One cabin, as one notebook asks it. `fingerprint`: SHA-256 of its certificate, hex; also its name to us.

    moved  told what goes over the line, while it goes; None for nobody
    """

    fingerprint: str
    moved: Moved | None

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
        known: str = "",
    ) -> dict[str, Any]:
        """The answer to a request. Raises SyncError for everything but an answer.

        `known`: tag of the answer that is known already; if it is still the same, only {"unchanged": True, "at"} comes.
        """

    def send(self, method: str, path: str, *, data: bytes, query: Mapping[str, str | int]) -> dict[str, Any]:
        """The answer to plain bytes, likewise."""


class Address(NamedTuple):
    """Where a cabin answers. `path`: "" or `/…` without a stroke at its end, where one server has several sites."""

    host: str
    port: int
    path: str = ""

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}{self.path}"


def parse_address(text: str) -> Address:
    """A typed address: a name or number, with or without `https://`, port and path. Raises NotReachable."""
    plain = text.strip()
    try:
        parts = urlsplit(plain if "://" in plain else f"//{plain}")
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise NotReachable(address=text, cause=str(error)) from error
    if not host or any(one.isspace() for one in host + parts.path):
        raise NotReachable(address=text, cause="?")
    return Address(host, port or PORT, parts.path.rstrip("/"))


def certificate_at(address: str) -> str:
    """The fingerprint of the certificate at an address; nothing is sent but the handshake. Raises NotReachable."""
    host, port, _ = parse_address(address)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    try:
        with (
            socket.create_connection((host, port), CONNECT_SECONDS) as plain,
            context.wrap_socket(plain, server_hostname=host) as secure,
        ):
            shown = secure.getpeercert(binary_form=True)
    except OSError as error:
        raise NotReachable(address=address, cause=str(error)) from error
    if shown is None:
        raise NotReachable(address=address, cause="no certificate")
    return enrolment.fingerprint(shown)


class PinnedAdapter(HTTPAdapter):
    """Connections that exist only if the certificate is the pinned one."""

    def __init__(self, fingerprint: str) -> None:
        self._fingerprint = fingerprint
        super().__init__(max_retries=0)

    def init_poolmanager(self, *args: Any, **more: Any) -> None:
        # A context of our own: the library's would read every authority of this machine for each new connection.
        context = create_urllib3_context(cert_reqs=ssl.CERT_NONE)
        super().init_poolmanager(
            *args, **more, ssl_context=context, assert_fingerprint=self._fingerprint, assert_hostname=False
        )


class HttpsTransport:
    """Over the network. `token` "" before enrolment. Close it, or use it in a with-block."""

    def __init__(self, address: str, fingerprint: str, *, notebook: str, token: str = "") -> None:
        self.address = str(parse_address(address))
        self.fingerprint = fingerprint
        self.moved: Moved | None = None
        # By itself, not in a session: no cookies, redirects, proxies or settings of the environment.
        self._connections = PinnedAdapter(fingerprint)
        # Only what is needed: the smallest questions are mostly headers.
        self._headers = {"User-Agent": "bonedocket", "Accept-Encoding": "gzip", **headers_for(notebook, token)}

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
        known: str = "",
    ) -> dict[str, Any]:
        if body is None:
            return self._answer(method, path, query, None, _unless(known))
        return self._answer(method, path, query, packed(body), PACKED)

    def send(self, method: str, path: str, *, data: bytes, query: Mapping[str, str | int]) -> dict[str, Any]:
        return self._answer(method, path, query, data, PLAIN)

    def _answer(
        self,
        method: str,
        path: str,
        query: Mapping[str, str | int] | None,
        data: bytes | None,
        headers: Mapping[str, str] | None,
    ) -> dict[str, Any]:
        asked = requests.Request(
            method,
            f"https://{self.address}{path}",
            params=query,
            data=_Told(data, self._told) if data is not None else None,
            headers={**self._headers, **(headers or {})},
        ).prepare()
        timeout = (CONNECT_SECONDS, READ_SECONDS + len(data or b"") / SLOWEST)
        try:
            # Of the certificate the pin is checked, which checks more.
            with self._connections.send(asked, stream=True, timeout=timeout, verify=False) as answer:
                return understood(answer.status_code, self._content(answer), answer.headers)
        except requests.exceptions.SSLError as error:
            raise self._refused_certificate(error) from error
        except (requests.exceptions.ConnectTimeout, requests.exceptions.ConnectionError) as error:
            # A connection that never came about, and one that broke, look alike to the library.
            kind = NotReachable if _never_connected(error) else ConnectionCut
            raise kind(address=self.address, cause=_cause(error)) from error
        except requests.exceptions.RequestException as error:
            raise ConnectionCut(address=self.address, cause=_cause(error)) from error

    def _content(self, answer: requests.Response) -> bytes:
        found, counted = bytearray(), 0
        for piece in answer.iter_content(PIECE):
            found += piece
            now = answer.raw.tell()
            self._told(0, now - counted)
            counted = now
        return bytes(found)

    def _told(self, sent: int, received: int) -> None:
        if self.moved is not None:
            self.moved(sent, received)

    def _refused_certificate(self, error: Exception) -> CertificateChanged | ConnectionCut:
        met = certificate_at(self.address)
        if met == self.fingerprint:
            return ConnectionCut(address=self.address, cause=_cause(error))
        return CertificateChanged(
            address=self.address, pinned=enrolment.in_pairs(self.fingerprint), met=enrolment.in_pairs(met)
        )

    def close(self) -> None:
        """Lets go of the connection."""
        self._connections.close()

    def __enter__(self) -> HttpsTransport:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class _Told(io.BytesIO):
    """A body that is sent piece by piece, each within the connection's time limit, and tells how far it has come."""

    def __init__(self, data: bytes, told: Moved) -> None:
        super().__init__(data)
        self._told = told

    def read(self, size: int | None = -1) -> bytes:
        piece = super().read(size)
        self._told(len(piece), 0)
        return piece


class ClientTransport:
    """Into a web framework's test client (`open(path, method=, data=, headers=, query_string=)`), without a socket."""

    def __init__(self, client: Any, fingerprint: str, *, notebook: str, token: str = "") -> None:
        self.fingerprint = fingerprint
        self.moved: Moved | None = None
        self._client = client
        self._headers = headers_for(notebook, token)

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
        known: str = "",
    ) -> dict[str, Any]:
        data = packed(body) if body is not None else b""
        answer = self._client.open(
            path,
            method=method,
            data=data or None,
            headers={
                **self._headers,
                **(PACKED if body is not None else _unless(known)),
                "Accept-Encoding": "identity",
            },
            query_string=query,
        )
        content = answer.get_data()
        if self.moved is not None:
            self.moved(len(data), len(content))
        return understood(answer.status_code, content, answer.headers)

    def send(self, method: str, path: str, *, data: bytes, query: Mapping[str, str | int]) -> dict[str, Any]:
        headers = {**self._headers, **PLAIN, "Accept-Encoding": "identity"}
        answer = self._client.open(path, method=method, data=data, headers=headers, query_string=query)
        return understood(answer.status_code, answer.get_data())


PLAIN = {"Content-Type": "application/octet-stream"}
PACKED = {"Content-Type": "application/json", "Content-Encoding": "gzip"}


def headers_for(notebook: str, token: str) -> dict[str, str]:
    """Who asks, and which messages it speaks at best."""
    return {
        "X-Notebook": notebook,
        "X-Format": str(wire.MESSAGES),
        **({"Authorization": f"Bearer {token}"} if token else {}),
    }


class Packed(dict[str, Any]):
    """A request's body that is packed already, while there was time for it."""

    def __init__(self, body: Mapping[str, Any]) -> None:
        super().__init__(body)
        self.data = packed(body)


def packed(body: Mapping[str, Any]) -> bytes:
    """A request's body. ASCII, so that halves of character pairs travel as they are."""
    if isinstance(body, Packed):
        return body.data
    return gzip.compress(json.dumps(body, separators=(",", ":")).encode("ascii"), 5, mtime=0)


def _unless(known: str) -> dict[str, str]:
    return {"If-None-Match": f'"{known}"'} if known else {}


def understood(status: int, content: bytes, headers: Mapping[str, str] = MappingProxyType({})) -> dict[str, Any]:
    """The answer in a response. Raises what a refusal means."""
    if status == 304:
        return {"unchanged": True, "at": _time(headers.get("Date"))}
    try:
        answer = json.loads(content)
    except (ValueError, RecursionError):
        answer = None
    if not isinstance(answer, dict):
        raise NotUnderstood(what=f"status {status}, no JSON object")
    if status == 200:
        return answer
    errors = answer.get("errors")
    key = errors.get("key") if isinstance(errors, dict) else None
    known = BY_CABINS_KEY.get(key) if isinstance(key, str) else None
    raise (known or Refused)(status=status, message=str(answer.get("message", "")))


def _time(date: str | None) -> str:
    """A header's date as ISO 8601; "" for none."""
    try:
        return parsedate_to_datetime(date).isoformat() if date else ""
    except ValueError:
        return ""


def _never_connected(error: Exception) -> bool:
    seen: BaseException | None = error
    reasons: list[object] = []
    while seen is not None and seen not in reasons:
        reasons.append(seen)
        seen = next(
            (one for one in (getattr(seen, "reason", None), *seen.args) if isinstance(one, BaseException)), None
        )
    names = {type(one).__name__ for one in reasons}
    return bool(names & {"NewConnectionError", "NameResolutionError", "ConnectTimeoutError", "ConnectTimeout"})


def _cause(error: BaseException) -> str:
    """The innermost word about what happened."""
    inner = error
    while (next_one := getattr(inner, "reason", None) or inner.__context__) is not None and next_one is not inner:
        if not isinstance(next_one, BaseException):
            break
        inner = next_one
    return str(inner) or type(inner).__name__
