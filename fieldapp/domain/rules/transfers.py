"""Rules about what is sent away, sampled or thrown away, and about photos.

Possible human remains are dealt with by law and licence, never by a rule: these rules only remind. Whether an
assessment's signature holds cannot be seen here; it is taken to, and a reminder that keeps quiet allows nothing: what
allows is the docket's standing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import standing_of
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, Values, by_name, number, shown, term, text

DESTRUCTIVE, DISCARD, WORKED, LOAN = "destructive_sample", "discard", "worked_bone", "loan"

_GOES_OUT = frozenset({DESTRUCTIVE, WORKED, LOAN})
_BY_AUTHORITY = frozenset({DESTRUCTIVE, DISCARD, LOAN, "display"})
_QUERY = human.CAUTION[human.QUERY]
SPARE_G, SPARE = 0.1, 0.01
"""What balances may differ by: grams, or share of the whole (project decision)."""


def transfer_about_nothing(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Neither a docket nor a bag: nobody can say what was sent."""
    if text(transfer.values.get("docket")) is None and text(transfer.values.get("bag")) is None:
        yield "docket", {}


def subject_not_here(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """About a record that is not here, or was deleted."""
    for path in ("docket", "bag", "context"):
        if (named := text(record.values.get(path))) is not None:
            gone = around.subject is None if around.whole else False
            if gone or (around.subject is not None and around.subject.get("deleted") is True):
                yield path, {"other": shown(named)}
            return


def transfer_without_authority(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Sampled, lent, shown or thrown away, and nobody is named who allowed it."""
    kind = _kind(transfer)
    if kind in _BY_AUTHORITY and text(transfer.values.get("authority")) is None:
        yield "authority", {"kind": term("transfer_kind", kind)}


def transfer_without_receiver(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Gone out of the house, and nobody knows where to."""
    kind = _kind(transfer)
    if kind in _GOES_OUT and text(transfer.values.get("to")) is None:
        yield "to", {"kind": term("transfer_kind", kind)}


def destructive_without_photo(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A part of it is used up, and no photo shows what it was."""
    if _kind(transfer) == DESTRUCTIVE and text(transfer.values.get("photo_before")) is None:
        yield "photo_before", {}


def destructive_without_measurements(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A part of it is used up, and nobody has measured it before."""
    if _kind(transfer) == DESTRUCTIVE and transfer.values.get("measured_before") is not True:
        yield "measured_before", {}


def destructive_without_lab_code(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Without the laboratory's code its result will not find its way back to the bone."""
    if _kind(transfer) == DESTRUCTIVE and text(transfer.values.get("lab_code")) is None:
        yield "lab_code", {}


def destructive_without_remainder(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Nobody knows how much was taken, or how much is left."""
    if _kind(transfer) == DESTRUCTIVE:
        for path in ("taken_g", "remainder_g"):
            if transfer.values.get(path) is None:
                yield path, {}
                return


def transfer_weight_not_possible(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Less than nothing taken or left, or no number."""
    for path in ("taken_g", "remainder_g"):
        weight = transfer.values.get(path)
        if weight is not None and ((value := number(weight)) is None or value < 0):
            yield path, {"weight": shown(weight)}


def parts_heavier_than_whole(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """What was taken and what is left weigh more than the bone did."""
    taken, left = number(transfer.values.get("taken_g")), number(transfer.values.get("remainder_g"))
    whole = number(around.subject.get("weight_g")) if around.subject is not None else None
    if whole is not None and (taken is not None or left is not None):
        parts = (taken or 0.0) + (left or 0.0)
        if parts > whole + max(SPARE_G, SPARE * whole):
            yield "taken_g" if taken is not None else "remainder_g", {"parts": f"{parts:g}", "whole": f"{whole:g}"}


def transfer_of_possible_human(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bone that may be human, to be sampled, sent, shown or thrown away before anybody entitled has assessed it."""
    # What is used up or thrown away cannot be looked at again: there "human not excluded" is enough.
    last = _kind(transfer) in (DESTRUCTIVE, DISCARD)
    minded = {human.STOP, human.QUERY, human.NOT_EXCLUDED} if last else {human.STOP, human.QUERY}
    for docket in _dockets(transfer, around, know):
        if standing_of(docket, know) in minded:
            yield _named(transfer), {"docket": shown(docket.label or "?")}
            return


def human_transfer_without_reference(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bone assessed as human leaves its place only under a licence or permission, whose number is written down."""
    if text(transfer.values.get("reference")) is None:
        if any(standing_of(one, know) == human.HUMAN for one in _dockets(transfer, around, know)):
            yield "reference", {}


def discard_before_recording(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Thrown away before it was read and counted: then it never was."""
    if _kind(transfer) == DISCARD:
        there = _about(transfer, around)
        unread = [one for one in there if one.get("reading") is None or one.get("count") is None]
        if unread:
            yield _named(transfer), {"number": str(len(unread)), "docket": shown(unread[0].get("label") or "?")}


def discarded_but_back(transfer: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Thrown away, and come back."""
    if _kind(transfer) == DISCARD and transfer.values.get("back") is True:
        yield "back", {}


def worked_without_transfer(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Worked bone that has not been sent to its specialist. It counts either way."""
    if around.whole and "mark" in docket.heads:
        for path, mark in docket.items("mark/"):
            if isinstance(mark, Mapping) and mark.get("kind") == "worked":
                sent = (one for one in around.transfers.values() if one.get("deleted") is not True)
                if not any(one.get("kind") == WORKED for one in sent):
                    yield path, {}
                return


def photo_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A photo that is spoken of and is not here."""
    if around.whole and "photo" in docket.heads:
        for path, linked in docket.items("photo/"):
            if linked is True:
                found = around.photos.get(path.partition("/")[2])
                if found is None or found.get("deleted") is True:
                    yield path, {}


def photo_about_nothing(photo: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A photo of no docket and no context."""
    if text(photo.values.get("docket")) is None and text(photo.values.get("context")) is None and not around.inside:
        yield "docket", {}


def photo_without_scale(photo: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Nobody will be able to tell how large it was."""
    if photo.values.get("scale") is False:
        yield "scale", {}


def photo_without_picture(photo: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A photo's record without a picture."""
    if text(photo.values.get("sha256")) is None:
        yield "sha256", {}


def photo_open_of_possible_human(photo: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A picture of bone that is or may be human, open to everybody."""
    if photo.values.get("closed") is not True:
        for docket in _dockets(photo, around, know):
            if standing_of(docket, know) in human.RAISED:
                yield "closed", {"docket": shown(docket.label or "?")}
                return


def _kind(transfer: Record) -> str | None:
    return text(transfer.values.get("kind"))


def _named(transfer: Record) -> str:
    return "docket" if text(transfer.values.get("docket")) is not None else "bag"


def _about(record: Record, around: Around) -> list[Values]:
    """The dockets that a transfer or photo is about: the one it names, those in its bag, those that show it."""
    own = [around.subject] if around.subject is not None and text(record.values.get("docket")) is not None else []
    return [one for one in (*own, *around.inside) if one.get("deleted") is not True]


def _dockets(record: Record, around: Around, know: Knowledge) -> Iterator[Docket]:
    """Those dockets, and the ones that are said to be the same bone."""
    for values in (*_about(record, around), *around.joined.values()):
        if values.get("deleted") is not True:
            yield Docket(values, know)


RULES = by_name(
    transfer_about_nothing,
    subject_not_here,
    transfer_without_authority,
    transfer_without_receiver,
    destructive_without_photo,
    destructive_without_measurements,
    destructive_without_lab_code,
    destructive_without_remainder,
    transfer_weight_not_possible,
    parts_heavier_than_whole,
    transfer_of_possible_human,
    human_transfer_without_reference,
    discard_before_recording,
    discarded_but_back,
)
DOCKET_RULES = by_name(worked_without_transfer, photo_missing)
NEEDS = {"worked_without_transfer": "mark", "photo_missing": "photo"}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""

PHOTO_RULES = by_name(
    photo_about_nothing,
    subject_not_here,
    photo_without_scale,
    photo_without_picture,
    photo_open_of_possible_human,
)
