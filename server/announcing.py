"""Announces the cabin on its network by multicast DNS, so that tablets find it without an address being typed.

What is said: the site's code, the six characters of the certificate that are part of every code, the path. Nothing of
it is secret, and nobody is to believe it (fieldapp.sync.finding). Where it cannot be said, the cabin serves all the
same. Not here: serving.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from ipaddress import ip_address
from typing import Any, NamedTuple

from fieldapp.records import enrolment, wire
from server.cabin import Cabin

log = logging.getLogger(__name__)


class Site(NamedTuple):
    """One site of the cabin's server. `fingerprint`: of its certificate; `path`: "" or where the site lies."""

    code: str
    fingerprint: str
    path: str = ""


def sites_of(cabins: Mapping[str, Cabin]) -> list[Site]:
    """Those of a server. {its path in the address, "" for a server with one site: the cabin}"""
    return [
        Site(str(one.ledger.site().value("code")), one.fingerprint, f"/{path}" if path else "")
        for path, one in cabins.items()
    ]


def reachable(addresses: Sequence[str]) -> list[str]:
    """Those of a server's addresses that can be announced: numbers by which others reach it."""
    found = []
    for one in addresses:
        try:
            number = ip_address(one)
        except ValueError:
            continue  # a name; who knows it needs no announcement
        if number.version == 4 and not number.is_loopback:
            found.append(one)
    return found


@contextmanager
def announced(
    sites: Sequence[Site], port: int, addresses: Sequence[str], *, interfaces: Sequence[str] | None = None
) -> Iterator[None]:
    """While the block runs, in a thread of its own: it takes a second, and may fail, and nothing waits for it."""
    done = threading.Event()
    thread = threading.Thread(target=_announce, args=(sites, port, addresses, interfaces, done), daemon=True)
    if addresses:
        thread.start()
    try:
        yield
    finally:
        done.set()
        if thread.ident is not None:
            thread.join(5)


def _announce(
    sites: Sequence[Site], port: int, addresses: Sequence[str], interfaces: Sequence[str] | None, done: threading.Event
) -> None:
    try:
        from zeroconf import InterfaceChoice, IPVersion, Zeroconf

        telling = Zeroconf(
            interfaces=list(interfaces) if interfaces else InterfaceChoice.All, ip_version=IPVersion.V4Only
        )
        try:
            for site in sites:
                telling.register_service(_service(site, port, addresses), allow_name_change=True)
            done.wait()
            telling.unregister_all_services()
        finally:
            telling.close()
    except Exception as fault:
        log.info("the cabin could not be announced on the network: %s", fault)


def _service(site: Site, port: int, addresses: Sequence[str]) -> Any:
    from zeroconf import ServiceInfo

    short = enrolment.short(site.fingerprint)
    return ServiceInfo(
        wire.SERVICE,
        f"{site.code} {short}.{wire.SERVICE}",
        port=port,
        parsed_addresses=list(addresses),
        properties={"site": site.code, "short": short, "path": site.path},
        server=f"bonedocket-{short.lower()}.local.",
    )
