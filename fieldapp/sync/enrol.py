"""Letting a tablet into a cabin: once, with a code typed from the cabin's screen.

1. The code is read; its last six characters say which certificate to expect.
2. The certificate at the address is looked at. If it does not fit, that was the wrong address or somebody else: stop.
3. From here on only this certificate is spoken to. `hello` tells the site; another site than this tablet's: stop.
4. A proof made of the code's secret, of the whole certificate and of this notebook is sent, never the secret itself.
5. The cabin answers with a token and with a proof of its own over all that the tablet will rely on. If it does not
   fit, the other side does not know the code: nothing of it is believed.
6. Address, fingerprint, token, seal key and the cabin's notebook are noted in this notebook; site, code and letter too.
   Where the letter is another one than before, a sentence about it waits until somebody has read it.
7. The public halves of the keys for carry-files are given to the cabin; if that fails, the next exchange does it.

An answer that is lost on the way is asked for again: the cabin takes the code from the same notebook once more.

Not here: the codes themselves (records.enrolment), the exchange that follows (exchange).
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, fields
from functools import partial
from typing import Any

from fieldapp.assets import texts
from fieldapp.records import enrolment, wire
from fieldapp.store.notebook import Notebook
from fieldapp.sync import carry_keys
from fieldapp.sync.errors import (
    CabinIsNewer,
    CabinIsOlder,
    FalseCabin,
    NotACode,
    NotEnrolled,
    NotReachable,
    NotUnderstood,
    OtherSite,
    SyncError,
    WrongCabin,
)
from fieldapp.sync.patience import Means, Patience
from fieldapp.sync.transport import HttpsTransport, Transport, certificate_at

SETTING = "cabin"
CHANGED = "letter_changed"
"""Setting: that the cabin gave another letter than the tablet had, until somebody has read it."""


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
    addresses: str | Sequence[str],
    code: str,
    name: str = "",
    *,
    meet: Callable[[str], str] = certificate_at,
    connect: Callable[..., Transport] = HttpsTransport,
    means: Means | None = None,
) -> Enrolment:
    """Enrols `notebook` at a cabin (`host` or `host:port`, with a path where the site has one) by its `code`.

    Several addresses are tried in turn: a cabin on two networks has two, and one may lead to another machine. `name`
    is what the cabin calls this tablet. `meet`, `connect` and `means` are passed in by tests. Raises SyncError.
    """
    try:
        secret, expected = enrolment.parse(code)
    except enrolment.CodeError as error:
        raise NotACode(code=code) from error
    address, met = _met([addresses] if isinstance(addresses, str) else addresses, expected, meet, means or Means())
    shared = enrolment.key(secret, met)
    with _closing(connect(address, met, notebook=notebook.id)) as transport:
        answer = Patience(means or Means()).ask(lambda: _ask(notebook, transport, shared, name))
    found = Enrolment(
        address=address.strip(),
        fingerprint=met,
        **{one: answer[one] for one in ("token", "letter", "site", "site_code", "seal_key", "cabin_notebook")},
    )
    had = notebook.letter
    if had and had != found.letter:
        # Noted before the letter changes, so that it is told whatever happens in between.
        notebook.set_setting(CHANGED, {"was": had, "now": found.letter, "held_by": str(answer.get("held_by", ""))})
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


def letter_changed(notebook: Notebook) -> str:
    """What a person has to be told about another letter than the tablet had: a sentence until `heard`, else ""."""
    kept = notebook.setting(CHANGED)
    if not isinstance(kept, dict) or not kept.get("was"):
        return ""
    holder = kept.get("held_by") or "?"
    key = "sync.letter_changed" if holder != "?" else "sync.letter_changed_unnamed"
    return texts()[key].format(was=kept["was"], now=notebook.letter or "?", holder=holder)


def heard(notebook: Notebook) -> None:
    """Somebody has read it."""
    notebook.set_setting(CHANGED, None)


def _met(addresses: Sequence[str], expected: str, meet: Callable[[str], str], means: Means) -> tuple[str, str]:
    """The first address at which the expected certificate answers, and the certificate's fingerprint."""
    fault: SyncError = NotReachable(address="", cause="?")
    for address in addresses:
        try:
            met = Patience(means).ask(partial(meet, address))
        except NotReachable as error:
            # That somebody else answered at another address says more than that nobody does at this one.
            fault = fault if isinstance(fault, WrongCabin) else error
            continue
        if enrolment.short(met) == expected:
            return address, met
        fault = WrongCabin(address=address, met=enrolment.in_pairs(met))
    raise fault


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


def check_format(hello: dict[str, Any]) -> int:
    """The format to speak with this cabin, before anything is sent. Raises CabinIsNewer, CabinIsOlder, NotUnderstood.

    A cabin that does not say which is the oldest format it speaks is one of the first, and speaks that.
    """
    newest, oldest = hello.get("format"), hello.get("format_min", 1)
    if not isinstance(newest, int) or not isinstance(oldest, int):
        raise NotUnderstood(what="hello")
    try:
        return wire.agreed(newest, oldest)
    except wire.NoCommonFormat as fault:
        if fault.newer:
            raise CabinIsNewer(theirs=oldest, own=wire.MESSAGES) from fault
        raise CabinIsOlder(theirs=newest, own=wire.OLDEST) from fault
