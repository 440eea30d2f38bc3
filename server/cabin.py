"""The cabin as one thing: its ledger, people, tablets and keys, and the rules at work behind it.

Opened by `create_app` and by the commands. Not here: HTTP.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from server import keys
from server.config import Config
from server.errors import KeyMissing, PhotoStoreAway
from server.keeping.pictures import StoredPictures
from server.keeping.schedule import Schedule
from server.ledger import Ledger
from server.ledger.accounts import Accounts
from server.ledger.carry_keys import CarryKeys
from server.ledger.devices import Devices
from server.ledger.place import schema_for
from server.photos import Photos, store_of

log = logging.getLogger(__name__)

QUIET, LONGEST_WAIT = 0.25, 10.0
"""Seconds: the rules start when nothing has come for so long, and look at a few records at least so often."""
TOLD = 10
"""So many records that stop the rules are told of in the server's log at a time."""


def set_up(
    config: Config,
    *,
    code: str,
    name: str,
    mode: str = "excavation",
    licence: str = "",
    second_reader: bool = True,
    zone: str = "",
    ledger: str = "",
    schema: str = "",
) -> None:
    """Makes a cabin in `config.data`: keys, certificate, ledger with its site record. Raises LedgerExists.

    `zone`: what an in-situ stop closes on this site, in words; "" leaves it to the whole trench. `ledger`: URL of a
    PostgreSQL database that is to hold the ledger, in `schema` or in one named after the site; it is written down in
    `cabin.toml`, as is the schema alone where the environment names the database.
    """
    place, settings = config.new_place(ledger, schema or schema_for(code))
    # A ledger in it has exact places and passwords' hashes.
    config.data.mkdir(mode=0o700, parents=True, exist_ok=True)
    keys.make_seal_key(config.seal_key)
    keys.make_certificate(config.certificate, config.certificate_key)
    Ledger.create(
        place,
        code=code,
        name=name,
        seal_key=keys.public_seal_key(config.seal_key),
        mode=mode,
        licence=licence,
        second_reader=second_reader,
        zone=zone,
        clock=config.clock,
        new_id=config.new_id,
    ).close()
    config.write_settings(settings)


class Cabin:
    """Raises LedgerMissing before `set_up`, KeyMissing if a file of it is gone. `hasher`: for tests."""

    def __init__(self, config: Config, hasher: PasswordHasher | None = None) -> None:
        self.config = config
        self.ledger = Ledger.open(config.place, clock=config.clock, new_id=config.new_id)
        try:
            for path in (config.certificate, config.certificate_key, config.seal_key):
                _there(path)
            self.fingerprint = keys.fingerprint_of(config.certificate)
            self.seal_key = keys.public_seal_key(config.seal_key)
            self.accounts = Accounts(self.ledger, hasher)
            self.devices = Devices(self.ledger, self.fingerprint)
            self.photos = self._photos()
            self.carry_keys = CarryKeys(self.ledger)
        except BaseException:
            self.ledger.close()
            raise
        self._wake = threading.Event()
        self._closing = threading.Event()
        self._worker: threading.Thread | None = None
        self._then: list[Callable[[], None]] = []
        self._present = 0
        self._counting = threading.Lock()
        self._came = 0.0

    def _photos(self) -> Photos:
        return Photos(
            self.ledger,
            store_of(self.config.photos, str(self.ledger.site().value("code"))),
            self.config.data,
            self.seal_key,
            self.opening_key,
        )

    def opening_key(self) -> X25519PrivateKey:
        """The key that opens what tablets sealed to this cabin; who may see it is for the caller to ask."""
        return keys.seal_key(self.config.seal_key)

    def certificate_key(self) -> tuple[bytes, ec.EllipticCurvePrivateKey]:
        """The certificate (DER) that tablets know, and its key: what answers on carry-files are signed with."""
        return keys.certificate_and_key(self.config.certificate, self.config.certificate_key)

    def back_up_to(self, folder: Path, **how: Any) -> None:
        """From now on, a backup into `folder` every few hours; `how`: see keeping.schedule.Schedule."""
        schedule = Schedule(
            self.config, self.ledger, folder, pictures=StoredPictures(self.photos.store, self.ledger), **how
        )
        schedule.start()
        self.when_closed(schedule.stop)

    def when_closed(self, then: Callable[[], None]) -> None:
        """Something to be ended before the ledger is let go of."""
        self._then.append(then)

    def rules_due(self) -> None:
        """Says that records have changed. The rules look at them soon, in a thread of their own; in tests at once."""
        if self.config.testing:
            self._check(lambda: None)
            return
        self._came = time.monotonic()
        if self._worker is None:
            self._worker = threading.Thread(target=self._work, name="rules", daemon=True)
            self._worker.start()
        self._wake.set()

    @contextmanager
    def taking_in(self) -> Iterator[None]:
        """Around a tablet's batch: the rules keep out of its way, and look at it afterwards."""
        with self._counting:
            self._present += 1
        try:
            yield
        finally:
            with self._counting:
                self._present -= 1
            self.rules_due()

    def _work(self) -> None:
        while not self._closing.is_set():
            self._wake.wait()
            self._wake.clear()
            try:
                self._check(self._let_others_in)
            except Exception as error:
                self._stopped(error)
                try:
                    for one in self.ledger.check_apart()[:TOLD]:
                        self._stopped(one)
                    self._close_pictures()
                except Exception as again:
                    self._stopped(again)

    def _check(self, wait: Callable[[], None]) -> None:
        wait()
        self.ledger.database.rest()
        while not self._closing.is_set() and self.ledger.check_due():
            wait()
        self._close_pictures()

    def _stopped(self, error: Exception) -> None:
        """The records stay due, and are tried again when the next batch comes."""
        log.error("the rules stopped at a record", exc_info=error, extra={"event": "rules_stopped"})

    def _close_pictures(self) -> None:
        try:
            self.photos.close_what_is_closed()
        except PhotoStoreAway as fault:
            # They are not shown meanwhile, and are tried again when the next batch comes.
            log.warning("%s", fault)

    def _let_others_in(self) -> None:
        """Waits while tablets are pushing: the rules write too, and would hold each batch up for a chunk of theirs."""
        until = time.monotonic() + LONGEST_WAIT
        while (now := time.monotonic()) < until and (self._present or now < self._came + QUIET):
            if self._closing.wait(0.05):
                return

    def close(self) -> None:
        """Waits for the rules' present chunk and lets go of the files."""
        self._closing.set()
        self._wake.set()
        while self._then:
            self._then.pop()()
        if self._worker is not None:
            self._worker.join()
        self.ledger.close()


def _there(path: Path) -> None:
    if not path.is_file():
        raise KeyMissing(file=path.name)
