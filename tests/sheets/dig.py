"""An invented site for the sheets' tests: people, tablets and finds that never were.

`Dig` writes chained changes as tablets do and hands a context's folded records to the gathering.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta, timezone
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fieldapp import assets
from fieldapp.domain import ids
from fieldapp.domain.labels import Label
from fieldapp.domain.readings import blank_reading
from fieldapp.records import signing, standing
from fieldapp.records.changes import Change, write
from fieldapp.records.fold import Record, fold
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.selecting import of_context

CODE = "IVS26"
NAME = "Ivy Sluice (an invented site)"
SITE = ids.site_id(CODE)
PRINTED = datetime(2026, 7, 14, 16, 20, tzinfo=timezone(timedelta(hours=3)))
SOURCE = "the cabin ledger of an invented site"

PEOPLE = {
    "ada": ("Ada Fennick", "recorder"),
    "bo": ("Bo Halloran", "recorder"),
    "cem": ("Cem Yıldızoğlu", "supervisor"),  # noqa: RUF001
    "dora": ("Dóra Wiśniewska-Παπαδοπούλου", "zooarchaeologist"),
    "eve": ("Eve Tarn", "human_osteologist"),
    "fay": ("Fay Locke", "director"),
}
"""{person id: (name, role)}, all invented."""


class Dig:
    """Writes what people do on the invented site; each has a tablet and a letter of their own."""

    def __init__(self) -> None:
        self.changes: list[Change] = []
        self.keys = {one: Ed25519PrivateKey.from_private_bytes(one.ljust(32, ".").encode()) for one in ("eve", "fay")}
        self._places: dict[str, tuple[int, str]] = {}
        self._clock = datetime(2026, 7, 1, 8, 0, tzinfo=timezone(timedelta(hours=3)))
        self._made = 0
        self.set("fay", "site", SITE, {"code": CODE, "name": NAME, "mode": "excavation"})
        for one, (name, role) in PEOPLE.items():
            values: dict[str, Any] = {"name": name, "role": role, "active": True}
            if one in self.keys:
                public = signing.public_text(self.keys[one])
                values["key/k1"] = {"public": public, "role": role, "revoked": False}
            self.set("fay", "person", one, values)

    def new_id(self) -> str:
        self._made += 1
        return str(uuid.uuid5(uuid.NAMESPACE_OID, f"dig {self._made}"))

    def set(
        self,
        who: str,
        kind: str,
        record: str,
        values: Mapping[str, Any],
        over: Mapping[str, list[str]] | None = None,
    ) -> Change:
        """`who` saves `values`, a few minutes after the last change."""
        n, prev = self._places.get(who, (0, ""))
        name, role = PEOPLE[who]
        self._clock += timedelta(minutes=7)
        change = write(
            notebook=str(uuid.uuid5(uuid.NAMESPACE_OID, who)),
            n=n + 1,
            prev=prev,
            site=SITE,
            record=record,
            kind=kind,
            set=values,
            over=over or {},
            by={"person": who, "name": name, "role": role},
            at=self._clock.isoformat(),
        )
        self._places[who] = (n + 1, change.id)
        self.changes.append(change)
        return change

    def context(self, number: str, who: str = "cem", **values: Any) -> str:
        record = ids.context_id(SITE, number)
        self.set(who, "context", record, {"number": number, "state": "open", **values})
        return record

    def bag(self, context: str, number: int, who: str = "ada", **values: Any) -> str:
        record = self.new_id()
        label = str(Label(CODE, who[0].upper(), number))
        self.set(who, "bag", record, {"label": label, "context": context, **values})
        return record

    def docket(self, bag: str, number: int, who: str = "ada", **values: Any) -> str:
        record = self.new_id()
        label = str(Label(CODE, who[0].upper(), number))
        self.set(who, "docket", record, {"label": label, "bag": bag, **values})
        return record

    def note(self, who: str, docket: str, text: str, stage: str = "trench", kind: str = "docket") -> None:
        self.set(who, kind, docket, {f"note/{self.new_id()}": {"text": text, "stage": stage}})

    def ask(self, who: str, docket: str, answer: str, **values: Any) -> str:
        """An answer to the human question; returns its id as assessments name it."""
        path = f"human/{self.new_id()}"
        change = self.set(who, "docket", docket, {path: {"answer": answer, "why": "", "stage": "trench", **values}})
        return f"{path}@{change.id}"

    def assess(self, docket: str, verdict: str, seen: list[str], **values: Any) -> str:
        """The osteologist's signed verdict; its id."""
        path = f"assessment/{self.new_id()}"
        value = {"verdict": verdict, "seen": seen, "bone_seen": "bone", "reasons": "invented", **values}
        signed = signing.sign(
            value, private=self.keys["eve"], person="eve", key="k1", site=SITE, record=docket, path=path
        )
        return f"{path}@{self.set('eve', 'docket', docket, {path: signed}).id}"

    def hold(self, docket: str, tier: str, who: str = "ada", **values: Any) -> str:
        record = ids.hold_id(docket)
        self.set(who, "hold", record, {"docket": docket, "tier": tier, **values})
        return record

    def told(self, who: str, hold: str, whom: str, how: str = "in_person", what: str = "told") -> None:
        self.set(who, "hold", hold, {f"step/{self.new_id()}": {"what": what, "whom": whom, "how": how}})

    def release(self, docket: str, seen: list[str]) -> None:
        """The director enters the written word, signed."""
        path, hold = f"release/{self.new_id()}", ids.hold_id(docket)
        value = {"seen": seen, "word_of": "the coroner's officer (invented)"}
        signed = signing.sign(
            value, private=self.keys["fay"], person="fay", key="k1", site=SITE, record=hold, path=path
        )
        self.set("fay", "hold", hold, {path: signed})

    def license(self, conditions: str = "") -> None:
        """The site is dug under a licence from now on."""
        values = {"mode": "licensed", "licence": "L-77", "licence_conditions": conditions or None}
        self.set("fay", "site", SITE, values, {"mode": self.records()[SITE].head_ids()["mode"]})

    def records(self) -> dict[str, Record]:
        return fold(self.changes).records

    def sheet(self, context: str, *, hold_words: bool = False) -> ContextSheet:
        """The context's sheet, as anybody who holds all the changes would gather it."""
        return self.gatherer(hold_words=hold_words)(context)

    def gatherer(self, *, hold_words: bool = False) -> Callable[[str], ContextSheet]:
        """Gathers sheets by context id from the changes made so far."""
        records = self.records()
        persons = [one for one in records.values() if one.kind == "person"]
        authority = standing.authority(records.get(SITE), persons, assets.knowledge().names)
        who = {one.id: (one.by["name"], one.by["role"], one.at) for one in self.changes}

        def one_sheet(context: str) -> ContextSheet:
            return of_context(
                records[context],
                records.values(),
                site=records.get(SITE),
                authority=authority,
                knowledge=assets.knowledge(),
                who=who,
                source=SOURCE,
                hold_words=hold_words,
            )

        return one_sheet


def reading(
    element: str | None,
    taxon: str | None,
    side: str | None = None,
    *,
    most: str = "",
    part: str = "",
    absent: str = "",
    fusion: Mapping[str, str] | None = None,
    **values: Any,
) -> dict[str, Any]:
    """A whole reading; portions by name with spaces between, all others not examined."""
    found = blank_reading(element, taxon, assets.knowledge(), stage="scan")
    found["side"] = side
    for state, keys in (("most", most), ("part", part), ("absent", absent)):
        found["portions"].update(dict.fromkeys(keys.split(), state))
    found["fusion"].update(fusion or {})
    return {**found, **values}


def sample() -> tuple[Dig, str]:
    """A context with a little of everything; the dig and the context's id."""
    dig = Dig()
    context = dig.context("1042", type="pit_fill", trench="B", phase="3 (late)", grave_like="no")
    dig.note("cem", context, "Dark silty fill with charcoal; cut by the later drain on its north side.", kind="context")
    first = dig.bag(context, 12, recovery="hand", state="washed", box="4")
    sieved = dig.bag(context, 3, "bo", recovery="sieve", mesh_mm=4.0, state="unwashed")

    tibia = dig.docket(
        first, 101, material="bone", count=1, weight_g=34.2, burning="unburnt",
        reading=reading(
            "tibia", "sheep_goat", "left", most="lower_shaft distal_metaphysis distal_medial distal_lateral",
            part="upper_shaft", absent="medial_condyle lateral_condyle tuberosity proximal_metaphysis",
            fusion={"distal": "fused", "proximal": "not_visible", "tuberosity": "not_visible"}, certainty="cf",
        ),
    )  # fmt: skip
    dig.note("ada", tibia, "Fine cut marks on the inner side above the distal end.")
    dig.ask("ada", tibia, "no_sign")

    humerus = dig.docket(first, 102, material="bone", count=1, weight_g=212.0, finder="Ada Fennick")
    dig.set("ada", "docket", humerus, {"reading": reading(
        "humerus", "cattle", "right", most="distal_metaphysis trochlea capitulum", part="lower_shaft",
        fusion={"distal": "fused"},
    )})  # fmt: skip
    dig.set("dora", "docket", humerus, {"reading": reading(
        "humerus", "red_deer", "right", most="distal_metaphysis trochlea", part="capitulum lower_shaft",
        absent="head greater_tubercle", fusion={"distal": "fused"}, stage="analysis",
        compared="reference skeleton of red deer, adult",
    )})  # fmt: skip
    dig.set("bo", "docket", humerus, {"count": 2})
    dig.ask("ada", humerus, "no_sign")

    radius = dig.docket(first, 103, material="bone", count=1, weight_g=11.0)
    dig.set("ada", "docket", radius, {"reading": reading(
        "radius", "sheep_goat", None, most="proximal_medial proximal_lateral proximal_metaphysis",
        fusion={"proximal": "fused"},
    )})  # fmt: skip
    dig.set("dora", "docket", radius, {"reading": reading(
        "radius", "sheep", "left", most="proximal_medial proximal_lateral proximal_metaphysis",
        fusion={"proximal": "fused"}, stage="analysis",
    )})  # fmt: skip

    ribs = dig.docket(sieved, 7, "bo", material="bone", count=14, weight_g=6.5, burning="calcined")
    dig.set("bo", "docket", ribs, {"reading": reading("rib", "medium_mammal", "unsided", part="upper_body")})
    dig.ask("bo", ribs, "not_excluded", why="burnt white, small")

    stopped = dig.docket(first, 104, material="bone", count=1)
    dig.set("ada", "docket", stopped, {"reading": reading("femur", None, None, most="upper_shaft lower_shaft")})
    dig.ask("ada", stopped, "stop", in_place=True, why="long, slender, thick walls; ridge along the back")
    hold = dig.hold(stopped, "stop", in_place=True, zone="all of trench B and its spoil", place_sealed="SEALED-PLACE")
    dig.told("cem", hold, "director", "telephone")
    dig.told("fay", hold, "the police (invented)", "telephone", what="authority_told")

    queried = dig.docket(sieved, 8, "bo", material="bone", count=1, weight_g=1.2)
    dig.ask("bo", queried, "query", in_place=False, why="thin vault-like piece from the sieve")
    dig.hold(queried, "query", "bo", in_place=False)

    odd = dig.docket(first, 105, material="tooth", count=1, weight_g=9.0)
    dig.set("ada", "docket", odd, {"reading": reading(
        "femur", "cattle", "left", most="head", absent="distal_metaphysis medial_condyle lateral_condyle",
        fusion={"head": "fused", "distal": "fused"},
    )})  # fmt: skip

    gone = dig.docket(first, 106, material="bone", count=1)
    shell = dig.docket(first, 107, material="shell", count=5, weight_g=40.0)
    seen = {path: ids for path, ids in dig.records()[gone].head_ids().items()}
    dig.set("ada", "docket", gone, {"deleted": True}, seen)
    disputed = dig.docket(first, 108, material="bone", count=1, weight_g=3.0)
    seen = dig.records()[disputed].head_ids()
    dig.set("bo", "docket", disputed, {"reading": reading("tibia", "pig", "left", most="lower_shaft")})
    dig.set("ada", "docket", disputed, {"deleted": True}, seen)
    group = dig.new_id()
    dig.set("cem", "group", group, {
        "label": "G1", "context": context, "relation": "articulated_observed", f"member/{tibia}": True,
        f"member/{radius}": True,
    })  # fmt: skip
    dig.note("bo", shell, "Oyster, one with a drilled hole.")
    return dig, context
