"""A notebook's own keys for carry-files: Ed25519 to sign what it writes, X25519 to open what is written to it.

Made once, the first time they are wanted, and kept with the notebook, under its identity: a new life gets new ones, and
the old ones stay, for answers that are still on their way. The public halves are told to the cabin, after enrolment
or at the next exchange. Not here: the files (carry, carry_answer).
"""

from __future__ import annotations

import base64
from contextlib import suppress
from functools import lru_cache
from typing import NamedTuple

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from fieldapp.records.signing import public_text
from fieldapp.store.notebook import Notebook
from fieldapp.sync.errors import NotUnderstood, Refused
from fieldapp.sync.transport import Transport

REGISTERED = "carry/registered"


class CarryKeys(NamedTuple):
    """Both, with the private halves."""

    sign: Ed25519PrivateKey
    seal: X25519PrivateKey

    @property
    def public(self) -> dict[str, str]:
        """{sign, seal}: the public halves, base64."""
        seal = base64.b64encode(self.seal.public_key().public_bytes_raw()).decode("ascii")
        return {"sign": public_text(self.sign), "seal": seal}


@lru_cache(8)
def _keys(sign: str, seal: str) -> CarryKeys:
    # Asked for at every exchange.
    return CarryKeys(
        Ed25519PrivateKey.from_private_bytes(base64.b64decode(sign)),
        X25519PrivateKey.from_private_bytes(base64.b64decode(seal)),
    )


def keys(notebook: Notebook, life: str = "") -> CarryKeys:
    """The keys of this life of the notebook, made if there are none, or those of another `life`. SaveFailed."""
    name = f"carry/keys/{life or notebook.id}"
    with notebook.lock:
        kept = notebook.setting(name)
        if not (isinstance(kept, dict) and isinstance(kept.get("sign"), str) and isinstance(kept.get("seal"), str)):
            made = Ed25519PrivateKey.generate().private_bytes_raw(), X25519PrivateKey.generate().private_bytes_raw()
            kept = dict(zip(("sign", "seal"), (base64.b64encode(one).decode("ascii") for one in made), strict=True))
            notebook.set_setting(name, kept)
    return _keys(kept["sign"], kept["seal"])


def register(notebook: Notebook, transport: Transport) -> None:
    """Tells the cabin the public halves. A cabin that knows nothing of them is left in peace. Raises SyncError."""
    told = keys(notebook).public
    with suppress(Refused, NotUnderstood):
        transport.ask("POST", "/api/v1/carry-keys", body=told)
        notebook.set_setting(REGISTERED, _noted(notebook, transport.fingerprint))


def registered(notebook: Notebook, server: str) -> bool:
    """Whether the cabin has been told the keys of this life."""
    return bool(notebook.setting(REGISTERED) == _noted(notebook, server))


def _noted(notebook: Notebook, server: str) -> dict[str, str]:
    return {"server": server, "notebook": notebook.id, **keys(notebook).public}
