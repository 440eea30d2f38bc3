"""`bonedocket terms`: searches the vocabulary, and says where each term comes from and whether that was seen."""

from __future__ import annotations

import argparse
import json
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from difflib import get_close_matches

from fieldapp import assets
from fieldapp.domain.terms import KINDS, Term, all_terms, find, plain

HELP = "search the vocabulary: animals, bones and their parts, ages, words, with their sources"
WIDTH = 100
SHOWN = 40


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("words", nargs="*", metavar="WORDS", help="what to look for (default: list the kinds)")
    parser.add_argument("--kind", choices=tuple(KINDS), help="only terms of this kind")
    parser.add_argument("--all", action="store_true", help=f"everything that was found, not only the best {SHOWN}")
    parser.add_argument("--json", action="store_true", help="as JSON, for other programs: all of it, all fields")


def run(args: argparse.Namespace) -> int:
    """Prints what is found. 1 if nothing is, else 0."""
    texts = assets.texts()
    terms = [term for term in all_terms(assets.knowledge(), texts) if args.kind in (None, term.kind)]
    sought = " ".join(args.words)
    found = find(terms, sought) if args.words else terms
    if args.json:
        print(json.dumps([asdict(term) for term in found], indent=1, ensure_ascii=False))
    elif not args.words and args.kind is None:
        _kinds(terms, texts)
    elif found:
        _show(found if args.all else found[:SHOWN], len(found), texts)
    else:
        words = ", ".join(near(terms, sought))
        help_ = texts["terms.near"].format(words=words) if words else texts["terms.nothing_near"]
        print(textwrap.fill(f"{texts['terms.nothing'].format(sought=printable(sought))} {help_}", WIDTH))
    return 0 if found else 1


def _kinds(terms: list[Term], texts: Mapping[str, str]) -> None:
    for kind, number in Counter(term.kind for term in terms).items():
        print(f"{number:6}  {kind:12}  {texts[f'terms.kind.{kind}']}")
    print(f"{len(terms):6}")


def _show(found: list[Term], number: int, texts: Mapping[str, str]) -> None:
    for term in found:
        print(textwrap.fill(f"{term.name}  [{term.kind}; {term.key}]", WIDTH, subsequent_indent="    "))
        lines = (
            ("", term.definition),
            (texts["terms.shown.also"], ", ".join(one for one in term.also if one != term.name)),
            (texts["terms.shown.where"], term.where),
            (texts["terms.shown.source"], source_of(term, texts)),
        )
        for head, line in lines:
            if line:
                print(
                    textwrap.fill(
                        head + line,
                        WIDTH,
                        initial_indent="    ",
                        subsequent_indent="      ",
                        # An address broken in two cannot be followed.
                        break_long_words=False,
                        break_on_hyphens=False,
                    )
                )
        print()
    key = "found" if len(found) == number else "more"
    print(texts[f"terms.shown.{key}"].format(number=number, shown=len(found)))


def source_of(term: Term, texts: Mapping[str, str]) -> str:
    """A term's source in words: seen at an address, from memory, or a decision or custom that has neither."""
    if term.seen == "memory":
        return texts["terms.shown.memory"].format(source=term.source)
    if term.seen.startswith("verified:"):
        return texts["terms.shown.seen"].format(source=term.source, address=term.seen.removeprefix("verified:"))
    return term.source


def printable(text: str) -> str:
    """What was typed, as any terminal can show it."""
    return "".join(one if one.isprintable() else "?" for one in text)


def near(terms: Iterable[Term], sought: str, most: int = 6) -> list[str]:
    """Names, or words of names, that look like `sought`, likest first."""
    names: dict[str, str] = {}
    for term in terms:
        for name in (term.name, *term.also):
            names.setdefault(plain(name), name)
            for word in plain(name).split():
                if len(word) > 3 and not word.isdigit():
                    names.setdefault(word, word)
    return [names[one] for one in get_close_matches(plain(sought)[:60], names, most, 0.7)]
