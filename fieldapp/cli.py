"""The command `bonedocket`. Finds its commands by entry points, so that a tablet's install has the tablet's only.

A command is a module with `HELP` (one line), `register(parser)` and `run(args) -> exit code`. Exit codes: 0 done,
1 done and something is wrong with what was looked at, 2 the command could not do its work (CommandError says why).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib.metadata import EntryPoint, entry_points, version
from types import ModuleType

from fieldapp import assets

GROUP = "bonedocket.commands"


class CommandError(Exception):
    """What kept a command from its work, in words for the person who typed it."""


class _Missing:
    """Stands in for a command whose packages are not installed, and says so when it is called."""

    def __init__(self, name: str, missing: str) -> None:
        self.HELP = f"(not installed: needs {missing})"
        self._words = (
            f"'{name}' needs the package '{missing}', which a bare install leaves out. "
            'Install the cabin\'s side with: pip install "bonedocket[server]"'
        )

    def register(self, parser: argparse.ArgumentParser) -> None:
        """Takes no arguments of its own: `main` lets any pass."""

    def run(self, args: argparse.Namespace) -> int:
        raise CommandError(self._words)


def _load(entry: EntryPoint) -> ModuleType | _Missing:
    try:
        return entry.load()  # type: ignore[no-any-return]
    except ModuleNotFoundError as error:
        # A module of ours that is missing is a broken install, not a choice: that must not be dressed up.
        if error.name is None or error.name.partition(".")[0] in ("fieldapp", "server", "demo_data"):
            raise
        return _Missing(entry.name, error.name)


def main(argv: Sequence[str] | None = None) -> int:
    """Runs `bonedocket` with `argv` (default: the command line's) and returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="bonedocket",
        description="Records animal bone where it is found, offline; stops at possible human remains; merges at the "
        "site cabin; prints context bone sheets.",
    )
    parser.add_argument("--version", action="version", version=version("bonedocket"))
    parser.add_argument(
        "--language",
        choices=assets.languages(),
        help="of sheets, labels, tables and reports; stands before the command",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    argv = sys.argv[1:] if argv is None else argv
    entries = {entry.name: entry for entry in entry_points(group=GROUP)}
    # Only what was asked for is loaded, so that `rules` need not wait for the cabin's packages.
    named = argv[_before(argv) :][:1]
    wanted = [*named] if named and named[0] in entries else sorted(entries)
    missing = set()
    for name in wanted:
        module = _load(entries[name])
        if isinstance(module, _Missing):
            missing.add(name)
        below = commands.add_parser(name, help=module.HELP, description=module.HELP)
        module.register(below)
        below.set_defaults(run=module.run)
    args, unknown = parser.parse_known_args(argv)
    if unknown and args.command not in missing:
        parser.error(f"unrecognized arguments: {' '.join(unknown)}")
    # Of the whole process, not of this context alone: a command may begin threads.
    former = assets.speak(args.language) if args.language else ""
    try:
        return int(args.run(args))
    except CommandError as error:
        print(f"bonedocket {args.command}: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print(f"bonedocket {args.command}: stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away (`| head`): nothing is wrong with us.
        sys.stderr.close()
        return 0
    finally:
        if former:
            assets.speak(former)


def _before(argv: Sequence[str]) -> int:
    """How many words stand before the command: a language may."""
    if argv and argv[0].startswith("--language="):
        return 1
    return 2 if argv and argv[0] == "--language" else 0
