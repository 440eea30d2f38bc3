"""Letting a tablet into a cabin: once, with a code typed from the cabin's screen.

1. The code is read; its last six characters say which certificate to expect.
2. The certificate at the address is looked at. If it does not fit, that was the wrong address or somebody else: stop.
3. From here on only this certificate is spoken to. `hello` tells the site; another site than this tablet's: stop.
4. A proof made of the code's secret, of the whole certificate and of this notebook is sent, never the secret itself.
5. The cabin answers with a token and with a proof of its own over all that the tablet will rely on. If it does not
   fit, the other side does not know the code: nothing of it is believed.
6. Address, fingerprint, token, seal key and the cabin's notebook are noted in this notebook; site, code and letter too.
7. The public halves of the keys for carry-files are given to the cabin; if that fails, the next exchange does it.

Not here: the codes themselves (records.enrolment), the exchange that follows (exchange).
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, fields
from typing import Any

from fieldapp.records import enrolment
from fieldapp.records.changes import FORMAT
from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry_keys
from fieldapp.sync.errors import (
    CabinIsNewer,
    FalseCabin,
    NotACode,
    NotEnrolled,
    NotUnderstood,
    OtherSite,
    SyncError,
    WrongCabin,
)
from fieldapp.sync.transport import HttpsTransport, Transport, certificate_at

SETTING = "cabin"


@dataclass(frozen=True, slots=True)
class Enrolment:
    """What a tablet knows of its cabin. `token` is a secret.

    seal_key        what exact places are sealed to (records.sealing)
    cabin_notebook  the only one that writes the site's rules and the people
    """

    address: str
    fingerprint: str
    token: str
    letter: str
    site: str
    site_code: str
    seal_key: str
    cabin_notebook: str


def enrolled(notebook: Notebook) -> Enrolment | None:
    """The cabin this notebook is enrolled at, if it is."""
    kept = notebook.setting(SETTING)
    names = [one.name for one in fields(Enrolment)]
    if not isinstance(kept, dict) or not all(isinstance(kept.get(name), str) for name in names):
        return None
    return Enrolment(*(kept[name] for name in names))


def transport_for(notebook: Notebook) -> HttpsTransport:
    """The way to this notebook's cabin. Raises NotEnrolled."""
    found = enrolled(notebook)
    if found is None:
        raise NotEnrolled
    return HttpsTransport(found.address, found.fingerprint, notebook=notebook.id, token=found.token)


def forget(notebook: Notebook) -> None:
    """Leaves the cabin. Records, site and letter stay."""
    notebook.set_setting(SETTING, None)


def enrol(
    notebook: Notebook,
    address: str,
    code: str,
    name: str = "",
    *,
    meet: Callable[[str], str] = certificate_at,
    connect: Callable[..., Transport] = HttpsTransport,
) -> Enrolment:
    """Enrols `notebook` at the cabin at `address` (`host` or `host:port`) with a typed `code`. Raises SyncError.

    `name` is what the cabin calls this tablet. `meet` and `connect` are passed in by tests.
    """
    try:
        secret, expected = enrolment.parse(code)
    except enrolment.CodeError as error:
        raise NotACode(code=code) from error
    met = meet(address)
    if enrolment.short(met) != expected:
        raise WrongCabin(address=address, met=enrolment.in_pairs(met))
    with _closing(connect(address, met, notebook=notebook.id)) as transport:
        answer = _ask(notebook, transport, enrolment.key(secret, met), name)
    found = Enrolment(
        address=address.strip(),
        fingerprint=met,
        **{one: answer[one] for one in ("token", "letter", "site", "site_code", "seal_key", "cabin_notebook")},
    )
    notebook.identify(site=found.site, code=found.site_code, letter=found.letter)
    notebook.set_setting(SETTING, asdict(found))
    # The tablet is let in by now, whatever becomes of this: the next exchange does it otherwise.
    with suppress(SyncError), _closing(connect(address, met, notebook=notebook.id, token=found.token)) as known:
        carry_keys.register(notebook, known)
    return found


@contextmanager
def _closing(transport: Transport) -> Iterator[Transport]:
    """Lets go of a transport at the end, if it is one that holds on to something."""
    try:
        yield transport
    finally:
        close = getattr(transport, "close", None)
        if close is not None:
            close()


def _ask(notebook: Notebook, transport: Transport, shared: bytes, name: str) -> dict[str, str]:
    hello = transport.ask("GET", "/api/v1/hello")
    check_format(hello)
    if notebook.site and hello.get("site") != notebook.site:
        raise OtherSite(own=notebook.code, theirs=hello.get("site_code", "?"))
    asked = {
        "proof": enrolment.tablets_proof(shared, notebook.id),
        "notebook": notebook.id,
        "name": name,
        "letter": notebook.letter,
    }
    answer = transport.ask("POST", "/api/v1/enrol", body=asked)
    parts = ("token", "letter", "site", "site_code", "seal_key", "cabin_notebook", "proof")
    if not all(isinstance(answer.get(one), str) for one in parts):
        raise NotUnderstood(what="enrol")
    relied_on = (answer[one] for one in ("token", "letter", "site", "site_code", "seal_key", "cabin_notebook"))
    wanted = enrolment.cabins_proof(shared, notebook.id, *relied_on)
    if not hmac.compare_digest(wanted.encode(), answer["proof"].encode()):
        raise FalseCabin
    return answer


def check_format(hello: dict[str, Any]) -> None:
    """Stops before anything is sent to a cabin that speaks a newer format. Raises CabinIsNewer, NotUnderstood."""
    theirs = hello.get("format")
    if not isinstance(theirs, int):
        raise NotUnderstood(what="hello")
    if theirs > FORMAT:
        raise CabinIsNewer(theirs=theirs, own=FORMAT)
