"""My account: one's own password, and an end to every other sign-in of it.

Not here: signing in (signing_in), what ends a session (server.ledger.sessions), other people's accounts (people).
"""

from __future__ import annotations

from flask import redirect, request, session, url_for
from werkzeug.wrappers import Response

from server.errors import SignInLocked, SignInRefused
from server.ledger import passwords
from server.ledger import people as looking_after
from server.review import desk, words
from server.review.desk import pages

DONE = ("password", "elsewhere")


@pages.get("/account")
@desk.needs_sign_in
def my_account() -> Response:
    """Who is signed in, and the two forms."""
    return _page()


@pages.post("/account/password")
@desk.needs_sign_in
def my_password() -> Response:
    """`old`, `new`, `again`. Every other sign-in of the account ends."""
    me = desk.me()
    old, new, again = (request.form.get(name, "") for name in ("old", "new", "again"))
    fault = passwords.fault(new, me.name) or ("again" if new != again else "same" if new == old else "")
    if fault:
        return _page(400, fault=words.say(f"account.fault.{fault}", n=passwords.SHORTEST))
    try:
        desk.desk().accounts.change_password(me.person, me.role, old, new, desk.address())
    except SignInRefused as refused:
        return _page(int(refused.status), fault=words.say("account.fault.old"))
    except SignInLocked as locked:
        return _page(int(locked.status), fault=str(locked))
    return _only_here("password")


@pages.post("/account/elsewhere")
@desk.needs_sign_in
def my_sessions() -> Response:
    """Ends every sign-in of the account but this one."""
    return _only_here("elsewhere")


def _only_here(done: str) -> Response:
    me = desk.me()
    looking_after.end_sessions(desk.ledger(), me, me.by)
    token = desk.token()
    desk.begin(me)
    # Other pages that are open in this browser go on too, with their forms.
    session["csrf"] = token
    return redirect(url_for("review.my_account", done=done))


def _page(status: int = 200, *, fault: str = "") -> Response:
    done = request.args.get("done", "")
    return desk.page("my_account", status, fault=fault, done=done if done in DONE else "", shortest=passwords.SHORTEST)
