"""What all pages share: who is signed in, what they may do, the token on every form, headers, and how a page is made.

The session's cookie is signed and holds the session's id and the time of the last page; session and account are looked
up at each request, so that what was ended or switched off is out at once. Where a server has several sites, a person
lent to another has the same key there, and one sign-in opens both.
Not here: passwords and keys (server.ledger.accounts), any page.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, TypeVar, cast
from urllib.parse import urlsplit

from flask import (
    Blueprint,
    Response,
    abort,
    current_app,
    g,
    redirect,
    render_template,
    request,
    send_file,
    session,
    url_for,
)
from werkzeug.wrappers import Response as AnyResponse

from fieldapp import assets
from fieldapp.assets import font as bundled_font
from fieldapp.assets import knowledge, texts
from fieldapp.domain import rules
from fieldapp.records.changes import Change
from fieldapp.records.place import is_licensed
from fieldapp.records.standing import Authority
from server.ledger import Found, Hold, Ledger
from server.ledger.accounts import PUT_BACK, Account, Accounts
from server.ledger.devices import Devices
from server.photos import Photos
from server.review import drawings, showing, words

F = TypeVar("F", bound=Callable[..., Any])

NAME = "bonedocket.review"
IDLE = timedelta(hours=2)
"""How long a sign-in lasts without a page being asked for; at most it lasts accounts.LONGEST_SESSION."""

COOKIE = "__Host-bonedocket"
"""The name's beginning binds browsers: set over TLS only, by this host, for all of its paths."""
COOKIE_RULES = {
    "SESSION_COOKIE_SECURE": True,
    "SESSION_COOKIE_HTTPONLY": True,
    "SESSION_COOKIE_SAMESITE": "Strict",
    # One sign-in for all the sites of a unit: see server.unit.
    "SESSION_COOKIE_PATH": "/",
}

POLICY = "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
LARGEST_FORM = 2**20
"""Bytes."""

LONGEST_TEXT = 10_000
"""Characters in a field of a form; the shapes of notes and assessments end there too."""

pages = Blueprint("review", __name__, url_prefix="/review", template_folder="templates", static_folder="static")

ACTS = {"docket": "settle_docket", "context": "settle_context", "bag": "settle_context", "group": "settle_context"}
"""{kind: the act of the role table that settles what it disagrees about}. Other kinds are not settled at the desk."""


@dataclass(frozen=True, slots=True)
class Desk:
    """What the pages work with.

    unseal   (sealed, hold id) -> the exact place; it may raise CannotOpen
    photos   the photographs that have come
    written  says that a page has written changes
    """

    ledger: Ledger
    accounts: Accounts
    photos: Photos
    unseal: Callable[[str, str], str] | None
    written: Callable[[], None]


def desk() -> Desk:
    """The cabin's, set when the pages were registered."""
    return cast(Desk, current_app.extensions[NAME])


def ledger() -> Ledger:
    """The cabin's ledger."""
    return desk().ledger


def authority() -> Authority:
    """Who may decide, the same for a whole request."""
    if "authority" not in g:
        g.authority = ledger().authority()
    return cast(Authority, g.authority)


def holds() -> list[Hold]:
    """All holds, the same for a whole request."""
    if "holds" not in g:
        g.holds = ledger().holds()
    return cast(list[Hold], g.holds)


def due() -> int:
    """How many records the rules have not looked at yet: long lists may not have them."""
    return ledger().due()


# -- who


def account() -> Account | None:
    """Who is signed in, or None."""
    if "account" not in g:
        g.account = _account()
    return cast("Account | None", g.account)


def me() -> Account:
    """Who is signed in; a page that needs a sign-in has made sure of it."""
    found = account()
    assert found is not None
    return found


def _account() -> Account | None:
    return whose(session, ledger().clock(), desk().accounts)


def whose(told: Mapping[str, Any], now: datetime, accounts: Accounts) -> Account | None:
    """The account of a session at this moment, if there is one here and it has not ended."""
    one, last = told.get("session"), told.get("last")
    if not (isinstance(one, str) and isinstance(last, str)):
        return None
    try:
        # From the future is a session of before this laptop's clock was put back: it would hardly ever end.
        idle = not -PUT_BACK <= now - datetime.fromisoformat(last) <= IDLE
    except (ValueError, TypeError):
        return None
    return None if idle else accounts.in_session(one)


def begin(found: Account) -> None:
    """Starts a session for an account whose password was right; nothing of the session before is kept."""
    end()
    session["session"], session["last"] = desk().accounts.begin_session(found), ledger().clock().isoformat()


def end() -> None:
    """Ends the session, here and in the browser."""
    found = account()
    if found is not None:
        desk().accounts.end_session(session["session"], found)
    session.clear()
    g.pop("account", None)


def address() -> str:
    """Where the request comes from. What headers say of it is not believed."""
    return request.remote_addr or ""


def needs_sign_in(view: F) -> F:
    """For every page but signing in: sends whoever is not signed in there, and back afterwards."""

    @wraps(view)
    def asked(*args: Any, **kwargs: Any) -> Any:
        if account() is None:
            back = request.full_path.rstrip("?") if request.method == "GET" else "/review/today"
            return redirect(url_for("review.sign_in", next=back))
        session["last"] = ledger().clock().isoformat()
        return view(*args, **kwargs)

    return cast(F, asked)


def may(act: str) -> str:
    """What the role table says of an act for who is signed in: yes, no, policy or zone."""
    return knowledge().allowed(act, me().role)


def must(act: str) -> None:
    """Ends the request with a page in words if the role may not do the act at all."""
    if may(act) not in ("yes", "policy"):
        abort(403)


def names() -> dict[str, str]:
    """{person id: name} of everybody the ledger knows."""
    return {one.id: words.plain(one.value("name")) for one in ledger().records("person", deleted=True)}


def notebook(one: Any) -> str:
    """A notebook in words: the tablet's letter and name, the cabin's own, or the beginning of an id nobody enrolled."""
    if "notebooks" not in g:
        found = Devices(ledger(), "").all()
        g.notebooks = {
            it.notebook: words.say("tablet", letter=it.letter, name=it.name or it.notebook[:8]) for it in found
        }
        g.notebooks[ledger().names().notebook] = words.say("cabin")
    if not isinstance(one, str) or not one:
        return words.say("notebook.none")
    return cast(str, g.notebooks.get(one) or words.say("notebook", start=one[:8]))


def write(kind: str, record: str, set: Mapping[str, Any], over: Mapping[str, Sequence[str]]) -> Change:
    """A change of the cabin's notebook by who is signed in."""
    change = ledger().write(kind, record, set, over, me().by)
    desk().written()
    return change


def acted(what: str, record: Any) -> None:
    """Notes what who is signed in did at the desk with a record: a line `cabin.event.<what>` of the log."""
    fields = {"name": me().name, "role": me().role, "label": refer(record)}
    ledger().note(what, me().person, fields)


# -- forms


def token() -> str:
    """The session's token, which every form carries."""
    if not isinstance(session.get("csrf"), str):
        session["csrf"] = secrets.token_urlsafe(24)
    return cast(str, session["csrf"])


def field(name: str) -> str:
    """A text of the form, without the white space around it and without noughts, which not every ledger can keep."""
    return request.form.get(name, "").replace("\0", "").strip()[:LONGEST_TEXT]


def pasted(name: str) -> str:
    """The same of a list that somebody pastes: all of it, so that no line of it is lost unseen."""
    return request.form.get(name, "").replace("\0", "").strip()


def inside(path: str) -> str:
    """A way back within this site's pages, or ""; never to another place."""
    inside = path == "/review" or path.startswith(("/review/", "/review?"))
    return path if inside and "\\" not in path and path.isprintable() else ""


def _from_here() -> bool:
    """Whether the browser says that one of these pages sent the form. One that says nothing is asked for the token."""
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    told = request.headers.get("Origin") or request.headers.get("Referer")
    try:
        return told is None or urlsplit(told)[:2] == (request.scheme, request.host)
    except ValueError:
        return False


@pages.before_request
def must_be_from_here() -> None:
    """Ends a request that changes something unless the form was made for this session, by one of these pages."""
    # The framework's own limit is not asked for the plain sort of forms, and anybody may send one.
    request.max_content_length = LARGEST_FORM
    if request.method not in ("GET", "HEAD", "OPTIONS"):
        known, given = session.get("csrf"), request.form.get("csrf", "")
        fits = isinstance(known, str) and hmac.compare_digest(known.encode(), given.encode("utf-8", "replace"))
        if not fits or not _from_here():
            g.fault = "token"
            abort(400)


# -- pages


@pages.after_request
def _headers(response: Response) -> Response:
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    if request.endpoint not in ("review.static", "review.font") and not g.get("stays"):
        # Pages may show exact places: they are not to be found in a browser's store afterwards.
        response.headers["Cache-Control"] = "no-store"
    return response


def page(template: str, status: int = 200, **values: Any) -> AnyResponse:
    """A page from a template, with what the frame around every page shows."""
    signed = account()
    stops = [] if signed is None else [one for one in holds() if showing.is_stop(one)]
    shown = render_template(
        f"review/{template}.html",
        me=signed,
        may=may,
        stops=stops,
        is_stop=showing.is_stop,
        notebook=notebook,
        csrf=token(),
        spoken=assets.spoken(),
        languages=languages(),
        site=_site(),
        say=words.say,
        many=words.many,
        text=words.text,
        word=words.word,
        part_of=showing.part_of,
        problem=problem,
        refer=refer,
        words=words,
        plate=drawings.plate,
        views=drawings.views,
        comparable=drawings.comparable,
        legend=drawings.legend,
        SMALL=drawings.SMALL,
        **values,
    )
    # A form may have brought half of a character pair, which no page can hold.
    return Response(shown.encode("utf-8", "replace"), status, mimetype="text/html")


def languages() -> list[tuple[str, str]]:
    """(language, its own name for itself) of those the pages are in."""
    return [(one, assets.language_name(one)) for one in assets.languages()]


def refer(record: Any) -> str:
    """What another record is called; one that has not come, and what is no id, is shown by what was written."""
    found = ledger().record(record) if isinstance(record, str) and record else None
    return showing.label(found) or words.plain(record)


def problem(found: Found) -> dict[str, str]:
    """A problem's sentence, and where its rule is from."""
    rule = knowledge().rules.get(found.rule)
    one = rules.Problem(found.rule, found.level, found.path, found.fields)
    origin = rule.source if rule else ""
    source = words.say("source", source=origin) if origin else ""
    return {"sentence": rules.sentence(one, texts()), "source": source, "origin": origin}


def _site() -> dict[str, Any]:
    record = ledger().site()
    told = {name: record.value(name) for name in ("code", "name", "licence")}
    return {**told, "mode": "licensed" if is_licensed(record) else "excavation"}


@pages.get("/font/<any(regular, bold):weight>.ttf")
def font(weight: str) -> AnyResponse:
    """The bundled font, so that a page looks the same everywhere."""
    return send_file(bundled_font(bold=weight == "bold"), mimetype="font/ttf", max_age=86_400)
