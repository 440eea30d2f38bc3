"""Rules: what cannot be so in a skeleton, what should be checked, and what is worth a note.

A rule is a function whose name is its key; level, source and what it raises stand in assets/reference/rules.csv, its
sentence in assets/texts under "rule.<key>". Rules take any record whatever is in it, never raise, and decide nothing:
a record can always be saved. They do not read, write or count.

To add one: write the function beside its kin, name it in the RULES of its module, add its row and its sentence, and
give tests/domain/cases one record that breaks it and one near miss.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import (
    amounts,
    breakage,
    caution,
    containers,
    fusion,
    groups,
    identity,
    measures,
    places,
    portions,
    presence,
    protocol,
    samples,
    surface,
    tallies,
    teeth,
    transfers,
    words,
)
from fieldapp.domain.rules.caution import like_a_grave
from fieldapp.domain.rules.findings import Around, Docket, Problem, Record, Rule, Values

__all__ = [
    "BY_KIND",
    "NEEDS",
    "Around",
    "Docket",
    "Problem",
    "catalogue",
    "check_docket",
    "check_dockets",
    "check_group",
    "check_record",
    "like_a_grave",
    "sentence",
    "unmatched",
]

_LABEL = {key: places.RULES[key] for key in ("label_check_wrong", "label_repeated")}
_CLOSED = {"context_closed": places.RULES["context_closed"]}
_WEIGHT = {"weight_not_positive": amounts.RULES["weight_not_positive"]}
_COUNT = {"count_below_one": amounts.RULES["count_below_one"]}

BY_KIND: dict[str, dict[str, Rule]] = {
    "docket": {
        **caution.RULES,
        **words.BY_KIND["docket"],
        **identity.RULES,
        **portions.RULES,
        **fusion.RULES,
        **amounts.RULES,
        **places.RULES,
        **containers.DOCKET_RULES,
        **samples.DOCKET_RULES,
        **presence.RULES,
        **surface.RULES,
        **teeth.ALWAYS_RULES,
        **teeth.RULES,
        **measures.RULES,
        **transfers.DOCKET_RULES,
        **protocol.RULES,
    },
    "context": {**words.BY_KIND["context"], **containers.CONTEXT_RULES, **samples.CONTEXT_RULES},
    "bag": {**words.BY_KIND["bag"], **_LABEL, **_CLOSED, **_WEIGHT, **containers.BAG_RULES, **samples.BAG_RULES},
    "group": {**words.BY_KIND["group"], **_LABEL, **groups.RULES, **teeth.GROUP_RULES},
    "sample": {**words.BY_KIND["sample"], **_LABEL, **_CLOSED, **containers.SAMPLE_RULES, **samples.RULES},
    "tally": {**tallies.RULES, **words.BY_KIND["tally"], **_LABEL, **_CLOSED, **_COUNT, **_WEIGHT},
    "transfer": {**words.BY_KIND["transfer"], **transfers.RULES},
    "photo": {**words.BY_KIND["photo"], **transfers.PHOTO_RULES},
    "site": {**words.BY_KIND["site"], **presence.SITE_RULES, **containers.SITE_RULES},
}
"""{kind of record: {key: rule}}, in the order in which problems are given."""

_OF_ONE_PATH = {
    "burn_colour": ("colour_against_burning", "colour_without_burning"),
    "staining": ("burning_may_be_stain",),
    "weathering": ("weathering_not_a_stage", "weathering_may_be_heat", "weathering_on_lost_surface"),
    "roots": ("roots_against_preservation", "roots_in_sealed_deposit"),
    "digestion": ("digestion_on_large_piece",),
    "pathology": ("pathology_not_on_bone",),
    "antler_base": ("antler_base_without_antler", "shed_with_skull_bone"),
    "longest_mm": ("longest_implausible", "longest_against_weight"),
    "breaks": ("new_break_without_refit",),
    "same_as": ("joined_to_itself", "joined_but_conflicting"),
    "photo": ("photo_missing",),
    "mark": ("worked_without_transfer",),
    "context": ("find_from_cut", "find_from_natural"),
    "count": ("count_below_one", "several_as_one_bone"),
    "weight_g": ("weight_not_positive", "weight_too_great"),
}
NEEDS = {
    **{rule: path for path, found in _OF_ONE_PATH.items() for rule in found},
    **caution.NEEDS,
    **identity.NEEDS,
    **portions.NEEDS,
    **fusion.NEEDS,
    **dict.fromkeys(breakage.FRACTURE_RULES, "fracture"),
    **dict.fromkeys(breakage.JOIN_RULES, "joins"),
    **transfers.NEEDS,
    **places.NEEDS,
    **protocol.NEEDS,
    **dict.fromkeys(teeth.RULES, "tooth"),
    **dict.fromkeys(measures.RULES, "measure"),
    **dict.fromkeys(surface.MARK_RULES, "mark"),
}
"""{rule: what it looks at, without which it is passed by}: most dockets hold no tooth and no mark.

What is named is the first part of a path or, of a docket's reading or answers, a field or a state (`there` in
findings). It has to be so for every record whatever: a test lets each rule look at records without what it needs.
"""

Steps = Sequence[tuple[str | None, Sequence[tuple[str, Rule]]]]
"""[(what they need, the rules that need it)], in the order of the rules: whole runs are passed by at once."""

_STEPS: dict[str, Steps] = {
    kind: [(need, list(run)) for need, run in groupby(found.items(), key=lambda item: NEEDS.get(item[0]))]
    for kind, found in BY_KIND.items()
}
_NOTHING = Around()


def check_docket(values: Values, around: Around, knowledge: Knowledge) -> tuple[Problem, ...]:
    """What the rules find in a docket, given as {path: value}. A deleted one has no problems."""
    return check_record("docket", values, around, knowledge)


def check_dockets(
    dockets: Sequence[tuple[Docket, Around]], knowledge: Knowledge, raising: bool = False
) -> list[tuple[Problem, ...]]:
    """What `check_docket` finds in each of several, in their order: some dozens at once take half the time.

    `raising`: only what the rules find that ask for an answer to the human question.
    """
    steps = _STEPS["docket"]
    if raising:
        raises = {key for key, row in knowledge.rules.items() if row.raises}
        steps = [(need, some) for need, run in steps if (some := [one for one in run if one[0] in raises])]
    return _run(steps, dockets, knowledge)


def check_record(kind: str, values: Values, around: Around, knowledge: Knowledge) -> tuple[Problem, ...]:
    """What the rules find in a record of any kind but a group; nothing for a kind without rules."""
    if kind not in BY_KIND or kind == "group":
        return ()
    record = Docket(values, knowledge) if kind == "docket" else Record(values)
    return _run(_STEPS[kind], [(record, around)], knowledge)[0]


def check_group(
    values: Values, members: Mapping[str, Values], knowledge: Knowledge, around: Around = _NOTHING
) -> tuple[Problem, ...]:
    """What the rules find in a group, given its dockets as {id: values}.

    A docket's own `context` is what is compared with the group's; give it the context of its bag where it has none.
    """
    return _run(_STEPS["group"], [(groups.Group(values, members, knowledge), around)], knowledge)[0]


def _run(steps: Steps, records: Sequence[tuple[Record, Around]], knowledge: Knowledge) -> list[tuple[Problem, ...]]:
    found: list[list[Problem]] = [[] for _ in records]
    looked_at = [
        (record, around, problems)
        for (record, around), problems in zip(records, found, strict=True)
        if record.values.get("deleted") is not True
    ]
    # One rule over all records, then the next: a processor is quicker at what it has just done.
    for need, run in steps:
        those = looked_at if need is None else [one for one in looked_at if need in one[0].there]
        for key, rule in run if those else ():
            row = knowledge.rules.get(key)
            if row is not None:
                for record, around, problems in those:
                    for path, fields in rule(record, around, knowledge):
                        problems.append(Problem(key, row.level, path, fields, row.raises))
    return [tuple(problems) for problems in found]


def sentence(problem: Problem, texts: Mapping[str, str]) -> str:
    """What is wrong and what to do, in the language of `texts`. The rule's key where there is no sentence."""
    fields = {name: texts.get(value, _last(value)) for name, value in problem.fields.items()}
    return texts.get(f"rule.{problem.rule}", problem.rule).format_map(_Open(fields))


def _last(value: str) -> str:
    # A word of the tables without a text of its own is shown without the name of its list.
    return value.rpartition(".")[2] if value.startswith(("element.", "taxon.", "portion.", "centre.")) else value


class _Open(dict[str, str]):
    """Fields of a sentence; one that is not given shows as its name."""

    def __missing__(self, name: str) -> str:
        return f"({name})"


def catalogue(knowledge: Knowledge, texts: Mapping[str, str] | None = None) -> list[dict[str, Any]]:
    """Every rule for a list: key, level, kinds, families, raises, sentence, source, seen; gravest level first."""
    levels = knowledge.words.get("level", ())
    return [
        {
            "key": row.key,
            "level": row.level,
            "kinds": list(row.kinds),
            "families": list(row.families),
            "raises": row.raises,
            "sentence": (texts or {}).get(f"rule.{row.key}", ""),
            "source": row.source,
            "seen": row.seen,
        }
        for row in sorted(knowledge.rules.values(), key=lambda row: (levels.index(row.level), row.families, row.key))
    ]


def unmatched(knowledge: Knowledge) -> list[str]:
    """What the table of rules and the rules themselves do not agree on; empty when all is well."""
    coded: dict[str, set[str]] = {}
    for kind, found in BY_KIND.items():
        for key in found:
            coded.setdefault(key, set()).add(kind)
    faults = [f"the rule {key!r} has no row" for key in coded if key not in knowledge.rules]
    for key, row in knowledge.rules.items():
        if key not in coded:
            faults.append(f"the row {key!r} has no rule")
        elif coded[key] != set(row.kinds):
            faults.append(f"the row {key!r} is for {row.kinds}, its rule for {tuple(sorted(coded[key]))}")
    return faults
