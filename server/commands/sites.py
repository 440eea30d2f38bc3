"""`bonedocket cabin site …`: the sites of a unit's server. Not here: what a unit is (server.unit)."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any

from fieldapp.records.shapes import ROLES
from server import unit
from server.cabin import Cabin
from server.config import SITES, Config
from server.errors import LedgerMissing, NoSuchPerson, UnitNotASite
from server.unit import making

Say = Callable[..., None]


def register(below: Any, data: Callable[..., None], say: Say) -> None:
    """Adds `site` to the commands below `cabin`."""
    inner = below.add_parser("site", help="several sites on one server").add_subparsers(metavar="WHAT", required=True)

    def command(name: str, act: Callable[[argparse.Namespace, Say], int], words: str) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = inner.add_parser(name, help=words, description=words)
        data(parser, argparse.SUPPRESS)
        parser.set_defaults(act=lambda args: act(args, say))
        return parser

    one = command("add", _add, "a new site, with a cabin of its own, in the unit's folder (--data)")
    one.add_argument("--code", required=True, help="site code as on labels: HLG26")
    one.add_argument("--name", required=True, help="the site's name")
    one = command("take", _take, "move the folder of a cabin that stood alone into the unit's folder")
    one.add_argument("folder", type=Path)
    command("list", _list, "the sites")
    one = command("lend", _lend, "let somebody of one site into another, with the same password")
    one.add_argument("person", help="name or id")
    one.add_argument("role", choices=ROLES)
    one.add_argument("--from", dest="source", required=True, metavar="CODE")
    one.add_argument("--to", required=True, metavar="CODE")


def _add(args: argparse.Namespace, say: Say) -> int:
    made = making.add(Config(Path(args.data)), code=args.code, name=args.name)
    say("site_added", code=made.data.name, data=made.data)
    return 0


def _take(args: argparse.Namespace, say: Say) -> int:
    taken, known = making.take(Config(Path(args.data)), args.folder)
    say("site_taken" if known else "site_taken_anew", code=taken.data.name, data=taken.data)
    return 0


def _list(args: argparse.Namespace, say: Say) -> int:
    for code, one in unit.configs(_unit(args)).items():
        with closing(Cabin(one)) as cabin:
            say("site_line", code=code, name=cabin.ledger.site().value("name"), data=one.data)
    return 0


def _lend(args: argparse.Namespace, say: Say) -> int:
    folders = unit.configs(_unit(args))
    source, to = args.source.upper(), args.to.upper()
    for code in (source, to):
        if code not in folders:
            raise NoSuchPerson(name=code)
    with closing(Cabin(folders[source])) as lending, closing(Cabin(folders[to])) as taking:
        fitting = [
            one for one in lending.accounts.all() if one.role == args.role and args.person in (one.person, one.name)
        ]
        if len(fitting) != 1:
            raise NoSuchPerson(name=f"{args.person} ({args.role})")
        lent = lending.accounts.lend(fitting[0].person, args.role, taking.accounts)
    say("site_lent", name=lent.name, role=lent.role, code=to)
    return 0


def _unit(args: argparse.Namespace) -> Config:
    config = Config(Path(args.data))
    if not unit.is_unit(config):
        raise LedgerMissing(file=SITES)
    return config


def one_site(args: argparse.Namespace) -> Config:
    """The configuration for a command that is about one site. Raises UnitNotASite."""
    config = Config(Path(args.data))
    if unit.is_unit(config):
        raise UnitNotASite(folder=args.data, codes=", ".join(unit.configs(config)))
    return config


@contextmanager
def beside(cabin: Cabin) -> Iterator[None]:
    """With the other sites of the same server open, so that they follow a password."""
    with ExitStack() as opened:
        if cabin.config.unit is not None:
            others = [
                one
                for one in unit.configs(Config(cabin.config.unit)).values()
                if one.data.name != cabin.config.data.name
            ]
            unit.acquaint([cabin, *(opened.enter_context(closing(Cabin(one))) for one in others)])
        yield
