"""`bonedocket agreement`: how two readers agree, draw by draw, as the desk shows it once a draw is over.

For reports and for other programs. Not for drawing or recording, and never before a draw is over.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from fieldapp.assets import texts
from fieldapp.cli import CommandError
from fieldapp.domain.agreement import Field
from server.commands.keeping import DATA_HELP, opened, told_errors
from server.ledger import second
from server.ledger.second import Compared, Draw

HELP = "how two readers of the same bones agree: percentage, kappa, technical error of measurement"


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("--data", type=Path, default=Path("cabin"), metavar="DIR", help=DATA_HELP)
    parser.add_argument("--sample", metavar="NAME", help="a draw, by its name or id (default: every draw)")
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--json", action="store_true", help="as JSON, for other programs")
    way.add_argument("--csv", type=Path, metavar="FILE", help="the figures of one draw as a table, into a new file")


def run(args: argparse.Namespace) -> int:
    """Prints the figures of every draw that is over. Raises CommandError."""
    with told_errors(), opened(args.data) as (_, ledger):
        found = _asked(second.draws(ledger), args.sample)
        over = [second.compared(ledger, one) for one in found if one.over]
        if args.csv is not None:
            return _write(args.csv, over, found)
        if args.json:
            print(json.dumps([_as_json(one, over) for one in found], indent=1, ensure_ascii=False))
            return 0
        for one in found:
            compared = next((each for each in over if each.draw is one), None)
            print(_open(one) if compared is None else _told(compared))
    return 0


def _asked(draws: list[Draw], sample: str | None) -> list[Draw]:
    if not draws:
        raise CommandError(texts()["cabin.agreement.none"])
    found = [one for one in draws if sample in (None, one.id, one.name)]
    if not found:
        names = ", ".join(one.name for one in draws)
        raise CommandError(texts()["cabin.agreement.not_found"].format(sample=sample, names=names))
    return found


def _write(file: Path, over: list[Compared], found: list[Draw]) -> int:
    if len(over) != 1 or len(found) != 1:
        raise CommandError("\n".join(_open(one) for one in found if not one.over) or texts()["cabin.agreement.one"])
    try:
        with file.open("x", encoding="utf-8", newline="") as opened_file:
            opened_file.write(second.as_csv(over[0].agreement))
    except FileExistsError as error:
        raise CommandError(texts()["cabin.agreement.exists"].format(file=file)) from error
    return 0


def _open(draw: Draw) -> str:
    return texts()["cabin.agreement.open"].format(name=draw.name, done=len(draw.done), all=len(draw.readings))


def _as_json(draw: Draw, over: list[Compared]) -> dict[str, Any]:
    told: dict[str, Any] = {"id": draw.id, "name": draw.name, "drawn": dict(draw.drawn), "over": draw.over}
    told |= {"readings": len(draw.readings), "done": len(draw.done)}
    for one in over:
        if one.draw is draw:
            told |= {"not_blind": len(one.seen), "same_person": len(one.own), "first_disputed": one.disputed}
            told["figures"] = second.rows(one.agreement)
    return told


def _told(one: Compared) -> str:
    head = texts()["cabin.agreement.head"].format(
        name=one.draw.name, n=one.agreement.n, seen=len(one.seen), disputed=one.disputed
    )
    lines = [head, f"  {'field':44} {'n':>5} {'agree %':>8} {'strict %':>8} {'kappa':>6}  95 %"]
    lines += [_line(field) for field in one.agreement.fields.values() if field.both]
    for each in one.agreement.measures.values():
        relative = "" if each.relative is None else f" ({each.relative:.2f} %)"
        lines.append(f"  {each.name:44} {each.n:5}  difference {each.difference:+.3f}  TEM {each.error:.3f}{relative}")
    return "\n".join(lines)


def _line(field: Field) -> str:
    kappa = field.kappa
    agreed, strict = (_percent(value) for value in (field.agreement, field.strict))
    value = "-" if kappa is None or kappa.kappa is None else f"{kappa.kappa:.2f}"
    limits = "" if kappa is None or kappa.low is None else f"{kappa.low:.2f} to {kappa.high:.2f}"
    return f"  {field.name:44} {field.both:5} {agreed:>8} {strict:>8} {value:>6}  {limits}".rstrip()


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f}"
