"""People: who has an account in which role, and what an administrator or the director does about it.

A password is shown once, on the page that answers the form, and is neither in an address nor in the log. Forms about
an account carry the key that it had when they were made (`key`): sent twice, or from a page that is gone back to, they
change nothing. Who did what is in the log. Not here: one's own password (my_account), what a role may do.
"""

from __future__ import annotations

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.records.shapes import ROLES
from server.errors import DoneAlready
from server.ledger import people as looking_after
from server.ledger.accounts import Account
from server.ledger.people import Standing
from server.review import desk, once
from server.review.desk import pages

SIGNING = ("zooarchaeologist", "human_osteologist", "director")
"""Roles whose keys sign something that counts."""
DONE = ("off", "revoked", "wait", "may_assess", "may_not_assess")


@pages.get("/people")
@desk.needs_sign_in
def people() -> Response:
    """Everybody with an account, and the form for somebody new."""
    return _list()


@pages.post("/people")
@desk.needs_sign_in
def person_add() -> Response:
    """`once`, `name`, `role`: somebody new. The answer shows the password."""
    desk.must("manage_people")
    mark = once.given()
    form = {"name": looking_after.tidy(desk.field("name")), "role": desk.field("role")}
    if any(one.account.id == mark for one in looking_after.overview(desk.ledger())):
        # Said before the name is: the form sent twice finds its own name taken.
        raise DoneAlready
    fault = looking_after.name_fault(desk.ledger(), form["name"]) or ("" if form["role"] in ROLES else "role")
    if fault:
        return _list(400, fault=fault, form=form)
    account, password = desk.desk().accounts.add(form["name"], form["role"], once=mark, by=desk.me().by)
    desk.desk().written()
    return _shown(account, password, "added")


@pages.get("/person/<person>")
@desk.needs_sign_in
def person(person: str) -> Response:
    """One person: every role with what can be done about it."""
    desk.must("manage_people")
    return _person(_accounts(person))


@pages.post("/person/<person>/role")
@desk.needs_sign_in
def person_role(person: str) -> Response:
    """`role`: one more for somebody who is here. The answer shows its password."""
    desk.must("manage_people")
    found, role = _accounts(person), desk.field("role")
    if role not in ROLES:
        return _person(found, 400, fault="role")
    account, password = desk.desk().accounts.add(found[0].account.name, role, person=person, by=desk.me().by)
    desk.desk().written()
    return _shown(account, password, "role")


@pages.post("/person/<person>/<role>/password")
@desk.needs_sign_in
def person_password(person: str, role: str) -> Response:
    """A new password and key, also for an account that was switched off. The answer shows the password."""
    account = _account(person, role)
    password = desk.desk().accounts.reset(person, role, desk.me().by, over=account.key)
    desk.desk().written()
    return _shown(account, password, "reset" if account.active else "back")


@pages.post("/person/<person>/<role>/off")
@desk.needs_sign_in
def person_off(person: str, role: str) -> Response:
    """Switches the account off; what it signed stays."""
    account = _account(person, role)
    if account.active:
        desk.desk().accounts.withdraw(person, role, revoke_keys=False, by=desk.me().by)
    return _done(person, "off")


@pages.post("/person/<person>/<role>/revoke")
@desk.needs_sign_in
def person_revoke(person: str, role: str) -> Response:
    """`sure`: switches the account off and takes back what its keys signed, which no page can undo."""
    account = _account(person, role)
    if desk.field("sure") != "yes":
        return _person(_accounts(person), 400, fault="sure")
    desk.desk().accounts.withdraw(person, account.role, revoke_keys=True, by=desk.me().by)
    desk.desk().written()
    return _done(person, "revoked")


@pages.post("/person/<person>/<role>/wait")
@desk.needs_sign_in
def person_wait(person: str, role: str) -> Response:
    """Ends the wait after too many wrong passwords."""
    looking_after.let_try(desk.ledger(), _account(person, role), desk.me().by)
    return _done(person, "wait")


@pages.post("/person/<person>/assess")
@desk.needs_sign_in
def person_assess(person: str) -> Response:
    """`named`, yes or no: whether the site's policy names this zooarchaeologist as one who may assess."""
    desk.must("name_assessor")
    named = desk.field("named")
    found = [
        one.account for one in looking_after.overview(desk.ledger(), person) if one.account.role == "zooarchaeologist"
    ]
    if named not in ("yes", "no") or not found:
        abort(400)
    looking_after.name_assessor(desk.ledger(), found[0], named == "yes", desk.me().by)
    desk.desk().written()
    return _done(person, "may_assess" if named == "yes" else "may_not_assess")


def _accounts(person: str) -> list[Standing]:
    return looking_after.overview(desk.ledger(), person) or abort(404)


def _account(person: str, role: str) -> Account:
    """The account a form is about, if it is still as the form showed it. Raises DoneAlready."""
    desk.must("manage_people")
    found = next((one.account for one in _accounts(person) if one.account.role == role), None) or abort(404)
    given = desk.field("key")
    if not given:
        abort(400)
    if given != found.key:
        raise DoneAlready
    return found


def _done(person: str, what: str) -> Response:
    if desk.desk().accounts.get(desk.me().id) is None:
        # Somebody has switched off the account they are signed in with.
        return redirect(url_for("review.sign_in"))
    return redirect(url_for("review.person", person=person, done=what))


def _list(status: int = 200, *, fault: str = "", form: dict[str, str] | None = None) -> Response:
    desk.must("manage_people")
    found = looking_after.overview(desk.ledger())
    return desk.page(
        "people",
        status,
        people=found,
        assessors=desk.authority().policy.zooarchaeologists,
        roles=ROLES,
        once=once.new(),
        fault=fault,
        form=form or {},
        longest=looking_after.LONGEST_NAME,
    )


def _person(found: list[Standing], status: int = 200, *, fault: str = "") -> Response:
    person, done = found[0].account.person, request.args.get("done", "")
    active = [one for one in looking_after.overview(desk.ledger()) if one.account.active]
    return desk.page(
        "person",
        status,
        person=person,
        name=found[0].account.name,
        accounts=found,
        signed={
            one.account.role: looking_after.signed(desk.ledger(), person, one.account.role)
            for one in found
            if one.account.role in SIGNING
        },
        last_administrator=sum(one.account.role == "administrator" for one in active) == 1,
        assessor=person in desk.authority().policy.zooarchaeologists,
        left=[one for one in ROLES if one not in {it.account.role for it in found}],
        done=done if done in DONE else "",
        fault=fault,
    )


def _shown(account: Account, password: str, what: str) -> Response:
    return desk.page("password_once", account=account, password=password, what=what)
