"""Ids that two tablets must make alike without having met. Not for random ids: those are made by the store."""

from __future__ import annotations

import unicodedata
import uuid
from collections.abc import Iterator
from itertools import count

_SITES = uuid.UUID("5e0b6c1e-6d1f-4f1b-9c55-0d5a4b0ed0c7")


def context_number(text: str) -> str:
    """A context number as it is compared: normal form, no spaces, upper case. "10 42a" and "1042A" are one."""
    return "".join(unicodedata.normalize("NFKC", text).split()).upper()


def context_id(site: str, number: str) -> str:
    """The record id of context `number` on the site with UUID `site`."""
    return str(uuid.uuid5(uuid.UUID(site), "context/" + context_number(number)))


def context_ids(site: str, number: str) -> Iterator[str]:
    """The ids that a context of this number may have, the usual first: the others are for a number that was given to
    another context, after the one that had it was numbered anew and kept its id."""
    yield context_id(site, number)
    for n in count(2):
        yield context_id(site, f"{number}#{n}")


def hold_id(docket: str) -> str:
    """The record id of the hold that follows a docket. An id that is no UUID, which no tablet of ours makes, has one
    too: nothing that such an id could be given must stand in the way of a hold."""
    try:
        of = uuid.UUID(docket)
    except ValueError:
        of = uuid.uuid5(_SITES, "docket/" + docket)
    return str(uuid.uuid5(of, "hold"))


def site_id(code: str) -> str:
    """The site's id from its code, so that a tablet that has not met the cabin yet writes for the same site."""
    return str(uuid.uuid5(_SITES, "".join(code.split()).upper()))
