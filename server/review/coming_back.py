"""The way back to the list that a page was opened from, so that nobody loses her place in it.

A page of LISTS puts its own address, as it was searched, sorted and turned to, into its links to the pages of KEEPING;
these keep it in their links, forms and redirects. It is an address within these pages, or nothing. Not here: lists
(tables), and what comes after (following).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qsl

from flask import request
from werkzeug.datastructures import MultiDict

from server.review import desk
from server.review.desk import pages

LISTS = frozenset({"dockets", "disagreements", "problems", "context", "changes", "cause", "doubles", "refits", "bag"})
KEEPING = frozenset(
    {
        "docket", "edit_docket", "save_docket", "check", "raise_docket", "disagreement", "settle", "open_again",
        "third", "combine", "combined", "third_reading", "write_reading", "pair", "say_of_pair",
    }
)  # fmt: skip
LONGEST = 400


def back() -> str:
    """The address that the page is asked to lead back to, without what the server puts before it; "" for none."""
    told = request.args.get("back", "")
    return desk.inside(told) if len(told) <= LONGEST else ""


def asked_of(path: str) -> MultiDict[str, str]:
    """What the address led back to asks of its list, if it is the list at this path."""
    before, _, query = back().partition("?")
    return MultiDict(parse_qsl(query) if before == path else ())


@pages.url_defaults
def _kept(endpoint: str, values: dict[str, Any]) -> None:
    if _name(endpoint) in KEEPING:
        here = request.full_path.rstrip("?") if _is_list() else back()
        if here and len(here) <= LONGEST:
            values.setdefault("back", here)


@pages.context_processor
def _shown() -> dict[str, str]:
    found = back()
    return {"back": request.script_root + found if found else ""}


def _is_list() -> bool:
    return request.method == "GET" and _name(request.endpoint or "") in LISTS


def _name(endpoint: str) -> str:
    return endpoint.rpartition(".")[2]
