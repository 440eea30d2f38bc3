"""The merge: changes in, records out. Order-free, repeat-safe, the same on every tablet and at the cabin.

A multi-value register for each path of each record. The **heads** of a path are the changes that set it and that
no other change, which also sets it, names in `over`. One distinct value among the heads: settled. More: a
disagreement, kept whole until somebody's change names all of them. Times decide nothing.

Not here: what a value means. The fold knows no schema; only these of the format bind it:
- paths below ADD_ONLY take every value ever set and let none be replaced;
- a docket or a hold stays one, whatever else is claimed for its id (see Record.kind);
- `deleted` holds only against the heads that the deletion named (see Record.life).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Literal

from fieldapp.records.changes import Change, canonical

ADD_ONLY = ("human/", "assessment/", "step/", "release/")
"""Path prefixes whose values are only ever added: readings of the human question, their assessments, a hold's log."""

DELETED = "deleted"

FIRST_OF_KINDS = ("docket", "hold")
"""Kinds that no other claim for the same id takes away: what is said of possible human remains hangs on them."""

_ABSENT = object()

Life = Literal["live", "deleted", "disputed"]


class Record:
    """The folded state of one record.

    heads    {path: {change id: value}}: what stands now
    named    {path: {change ids}}: every id that a change setting the path has replaced, come or not yet come
    seen_by_deletion  {change id: {path: [ids]}}: what each standing deletion had seen
    """

    __slots__ = ("heads", "id", "kinds", "named", "seen_by_deletion", "sites")

    def __init__(self, record_id: str) -> None:
        self.id = record_id
        self.kinds: tuple[str, ...] = ()
        self.sites: tuple[str, ...] = ()
        self.heads: dict[str, dict[str, Any]] = {}
        # Most records are written once and never deleted: these two are made when they are needed.
        self.named: dict[str, set[str]] | None = None
        self.seen_by_deletion: dict[str, dict[str, list[str]]] | None = None

    @property
    def kind(self) -> str:
        """The record's kind; if several were claimed for one id, a docket or a hold stays one, else the first by the
        alphabet: everywhere the same."""
        kinds = self.kinds
        return kinds[0] if len(kinds) == 1 else next((one for one in FIRST_OF_KINDS if one in kinds), kinds[0])

    @property
    def site(self) -> str:
        """The site's id; if several were claimed, the first by the alphabet, everywhere the same."""
        return self.sites[0]

    def value(self, path: str, default: Any = None) -> Any:
        """The value at `path`; where heads differ, that of the head with the smallest id, everywhere the same."""
        heads = self.heads.get(path)
        if not heads:
            return default
        return next(iter(heads.values())) if len(heads) == 1 else heads[min(heads)]

    def values(self) -> dict[str, Any]:
        """{path: value} of every path that stands, chosen as in `value`. Add-only paths are left out: see `added`."""
        return {path: self.value(path) for path in self.heads if not path.startswith(ADD_ONLY)}

    def items(self, prefix: str) -> dict[str, Any]:
        """{last part of the path: value} below `prefix/`, without the ones set to null."""
        found = {}
        for path in self.heads:
            if path.startswith(prefix + "/"):
                value = self.value(path)
                if value is not None:
                    found[path[len(prefix) + 1 :]] = value
        return found

    def linked(self, prefix: str) -> list[str]:
        """Last parts of the paths below `prefix/` that any head sets to something: in dispute is still linked."""
        return [
            path[len(prefix) + 1 :]
            for path, heads in self.heads.items()
            if path.startswith(prefix + "/") and any(heads.values())
        ]

    def links(self, prefixes: tuple[str, ...]) -> list[tuple[str, str]]:
        """(first, last part) of the paths below any of `prefixes` ("joins/", …), as `linked` finds them, at one go."""
        found = []
        for path, heads in self.heads.items():
            if path.startswith(prefixes) and any(heads.values()):
                first, _, last = path.partition("/")
                found.append((first, last))
        return found

    def added(self, prefix: str) -> dict[str, Any]:
        """{"<path>@<change id>": value} of every value ever set below the add-only `prefix/`."""
        below = prefix + "/"
        return {
            f"{path}@{change}": value
            for path, heads in self.heads.items()
            if path.startswith(below)
            for change, value in heads.items()
        }

    def head_ids(self) -> dict[str, list[str]]:
        """{path: [ids of its heads, sorted]}: what a form shows, and so what its change names in `over`."""
        return {path: sorted(heads) for path, heads in self.heads.items()}

    def disagreements(self) -> dict[str, dict[str, Any]]:
        """{path: {change id: value}} of the paths whose heads hold more than one distinct value.

        A disputed deletion counts as one, at `deleted`, with the deletions as its heads.
        """
        found = {
            path: dict(heads)
            for path, heads in self.heads.items()
            if len(heads) > 1 and not path.startswith(ADD_ONLY) and _differ(heads.values())
        }
        if DELETED not in found and self.life() == "disputed":
            found[DELETED] = dict(self.heads[DELETED])
        return found

    def life(self) -> Life:
        """Whether the record stands: a deletion that did not know a head of the record is disputed, not done."""
        heads = self.heads.get(DELETED)
        if not heads:
            return "live"
        deletions = [change for change, value in heads.items() if value]
        if not deletions:
            return "live"
        if len(deletions) < len(heads):
            return "disputed"
        deletions_saw = self.seen_by_deletion or {}
        seen = {one for change in deletions for ids in deletions_saw[change].values() for one in ids}
        for path, ids in self.heads.items():
            if path != DELETED and any(one not in seen and one not in heads for one in ids):
                return "disputed"
        return "deleted"

    def as_json(self) -> dict[str, Any]:
        """The whole state as JSON values, sorted so that equal states give equal text."""
        return {
            "id": self.id,
            "kinds": list(self.kinds),
            "sites": list(self.sites),
            "heads": {path: dict(sorted(self.heads[path].items())) for path in sorted(self.heads)},
            "named": {path: sorted(ids) for path, ids in sorted((self.named or {}).items())},
            "seen_by_deletion": {
                change: {path: sorted(ids) for path, ids in sorted(over.items())}
                for change, over in sorted((self.seen_by_deletion or {}).items())
            },
        }

    @classmethod
    def from_json(cls, state: Mapping[str, Any]) -> Record:
        """The record whose `as_json` is `state`."""
        record = cls(state["id"])
        record.kinds = tuple(state["kinds"])
        record.sites = tuple(state["sites"])
        record.heads = state["heads"]
        record.named = {path: set(ids) for path, ids in state["named"].items()} or None
        record.seen_by_deletion = state["seen_by_deletion"] or None
        return record


def _differ(values: Iterable[Any]) -> bool:
    texts = iter(canonical(value) for value in values)
    first = next(texts)
    return any(text != first for text in texts)


class Fold:
    """Records by id, with the ids of the changes that made them. `apply` is the whole merge."""

    __slots__ = ("records", "seen")

    def __init__(self, records: Iterable[Record] = (), seen: Iterable[str] = ()) -> None:
        self.records: dict[str, Record] = {record.id: record for record in records}
        self.seen: set[str] = set(seen)

    def __iter__(self) -> Iterator[Record]:
        return iter(self.records.values())

    def apply(self, change: Change) -> Record | None:
        """Folds `change` in and returns its record; None if it was known already."""
        change_id, seen = change.id, self.seen
        if change_id in seen:
            return None
        seen.add(change_id)
        record = self.records.get(change.record)
        if record is None:
            record = self.records[change.record] = Record(change.record)
        if change.kind not in record.kinds:
            record.kinds = tuple(sorted((*record.kinds, change.kind)))
        if change.site not in record.sites:
            record.sites = tuple(sorted((*record.sites, change.site)))
        all_heads, over = record.heads, change.over
        for path, value in change.set.items():
            heads = all_heads.get(path)
            if heads is None:
                heads = all_heads[path] = {}
            if path.startswith(ADD_ONLY):
                heads[change_id] = value
                continue
            ids = over.get(path)
            if ids:
                # Remembered whether they have come or not: that is what makes the order of arrival not matter.
                if record.named is None:
                    record.named = {}
                named = record.named.get(path)
                if named is None:
                    record.named[path] = set(ids)
                else:
                    named.update(ids)
                for one in ids:
                    if heads.pop(one, _ABSENT) is not _ABSENT and path == DELETED and record.seen_by_deletion:
                        del record.seen_by_deletion[one]
            if record.named is not None and change_id in record.named.get(path, ()):
                continue
            heads[change_id] = value
            if path == DELETED:
                if record.seen_by_deletion is None:
                    record.seen_by_deletion = {}
                record.seen_by_deletion[change_id] = over
        return record


def of_one(change: Change) -> Record:
    """The record that one change makes."""
    if not change.over and DELETED not in change.set:
        # Nearly always so, and then every path simply has what the change sets.
        plain, one = Record(change.record), change.id
        plain.kinds, plain.sites = (change.kind,), (change.site,)
        plain.heads = {path: {one: value} for path, value in change.set.items()}
        return plain
    record = Fold().apply(change)
    assert record is not None  # a new fold has seen nothing
    return record


def fold(changes: Iterable[Change]) -> Fold:
    """The fold of `changes`, whatever their order and however often each comes."""
    state = Fold()
    for change in changes:
        state.apply(change)
    return state
