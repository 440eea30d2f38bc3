"""Runs the rules over folded records, each among the others: the one way that tablet, cabin and sheet check.

Not here: the rules (domain.rules), the shapes (schemas), and where records are kept. Whoever calls brings the records
that matter: at least the record itself, its bag, its context, and whatever is joined to it; best of all with the
site, the bag's sample, photos and transfers.
"""

from __future__ import annotations

import itertools
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from fieldapp.domain import human, rules
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import CREMATIONS
from fieldapp.domain.rules.identity import NOT_BORNE
from fieldapp.records.fold import ADD_ONLY, Record
from fieldapp.records.schemas import OBSERVED, problems_of
from fieldapp.records.second import KIND as SECOND

SHAPE = "shape"
"""The rule that a value breaks which has not the shape of its path; its level is `check`."""

AT_ONCE = 50
"""So many records are looked at together: few enough that what the first of them needed is still near at hand."""

KINDS = ("context", "bag", "docket", "group", "sample", "tally", "transfer", "photo", "site", "second_reading")

_DOUBT = human.CAUTION[human.NOT_EXCLUDED]
_LIKE_DOCKETS = ("docket", SECOND)

_LINKS = ("same_as", "joins", "photo", "not_same")
_LINK_PATHS = tuple(f"{sort}/" for sort in _LINKS)
_TOLD = ("same_as", "joins", "not_same")
"""Links that say how two dockets belong together."""
_UNSAID = (None, "", "not_examined")


_CAUTIOUS: dict[str, Callable[[Any], bool]] = {
    "grave_like": lambda value: rules.like_a_grave({"grave_like": value}),
    "type": lambda value: value in ("grave", *CREMATIONS),
    "material": lambda value: value not in tuple(NOT_BORNE),
}
"""{path: whether a value asks for care}: where people disagree, the rules see one that does. Any value, even a list."""


Versions = list[tuple[rules.Docket, rules.Around]]


class Found(NamedTuple):
    """What a rule found. `readings`: ids of the heads of `reading` it is true of, () where it is true of all."""

    record: str
    problem: rules.Problem
    readings: tuple[str, ...] = ()


def values_of(record: Record) -> dict[str, Any]:
    """{path: value}, added values among them; where a path was added to twice, the change's id stands behind it."""
    found: dict[str, Any] = {}
    for path, heads in record.heads.items():
        if len(heads) == 1:
            (found[path],) = heads.values()
        elif path.startswith(ADD_ONLY):
            found |= {f"{path}@{one}": value for one, value in heads.items()}
        else:
            found[path] = record.value(path)
    if record.life() == "disputed":
        found.pop("deleted", None)
    for path, cautious in _CAUTIOUS.items():
        heads = record.heads.get(path, {})
        if len(heads) > 1 and (said := [value for _, value in sorted(heads.items()) if cautious(value)]):
            found[path] = said[0]
    return found


def reading_by_rule(docket: str, problem: rules.Problem) -> tuple[str, dict[str, Any]]:
    """The path and the answer to the human question that a rule asks for; the same wherever the rule is run."""
    space = uuid.UUID(docket) if _is_uuid(docket) else uuid.NAMESPACE_OID
    path = f"human/{uuid.uuid5(space, f'by_rule/{problem.rule}')}"
    return path, {"answer": problem.raises, "why": f"rule.{problem.rule}", "in_place": None, "by_rule": problem.rule}


def subject_of(record: Record) -> str:
    """The docket that an answer asked for by this record belongs to: a second reading's is the one read again."""
    return _text(record, "docket") if record.kind == SECOND else record.id


def is_wanting(record: Record, path: str, value: Mapping[str, Any]) -> bool:
    """Whether the answer a rule asks for is not among those given already."""
    return value not in record.heads.get(path, {}).values()


def answers_wanted(docket: str, record: Record | None, problems: Iterable[rules.Problem]) -> dict[str, dict[str, Any]]:
    """{path: answer to the human question} that these ask for and the docket has not; no `record` while it is new."""
    asked = dict(reading_by_rule(docket, problem) for problem in problems if problem.raises)
    return {path: value for path, value in asked.items() if record is None or is_wanting(record, path, value)}


class Among:
    """Some records, seen together.

    labels  {kind: {label: how many carry it}} where more are known of than given
    whole   whatever the records name was looked for and given if it is there; else nothing is said to be missing

    `knowledge` is then that of the site among the records, if it has changed anything for itself.
    """

    def __init__(
        self,
        records: Iterable[Record],
        knowledge: Knowledge,
        labels: Mapping[str, Mapping[str, int]] | None = None,
        whole: bool = False,
    ) -> None:
        self._records = {record.id: record for record in records}
        self._whole = whole
        self._values: dict[str, dict[str, Any]] = {}
        self._insides: dict[str, list[dict[str, Any]]] = {}
        self._seen: dict[str, Versions] = {}
        # Every index takes one step a record, and every look into one is short: checking all stays linear.
        self._weighed: dict[tuple[str, float], list[str]] = {}
        self._alike: dict[tuple[str, float], dict[Any, list[str]]] = {}
        self._linked: dict[str, dict[str, list[str]]] = {sort: {} for sort in _LINKS}
        self._about: dict[str, dict[str, list[str]]] = {"transfer": {}, "photo": {}}
        self._in_bag: dict[str, list[str]] = {}
        self._site: dict[str, Any] | None = None
        counted: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
        for one in self._records.values():
            if one.kind == "docket":
                self._link(one)
            if one.kind not in KINDS or one.life() == "deleted":
                continue
            label = one.value("number" if one.kind == "context" else "label")
            if isinstance(label, str):
                counted[one.kind][label] += 1
            if one.kind == "docket":
                self._in_bag.setdefault(bag := _text(one, "bag"), []).append(one.id)
                if bag and isinstance(weight := one.value("weight_g"), int | float):
                    self._weighed.setdefault((bag, weight), []).append(one.id)
            elif one.kind in self._about:
                self._about[one.kind].setdefault(_text(one, "docket"), []).append(one.id)
            elif one.kind == "site" and self._site is None:
                self._site = self.values(one)
        self._labels = counted if labels is None else labels
        self.knowledge = knowledge.at_site(self._site)

    def _link(self, docket: Record) -> None:
        for sort, other in docket.links(_LINK_PATHS):
            linked = self._linked[sort]
            linked.setdefault(docket.id, []).append(other)
            linked.setdefault(other, []).append(docket.id)

    def values(self, record: Record) -> dict[str, Any]:
        """`values_of`, worked out once."""
        found = self._values.get(record.id)
        if found is None:
            found = self._values[record.id] = values_of(record)
        return found

    def raised(self, record: Record) -> None:
        """Takes in that an answer to the human question was added to a record that was given: nothing else is new."""
        self._records[record.id] = record
        if (known := self._values.get(record.id)) is not None:
            # The very same mapping: others have it among what lies around them.
            known.clear()
            known.update(values_of(record))
        self._seen.pop(record.id, None)

    def context_of(self, record: Record) -> str:
        """The id of the context a record lies in, through its bag or docket if it has one; "" if nobody can tell."""
        if record.kind == "context":
            return record.id
        about = self._records.get(_text(record, "docket")) if record.kind in self._about else None
        if about is not None and about.kind == "docket":
            return self.context_of(about)
        bag = self._records.get(_text(record, "bag"))
        return (_text(bag, "context") if bag is not None else "") or _text(record, "context")

    def _context_for(self, record: Record) -> str:
        """`context_of`; but where several are named, by it and its bags, one that is like a grave before others."""
        settled = self.context_of(record)
        places = set(_words(record, "context"))
        for one in _words(record, "bag"):
            if (bag := self._records.get(one)) is not None:
                places.update(_words(bag, "context"))
        places.discard(settled)
        if not places or rules.like_a_grave(self._of(settled)):
            return settled
        return min((one for one in places if rules.like_a_grave(self._of(one))), default=settled)

    def around(self, record: Record, new: bool = False) -> rules.Around:
        """What the rules may look at beside the record itself."""
        bag, context = self._of(_text(record, "bag")), self._context_for(record)
        around = rules.Around(
            record=record.id,
            new=new,
            context=self._of(context) if record.kind != "context" else None,
            context_id=context if record.kind != "context" else "",
            bag=bag,
            labels=self._labels.get(record.kind, {}),
            site=self._site,
            whole=self._whole,
        )
        if record.kind == "docket":
            around.sample = self._sample(bag)
            if len(readings := record.heads.get("reading", {})) > 1:
                around.readings = tuple(readings.values())
            around.siblings = [self.values(self._records[one]) for one in self.doubles(record)]
            around.joined = self._others("same_as", record.id)
            around.refits = self._others("joins", record.id)
            around.photos = self._photos(record.id)
            around.transfers = self._known(self._about["transfer"].get(record.id, ()))
        elif record.kind == "bag":
            around.sample, around.inside = self._sample(self.values(record)), self._inside(record.id)
        elif record.kind in self._about:
            self._about_it(record, around)
        return around

    def _about_it(self, record: Record, around: rules.Around) -> None:
        """Around a transfer or a photo: what it names, and all the dockets that this concerns."""
        docket, bag = _text(record, "docket"), _text(record, "bag")
        subject = self._of(docket or bag or _text(record, "context"))
        also = [one for one in self._linked["photo"].get(record.id, ()) if one != docket]
        inside = list(self._known(sorted(set(also))).values()) if docket or not bag else self._inside(bag)
        joined: dict[str, dict[str, Any]] = {}
        for one in (docket, *also) if docket or not bag else self._in_bag.get(bag, ()):
            joined |= self._others("same_as", one)
        around.subject, around.joined, around.inside = subject, joined, inside

    def _sample(self, bag: Mapping[str, Any] | None) -> dict[str, Any] | None:
        sample = bag.get("sample") if bag is not None else None
        return self._of(sample) if isinstance(sample, str) else None

    def doubles(self, docket: Record) -> list[str]:
        """Ids of dockets in its bag that weigh and read the same, one for each of its readings that has any. Those of
        which somebody has said how they belong together are none: one bone, pieces of one, or two bones."""
        place = (_text(docket, "bag"), docket.value("weight_g"))
        fellows = self._weighed.get(place, ()) if isinstance(place[1], int | float) else ()
        if len(fellows) < 2:
            return []
        alike = self._alike.get(place)
        if alike is None:
            alike = self._alike[place] = {}
            for one in fellows:
                alike.setdefault(_said(self._records[one].value("reading")), []).append(one)
        told = {docket.id, *(one for sort in _TOLD for one in self._linked[sort].get(docket.id, ()))}
        found: list[str] = []
        for reading in docket.heads.get("reading", {}).values():
            if (said := _said(reading)) is not None:
                # A bag may hold thousands that weigh and read the same: one of them is enough to say so.
                found += itertools.islice((one for one in alike.get(said, ()) if one not in told), 1)
        return found

    def _others(self, sort: str, one: str) -> dict[str, dict[str, Any]]:
        linked = self._linked[sort].get(one)
        return self._known(sorted(set(linked))) if linked else {}

    def _photos(self, docket: str) -> dict[str, dict[str, Any]]:
        own, linked = self._about["photo"].get(docket), self._linked["photo"].get(docket)
        return self._known(sorted({*(own or ()), *(linked or ())})) if own or linked else {}

    def _inside(self, bag: str) -> list[dict[str, Any]]:
        found = self._insides.get(bag)
        if found is None:
            dockets = self._in_bag.get(bag, ()) if bag else ()
            found = self._insides[bag] = [self.values(self._records[one]) for one in dockets]
        return found

    def check(self, record: Record) -> list[Found]:
        """Everything the shapes and the rules find in one record. A disputed reading is looked at in every version."""
        return self._check([record])[0]

    def check_all(self) -> Iterator[Found]:
        """`check` of every record, in the order in which they were given."""
        for _, found in self.check_many(self._records.values()):
            yield from found

    def check_many(self, records: Iterable[Record]) -> Iterator[tuple[Record, list[Found]]]:
        """Each record with its `check`, in their order: AT_ONCE are looked at together, which is quicker."""
        rest = iter(records)
        while some := list(itertools.islice(rest, AT_ONCE)):
            yield from zip(some, self._check(some), strict=True)

    def _check(self, records: Sequence[Record]) -> list[list[Found]]:
        dockets = self._dockets([one for one in records if one.kind in _LIKE_DOCKETS])
        return [
            self._shapes(one) + (next(dockets) if one.kind in _LIKE_DOCKETS else self._rules(one))
            if one.kind in KINDS
            else []
            for one in records
        ]

    def _shapes(self, record: Record) -> list[Found]:
        return [
            Found(record.id, rules.Problem(SHAPE, "check", path, {"path": path, "why": "; ".join(why)}, ""))
            for path, why in problems_of(record.kind, self.values(record)).items()
        ]

    def _rules(self, record: Record) -> list[Found]:
        values, around, known = self.values(record), self.around(record), self.knowledge
        if record.kind == "group":
            problems = rules.check_group(values, self._known(record.items("member")), known, around)
        else:
            problems = rules.check_record(record.kind, values, around, known)
        return [Found(record.id, problem) for problem in problems]

    def raises(self, records: Iterable[Record]) -> Iterator[tuple[Record, list[rules.Problem]]]:
        """Each docket, or second reading of one, among `records` in which a rule asks for an answer to the human
        question, with what asks. The answer belongs to `subject_of` it, at the path `reading_by_rule` of its own id.

        What was made for it is kept for their `check`, which is to follow.
        """
        rest = (one for one in records if one.kind in _LIKE_DOCKETS)
        while some := list(itertools.islice(rest, AT_ONCE)):
            asked = [self._versions(one) for one in some]
            self._seen.update(zip((one.id for one in some), asked, strict=True))
            answers = iter(rules.check_dockets([one for each in asked for one in each], self.knowledge, raising=True))
            for record, each in zip(some, asked, strict=True):
                if problems := [problem for _ in each for problem in next(answers)]:
                    yield record, problems

    def _dockets(self, records: Sequence[Record]) -> Iterator[list[Found]]:
        """What the rules find in each docket; where people disagree on its reading, in each of its versions."""
        asked = [self._seen.pop(one.id, []) or self._versions(one) for one in records]
        answers = iter(rules.check_dockets([one for each in asked for one in each], self.knowledge))
        for record, each in zip(records, asked, strict=True):
            if len(each) == 1:
                yield [Found(record.id, problem) for problem in next(answers) if _is_own(record, problem)]
                continue
            found: dict[tuple[str, str, str], tuple[rules.Problem, list[str]]] = {}
            for one in record.heads["reading"]:
                for problem in (problem for problem in next(answers) if _is_own(record, problem)):
                    key = (problem.rule, problem.path, str(sorted(problem.fields.items())))
                    found.setdefault(key, (problem, []))[1].append(one)
            yield [
                Found(record.id, problem, () if len(where) == len(each) else tuple(sorted(where)))
                for problem, where in found.values()
            ]

    def _versions(self, docket: Record) -> Versions:
        """A docket as its rules see it: once, or with each of the readings that people disagree about."""
        readings = docket.heads.get("reading", {})
        values, around = self._again(docket) if docket.kind == SECOND else (self.values(docket), self.around(docket))
        versions = [{**values, "reading": one} for one in readings.values()] if len(readings) > 1 else [values]
        return [(rules.Docket(one, self.knowledge), around) for one in versions]

    def _again(self, second: Record) -> tuple[dict[str, Any], rules.Around]:
        """A second reading as the rules see it: the docket, with what was seen again for what was seen first."""
        docket = self._records.get(_text(second, "docket"))
        around = self.around(docket) if docket is not None else rules.Around(site=self._site)
        around.siblings, around.readings = (), ()
        first = self.values(docket) if docket is not None else {}
        own = {path: value for path, value in self.values(second).items() if _is_observed(path) or path == "deleted"}
        told = second.heads.get("reading", {}).values()
        return {**seen_again(first, told, self.knowledge), **own}, around

    def _of(self, one: str) -> dict[str, Any] | None:
        record = self._records.get(one)
        return None if record is None else self.values(record)

    def _known(self, ids: Iterable[str]) -> dict[str, dict[str, Any]]:
        """{id: values} of those that are here."""
        return {one: values for one in ids if (values := self._of(one)) is not None}


def seen_again(first: Mapping[str, Any], readings: Iterable[Any], knowledge: Knowledge) -> dict[str, Any]:
    """What stands of a docket's values beside a second reading of it: all but what was seen on the bone.

    An answer to the human question that was milder than "not excluded" was given to the first reading and is none to
    this one. Where the second reader names a human, the question is asked as if nobody had answered or assessed it.
    """
    doubted = any(isinstance(one, Mapping) and knowledge.may_be_human(one.get("taxon")) for one in readings)

    def stands(path: str, value: Any) -> bool:
        if _is_observed(path) or path == "deleted" or (doubted and path.startswith(ADD_ONLY)):
            return False
        return not path.startswith("human/") or human.CAUTION[human.answer_of(value)] >= _DOUBT

    return {path: value for path, value in first.items() if stands(path, value)}


def _is_observed(path: str) -> bool:
    return path.partition("/")[0] in OBSERVED


def _is_own(record: Record, problem: rules.Problem) -> bool:
    """Whether a problem is one of this record: of a second reading, what is about its docket is the docket's."""
    return record.kind != SECOND or bool(problem.raises) or _is_observed(problem.path)


def _said(reading: Any) -> frozenset[tuple[str, Any]] | None:
    """What a reading says: equal for two that say the same thing, whatever they leave unsaid; None for an odd one."""
    if not isinstance(reading, dict):
        return None
    said = []
    for field, value in reading.items():
        if isinstance(value, dict):
            said += [(f"{field}/{key}", state) for key, state in value.items() if state not in _UNSAID]
        elif value not in _UNSAID:
            said.append((field, value))
    try:
        return frozenset(said)
    except TypeError:
        # A list where a word belongs: odd readings are like no other.
        return None


def _words(record: Record, path: str) -> list[str]:
    """Every word that anybody's last change sets a path to."""
    heads = record.heads.get(path)
    return [value for value in heads.values() if isinstance(value, str) and value] if heads else []


def _text(record: Record, path: str) -> str:
    value = record.value(path)
    return value if isinstance(value, str) else ""


def _is_uuid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True
