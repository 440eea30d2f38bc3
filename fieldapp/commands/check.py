"""`bonedocket check`: runs the rules over a data folder, and looks whether the folder itself is sound."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from pathlib import Path

from fieldapp import assets
from fieldapp.commands.source import read_folder
from fieldapp.domain.rules import sentence
from fieldapp.records.checking import Among, Found
from fieldapp.records.fold import Record

HELP = "run the rules over a tablet's notebook or a cabin's ledger"
LEVELS = ("impossible", "check", "note")


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("data", type=Path, metavar="DIR", help="a notebook's or a cabin's folder")
    parser.add_argument("--level", choices=LEVELS, help="only problems of this level")
    parser.add_argument("--json", action="store_true", help="as JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Prints what is found. 1 if something is impossible or the folder itself is damaged, else 0."""
    folder = read_folder(args.data)
    records = sorted(folder.fold, key=lambda one: (one.kind, _name(one), one.id))
    texts = assets.texts()
    among = Among(records, assets.knowledge(), whole=True)
    found = [one for one in among.check_all() if args.level in (None, one.problem.level)]
    counted = Counter(one.problem.level for one in found)
    bad = bool(folder.faults) or counted["impossible"] > 0
    names = {record.id: f"{record.kind} {_name(record)}" for record in records}
    if args.json:
        rows = [_row(one, names[one.record], sentence(one.problem, texts)) for one in found]
        summary = {"folder": folder.name, "records": len(records), "faults": folder.faults, "problems": rows}
        print(json.dumps(summary, indent=1, ensure_ascii=False))
        return int(bad)
    for fault in folder.faults:
        print(f"damaged     {fault}")
    for level in LEVELS:
        for one in found:
            if one.problem.level == level:
                print(f"{level:11} {names[one.record]}: {sentence(one.problem, texts)} [{one.problem.rule}]")
    told = ", ".join(f"{counted[level]} {level}" for level in LEVELS)
    print(f"{folder.name}: {len(records)} records; {told}; {len(folder.faults)} faults of the folder itself")
    return int(bad)


def _name(record: Record) -> str:
    for path in ("label", "number", "code", "name"):
        if isinstance(value := record.value(path), str):
            return value
    return record.id[:8]


def _row(found: Found, name: str, words: str) -> dict[str, object]:
    problem = found.problem
    return {
        "record": found.record,
        "name": name,
        "rule": problem.rule,
        "level": problem.level,
        "path": problem.path,
        "sentence": words,
        "only_in_readings": list(found.readings),
    }
