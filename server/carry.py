"""Loading a tablet's carry-file and writing the answer to it: an exchange by stick, with the same merge.

    loaded = carry.load(cabin, file, who)          verifies the whole file, then takes it in; safe twice
    carry.answer(cabin, loaded, target)            what the tablet loads in return

After loss or theft a person decides: a withdrawn tablet's file is loaded only with `from_withdrawn`, and gets no
answer. Not here: the format (fieldapp.records.carrying), what a change means (ledger), who may do it (pages, command).
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from fieldapp.assets import texts
from fieldapp.records import carrying
from fieldapp.records.carrying import TO_CABIN, TO_TABLET, Header, Part, Reader, Writer, number_of, text_of
from server.cabin import Cabin
from server.errors import (
    CarryCut,
    CarryDamaged,
    CarryForeign,
    CarryKeyUnknown,
    CarryNewer,
    CarryNoAnswer,
    CarryNone,
    CarryNotEnrolled,
    CarryNotSigned,
    CarryRefused,
    CarryWithdrawn,
    PhotoTooLarge,
    PhotoWrong,
)
from server.ledger import Answer
from server.ledger.devices import Device
from server.photos import Part as Picture

BATCH, BATCH_CHARACTERS, PAGE = 500, 4_000_000, 1000

_SHA256 = re.compile(r"[0-9a-f]{64}")
_ERRORS: dict[type[carrying.CarryFault], type[CarryRefused]] = {
    carrying.NoCarryFile: CarryNone,
    carrying.CutShort: CarryCut,
    carrying.Damaged: CarryDamaged,
}


@dataclass(slots=True)
class Loaded:
    """A carry-file that is in the ledger.

    before    when it was loaded for the first time, "" if this was it
    answers   what became of each change, as for a push
    notices   {what, …} likewise
    photos    {(SHA-256, whether it came sealed): taken, known or refused}
    put_back  the tablet has met a later state of this ledger, or another life of it
    """

    header: Header
    device: Device
    seal: str
    before: str
    about: dict[str, Any] = field(default_factory=dict)
    answers: list[Answer] = field(default_factory=list)
    notices: list[dict[str, Any]] = field(default_factory=list)
    photos: dict[tuple[str, bool], str] = field(default_factory=dict)
    put_back: bool = False

    def number(self, answer: str) -> int:
        """How many changes were answered so: taken, known, kept_unread, set_aside."""
        return sum(one.answer == answer for one in self.answers)

    @property
    def name(self) -> str:
        """The tablet, for people."""
        return self.device.name or self.device.notebook


def load(cabin: Cabin, file: BinaryIO, who: str, *, from_withdrawn: bool = False, accept_key: str = "") -> Loaded:
    """Takes in what lies in `file`, which can be sought in; all of it, or nothing. `who` does it, for the log.

    accept_key  a tablet's key, as the tablet shows it, to be believed from now on though it was never told here

    Raises CarryRefused.
    """
    with _in_words():
        reader = Reader(file)
        header, private = reader.header, cabin.opening_key()
        device = _device(cabin, header, from_withdrawn)
        known = {one.sign: one.seal for one in cabin.carry_keys.of(device.notebook)}
        if header.signer not in known and _plain(accept_key) != _plain(carrying.spoken(header.signer)):
            raise CarryKeyUnknown(name=device.name or device.notebook, code=carrying.spoken(header.signer))
        loaded = Loaded(header, device, "", cabin.carry_keys.loaded(header.id))
        try:
            reader.verify(private, carrying.signed_by_tablet(header.signer), lambda part: _look(loaded, part))
        except carrying.NotSigned as fault:
            raise CarryNotSigned(notebook=header.sender) from fault
        if not loaded.about:
            raise carrying.Damaged
        if header.signer not in known:
            known[header.signer] = text_of(loaded.about, "seal")
            cabin.carry_keys.register(device.notebook, header.signer, known[header.signer], by=who)
        loaded.seal = known[header.signer]
        _take(cabin, loaded, reader.parts(private))
    cabin.carry_keys.note_loaded(header.id, header.sender, header.at)
    cabin.devices.seen(header.sender)
    fields = {"notebook": header.sender, "name": loaded.name, "letter": device.letter, "by": who, "file": header.id}
    cabin.ledger.note("carry_loaded", who, {**fields, "n": len(loaded.answers), "new": loaded.number("taken")})
    if device.withdrawn_at is not None:
        cabin.ledger.note("carry_from_withdrawn", who, fields)
    cabin.rules_due()
    return loaded


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except carrying.NewerFormat as fault:
        raise CarryNewer(theirs=fault.theirs, own=carrying.FORMAT) from fault
    except carrying.CarryFault as fault:
        raise _ERRORS[type(fault)] from fault


def _device(cabin: Cabin, header: Header, from_withdrawn: bool) -> Device:
    """The tablet a file is from, if it is for this cabin and may be loaded. Raises CarryRefused."""
    if header.way != TO_CABIN:
        raise _foreign("no_tablet", header)
    if header.site != cabin.ledger.names().site:
        raise _foreign("site", header)
    if header.receiver != cabin.fingerprint:
        raise _foreign("cabin", header)
    device = cabin.devices.of(header.sender)
    if device is None:
        raise CarryNotEnrolled(notebook=header.sender)
    if device.withdrawn_at is not None and not from_withdrawn:
        raise CarryWithdrawn(name=device.name or device.notebook, letter=device.letter, at=device.withdrawn_at)
    return device


def _foreign(why: str, header: Header) -> CarryForeign:
    return CarryForeign(what=texts()[f"cabin.carry_foreign.{why}"].format(code=header.code))


def _plain(code: str) -> str:
    return "".join(one for one in code.upper() if one.isalnum())


def _look(loaded: Loaded, part: Part) -> None:
    """Whether a part is what it is called, before any is taken. Raises Damaged."""
    line, blob = part
    if not loaded.about:
        if line["what"] != "about" or type(line.get("everything")) is not bool:
            raise carrying.Damaged
        for name in ("epoch", "mark", "seal"):
            text_of(line, name)
        for name in ("seq", "n"):
            number_of(line, name)
        loaded.about = line
    elif line["what"] == "change":
        for name in ("id", "body"):
            text_of(line, name)
    elif line["what"] == "photo":
        if blob is None or not _SHA256.fullmatch(text_of(line, "sha256")) or type(line.get("sealed")) is not bool:
            raise carrying.Damaged
        digest = hashlib.sha256()
        while data := blob.read(carrying.CHUNK):
            digest.update(data)
        if not line["sealed"] and digest.hexdigest() != line["sha256"]:
            raise carrying.Damaged


def _take(cabin: Cabin, loaded: Loaded, parts: Iterable[Part]) -> None:
    ledger, about = cabin.ledger, loaded.about
    names = ledger.names()
    if about["epoch"]:
        if about["epoch"] == names.epoch and names.head < about["seq"]:
            ledger.renew("cabin.epoch.carried", loaded.header.sender)
        else:
            # A page of nothing: it looks at the mark, and begins a new epoch if that is another.
            ledger.pull(about["seq"], 1, notebook=loaded.header.sender, epoch=about["epoch"], mark=about["mark"])
        loaded.put_back = about["epoch"] != ledger.names().epoch
    batch: list[tuple[str, str]] = []
    size = 0
    for line, blob in parts:
        if line["what"] == "change":
            one, body = line["id"], line["body"]
            if batch and (len(batch) == BATCH or size + len(body) > BATCH_CHARACTERS):
                _accept(cabin, loaded, batch)
                batch, size = [], 0
            batch.append((one, body))
            size += len(body)
        elif line["what"] == "photo" and blob is not None:
            part = Picture(line["sha256"], line["size"], line["sealed"])
            loaded.photos[part.sha256, part.sealed] = keep_photo(cabin, loaded.header.sender, part, blob)
    if batch:
        _accept(cabin, loaded, batch)


def _accept(cabin: Cabin, loaded: Loaded, batch: list[tuple[str, str]]) -> None:
    accepted = cabin.ledger.accept(batch, loaded.header.sender)
    loaded.answers += accepted.answers
    loaded.notices += [one for one in accepted.notices if one not in loaded.notices]


def keep_photo(cabin: Cabin, sender: str, part: Picture, data: BinaryIO) -> str:
    """Keeps a picture: "taken", "known" if it is here, "refused" if it is not what it says or too large.

    Raises PhotoStoreAway: then the file has to be loaded again, which harms nothing.
    """
    if cabin.photos.is_whole(part.sha256, part.sealed):
        return "known"
    # What an interrupted sync has left of it is put in the place of by the whole.
    cabin.photos.incoming.drop(sender, part.sha256)
    try:
        cabin.photos.take(sender, part, 0, iter(lambda: data.read(carrying.CHUNK), b""))
    except (PhotoWrong, PhotoTooLarge):
        return "refused"
    return "taken"


# -- the answer


def answer(cabin: Cabin, loaded: Loaded, target: BinaryIO) -> int:
    """Writes the answer for the tablet; how many changes go to it. Raises CarryNoAnswer.

    Sealed places of others stay here, as in every exchange.
    """
    header, about, ledger = loaded.header, loaded.about, cabin.ledger
    device = cabin.devices.of(header.sender)
    if device is None or device.withdrawn_at is not None:
        raise CarryNoAnswer(name=loaded.name)
    certificate, private = cabin.certificate_key()
    outside = Header(
        way=TO_TABLET,
        id=cabin.config.new_id(),
        site=header.site,
        code=header.code,
        sender=cabin.fingerprint,
        receiver=header.sender,
        at=ledger.now(),
        signer=base64.b64encode(certificate).decode("ascii"),
    )
    # The count at this moment: what comes in meanwhile is for the next answer.
    end = ledger.pull(ledger.names().head, 1, notebook=header.sender)
    # Asked of the ledger, not of the notices: those come once, and their answer may be lost.
    own = loaded.put_back or ledger.forked(header.sender) or end.own > about["n"]
    since = 0 if own else about["seq"]
    writer = Writer(target, outside, loaded.seal, carrying.cabins_sign(private))
    writer.line(
        "about",
        of=header.id,
        notebook=header.sender,
        asked={name: about[name] for name in ("epoch", "seq", "everything")},
        epoch=end.epoch,
        since=since,
        cursor=end.cursor,
        mark=end.mark,
        own=end.own,
    )
    words = texts()
    for one in loaded.answers:
        writer.line("answer", id=one.id, answer=one.answer, why=words.get(one.why, one.why))
    for (sha256, sealed), became in loaded.photos.items():
        writer.line("photo", sha256=sha256, sealed=sealed, answer=became)
    for notice in loaded.notices:
        text = words[f"cabin.notice.{notice['what']}"].format(**notice)
        writer.line("notice", notice=notice["what"], text=text, about=notice)
    sent, at = 0, since
    while at < end.cursor:
        page = ledger.pull(at, PAGE, "" if own else header.sender, notebook=header.sender)
        for seq, name, body in page.rows:
            if seq <= end.cursor:
                writer.line("change", id=name, body=body)
                sent += 1
        at = page.cursor
    writer.finish()
    return sent


def answer_name(loaded: Loaded) -> str:
    """A file name for the answer that tells people what it is."""
    at = re.sub(r"[^0-9]", "", loaded.header.at)[:14]
    return f"answer-{loaded.header.code}-{loaded.device.letter}-{at}.carry"


def write_answer(cabin: Cabin, loaded: Loaded, path: Path) -> int:
    """Like `answer`, to a file that is whole or not there."""
    beside = path.with_name(path.name + ".new")
    try:
        with beside.open("wb") as file:
            sent = answer(cabin, loaded, file)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return sent


def told(loaded: Loaded) -> list[str]:
    """What was loaded, in sentences."""
    words, say = texts(), []
    names = {"name": loaded.name, "letter": loaded.device.letter}
    if loaded.before:
        say.append(words["cabin.carry.before"].format(at=loaded.before))
    say.append(
        words["cabin.carry.loaded"].format(
            **names, n=len(loaded.answers), new=loaded.number("taken"), known=loaded.number("known")
        )
    )
    aside = loaded.number("kept_unread") + loaded.number("set_aside")
    if aside:
        say.append(words["cabin.carry.aside"].format(n=aside))
    if loaded.photos:
        say.append(words["cabin.carry.photos"].format(n=len(loaded.photos)))
    if loaded.put_back and not loaded.about["everything"]:
        say.append(words["cabin.carry.put_back"].format(**names))
    return [*say, *(words[f"cabin.notice.{one['what']}"].format(**one) for one in loaded.notices)]
