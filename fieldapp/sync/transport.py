"""How a tablet's questions reach the cabin: JSON over TLS with a pinned certificate, or straight into a test client.

The pin is everything: a connection whose certificate has not exactly the known SHA-256 is dropped before a byte of a
request is sent. Names, authorities and dates say nothing on a site without internet and are not looked at; proxies
and other settings of the environment are not followed, and neither are redirects. Not here: what is asked (exchange).
"""

from __future__ import annotations

import gzip
import json
import socket
import ssl
from collections.abc import Mapping
from typing import Any, Protocol
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.util.ssl_ import create_urllib3_context

from fieldapp.records import enrolment
from fieldapp.sync.errors import (
    BY_CABINS_KEY,
    CertificateChanged,
    ConnectionCut,
    NotReachable,
    NotUnderstood,
    Refused,
)

PORT = 8443
CONNECT_SECONDS, READ_SECONDS = 5.0, 60.0


class Transport(Protocol):
    """One cabin, as one notebook asks it. `fingerprint`: SHA-256 of its certificate, hex; also its name to us."""

    fingerprint: str

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
    ) -> dict[str, Any]:
        """The answer to a request. Raises SyncError for everything but an answer."""


def parse_address(text: str) -> tuple[str, int]:
    """(host, port) of a typed address: a name or number, with or without `https://` and port. Raises NotReachable."""
    plain = text.strip()
    try:
        parts = urlsplit(plain if "://" in plain else f"//{plain}")
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise NotReachable(address=text, cause=str(error)) from error
    if not host or any(one.isspace() for one in host):
        raise NotReachable(address=text, cause="?")
    return host, port or PORT


def certificate_at(address: str) -> str:
    """The fingerprint of the certificate at an address; nothing is sent but the handshake. Raises NotReachable."""
    host, port = parse_address(address)
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
        host, port = parse_address(address)
        self.address = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
        self.fingerprint = fingerprint
        self._session = requests.Session()
        self._session.trust_env = False
        # The pin is checked instead, and checks more.
        self._session.verify = False
        self._session.adapters.clear()
        self._session.mount("https://", PinnedAdapter(fingerprint))
        # Only what is needed: the smallest questions are mostly headers.
        self._session.headers.clear()
        self._session.headers.update({"User-Agent": "bonedocket", "Accept-Encoding": "gzip"})
        self._session.headers.update(headers_for(notebook, token))

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
    ) -> dict[str, Any]:
        try:
            answer = self._session.request(
                method,
                f"https://{self.address}{path}",
                params=query,
                data=packed(body) if body is not None else None,
                headers=PACKED if body is not None else None,
                timeout=(CONNECT_SECONDS, READ_SECONDS),
                allow_redirects=False,
            )
        except requests.exceptions.SSLError as error:
            raise self._refused_certificate(error) from error
        except (requests.exceptions.ConnectTimeout, requests.exceptions.ConnectionError) as error:
            # A connection that never came about, and one that broke, look alike to the library.
            kind = NotReachable if _never_connected(error) else ConnectionCut
            raise kind(address=self.address, cause=_cause(error)) from error
        except requests.exceptions.RequestException as error:
            raise ConnectionCut(address=self.address, cause=_cause(error)) from error
        return understood(answer.status_code, answer.content)

    def _refused_certificate(self, error: Exception) -> CertificateChanged | ConnectionCut:
        met = certificate_at(self.address)
        if met == self.fingerprint:
            return ConnectionCut(address=self.address, cause=_cause(error))
        return CertificateChanged(
            address=self.address, pinned=enrolment.in_pairs(self.fingerprint), met=enrolment.in_pairs(met)
        )

    def close(self) -> None:
        """Lets go of the connection."""
        self._session.close()

    def __enter__(self) -> HttpsTransport:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class ClientTransport:
    """Into a web framework's test client (`open(path, method=, data=, headers=, query_string=)`), without a socket."""

    def __init__(self, client: Any, fingerprint: str, *, notebook: str, token: str = "") -> None:
        self.fingerprint = fingerprint
        self._client = client
        self._headers = headers_for(notebook, token)

    def ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, Any] | None = None,
        query: Mapping[str, str | int] | None = None,
    ) -> dict[str, Any]:
        answer = self._client.open(
            path,
            method=method,
            data=packed(body) if body is not None else None,
            headers={**self._headers, **(PACKED if body is not None else {}), "Accept-Encoding": "identity"},
            query_string=query,
        )
        return understood(answer.status_code, answer.get_data())


PACKED = {"Content-Type": "application/json", "Content-Encoding": "gzip"}


def headers_for(notebook: str, token: str) -> dict[str, str]:
    """Who asks."""
    return {"X-Notebook": notebook, **({"Authorization": f"Bearer {token}"} if token else {})}


def packed(body: Mapping[str, Any]) -> bytes:
    """A request's body. ASCII, so that halves of character pairs travel as they are."""
    return gzip.compress(json.dumps(body, separators=(",", ":")).encode("ascii"), 5, mtime=0)


def understood(status: int, content: bytes) -> dict[str, Any]:
    """The answer in a response. Raises what a refusal means."""
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
