"""`bonedocket cabin`: sets the cabin up, runs it, and does what is done beside it: people, tablets, backups, proofs.

Works on the same folder while the cabin runs. Not here: what any of it means (server.cabin, server.ledger).
"""

from __future__ import annotations

import argparse
import io
import json
import signal
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from fieldapp.assets import knowledge, texts
from fieldapp.cli import CommandError
from fieldapp.domain import short_codes
from fieldapp.records import enrolment
from fieldapp.records.shapes import ROLES
from server import cabin
from server.commands import carry, places, running, site_rules, sites
from server.config import Config
from server.errors import CabinError, NoSuchPerson, NoSuchWord
from server.ledger import CABIN
from server.ledger.accounts import Account
from server.ledger.people import name_assessor
from server.settings import settings_in

HELP = "the cabin's server: set it up, run it, add people, enrol tablets"
PORT = 8443
DATA = "the cabin's folder, or that of a server with several sites (default: cabin)"
DATA_OF_ONE = "the cabin's folder (default: cabin); at a server with several sites that of one of them: UNIT/sites/CODE"


def register(parser: argparse.ArgumentParser) -> None:
    """`cabin` alone runs the server."""
    _data(parser, "cabin")
    parser.add_argument("--host", default="0.0.0.0", help="address to listen at (default: every network)")
    parser.add_argument("--port", type=int, default=PORT, help=f"port to listen at (default: {PORT})")
    parser.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes that serve; several need a PostgreSQL database"
    )
    running.arguments(parser)
    parser.set_defaults(act=_serve)
    below = parser.add_subparsers(metavar="WHAT")

    one = _command(below, "init", _init, "make a new cabin for a site")
    one.add_argument("--code", required=True, help="site code as on labels, two to ten letters and digits: HLG26")
    one.add_argument("--name", required=True, help="the site's name")
    one.add_argument("--licence", default="", help="licence number: human remains are expected here (licensed mode)")
    one.add_argument("--zone", default="", help="what an in-situ stop closes here (default: the whole trench)")
    one.add_argument(
        "--ledger", default="", metavar="URL", help="a PostgreSQL database for the ledger (default: a file)"
    )
    one.add_argument("--one-reader", action="store_true", help="a named zooarchaeologist needs no second reader")

    people = below.add_parser("person", help="people and their passwords").add_subparsers(metavar="WHAT", required=True)
    one = _command(people, "add", _person_add, "add a person, or a role to one; prints the password once")
    one.add_argument("name")
    one.add_argument("role", choices=ROLES)
    one.add_argument("--person", help="id of somebody who is here already and gets this role too")
    _command(people, "list", _person_list, "who is here")
    one = _command(people, "password", _person_password, "a new password for one that is lost")
    _who(one)
    one = _command(people, "withdraw", _person_withdraw, "switch an account off")
    _who(one)
    one.add_argument("--revoke-keys", action="store_true", help="what it ever signed counts no more")
    one = _command(people, "may-assess", _may_assess, "name a zooarchaeologist who may assess, or no longer")
    one.add_argument("person", help="name or id")
    one.add_argument("--no", action="store_true", help="no longer")

    one = _command(below, "code", _code, "the site's own short codes for typing in the lab; without a code, the list")
    one.add_argument("code", nargs="?")
    one.add_argument("slot", nargs="?", choices=tuple(short_codes.SLOTS))
    one.add_argument("word", nargs="?", help="a key of the tables: humerus, sheep_goat (see `bonedocket terms`)")
    one.add_argument("--drop", action="store_true", help="take the code away")

    one = _command(below, "place", _place, "what local law and practice ask at possible human remains; shown at a stop")
    places.place_arguments(one)

    one = _command(below, "policy", _policy, "what this site has decided about possible human remains")
    site_rules.policy_arguments(one)
    one = _command(below, "licence", _licence, "the licence a cemetery is dug under, and its conditions")
    site_rules.licence_arguments(one)

    sites.register(below, _data, _say)

    one = _command(below, "enrol", _enrol, "a one-use code for a tablet")
    one.add_argument("--name", default="", help="what to call the tablet")
    one.add_argument("--at", action="append", help="the cabin's address, for the QR code (default: this machine's)")
    _command(below, "devices", _devices, "the tablets that are let in")
    one = _command(below, "withdraw", _withdraw, "let a tablet in no more")
    one.add_argument("letter")

    one = _command(below, "carry", _carry, "load what a tablet has written on a stick, and write the answer")
    carry.carry_arguments(one)

    _command(below, "restored", _restored, "after a folder was put back by hand: tablets send everything again")
    _command(below, "mend", _mend, "work every record out anew from the changes (see `bonedocket verify`)")
    one = _command(below, "log", _log, "what was noticed and who did what")
    one.add_argument("--lines", type=int, default=50)


def _command(below: Any, name: str, act: Callable[[argparse.Namespace], int], words: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = below.add_parser(name, help=words, description=words)
    _data(parser, argparse.SUPPRESS, DATA_OF_ONE)
    parser.set_defaults(act=act)
    return parser


def _data(parser: argparse.ArgumentParser, default: str, words: str = DATA) -> None:
    parser.add_argument("--data", type=Path, default=default, help=words)


def _who(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("person", help="name or id")
    parser.add_argument("role", choices=ROLES)


def run(args: argparse.Namespace) -> int:
    """Does what was asked. Raises CommandError."""
    try:
        done: int = args.act(args)
    except BrokenPipeError:
        raise  # whoever reads has seen enough: fieldapp.cli
    except (CabinError, OSError) as error:
        raise CommandError(str(error)) from error
    return done


def _say(key: str, **fields: object) -> None:
    print(texts()[f"cabin.cli.{key}"].format(**fields), flush=True)


def _plain(text: str) -> str:
    """What somebody else may have typed, on one line and without what would steer a terminal."""
    return "".join(one if one.isprintable() else "\N{REPLACEMENT CHARACTER}" for one in text)


@contextmanager
def _open(args: argparse.Namespace) -> Iterator[cabin.Cabin]:
    with closing(cabin.Cabin(sites.one_site(args))) as found:
        yield found


# -- the cabin itself


def _serve(args: argparse.Namespace) -> int:
    from server import announcing, serving, workers

    config = Config(Path(args.data), host=args.host, port=args.port)
    settings = settings_in(config)
    running.begin_log(args, settings)
    runs: serving.Serving | workers.Workers
    if args.workers > 1:
        runs = workers.Workers(
            config,
            args.workers,
            lambda code: _say("worker_ended", code=code),
            partial(running.begin_workers_log, args.log or settings.log_to),
        )
    else:
        runs = serving.Serving(config)
    for one in runs.cabins.values():
        running.begin_backups(args, settings, one)
    for address in serving.addresses(args.host):
        for code in runs.codes:
            _say("unit_review" if code else "review", address=address, port=runs.port, code=code)
    _say("fingerprint", fingerprint=enrolment.in_pairs(runs.fingerprint))
    if args.workers > 1:
        _say("workers", number=args.workers)
    _say("to_enrol", data=args.data)
    _say("to_stop")

    def end(*_: object) -> None:
        raise SystemExit(0)

    signal.signal(signal.SIGTERM, end)
    found = announcing.reachable(serving.addresses(args.host))
    try:
        with announcing.announced(announcing.sites_of(runs.cabins), runs.port, found):
            runs.run()
    except (KeyboardInterrupt, SystemExit):
        _say("stopped")
    return 0


def _init(args: argparse.Namespace) -> int:
    config = sites.one_site(args)
    cabin.set_up(
        config,
        code=args.code,
        name=args.name,
        mode="licensed" if args.licence else "excavation",
        licence=args.licence,
        second_reader=not args.one_reader,
        zone=args.zone,
        ledger=args.ledger,
    )
    with _open(args) as found:
        _say("made", code=found.ledger.site().value("code"), data=args.data)
        _say("fingerprint", fingerprint=enrolment.in_pairs(found.fingerprint))
        _say("next", data=args.data)
    return 0


def _restored(args: argparse.Namespace) -> int:
    with _open(args) as found:
        found.ledger.renew("cabin.epoch.restored")
    _say("restored")
    return 0


def _mend(args: argparse.Namespace) -> int:
    with _open(args) as found:
        found.ledger.rebuild()
        while found.ledger.check_due():
            pass
    _say("mended")
    return 0


def _log(args: argparse.Namespace) -> int:
    known = texts()
    with _open(args) as found:
        for one in reversed(found.ledger.events(args.lines)):
            sentence = known.get(f"cabin.event.{one.what}", one.what + " " + json.dumps(one.fields))
            print(one.at, _plain(sentence.format_map({"notebook": "", "name": "", **one.fields})))
    return 0


# -- people


def _person_add(args: argparse.Namespace) -> int:
    with _open(args) as found:
        account, password = found.accounts.add(args.name, args.role, person=args.person)
    _say("person_added", name=account.name, role=account.role, person=account.person, password=password)
    return 0


def _person_list(args: argparse.Namespace) -> int:
    with _open(args) as found:
        for one in found.accounts.all():
            state = "" if one.active else "  (switched off)"
            print(_plain(f"{one.name}  {one.role}  {one.person}{state}"))
    return 0


def _person_password(args: argparse.Namespace) -> int:
    with _open(args) as found:
        account = _account(found, args.person, args.role)
        with sites.beside(found):
            password = found.accounts.reset(account.person, account.role)
    _say("person_password", name=account.name, role=account.role, password=password)
    return 0


def _person_withdraw(args: argparse.Namespace) -> int:
    with _open(args) as found:
        account = _account(found, args.person, args.role)
        found.accounts.withdraw(account.person, account.role, revoke_keys=args.revoke_keys)
    _say("person_withdrawn", name=account.name, role=account.role)
    return 0


def _may_assess(args: argparse.Namespace) -> int:
    with _open(args) as found:
        account = _account(found, args.person, "zooarchaeologist")
        name_assessor(found.ledger, account, not args.no)
    _say("may_not_assess" if args.no else "may_assess", name=account.name)
    return 0


# -- the site's own codes


def _code(args: argparse.Namespace) -> int:
    """Sets, takes away, or lists the short codes for the lab."""
    with _open(args) as found:
        site, know = found.ledger.site(), knowledge()
        if args.code is None:
            for code, value in sorted(site.items("short").items()):
                print(code, *(short_codes.meaning(value, know) or ("?",)))
            return 0
        code = args.code.lower()
        value = None if args.drop else {"slot": args.slot, "key": args.word}
        if value is not None and short_codes.meaning(value, know) is None:
            raise NoSuchWord(slot=str(args.slot), word=str(args.word), slots=", ".join(short_codes.SLOTS))
        path = f"short/{code}"
        found.ledger.write("site", site.id, {path: value}, {path: site.head_ids().get(path, [])}, CABIN)
    _say("code_dropped" if args.drop else "code_set", code=code, slot=args.slot or "", word=args.word or "")
    return 0


def _place(args: argparse.Namespace) -> int:
    """The words of the place and their drafts. Nothing of it is law or advice."""
    if places.show_drafts(args):
        return 0
    with _open(args) as found:
        if places.set_place(found.ledger, args):
            _say("place_set")
    return 0


def _policy(args: argparse.Namespace) -> int:
    with _open(args) as found:
        if site_rules.set_policy(found.ledger, args):
            _say("site_set")
    return 0


def _licence(args: argparse.Namespace) -> int:
    with _open(args) as found:
        if site_rules.set_licence(found.ledger, args):
            _say("site_set")
    return 0


def _account(found: cabin.Cabin, person: str, role: str) -> Account:
    """The account of a person given by id or by name. Two of one name have to be told apart by id."""
    fitting = [one for one in found.accounts.all() if one.role == role and person in (one.person, one.name)]
    if len(fitting) != 1:
        raise NoSuchPerson(name=f"{person} ({role})")
    return fitting[0]


# -- tablets


def _enrol(args: argparse.Namespace) -> int:
    from server.serving import addresses

    with _open(args) as found:
        code = found.devices.open_code(args.name)
        _say("code", code=code.text, letter=code.letter, until=code.expires_at.strftime("%H:%M"))
        _show_qr(enrolment.qr_text(args.at or [f"{one}:{PORT}" for one in addresses("0.0.0.0")], code.text))
        _say("fingerprint", fingerprint=enrolment.in_pairs(found.fingerprint))
    return 0


def _carry(args: argparse.Namespace) -> int:
    with _open(args) as found:
        for sentence in carry.load(found, args):
            print(sentence)
    return 0


def _show_qr(text: str) -> None:
    """In the terminal, for a tablet's camera."""
    import segno

    drawn = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(drawn, compact=True)
    try:
        print(drawn.getvalue(), flush=True)
    except UnicodeEncodeError:
        return  # this terminal has no blocks to draw it with; the code can be typed


def _devices(args: argparse.Namespace) -> int:
    with _open(args) as found:
        lives = found.devices.lives()
        for one in found.devices.all():
            state = f"withdrawn {one.withdrawn_at}" if one.withdrawn_at else f"last here {one.seen_at or 'never'}"
            before = f"  (was {lives[one.notebook]})" if one.notebook in lives else ""
            print(_plain(f"{one.letter}  {one.name or '(no name)'}  {one.notebook}  {state}{before}"))
    return 0


def _withdraw(args: argparse.Namespace) -> int:
    with _open(args) as found:
        device = found.devices.withdraw(args.letter)
    _say("withdrawn", name=device.name or device.notebook, letter=device.letter)
    return 0
