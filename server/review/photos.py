"""Photographs on the pages: a strip of small ones, and each as a picture of its own.

What is closed is closed by any version of any record that names the picture, by its lying sealed, or by a bone that
stands raised. It is opened only for the roles that may see what is closed, one at a time and never unasked; each look
is noted before the picture is given out, and no browser keeps it. Not here: the files (server.photos).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flask import Response, abort, g, request
from werkzeug.wrappers import Response as AnyResponse

from fieldapp.records.fold import Record
from fieldapp.records.moments import moment
from server.ledger import pictures
from server.photos import looking
from server.review import closing, desk
from server.review.desk import pages
from server.review.showing import Said, Showing, label


@dataclass(frozen=True, slots=True)
class Shown:
    """A photograph in a strip.

    record, nr   its record, and which of the pictures that this names in its versions
    there        whether its file has come
    closed       whether it is closed; may_see: whether to who is signed in it is not
    docket, label  of the bone that it shows, "" on that bone's own page
    scale        true, false, or what else was written: then nothing is said of it
    disputed     whether the record's versions name several pictures
    said         who took it and when: who wrote the picture's name into the record, the first first
    """

    record: str
    nr: int
    there: bool
    closed: bool
    may_see: bool
    view: object
    scale: object
    north: bool
    docket: str
    label: str
    disputed: bool
    said: tuple[Said, ...]


def strip(ids: Sequence[str]) -> list[Shown]:
    """The photographs of a docket, or of a context and its dockets, each bone's in the order in which they were taken;
    the first id is the page's own."""
    with desk.ledger().database.reading() as connection:
        records = [one for one in pictures.showing(connection, ids) if one.life() != "deleted"]
        come = pictures.found(connection, [sha256 for one in records for sha256 in _named(one)])
    showing = Showing(desk.ledger())
    closed = closed_of({sha256 for one in records for sha256 in _named(one)})
    dockets = desk.ledger().get({str(one.value("docket")) for one in records} - set(ids[:1]))
    may_see = closing.may_see()
    found = []
    for one in records:
        named, about = _named(one), dockets.get(str(one.value("docket")))
        for nr, sha256 in enumerate(named):
            found.append(
                Shown(
                    record=one.id,
                    nr=nr,
                    there=sha256 in come,
                    closed=sha256 in closed or pictures.is_closed(one),
                    may_see=may_see,
                    view=one.value("view"),
                    scale=one.value("scale"),
                    north=one.value("north") is True,
                    docket=about.id if about else "",
                    label=label(about) if about else "",
                    disputed=len(named) > 1,
                    said=showing.said(
                        change for change, value in one.heads.get("sha256", {}).items() if value == sha256
                    ),
                )
            )
    return sorted(found, key=lambda one: (one.label != "", one.label, _taken(one), one.record, one.nr))


def _taken(one: Shown) -> str:
    """The moment of a picture; one that nobody is known to have taken comes first."""
    return moment(one.said[0].at) if one.said else ""


@pages.get("/photo/<photo>/<int:nr>/<any(small,middle,whole):size>")
@desk.needs_sign_in
def photo(photo: str, nr: int, size: str) -> AnyResponse:
    """A picture: small and middle are copies without the camera's notes, whole is as it came."""
    record = desk.ledger().record(photo)
    named = _named(record) if record is not None and "photo" in record.kinds else []
    if record is None or nr >= len(named):
        abort(404)
    sha256, photos = named[nr], desk.desk().photos
    is_closed = sha256 in closed_of([sha256]) or pictures.is_closed(record)
    if is_closed and not closing.may_see():
        abort(403)
    picture = photos.found([sha256]).get(sha256)
    if picture is None:
        abort(404)
    if is_closed:
        photos.forget_copies(sha256)
        closing.seen(_about(record), "photo")
    tag = f"{sha256}.{size}"
    if not is_closed and tag in request.if_none_match:
        return _to_stay(Response(status=304), tag)
    if size in looking.SIZES:
        answer = Response(photos.small(picture, size, closed=is_closed), mimetype="image/jpeg")
    else:
        data = photos.read(picture)
        if data is None:
            abort(404)
        known = looking.SORTS.get(picture.sort)
        answer = Response(data, mimetype=known or "application/octet-stream")
        if known is None:
            # No browser is to guess what else it might be.
            answer.headers["Content-Disposition"] = "attachment"
    return answer if is_closed else _to_stay(answer, tag)


def _to_stay(answer: Response, tag: str) -> Response:
    """A browser may keep it, and asks each time whether it may still show it."""
    g.stays = True
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.set_etag(tag)
    return answer


def _named(record: Record) -> list[str]:
    """The pictures that any version of a record names."""
    return sorted({one for one in record.heads.get("sha256", {}).values() if isinstance(one, str) and one})


def _about(record: Record) -> str:
    """The docket that it is of, or else the photo's own record: what is said in the log to have been looked at."""
    docket = record.value("docket")
    return docket if isinstance(docket, str) and desk.ledger().record(docket) is not None else record.id


def closed_of(named: Iterable[str]) -> set[str]:
    """Those of the pictures that are closed."""
    raised = {one.docket for one in desk.holds() if one.raised}
    closed = set()
    with desk.ledger().database.reading() as connection:
        listed = sorted(named)
        come = pictures.found(connection, listed)
        for sha256 in listed:
            records = pictures.naming(connection, sha256)
            if (
                (sha256 in come and come[sha256].sealed)
                or any(map(pictures.is_closed, records))
                or pictures.dockets_of(connection, records) & raised
            ):
                closed.add(sha256)
    return closed
