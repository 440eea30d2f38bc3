"""`bonedocket cabin carry FILE`: loads a tablet's carry-file and writes the answer. How that is done: server.carry."""

from __future__ import annotations

import argparse
from pathlib import Path

from fieldapp.assets import texts
from server import carry
from server.cabin import Cabin

BY = "cabin"
"""Who does it, in the log: whoever sits at the cabin's machine."""


def carry_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="what a tablet has written")
    parser.add_argument("--out", type=Path, metavar="ANSWER", help="write the answer, to be loaded on the tablet")
    parser.add_argument(
        "--from-withdrawn", action="store_true", help="load it though its tablet is let in no more; noted in the log"
    )
    parser.add_argument("--accept-key", default="", metavar="KEY", help="the tablet's key, as the tablet shows it")


def load(cabin: Cabin, args: argparse.Namespace) -> list[str]:
    """Loads the file; what happened, in sentences. Raises CarryRefused, OSError."""
    with args.file.open("rb") as file:
        found = carry.load(cabin, file, BY, from_withdrawn=args.from_withdrawn, accept_key=args.accept_key)
    said = carry.told(found)
    if found.device.withdrawn_at is not None:
        said.append(texts()["cabin.carry_no_answer"].format(name=found.name))
    elif args.out is None:
        said.append(texts()["cabin.carry.no_answer_wanted"])
    else:
        n = carry.write_answer(cabin, found, args.out)
        said.append(texts()["cabin.carry.answered"].format(file=args.out, n=n))
    # The rules' thread would end with this command.
    while cabin.ledger.check_due():
        pass
    return said
