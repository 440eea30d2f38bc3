"""Rules about bones that are said to be of one animal. `associated` bones may be of several: only some rules apply."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules import fusion
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, Values, by_name, shown, term, text

_AGES = ("foetal", "newborn", "juvenile", "subadult", "adult")
OF_ONE_BODY = frozenset({"articulated_observed", "articulated_inferred"})
"""Relations of a group that say its bones are of one animal. Bones merely found together may be of several."""
COMPARED = "compared"
"""The relation of a group whose lefts and rights were laid side by side."""


class Group(Record):
    """A group and those of its members that are known here. A deleted docket is no member."""

    __slots__ = ("members", "missing", "named")

    def __init__(self, values: Values, members: Mapping[str, Values], know: Knowledge) -> None:
        super().__init__(values)
        self.named = [path.split("/", 1)[1] for path, value in self.items("member/") if value is True]
        there = {one: members[one] for one in self.named if one in members and members[one].get("deleted") is not True}
        self.members = {one: Docket(found, know) for one, found in there.items()}
        self.missing = [one for one in self.named if one not in there]

    @property
    def one_animal(self) -> bool:
        """Whether the bones are said to be of one animal."""
        return text(self.values.get("relation")) in OF_ONE_BODY

    @property
    def in_one(self) -> dict[str, Docket]:
        """The members that are said to be of one animal; none in a group that was only found together."""
        return self.members if self.one_animal else {}

    def name(self, member: str) -> str:
        """What to call a member in a sentence."""
        docket = self.members.get(member)
        return shown(docket.label if docket is not None and docket.label else member)


def group_taxa_differ(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Articulated bones of two animals."""
    if not group.one_animal:
        return
    # Each name once: a body of two thousand bones bears few.
    first: dict[str, str] = {}
    for one, docket in group.members.items():
        taxon = docket.taxon
        if taxon is None or docket.taxon_row is None or taxon in first:
            continue
        for second, other in first.items():
            if not know.share(taxon, second):
                yield (
                    f"member/{one}",
                    {
                        "one": group.name(other),
                        "taxon": term("taxon", second),
                        "other": group.name(one),
                        "second": term("taxon", taxon),
                    },
                )
                return
        first[taxon] = one


def group_same_side_twice(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """More left (or right) ones of a bone than one animal has: the same portion, over half there, too often."""
    if not group.one_animal:
        return
    found: dict[tuple[str, str, str], list[str]] = {}
    for one, docket in group.members.items():
        row = docket.element_row
        if row is None or not row.sided or docket.side not in ("left", "right") or _on_side_toe(docket, know):
            continue
        for portion in sorted(docket.most):
            # A radius and ulna in one piece take the place of both.
            element, place = know.place(row.key, portion)
            limit = know.largest_count(docket.taxon, element)
            alike = found.setdefault((element, docket.side, place), [])
            alike.append(one)
            if limit is not None and len(alike) > max(limit // 2, 1):
                yield (
                    f"member/{one}",
                    docket.names(
                        one=group.name(alike[0]),
                        other=group.name(one),
                        side=term("side", docket.side),
                        portion=term(f"portion.{row.key}", portion),
                    ),
                )
                return


def group_more_than_skeleton(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """More of a bone, sides aside, than a skeleton has."""
    if not group.one_animal:
        return
    held: Counter[tuple[str, str]] = Counter()
    limits: dict[str, int] = {}
    for one, docket in group.members.items():
        limit = know.largest_count(docket.taxon, docket.element) if docket.element else None
        if limit is None or docket.element is None or _on_side_toe(docket, know):
            continue
        # One animal: the narrowest name among its bones sets the limit.
        limits[docket.element] = min(limit, limits.get(docket.element, limit))
        held.update((docket.element, portion) for portion in docket.most)
        if any(held[docket.element, portion] > limits[docket.element] for portion in docket.most):
            yield f"member/{one}", docket.names(limit=str(limits[docket.element]), other=group.name(one))
            return


def _on_side_toe(docket: Docket, know: Knowledge) -> bool:
    # The published numbers leave out the small side toes of ruminants: those that no full metapodial bears.
    position, row = text(docket.reading.get("position")), docket.element_row
    if position == "lateral" or row is None or position is None or not know.is_part(row.key, "phalanx"):
        return position == "lateral"
    borne = know.positions_of("metapodial", docket.taxon)
    return bool(borne) and position in know.positions_of(row.key, docket.taxon) and position not in borne


def group_same_position_twice(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Two of the same digit, rib or vertebra: the same portion, over half there, of the same number and side."""
    found: dict[tuple[str, str | None, str, str], list[str]] = {}
    for one, docket in group.in_one.items():
        row, position = docket.element_row, text(docket.reading.get("position"))
        if row is None or row.material != "bone" or position is None or _on_side_toe(docket, know):
            continue
        if row.sided and docket.side not in ("left", "right"):
            continue
        for portion in sorted(docket.most):
            alike = found.setdefault((row.key, docket.side, position, portion), [])
            alike.append(one)
            # A toe bone of a number may be of the fore or of the hind foot.
            if len(alike) > (2 if row.region == "feet" else 1):
                other = {"one": group.name(alike[0]), "other": group.name(one)}
                yield f"member/{one}", docket.names(position=shown(position), **other)
                return


def group_ages_clash(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Articulated bones whose fusion no single age fits (each bone by itself is fine)."""
    if not group.one_animal:
        return
    limits = {one: fusion.age_limits(docket, know) for one, docket in group.members.items()}
    fine = {one: pair for one, pair in limits.items() if fusion.clash([pair]) is None}
    found = fusion.clash(fine.values())
    if found is not None:
        least, most = found
        older = next(one for one, pair in fine.items() if pair[0] is least)
        younger = next(one for one, pair in fine.items() if pair[1] is most)
        yield (
            f"member/{younger}",
            {
                "one": group.name(older),
                "other": group.name(younger),
                "least": f"{least.months:g}",
                "most": f"{most.months:g}",
            },
        )


def group_age_words_differ(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bones of one animal of which one is called much older than another."""
    ages = {
        one: _AGES.index(age)
        for one, docket in group.in_one.items()
        if (age := text(docket.reading.get("age"))) in _AGES
    }
    younger, older = min(ages, key=ages.__getitem__, default=""), max(ages, key=ages.__getitem__, default="")
    if ages and ages[older] - ages[younger] > 1:
        yield (
            f"member/{younger}",
            {
                "one": group.name(older),
                "age": term("age_class", _AGES[ages[older]]),
                "other": group.name(younger),
                "second": term("age_class", _AGES[ages[younger]]),
            },
        )


def group_sexes_differ(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Bones of one animal that were given two sexes."""
    sexes = {
        one: sex for one, docket in group.in_one.items() if know.is_word("sex", sex := text(docket.reading.get("sex")))
    }
    first = next(iter(sexes), None)
    for one, sex in sexes.items():
        if first is not None and sex != sexes[first]:
            said = {"sex": term("sex", sexes[first]), "second": term("sex", sex)}
            yield f"member/{one}", {"one": group.name(first), "other": group.name(one), **said}
            return


def group_name_to_share(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One bone of the animal bears its name for certain, another only a size or a class that holds it, or nothing."""
    # Where one of them may be human nothing is to be named after its neighbours: the question comes first.
    minded = human.CAUTION[human.NOT_EXCLUDED]
    if any(docket.caution >= minded or know.is_a(docket.taxon or "", "human") for docket in group.in_one.values()):
        return
    known = [one for one, docket in group.in_one.items() if docket.named]
    narrowest = max(known, key=lambda one: len(know.taxa[group.members[one].taxon or ""].broader), default=None)
    if narrowest is None or group.members[narrowest].reading.get("certainty") == "cf":
        return
    name = group.members[narrowest].taxon or ""
    for one, docket in group.in_one.items():
        if not docket.named and (docket.taxon is None or know.is_a(name, docket.taxon)):
            said = {"taxon": term("taxon", name), "second": term("taxon", docket.taxon)}
            yield f"member/{one}", {"one": group.name(narrowest), "other": group.name(one), **said}
            return


def group_piece_left_out(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A member that is said to be one bone with a piece that does not belong to the group."""
    named = set(group.named)
    for one, docket in group.members.items():
        for path, joined in docket.items("same_as/"):
            piece = path.split("/", 1)[1]
            if joined is True and piece and piece not in named:
                yield f"member/{one}", {"one": group.name(one), "other": shown(piece)}


def compared_bones_differ(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Laid side by side for pairs, and not the same bone: what cannot be a pair cannot be found to be none."""
    if text(group.values.get("relation")) != COMPARED:
        return
    first = ""
    for one, docket in group.members.items():
        if docket.element_row is None:
            continue
        if not first:
            first = one
        elif docket.element != group.members[first].element:
            yield (
                f"member/{one}",
                {
                    "one": group.name(first),
                    "element": term("element", group.members[first].element),
                    "other": group.name(one),
                    "second": term("element", docket.element),
                },
            )
            return


def group_contexts_differ(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A member that is said to be from another context than the group."""
    own = text(group.values.get("context"))
    for one, docket in group.members.items():
        theirs = text(docket.values.get("context"))
        if own is not None and theirs is not None and theirs != own:
            yield f"member/{one}", {"other": group.name(one)}


def group_member_missing(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A member that is not here, or was deleted."""
    for one in group.missing:
        yield f"member/{one}", {"other": shown(one)}


def group_of_one(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A group of one bone, or of none."""
    if len(group.named) < 2:
        yield "member", {"number": str(len(group.named))}


def group_with_possible_human(group: Group, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One member may be human, and another of the same body has no such answer."""
    if not group.one_animal:
        return
    query = human.CAUTION[human.QUERY]
    raised = [one for one, docket in group.members.items() if docket.caution >= query]
    if raised:
        for one, docket in group.members.items():
            if docket.caution < query:
                yield f"member/{one}", {"one": group.name(raised[0]), "other": group.name(one)}


RULES = by_name(
    group_taxa_differ,
    group_same_side_twice,
    group_more_than_skeleton,
    group_same_position_twice,
    group_ages_clash,
    group_age_words_differ,
    group_sexes_differ,
    group_name_to_share,
    group_piece_left_out,
    compared_bones_differ,
    group_contexts_differ,
    group_member_missing,
    group_of_one,
    group_with_possible_human,
)
