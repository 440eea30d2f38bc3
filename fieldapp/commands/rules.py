"""`bonedocket rules`: every rule with its level, sentence and source."""

from __future__ import annotations

import argparse
import json
import textwrap

from fieldapp import assets
from fieldapp.domain.rules import catalogue

HELP = "list the rules that records are checked against, with their sources"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("--level", choices=("impossible", "check", "note"), help="only the rules of this level")
    parser.add_argument("--json", action="store_true", help="as JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Prints the rules."""
    rows = [row for row in catalogue(assets.knowledge(), assets.texts()) if args.level in (None, row["level"])]
    if args.json:
        print(json.dumps(rows, indent=1, ensure_ascii=False))
        return 0
    for row in rows:
        raises = f"; adds the answer '{row['raises']}' to the human question" if row["raises"] else ""
        source = f"{row['source']} (from memory)" if row["seen"] == "memory" else row["source"]
        print(f"{row['key']}  [{row['level']}; {', '.join(row['kinds'])}{raises}]")
        print(textwrap.fill(row["sentence"], 100, initial_indent="    ", subsequent_indent="    "))
        print(textwrap.fill(f"source: {source}", 100, initial_indent="    ", subsequent_indent="      "), end="\n\n")
    print(f"{len(rows)} rules")
    return 0
