"""How tablets reach the cabin: its port, this machine's addresses, its name on the network, what stands before it."""

from __future__ import annotations

import http.client
import json
import platform
import socket
import ssl
from collections.abc import Callable, Iterator, Sequence

from fieldapp.findings import GOOD, NOTE, WRONG, Finding
from fieldapp.records import enrolment
from server import keys
from server.config import Config
from server.serving import addresses

MULTICAST = ("224.0.0.251", 5353)
"""Where machines on one network ask for each other by name (RFC 6762, from memory)."""
SECONDS = 5.0


def answering(config: Config, host: str = "127.0.0.1") -> Iterator[Finding]:
    """Whether the port is free, or this cabin answers on it, and how well it says it is."""
    if _is_free(config.host, config.port):
        yield _finding(GOOD, "port_free", port=config.port)
        return
    try:
        fingerprint, status, said = _ask(host, config.port)
    except (OSError, http.client.HTTPException, ValueError):
        yield _finding(WRONG, "port_taken", port=config.port)
        return
    try:
        own = keys.fingerprint_of(config.certificate)
    except (OSError, ValueError):
        own = ""
    if fingerprint != own:
        yield _finding(WRONG, "port_other", port=config.port, fingerprint=enrolment.in_pairs(fingerprint)[:11])
    elif status == 200:
        yield _finding(GOOD, "answers", port=config.port)
    else:
        yield _finding(WRONG, "troubled", port=config.port, troubles=said or status)


def _is_free(host: str, port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as asking:
        if platform.system() != "Windows":
            # There it would let two listen at once.
            asking.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            asking.bind((host, port))
        except OSError:
            return False
    return True


def _ask(host: str, port: int) -> tuple[str, int, str]:
    """(fingerprint, status, its troubles in words) of who answers there."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    # The certificate is the cabin's own: what it is, is compared afterwards.
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    connection = http.client.HTTPSConnection(host, port, timeout=SECONDS, context=context)
    try:
        connection.connect()
        shown = connection.sock.getpeercert(binary_form=True) or b""
        connection.request("GET", "/health", headers={"Accept": "application/json"})
        answer = connection.getresponse()
        body = answer.read(100_000)
    finally:
        connection.close()
    said = json.loads(body) if answer.headers.get_content_type() == "application/json" else {}
    troubles = said.get("troubles") if isinstance(said, dict) else None
    words = " ".join(one for one in troubles if isinstance(one, str)) if isinstance(troubles, list) else ""
    return enrolment.fingerprint(shown), answer.status, words


def ways(config: Config, found: Callable[[str], Sequence[str]] = addresses) -> Iterator[Finding]:
    """The addresses by which tablets can come."""
    outside = [one for one in found(config.host) if not one.startswith("127.")]
    if outside:
        yield _finding(GOOD, "addresses", addresses=", ".join(f"{one}:{config.port}" for one in outside))
    else:
        yield _finding(WRONG, "no_address")


def named(join: Callable[[], None] | None = None) -> Iterator[Finding]:
    """Whether machines on this network can be asked for by name."""
    try:
        (join or _join)()
    except OSError as error:
        yield _finding(NOTE, "no_name", why=error.strerror or error)
    else:
        yield _finding(GOOD, "name")


def _join() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        everywhere = socket.inet_aton(MULTICAST[0]) + socket.inet_aton("0.0.0.0")
        asking.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, everywhere)


def firewall(port: int, system: str = "") -> Iterator[Finding]:
    """What may stand before the port; it cannot be seen from inside."""
    known = {"Windows": "firewall_windows", "Darwin": "firewall_mac"}
    yield _finding(NOTE, known.get(system or platform.system(), "firewall"), port=port)


def _finding(level: str, name: str, **fields: object) -> Finding:
    return Finding(level, f"doctor.{name}", fields)
