"""`bonedocket cabin policy` and `licence`: what the site has decided about possible human remains.

For: who needs a second reader, whether a group and a part are enough, whether pictures of a hold are taken, and the
licence a cemetery is dug under. Not for: the words of the place (`place`), nor who may assess (`person may-assess`).
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from server.ledger import CABIN, Ledger

YES_NO = ("yes", "no")
POLICY = ("second_reader", "groups")


def policy_arguments(one: argparse.ArgumentParser) -> None:
    """What `policy` takes. Without any it prints what is set."""
    one.add_argument("--second-reader", choices=YES_NO, help="whether a named zooarchaeologist needs a second reader")
    one.add_argument(
        "--groups",
        choices=YES_NO,
        help="whether two readers may clear a bone by a group and a part, with the signs seen: large ungulate, rib",
    )
    one.add_argument("--hold-photos", choices=YES_NO, help="whether a named person may photograph bone on hold")


def licence_arguments(one: argparse.ArgumentParser) -> None:
    """What `licence` takes. Without any it prints what is set."""
    one.add_argument("number", nargs="?", help="the licence's number: human remains are expected here")
    one.add_argument("--conditions", type=Path, metavar="TEXT", help="a text file, one condition a line")
    one.add_argument("--drop", action="store_true", help="no licence any more: an in-situ stop is a stop again")


def set_policy(ledger: Ledger, args: argparse.Namespace) -> bool:
    """Sets what was said, or prints what is set. Whether something was set."""
    site = ledger.site()
    policy = dict(site.value("policy") or {})
    asked = {name: said == "yes" for name in POLICY if (said := getattr(args, name)) is not None}
    values: dict[str, Any] = {"policy": {**policy, **asked}} if asked else {}
    if args.hold_photos is not None:
        values["hold_photos"] = args.hold_photos == "yes"
    if not values:
        told = {"second_reader": policy.get("second_reader") is not False, "groups": policy.get("groups") is True}
        _print({**told, "hold_photos": site.value("hold_photos") is True})
        return False
    write_site(ledger, values)
    return True


def set_licence(ledger: Ledger, args: argparse.Namespace) -> bool:
    """Sets or drops the licence, or prints it. Whether something was set."""
    site = ledger.site()
    paths = ("mode", "licence", "licence_conditions")
    values: dict[str, Any] = {}
    if args.drop:
        values = {"mode": "excavation", "licence": None, "licence_conditions": None}
    else:
        if args.number:
            values = {"mode": "licensed", "licence": args.number}
        if args.conditions is not None:
            values["licence_conditions"] = read_text(args.conditions)
    if not values:
        _print({path: site.value(path) for path in paths})
        return False
    if site.value("mode") != "licensed" and values.get("mode") is None:
        raise CommandError(texts()["cabin.cli.no_licence"])
    write_site(ledger, values)
    return True


def read_text(file: Path) -> str:
    """The words of a text file without its comment lines. Raises CommandError for one that holds none."""
    try:
        lines = file.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, ValueError) as error:
        raise CommandError(texts()["cabin.cli.unreadable"].format(file=file, why=error)) from error
    text = "\n".join(line for line in lines if not line.lstrip().startswith("#")).strip()
    if not text:
        raise CommandError(texts()["cabin.cli.unreadable"].format(file=file, why=texts()["cabin.cli.nothing_in_it"]))
    return text


def write_site(ledger: Ledger, values: dict[str, Any]) -> None:
    """Writes values of the site's record over what stands there."""
    site = ledger.site()
    heads = site.head_ids()
    ledger.write("site", site.id, values, {path: heads.get(path, []) for path in values}, CABIN)


def _print(values: dict[str, Any]) -> None:
    for name, value in values.items():
        print(f"{name}: {'yes' if value is True else 'no' if value is False else value or '-'}")
