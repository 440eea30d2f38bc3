"""Finds cabins on the network by multicast DNS, so that nobody has to type an address, nor to type it again after the
cabin's has changed; and takes one that was typed, where nothing is announced.

What is found is hearsay: anybody on the network may announce anything. It only says where to look; whether a cabin is
the right one is told by the code and its proofs (enrol), and later by the pinned certificate. It never stops anything:
without a network, or without the library, nothing is found. Not here: announcing (server.announcing).
"""

from __future__ import annotations

import os
import queue
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from typing import Any

from fieldapp.records import enrolment, wire
from fieldapp.store.notebook import Notebook
from fieldapp.sync.enrol import SETTING, enrolled
from fieldapp.sync.errors import NotEnrolled, OtherCabin, SyncError
from fieldapp.sync.transport import Address, certificate_at, parse_address

SECONDS = 3.0
MOST = 8
"""Cabins; more on one network are a joke or an attack."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A site's cabin that announces itself: its site code, the short fingerprint of a code, and where it answers."""

    site_code: str
    short: str
    addresses: tuple[str, ...]


def look(
    seconds: float = SECONDS,
    *,
    interfaces: Sequence[str] | None = None,
    enough: Callable[[list[Seen]], bool] = lambda found: False,
) -> list[Seen]:
    """The cabins that answer within so long, or until there are `enough`. Blocks; never raises.

    `interfaces`: own addresses to ask from, by default all.
    """
    found: list[Seen] = []
    try:
        from zeroconf import InterfaceChoice, IPVersion, ServiceBrowser, ServiceStateChange, Zeroconf

        named: queue.SimpleQueue[str] = queue.SimpleQueue()

        def changed(name: str, state_change: ServiceStateChange, **_: Any) -> None:
            if state_change is not ServiceStateChange.Removed:
                named.put(name)

        with _listening():
            asking = Zeroconf(
                interfaces=list(interfaces) if interfaces else InterfaceChoice.All, ip_version=IPVersion.V4Only
            )
            try:
                browser = ServiceBrowser(asking, wire.SERVICE, handlers=[changed])
                until = time.monotonic() + seconds
                while len(found) < MOST and not enough(found) and (left := until - time.monotonic()) > 0:
                    with suppress(queue.Empty):
                        one = _seen(asking.get_service_info(wire.SERVICE, named.get(timeout=left), 1000))
                        if one is not None and one not in found:
                            found.append(one)
                browser.cancel()
            finally:
                asking.close()
    except Exception:
        # No network, no library, a port that is taken, an answer that is none: then nothing more is found.
        return found
    return found


def found_again(notebook: Notebook, **how: Any) -> bool:
    """Looks for this notebook's cabin where it may be now, by its certificate, and notes the address it has there."""
    known = enrolled(notebook)
    if known is None:
        return False
    short = enrolment.short(known.fingerprint)

    def ours(one: Seen) -> bool:
        return (one.short, one.site_code) == (short, known.site_code)

    for one in filter(ours, look(enough=lambda found: any(map(ours, found)), **how)):
        for address in one.addresses:
            with suppress(SyncError):
                if address != known.address:
                    moved_to(notebook, address)
                    return True
    return False


def moved_to(notebook: Notebook, address: str) -> None:
    """Notes another address of this notebook's cabin, once its certificate has been met there; nothing else is sent.

    One that names no path keeps that of the site's. Raises NotEnrolled, NotReachable, OtherCabin.
    """
    known = enrolled(notebook)
    if known is None:
        raise NotEnrolled
    host, port, path = parse_address(address)
    there = str(Address(host, port, path or parse_address(known.address).path))
    met = certificate_at(there)
    if met != known.fingerprint:
        raise OtherCabin(address=there, met=enrolment.in_pairs(met))
    notebook.set_setting(SETTING, asdict(replace(known, address=there)))


def _seen(info: Any) -> Seen | None:
    """What an announcement says, if it makes sense."""
    if info is None or not info.port:
        return None
    said = {
        key.decode("ascii", "replace"): (value or b"").decode("ascii", "replace")
        for key, value in info.properties.items()
    }
    code, short, path = (said.get(key, "") for key in ("site", "short", "path"))
    fits = (
        2 <= len(code) <= 10
        and code.isalnum()
        and len(short) == enrolment.SHORT
        and all(one in enrolment.ALPHABET for one in short)
        and len(path) <= 60
        and not any(one.isspace() or one in "?#@" for one in path)
        and path[:1] in ("", "/")
    )
    hosts = info.parsed_addresses()[:4] if fits else []
    return (
        Seen(code, short, tuple(str(Address(host, info.port, path.rstrip("/"))) for host in hosts)) if hosts else None
    )


@contextmanager
def _listening() -> Iterator[None]:
    """Android lets no multicast through to a program that does not hold a lock for it."""
    lock: Any = None
    if "ANDROID_ARGUMENT" in os.environ:
        with suppress(Exception):
            from jnius import autoclass

            activity = autoclass("org.kivy.android.PythonActivity").mActivity
            lock = activity.getApplicationContext().getSystemService("wifi").createMulticastLock("bonedocket")
            lock.acquire()
    try:
        yield
    finally:
        if lock is not None:
            with suppress(Exception):
                lock.release()
