"""Makes the entries of a sheet, one record at a time: who said what, where versions differ, what a hold says.

For: a folded record in, its entry out. Not for: which records stand on a sheet and in which order (gather). Exact
places are left behind here: sealed places, that of a bone that stands raised, the free words of a hold's log, and
paths that this version does not know.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from fieldapp.domain import human, readings
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.labels import LabelError
from fieldapp.domain.labels import read as read_label
from fieldapp.domain.samples import amount
from fieldapp.records import checked as marked
from fieldapp.records.changes import canonical
from fieldapp.records.checking import Among
from fieldapp.records.fold import Record
from fieldapp.records.moments import moment
from fieldapp.records.schemas import SHAPES
from fieldapp.records.shapes import CUSTODY
from fieldapp.records.standing import Authority, is_released, standing_of
from fieldapp.sheets.entries import (
    Assessed,
    Bag,
    Difference,
    Docket,
    Group,
    Hold,
    HumanReading,
    Note,
    Photo,
    Problem,
    Reading,
    Said,
    Step,
    Tally,
    Version,
)

Who = Mapping[str, tuple[str, str, str]]
"""{change id: (name, role, time)} of the people who wrote the changes."""

_READING = ("element", "side", "taxon", "certainty", "portions", "fusion", "sex", "stage", "compared")
_NOT_SHOWN = frozenset({"place_sealed", "checked", "not_same", "imported"})
_PLACED = frozenset(
    {"label", "bag", "context", "material", "reading", "human", "assessment", "count", "weight_g", "burning", "note"}
    | {"same_as", "not_same", "finder", "photo", "checked", "deleted", "imported"}
)
"""Paths of a docket that have a place of their own on the sheet."""
_IDS = frozenset({"bag", "context", "docket"})
"""Paths that hold the id of another record, shown by its label."""


class Making:
    """Makes entries, and holds what all entries of one sheet look things up in.

    `labels`: {record id: label} of what may be named. `hold_words`: the free words of hold logs too.
    """

    def __init__(
        self,
        authority: Authority,
        knowledge: Knowledge,
        who: Who,
        among: Among,
        labels: Mapping[str, str],
        hold_words: bool = False,
    ) -> None:
        self.authority, self.knowledge, self.who, self.among, self.labels = authority, knowledge, who, among, labels
        self.hold_words = hold_words

    def said(self, change: str) -> Said:
        return Said(change, *(text(one) for one in self.who.get(change, ("", "", ""))))

    def versions(self, heads: Mapping[str, Any]) -> tuple[Version, ...]:
        """The distinct values among `heads`, the one first said first."""
        found: dict[str, tuple[Any, list[Said]]] = {}
        for said in sorted((self.said(change) for change in heads), key=lambda one: one.order):
            value = heads[said.change]
            found.setdefault(canonical(value), (value, []))[1].append(said)
        return tuple(Version(value, tuple(said)) for value, said in found.values())

    def differences(self, record: Record) -> tuple[Difference, ...]:
        found = []
        for path, heads in sorted(marked.disagreements(record).items()):
            if path == "deleted" or path in _NOT_SHOWN:
                continue
            if not _known(record.kind, path):
                found.append(Difference(path, ()))
            elif path == "reading":
                read = (replace(one, reading=self.reading(one.value)) for one in self.versions(heads))
                found.append(self._readings(path, tuple(read)))
            else:
                versions = self.versions(heads)
                if path in _IDS:
                    versions = tuple(replace(one, value=self._named(one.value)) for one in versions)
                # "Not looked at" beside a value is a matter of precision; a link or note taken away is not.
                vague = "/" not in path and len(versions) == 2 and any(one.value is None for one in versions)
                found.append(Difference(path, versions, precision=vague))
        return tuple(found)

    def _named(self, value: Any) -> Any:
        return self.labels.get(value, value) if isinstance(value, str) else value

    def _readings(self, path: str, versions: tuple[Version, ...]) -> Difference:
        fields: dict[str, str] = {}
        used = versions[0].value
        for n, one in enumerate(versions):
            used = readings.coarser(used, one.value, self.knowledge)
            for other in versions[n + 1 :]:
                for name, verdict in readings.differences(one.value, other.value, self.knowledge).items():
                    if fields.get(name) != "conflict":
                        fields[name] = verdict
        return Difference(path, versions, "conflict" not in fields.values(), used, fields)

    def problems(self, record: Record, versions: Sequence[Version] = ()) -> tuple[Problem, ...]:
        """What the rules find; `versions` of a disputed reading, so that a problem of some says of which."""
        shown = []
        for found in self.among.check(record):
            row = self.knowledge.rules.get(found.problem.rule)
            of = tuple(n for n, one in enumerate(versions) if any(said.change in found.readings for said in one.said))
            shown.append(Problem(found.problem, row.source if row else "", () if len(of) == len(versions) else of))
        levels = self.knowledge.words.get("level", ())

        def gravest_first(one: Problem) -> tuple[int, str, str, str, tuple[int, ...]]:
            level = levels.index(one.level) if one.level in levels else len(levels)
            return level, one.found.rule, one.found.path, str(sorted(one.found.fields.items())), one.versions

        return tuple(sorted(shown, key=gravest_first))

    def notes(self, record: Record) -> tuple[Note, ...]:
        # Those of a closed photograph are closed, for whatever else its record was claimed.
        if "photo" in record.kinds and any(all_at(record, "closed")):
            return ()
        differing = record.disagreements()
        found = []
        for path, heads in record.heads.items():
            value = record.value(path)
            if path.startswith("note/") and value is not None and path not in differing:
                said = self.versions(heads)[0].said
                shaped = isinstance(value, Mapping) and "text" in value
                found.append(Note(value["text"] if shaped else value, value.get("stage") if shaped else None, said))
        return tuple(sorted(found, key=lambda note: note.said[0].order))

    def docket(
        self,
        record: Record,
        hold: Record | None,
        bone: Sequence[Record],
        labels: Mapping[str, str],
        groups: tuple[str, ...],
        *,
        fitted: str = "",
        way: tuple[str | None, float | None] = (None, None),
    ) -> Docket:
        standing = standing_of(record, self.authority)
        answer = human.joined(standing_of(one, self.authority) for one in bone)
        raised = answer in human.RAISED
        differences = tuple(
            replace(one, versions=()) if raised and one.path == "place" else one for one in self.differences(record)
        )
        disputed = next((one for one in differences if one.path == "reading"), None)
        used = disputed.used if disputed else record.value("reading")
        entry = None
        if hold is not None:
            entry = self.hold(hold, record, answer)
        elif raised:
            tier = human.STOP if any(human.STOP in answers(one) for one in bone) else human.QUERY
            entry = Hold(tier, (), None, (), "open", written=False)
        deleted, unseen = self._deletion(record)
        checked, was_checked = self._checked(record)
        return Docket(
            id=record.id,
            label=labels[record.id],
            bag=labels.get(text(record.value("bag")), text(record.value("bag"))),
            life=record.life(),
            deletions=deleted,
            unseen=unseen,
            material=record.value("material"),
            count=record.value("count"),
            weight_g=record.value("weight_g"),
            burning=record.value("burning"),
            finder=record.value("finder"),
            reading=self.reading(used),
            read_by=self.versions(record.heads["reading"])[0].said if "reading" in record.heads else (),
            differences=differences,
            notes=self.notes(record),
            answer=answer,
            own=standing.answer,
            human=self._human(record, standing),
            assessments=self._assessments(record, standing),
            hold=entry,
            problems=self.problems(record, disputed.versions if disputed else ()),
            joined=tuple(sorted(label_of(one) for one in bone if one.id != record.id)),
            groups=groups,
            items=tuple(one for one in self._items(record) if not (raised and one[0] == "place")),
            unknown=sum(not _placed(record.kind, path) for path in record.heads),
            bone=min(one.id for one in bone) if len(bone) > 1 else "",
            fitted=fitted,
            photos=tuple(record.linked("photo")),
            recovery=way[0],
            mesh_mm=way[1],
            checked=checked,
            was_checked=was_checked,
        )

    def _checked(self, record: Record) -> tuple[tuple[Said, ...], tuple[Said, ...]]:
        """Who has checked the docket as it stands, and who did before it changed. A note changes nothing."""
        hold, held = (tuple(sorted(map(self.said, found), key=lambda one: one.order)) for found in marked.marks(record))
        return (hold, ()) if marked.state_of(record) == "checked" else ((), hold + held)

    def reading(self, value: Any) -> Reading | None:
        """A reading as it is shown; one that is no reading at all is carried whole in `rest`."""
        if value is None:
            return None
        if not isinstance(value, Mapping):
            return Reading(None, None, None, None, None, None, None, "", (), (), {"": value})
        element, taxon = value.get("element"), value.get("taxon")
        known = self.knowledge.taxa.get(taxon) if isinstance(taxon, str) else None
        animal = taxon if isinstance(taxon, str) else None
        portions = self.knowledge.portions_of(element, animal) if isinstance(element, str) else ()
        centres = self.knowledge.centres_of(element, animal) if isinstance(element, str) else ()
        shaped = {name: value.get(name) for name in ("portions", "fusion") if isinstance(value.get(name), Mapping)}
        rest = {name: one for name, one in value.items() if name not in _READING}
        rest |= {name: value[name] for name in ("portions", "fusion") if value.get(name) and name not in shaped}
        return Reading(
            element=element,
            side=value.get("side"),
            taxon=taxon,
            certainty=value.get("certainty"),
            sex=value.get("sex"),
            stage=value.get("stage"),
            compared=value.get("compared"),
            form=known.form if known else "",
            portions=_in_order(shaped.get("portions") or {}, [one.key for one in portions]),
            fusion=_in_order(shaped.get("fusion") or {}, [one.key for one in centres]),
            rest=rest,
        )

    def _items(self, record: Record) -> tuple[tuple[str, Any], ...]:
        """What is known and has no place of its own on the sheet; what is in dispute stands among the differences."""
        disputed = record.disagreements()
        order = list(SHAPES["docket"])
        found = [
            (path, record.value(path))
            for path in record.heads
            if path.partition("/")[0] not in _PLACED and path not in disputed and _known("docket", path)
        ]
        return tuple(sorted(found, key=lambda one: (order.index(one[0].partition("/")[0]), one[0])))

    def _deletion(self, record: Record) -> tuple[tuple[Said, ...], tuple[tuple[str, Said], ...]]:
        """Who deleted the record, and the entries that the deletions had not seen."""
        heads = record.heads.get("deleted", {})
        deletions = [change for change, value in heads.items() if value]
        saw = record.seen_by_deletion or {}
        seen = {one for change in deletions for heads_ in saw.get(change, {}).values() for one in heads_}
        unseen = [
            (path, self.said(change))
            for path, changes in record.heads.items()
            for change in changes
            if deletions and change not in seen and change not in deletions and change not in heads
        ]
        unseen += [("deleted", self.said(change)) for change, value in heads.items() if deletions and not value]
        return (
            tuple(sorted((self.said(one) for one in deletions), key=lambda one: one.order)),
            tuple(sorted(unseen, key=lambda one: (moment(one[1].at), one[0], one[1].change))),
        )

    def _human(self, record: Record, standing: human.Standing) -> tuple[HumanReading, ...]:
        found = []
        for one, value in record.added("human").items():
            part = value if isinstance(value, Mapping) else {"answer": value}
            said = self.said(one.rpartition("@")[2])
            found.append(
                HumanReading(
                    answer=part.get("answer"),
                    why=part.get("why"),
                    by_rule=part.get("by_rule"),
                    in_place=part.get("in_place"),
                    stage=part.get("stage"),
                    said=said,
                    cleared=one in standing.cleared,
                )
            )
        return tuple(sorted(found, key=lambda one: one.said.order))

    def _assessments(self, record: Record, standing: human.Standing) -> tuple[Assessed, ...]:
        found = []
        for one, value in record.added("assessment").items():
            void = standing.void.get(one, "")
            counts = one in standing.effective
            seen = value.get("seen") if isinstance(value, Mapping) else None
            waits = counts and isinstance(seen, list) and any(open_one in seen for open_one in standing.open)
            verdict = value.get("verdict") if isinstance(value, Mapping) else None
            found.append(
                Assessed(
                    value,
                    self.said(one.rpartition("@")[2]),
                    void,
                    overturned=not void and not counts,
                    waits=waits and verdict in (human.HUMAN, human.NON_HUMAN),
                )
            )
        return tuple(sorted(found, key=lambda one: one.said.order))

    def hold(self, record: Record, docket: Record | None, answer: str | None) -> Hold:
        """The hold as it is shown; of differing values the more cautious. Without its docket it is open."""
        state = "open"
        if docket is not None and answer not in human.RAISED:
            state = "ended"
        elif docket is not None and is_released(record, docket, self.authority):
            state = "released"
        tiers, placed = all_at(record, "tier"), all_at(record, "in_place")
        if docket is not None:
            tiers += answers(docket)
        steps = []
        for one, value in record.added("step").items():
            part = value if isinstance(value, Mapping) else {"what": value}
            said = self.said(one.rpartition("@")[2])
            at = text(part.get("at")) or said.at
            what, whom, how = (part.get(name) for name in ("what", "whom", "how"))
            step = Step(what, whom, how, at, said)
            if self.hold_words:
                custody = tuple((name, text(part.get(name))) for name in CUSTODY if part.get(name))
                step = replace(step, ref=text(part.get("ref")), note=text(part.get("note")), custody=custody)
            steps.append(step)
        return Hold(
            tier=human.QUERY if human.QUERY in tiers and human.STOP not in tiers else human.STOP,
            zones=tuple(sorted({text(one) for one in all_at(record, "zone")} - {""})),
            in_place=True if True in placed else False if False in placed else None,
            steps=tuple(sorted(steps, key=lambda one: (moment(one.at), one.said.change))),
            state=state,
            differences=self.differences(record),
            skeleton=tuple(sorted({text(one) for one in all_at(record, "skeleton")} - {""})),
            charnel=True in all_at(record, "charnel"),
        )

    def tally(self, record: Record, way: tuple[str | None, float | None]) -> Tally:
        return Tally(
            id=record.id,
            label=label_of(record),
            bag=self.labels.get(text(record.value("bag")), text(record.value("bag"))),
            taxon=record.value("taxon"),
            element=record.value("element"),
            count=record.value("count"),
            weight_g=record.value("weight_g"),
            burning=record.value("burning"),
            preservation=record.value("preservation"),
            stage=record.value("stage"),
            recovery=way[0],
            mesh_mm=way[1],
            deleted=record.life() == "deleted",
            said=self.versions(record.heads["count"])[0].said if "count" in record.heads else (),
            notes=self.notes(record),
            differences=self.differences(record),
            problems=self.problems(record),
        )

    def photos(self, record: Record, docket: str) -> list[Photo]:
        """The pictures that a photo's record names: several where its versions differ."""
        return [
            Photo(
                record.id,
                one.value,
                docket,
                record.value("view"),
                record.value("scale"),
                record.value("north"),
                one.said,
            )
            for one in self.versions(record.heads.get("sha256", {}))
            if isinstance(one.value, str) and one.value
        ]

    def bag(self, record: Record, dockets: int) -> Bag:
        return Bag(
            label=label_of(record),
            recovery=record.value("recovery"),
            mesh_mm=record.value("mesh_mm"),
            state=record.value("state"),
            box=record.value("box"),
            dockets=dockets,
            deleted=record.life() == "deleted",
            differences=self.differences(record),
            problems=self.problems(record),
        )

    def group(self, record: Record, labels: Mapping[str, str]) -> Group:
        return Group(
            label_of(record),
            record.value("relation"),
            tuple(sorted((labels.get(one, one) for one in record.linked("member")), key=label_order)),
            self.differences(record),
            self.notes(record),
            self.problems(record),
        )


def _known(kind: str, path: str) -> bool:
    return path == "deleted" or path.split("/", 1)[0] in SHAPES.get(kind, {})


def _placed(kind: str, path: str) -> bool:
    """Whether the path stands on the sheet in some way."""
    return _known(kind, path) or path.partition("/")[0] in _PLACED


def way_of(bag: Record | None) -> tuple[str | None, float | None]:
    """How a bag's bones were got: recovery and mesh; nothing where that is not recorded or in dispute."""
    if bag is None or {"recovery", "mesh_mm"} & bag.disagreements().keys():
        return None, None
    recovery, mesh = bag.value("recovery"), bag.value("mesh_mm")
    return (
        recovery if isinstance(recovery, str) else None,
        amount(mesh) if recovery != "hand" else None,
    )


def all_at(record: Record, path: str) -> list[Any]:
    """Every value somebody holds to at `path`."""
    return list(record.heads.get(path, {}).values())


def answers(docket: Record) -> list[str]:
    """The docket's answers to the human question, as they count."""
    return [human.answer_of(one) for one in docket.added("human").values()]


def text(value: Any) -> str:
    """A value where a text is wanted: nothing is "", and what is no text is shown as it was written."""
    return "" if value is None else value if isinstance(value, str) else canonical(value)


def label_of(record: Record) -> str:
    """What a record is called; its id where it has no label."""
    return text(record.value("label")) or record.id


def label_order(label: str) -> tuple[int, str, str, int, str]:
    """Sorts labels by site, letter and number; what is no label comes last."""
    try:
        known = read_label(label)
    except LabelError:
        return (1, "", "", 0, label)
    return (0, known.site, known.letter, known.number, label)


def _in_order(states: Mapping[str, Any], order: Sequence[str]) -> tuple[tuple[str, Any], ...]:
    first = [(key, states[key]) for key in order if key in states]
    return (*first, *((key, states[key]) for key in sorted(states) if key not in order))
