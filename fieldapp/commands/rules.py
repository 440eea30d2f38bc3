"""`bonedocket rules`: every rule with its level, sentence and source, or those that hold some words."""

from __future__ import annotations

import argparse
import json
import textwrap
from collections import Counter

from fieldapp import assets
from fieldapp.domain.rules import catalogue
from fieldapp.domain.terms import plain

HELP = "list the rules that records are checked against, with their sources"
LEVELS = ("impossible", "check", "note")


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("words", nargs="*", metavar="WORDS", help="only the rules that hold all of these words")
    parser.add_argument("--level", choices=LEVELS, help="only the rules of this level")
    parser.add_argument("--family", metavar="FAMILY", help="only the rules about this: fusion, side, human ...")
    parser.add_argument("--json", action="store_true", help="as JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Prints the rules. 1 if none is as asked, else 0."""
    every = catalogue(assets.knowledge(), assets.texts())
    sought = plain(" ".join(args.words)).split()
    rows = [
        row
        for row in every
        if args.level in (None, row["level"])
        and (args.family is None or args.family in row["families"])
        and all(word in plain(f"{row['key']} {row['sentence']} {row['source']}") for word in sought)
    ]
    if args.json:
        print(json.dumps(rows, indent=1, ensure_ascii=False))
        return 0 if rows else 1
    for row in rows:
        raises = f"; adds the answer '{row['raises']}' to the human question" if row["raises"] else ""
        source = f"{row['source']} (from memory)" if row["seen"] == "memory" else row["source"]
        print(f"{row['key']}  [{row['level']}; {', '.join(row['families'])}; {', '.join(row['kinds'])}{raises}]")
        print(textwrap.fill(row["sentence"], 100, initial_indent="    ", subsequent_indent="    "))
        print(textwrap.fill(f"source: {source}", 100, initial_indent="    ", subsequent_indent="      "), end="\n\n")
    levels = Counter(row["level"] for row in rows)
    print(f"{len(rows)} rules: {', '.join(f'{levels[level]} {level}' for level in LEVELS)}")
    if not rows:
        families = sorted({family for row in every for family in row["families"]})
        print(textwrap.fill(f"No rule is as asked. They are about: {', '.join(families)}.", 100))
    return 0 if rows else 1
