"""The teeth of a docket as their rules see them, and the age at death that they allow. No rules here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Docket, shown, term, text
from fieldapp.domain.teeth import GONE, JAWS, Scheme, Tooth, ToothLimit, WearStage, coming

SIDES = ("left", "right")


@dataclass(slots=True)
class Item:
    """One tooth of a docket, as its rules see it.

    row    its row in the table of teeth, None where the key is not known
    jaw    written, or that of the bone it stands in;  side  written, or that of the bone
    state  written, or what its wear code says;  step  its place in the order of coming through
    scheme, wear, stage  as written; the scheme's row; the stage that `wear` names in it
    """

    path: str
    value: Mapping[str, Any]
    key: str | None
    row: Tooth | None
    jaw: str | None
    side: str | None
    seat: str | None
    state: str | None
    step: int | None
    wear: str | None
    scheme: Scheme | None
    stage: WearStage | None

    @property
    def there(self) -> bool:
        """Whether the tooth itself is there, not only its place."""
        return self.seat != "socket_only" and self.state not in GONE

    @property
    def worn(self) -> bool:
        """Whether a stage of wear (not of coming through) is written."""
        return self.stage is not None and self.stage.kind == "wear"

    def names(self, docket: Docket, **more: str) -> dict[str, str]:
        """Sentence fields for the tooth, its jaw and its animal, and others."""
        name = term("tooth", self.row.key) if self.row is not None else shown(self.key)
        return docket.names(tooth=name, jaw=term("jaw", self.jaw), **more)


def items(docket: Docket, know: Knowledge) -> list[Item]:
    """The teeth of a docket that are written as such, in the order of its paths. Worked out once for a docket."""
    found: list[Item] | None = docket.kept.get("teeth")
    if found is None:
        found = docket.kept["teeth"] = _items(docket, know)
    return found


def _items(docket: Docket, know: Knowledge) -> list[Item]:
    own = know.teeth.bearers.get(docket.element or "") or None
    side = docket.side if docket.side in SIDES else None
    found: list[Item] = []
    for path, value in docket.items("tooth/"):
        if isinstance(value, Mapping):
            get = value.get
            key, jaw, its = text(get("tooth")), text(get("jaw")), text(get("side"))
            wear, scheme = text(get("wear")), know.teeth.schemes.get(text(get("scheme")) or "")
            stage = scheme.stage(wear) if scheme is not None and wear else None
            state = text(get("stage")) or (stage.state if stage is not None else None) or None
            found.append(
                Item(
                    path, value, key, know.teeth.tooth(key), jaw if jaw in JAWS else own,
                    its if its in SIDES else side, text(get("seat")), state, coming(state), wear, scheme, stage,
                )
            )  # fmt: skip
    return found


def tooth_age_limits(docket: Docket, know: Knowledge) -> tuple[ToothLimit | None, ToothLimit | None]:
    """The age at death that the teeth of a docket allow: (at least, at most), in months, None where open."""
    if "tooth" not in docket.heads or docket.taxon is None:
        return None, None
    seen = ((one.row.key, one.jaw, one.state) for one in items(docket, know) if one.row and one.state)
    return know.teeth.age_limits(docket.taxon, seen)
