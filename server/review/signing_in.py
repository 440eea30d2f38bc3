"""Signing in and out. Not here: passwords, their rate limit and their log (server.ledger.accounts)."""

from __future__ import annotations

from flask import redirect, request, url_for
from werkzeug.wrappers import Response

from server.errors import SignInLocked, SignInRefused
from server.review import desk
from server.review.desk import pages


@pages.get("/sign-in")
def sign_in() -> Response:
    """The form."""
    if desk.account() is not None:
        return redirect(url_for("review.today"))
    return _form(200, desk.inside(request.args.get("next", "")), "", "")


@pages.post("/sign-in")
def signed_in() -> Response:
    """`account`: a person in a role, by the account's id; `password`; `next`: the page that was asked for."""
    chosen, back = desk.field("account"), desk.inside(request.form.get("next", ""))
    accounts = desk.desk().accounts
    one = accounts.get(chosen)
    try:
        # An account that is not there is asked for all the same, so that it takes as long to say no.
        person, role = (one.person, one.role) if one else ("", "")
        found = accounts.sign_in(person, role, request.form.get("password", ""), desk.address())
    except (SignInRefused, SignInLocked) as fault:
        return _form(int(fault.status), back, chosen, str(fault))
    desk.begin(found)
    return redirect(back or url_for("review.today"))


@pages.post("/sign-out")
def sign_out() -> Response:
    """Ends the session; the next person at this laptop finds nothing open."""
    desk.end()
    return redirect(url_for("review.sign_in"))


def _form(status: int, back: str, chosen: str, fault: str) -> Response:
    people = [one for one in desk.desk().accounts.all() if one.active]
    return desk.page("sign_in", status, next=back, people=people, chosen=chosen, fault=fault)
