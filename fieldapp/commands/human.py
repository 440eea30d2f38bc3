"""`bonedocket human`: runs the aid over answers in a file. Not for clearing anything: no outcome of it does."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fieldapp import assets
from fieldapp.cli import CommandError
from fieldapp.domain import aid
from fieldapp.domain.aid import Case, Reason
from fieldapp.domain.knowledge import Knowledge

HELP = "what answers to the human criteria allow to be said: stop, cannot tell, or for a specialist to confirm"

_NOT_LOOKED = ("not_looked", "not_looked_at")


def register(parser: argparse.ArgumentParser) -> None:
    """Adds the command's arguments."""
    parser.add_argument("--answers", type=Path, required=True, metavar="FILE", help="a JSON file, see README")
    parser.add_argument("--sources", action="store_true", help="with how each criterion misleads, and its source")
    parser.add_argument("--json", action="store_true", help="as JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Prints the outcome with its reasons. 0 whatever it is."""
    try:
        told = json.loads(args.answers.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise CommandError(f"{args.answers} could not be read: {error}") from error
    know = assets.knowledge()
    case = case_of(told, know)
    verdict = aid.judge(case, know)
    version = assets.criteria_version()
    reasons = [words(one, case, know) for one in verdict.reasons]
    helpful = [_helpful(key, know) for key in verdict.helpful]
    texts = assets.texts()
    if args.json:
        found = {
            "outcome": verdict.outcome,
            "reasons": reasons,
            "would_have_helped": helpful,
            "says": texts[f"aid.outcome.{verdict.outcome}"],
            "note": texts["aid.unseen"],
            "criteria_version": version,
        }
        print(json.dumps(found, ensure_ascii=False, indent=1))
        return 0
    print(texts[f"aid.outcome.{verdict.outcome}"])
    for line in (*reasons, *helpful):
        print(f"  - {line}")
    for key in dict.fromkeys([one.about for one in verdict.reasons] if args.sources else []):
        if key in know.criteria:
            pitfall = texts["aid.pitfall"].format(pitfall=texts[f"criterion.{key}.pitfall"])
            print(f"  [{key}] {pitfall} {_source(key, know)}")
    print(texts["aid.unseen"], texts["aid.version"].format(version=version))
    return 0


def case_of(told: Any, know: Knowledge) -> Case:
    """The case that a file tells of. Raises CommandError, which says what is wrong with which part."""
    if not isinstance(told, Mapping):
        raise CommandError("the file must hold one JSON object with `answers`")
    context = told.get("context") or {}
    if isinstance(context, str):
        context = {"kind": context}
    if not isinstance(context, Mapping):
        raise CommandError("`context` must be an object with `kind`")
    seen = _text(told, "seen") or "bone"
    if seen not in ("bone", "photo"):
        raise CommandError(f"`seen` is {seen!r}; it can be bone or photo")
    grave = str(context.get("grave_like") or "no").lower()
    return Case(
        element=_text(told, "element").lower().replace(" ", "_"),
        kind=_text(context, "kind"),
        answers=_answers(told.get("answers"), know),
        size_mm=_number(told, "size_mm"),
        photo=seen == "photo",
        pieces=_count(told, "pieces"),
        circumstances=() if grave in ("no", "unknown") else ("grave",),
    )


def _answers(told: Any, know: Knowledge) -> dict[str, str]:
    if told is None or told == "":
        return {}
    if not isinstance(told, Mapping):
        raise CommandError("`answers` must be an object: {criterion: yes, no, unclear or not looked at}")
    found: dict[str, str] = {}
    for name, said in told.items():
        key = str(name).strip().lower()
        if key not in know.criteria:
            raise CommandError(
                f"`answers` names {name!r}, which is no criterion: see assets/reference/human_criteria.csv"
            )
        if said is None or said == "":
            continue
        word = said.strip().lower().replace(" ", "_") if isinstance(said, str) else ""
        if word in _NOT_LOOKED:
            word = aid.NOT_LOOKED
        if word not in aid.ANSWERS:
            raise CommandError(f"{name} is answered {said!r}; it can be yes, no, unclear or not looked at")
        if found.get(key, word) != word:
            raise CommandError(f"{name} is answered twice, and not alike")
        found[key] = word
    return found


def _text(told: Mapping[str, Any], name: str) -> str:
    said = told.get(name)
    if said is None:
        return ""
    if not isinstance(said, str):
        raise CommandError(f"`{name}` must be text")
    return said.strip()


def _number(told: Mapping[str, Any], name: str) -> float | None:
    said = told.get(name)
    if said is None or said == "":
        return None
    if isinstance(said, bool) or not isinstance(said, int | float) or not 0 < said < 1e6:
        raise CommandError(f"`{name}` must be a number above nothing")
    return float(said)


def _count(told: Mapping[str, Any], name: str) -> int | None:
    said = _number(told, name)
    if said is not None and said != int(said):
        raise CommandError(f"`{name}` must be a whole number")
    return int(said) if said is not None else None


def words(reason: Reason, case: Case, know: Knowledge) -> str:
    """A reason as a sentence, with the key of the criterion that it names."""
    texts = assets.texts()
    one = know.criteria.get(reason.about)
    sentence = texts[f"aid.reason.{reason.key}"].format(
        about=reason.about,
        question=texts.get(f"criterion.{reason.about}", ""),
        judge=texts[f"aid.judge.{one.judge}"] if one is not None else "",
        strength=texts[f"aid.strength.{one.strength}"] if one is not None else "",
        element=texts.get(f"element.{case.element}", case.element),
        circumstance=texts.get(f"circumstance.{reason.about}", reason.about),
        pieces=case.pieces,
    )
    return sentence if one is None else f"{sentence} [{one.key}]"


def _source(key: str, know: Knowledge) -> str:
    one = know.criteria[key]
    texts = assets.texts()
    seen = texts["aid.seen.memory" if one.seen == "memory" else "aid.seen.seen"]
    return texts["aid.source"].format(source=one.source, seen=seen)


def _helpful(key: str, know: Knowledge) -> str:
    texts = assets.texts()
    judge = texts[f"aid.judge.{know.criteria[key].judge}"]
    return f"{texts['aid.helpful'].format(question=texts[f'criterion.{key}'], judge=judge)} [{key}]"
