"""Which keys do what on the pages: a page of its own, linked from every page's foot. Not here: any key."""

from __future__ import annotations

from werkzeug.wrappers import Response

from server.review import desk
from server.review.desk import pages

KEYS = ("s", "l", "n", "k", "e", "t", "m", "b", "h", "p")
"""Letters of `accesskey` in the templates; tests hold the two together."""


@pages.get("/keys")
@desk.needs_sign_in
def keys() -> Response:
    """The letters, and how a browser is told of them."""
    return desk.page("keys", keys=KEYS)
