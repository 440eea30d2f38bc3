"""`bonedocket cabin place`: the words of the site's place, and drafts of them.

For: what local law and practice ask at possible human remains, set by the site with source and date, and drafts that a
director edits and checks first. Not for: deciding which place a site lies in. Nothing is set unless a file is given.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fieldapp.assets import places, texts
from fieldapp.cli import CommandError
from fieldapp.domain.places import PlaceLine
from fieldapp.records import place
from server import place_drafts
from server.commands.site_rules import read_text, write_site
from server.errors import PlaceUnsourced
from server.ledger import Ledger


def place_arguments(one: argparse.ArgumentParser) -> None:
    """What `place` takes. Without any it prints what is set."""
    way = one.add_mutually_exclusive_group()
    way.add_argument("text", nargs="?", type=Path, help="a text file, one rule a line; lines with # are left out")
    way.add_argument("--drafts", action="store_true", help="the places that there are drafts for")
    way.add_argument("--draft", metavar="KEY", help="a draft of a place's words, to be edited and checked, then set")
    way.add_argument("--drop", action="store_true", help="take the place's text away; the default words stay")
    one.add_argument("--out", type=Path, metavar="FILE", help="a new file for the draft (default: it is printed)")
    one.add_argument("--source", default="", help="where the text comes from")
    one.add_argument("--checked", default="", help="when it was last checked against the law, and by whom")
    one.add_argument("--zone", help="what an in-situ stop closes")
    one.add_argument("--zone-source", default="", help="where its size comes from")


def show_drafts(args: argparse.Namespace) -> bool:
    """Lists the drafts, or prints or writes one, where that is asked for. Whether it was. Wants no cabin."""
    if args.drafts:
        for key, lines in places().items():
            print(texts()["cabin.cli.draft_listed"].format(key=key, name=texts()[f"place.{key}"], **_seen(lines)))
    elif args.draft is not None and args.out is not None:
        text = draft(args.draft)
        try:
            with args.out.open("x", encoding="utf-8") as opened:
                opened.write(text)
        except FileExistsError as error:
            raise CommandError(texts()["cabin.cli.draft_exists"].format(file=args.out)) from error
        print(texts()["cabin.cli.draft_written"].format(file=args.out))
    elif args.draft is not None:
        print(draft(args.draft), end="")
    return args.drafts or args.draft is not None


def draft(key: str) -> str:
    """A draft as it is edited: a rule a line with its source in brackets, what is not set begins with #."""
    words, found = texts(), places()
    if key not in found:
        raise CommandError(words["cabin.cli.no_draft"].format(key=key, keys=", ".join(found)))
    lines = found[key]
    head = words["cabin.cli.draft_head"].format(name=words[f"place.{key}"], **_seen(lines))
    return "\n".join([*(f"# {line}" for line in head.splitlines()), *place_drafts.rules(lines)]) + "\n"


def _seen(lines: tuple[PlaceLine, ...]) -> dict[str, int]:
    return {"lines": len(lines), "seen": sum(1 for line in lines if line.address)}


def set_place(ledger: Ledger, args: argparse.Namespace) -> bool:
    """Sets or takes away the words of the place, and the zone, or prints them. Whether something was set."""
    site = ledger.site()
    if args.text is None and args.zone is None and not args.drop:
        for path in place.PATHS:
            print(f"{path}: {site.value(path) or '-'}")
        return False
    values: dict[str, Any] = {}
    if args.drop:
        values = dict.fromkeys(place.PATHS[:3])
    elif args.text is not None:
        if not args.source or not args.checked:
            raise PlaceUnsourced
        text = read_text(args.text)
        values = {"place_text": text, "place_source": args.source, "place_checked": args.checked}
    if args.zone is not None:
        values |= {"zone_text": args.zone or None, "zone_source": args.zone_source or None}
    write_site(ledger, values)
    return True
