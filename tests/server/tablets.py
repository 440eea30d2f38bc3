"""Tablets for tests: they write chained changes as a notebook does, with ids and times that repeat."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fieldapp.domain.ids import context_id, hold_id, site_id
from fieldapp.records import changes, signing
from fieldapp.records.changes import Change

CODE = "TST26"
SITE = site_id(CODE)
_ids = uuid.UUID("00000000-0000-4000-8000-00000000b0de")


def an_id(name: str) -> str:
    """A UUID that is always the same for a name."""
    return str(uuid.uuid5(_ids, name))


class Tablet:
    """A notebook's worth of changes. `write` adds one and returns it; `entries` gives them as they are pushed."""

    def __init__(self, name: str = "tablet one", site: str = SITE) -> None:
        self.id = an_id(name)
        self.site = site
        self.by = {"person": an_id("digger"), "name": "A. Digger", "role": "recorder"}
        self.changes: list[Change] = []

    def write(
        self,
        kind: str,
        record: str,
        set: Mapping[str, Any],
        over: Mapping[str, Sequence[str]] | None = None,
        *,
        n: int | None = None,
        prev: str | None = None,
        at: str = "",
    ) -> Change:
        last = self.changes[-1] if self.changes else None
        change = changes.write(
            notebook=self.id,
            n=n or (last.n + 1 if last else 1),
            prev=prev if prev is not None else last.id if last else "",
            site=self.site,
            record=record,
            kind=kind,
            set=set,
            over=over or {},
            by=self.by,
            at=at or "2026-06-01T10:00:00+02:00",
        )
        self.changes.append(change)
        return change

    def docket(self, name: str, **set: Any) -> Change:
        """A docket called `name`, in context 1042 unless it is told otherwise."""
        values = {"label": f"{CODE} A{len(self.changes) + 1}", "context": context_id(self.site, "1042"), **set}
        return self.write("docket", an_id(name), values)

    def human(self, name: str, answer: str, item: str = "first") -> Change:
        """A reading of the human question about the docket `name`."""
        return self.write(
            "docket", an_id(name), {f"human/{an_id(item)}": {"answer": answer, "why": "", "stage": "trench"}}
        )

    def entries(self, start: int = 0) -> list[tuple[str, str]]:
        return entries(self.changes[start:])


def entries(written: Sequence[Change]) -> list[tuple[str, str]]:
    return [(one.id, one.body) for one in written]


def reading(element: str | None = "tibia", taxon: str | None = "sheep", **more: Any) -> dict[str, Any]:
    """A docket's reading, nothing examined beyond what is said."""
    return {
        "element": element,
        "side": "left",
        "taxon": taxon,
        "certainty": "certain",
        "portions": {},
        "fusion": {},
        "sex": None,
        "stage": "scan",
        "compared": "",
        **more,
    }


class Osteologist:
    """A person with a key. `assess` gives a signed assessment for a docket."""

    def __init__(self, name: str = "osteologist", role: str = "human_osteologist") -> None:
        self.id = an_id(name)
        self.role = role
        self.key = an_id(name + " key")
        self.private = Ed25519PrivateKey.generate()

    @property
    def grant(self) -> dict[str, Any]:
        return {"public": signing.public_text(self.private), "role": self.role, "revoked": False}

    def assess(self, docket: str, seen: Sequence[str], item: str = "assessment", **more: Any) -> dict[str, Any]:
        """{path: signed value} of a verdict: sheep, seen on the bone."""
        path = f"assessment/{an_id(item)}"
        value = {
            "verdict": "non_human",
            "taxon": "sheep",
            "element": "tibia",
            "portion": "distal",
            "side": "left",
            "seen": list(seen),
            "bone_seen": "bone",
            "reasons": "shape of the distal joint",
            "ruled_out": "human tibia",
            "comparison": "reference collection",
            **more,
        }
        signed = signing.sign(
            value, private=self.private, person=self.id, key=self.key, site=SITE, record=docket, path=path
        )
        return {path: signed}

    def release(self, hold: str, seen: Sequence[str]) -> dict[str, Any]:
        """{path: signed value} of the word to go on."""
        path = f"release/{an_id('release')}"
        value = {"seen": list(seen), "authority": "the office named by law", "ref": "17"}
        signed = signing.sign(
            value, private=self.private, person=self.id, key=self.key, site=SITE, record=hold, path=path
        )
        return {path: signed}


def hold_of(name: str) -> str:
    """The id of the hold that follows the docket called `name`."""
    return hold_id(an_id(name))


def ids() -> Iterator[str]:
    """UUIDs that repeat from run to run."""
    number = 0
    while True:
        number += 1
        yield an_id(f"made {number}")
