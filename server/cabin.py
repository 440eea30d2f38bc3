"""The cabin as one thing: its ledger, people, tablets and keys, and the rules at work behind it.

Opened by `create_app` and by the commands. Not here: HTTP.
"""

from __future__ import annotations

import logging
import os
import threading
from pathlib import Path

from argon2 import PasswordHasher
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from server import keys
from server.config import LEDGER, Config, settings_text
from server.errors import KeyMissing, LedgerAddress, LedgerExists, PhotoStoreAway
from server.ledger import Ledger
from server.ledger.accounts import Accounts
from server.ledger.carry_keys import CarryKeys
from server.ledger.devices import Devices
from server.ledger.place import Place, schema_for
from server.photos import Photos, open_store

log = logging.getLogger(__name__)


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
    place, settings = _place(config, ledger, schema or schema_for(code))
    config.data.mkdir(parents=True, exist_ok=True)
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
    if settings and config.own_settings():
        with config.settings_file.open("a", encoding="utf-8") as file:
            file.write("\n" + settings)
    elif settings:
        keys.write_secret(config.settings_file, settings.encode("utf-8"))


def _place(config: Config, ledger: str, schema: str) -> tuple[Place, str]:
    """Where a new ledger goes, and what `cabin.toml` is to say of it."""
    if {"ledger", "schema"} & config.own_settings().keys():
        if ledger:
            raise LedgerExists(file=config.settings_file.name)
        return config.place, ""
    url = ledger or os.environ.get(LEDGER, "") or str(config.settings().get("ledger", ""))
    if not url:
        return config.place, ""
    place = Place.of(url, schema)
    if place.url is None:
        raise LedgerAddress(what=ledger)
    return place, settings_text(ledger=ledger, schema=place.schema)


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

    def _photos(self) -> Photos:
        where = self.config.photos
        if "://" in where:
            # A store may be several sites': what one of them seals, another cannot open.
            where = f"{where.rstrip('/')}/{self.ledger.site().value('code')}"
        return Photos(self.ledger, open_store(where), self.config.data, self.seal_key, self.opening_key)

    def opening_key(self) -> X25519PrivateKey:
        """The key that opens what tablets sealed to this cabin; who may see it is for the caller to ask."""
        return keys.seal_key(self.config.seal_key)

    def certificate_key(self) -> tuple[bytes, ec.EllipticCurvePrivateKey]:
        """The certificate (DER) that tablets know, and its key: what answers on carry-files are signed with."""
        return keys.certificate_and_key(self.config.certificate, self.config.certificate_key)

    def rules_due(self) -> None:
        """Says that records have changed. The rules look at them soon, in a thread of their own; in tests at once."""
        if self.config.testing:
            self._check()
            return
        if self._worker is None:
            self._worker = threading.Thread(target=self._work, name="rules", daemon=True)
            self._worker.start()
        self._wake.set()

    def _work(self) -> None:
        while not self._closing.is_set():
            self._wake.wait()
            self._wake.clear()
            try:
                self._check()
            except Exception:
                # The records stay due, and are tried again when the next batch comes.
                log.exception("the rules stopped at a record")

    def _check(self) -> None:
        while not self._closing.is_set() and self.ledger.check_due():
            pass
        try:
            self.photos.close_what_is_closed()
        except PhotoStoreAway as fault:
            # They are not shown meanwhile, and are tried again when the next batch comes.
            log.warning("%s", fault)

    def close(self) -> None:
        """Waits for the rules' present chunk and lets go of the files."""
        self._closing.set()
        self._wake.set()
        if self._worker is not None:
            self._worker.join()
        self.ledger.close()


def _there(path: Path) -> None:
    if not path.is_file():
        raise KeyMissing(file=path.name)
