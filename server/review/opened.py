"""What a form showed: the heads it carries, so that its change names in `over` what was seen and nothing newer.

Also here: whether a form that is sent twice has been heard. Not here: what else is done with heads.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from flask import abort, request

from fieldapp.records.changes import Change, canonical
from fieldapp.records.fold import Record
from server.ledger.ledger import Edit
from server.review import desk


class Opened(NamedTuple):
    """heads  {path: [change ids]} as the form carries them; changes  those of the record, by id"""

    heads: dict[str, list[str]]
    changes: Mapping[str, Change]

    def value(self, path: str) -> Any:
        """What the form showed at a path: of several heads that of the smallest id, as everywhere; None for none."""
        ids = self.heads.get(path)
        return self.changes[min(ids)].set[path] if ids else None

    def over(self, paths: Iterable[str]) -> dict[str, list[str]]:
        """What a change that sets these paths is written over: the heads that hold the value that was shown.

        Where people disagree that is one version of theirs; the others stand until somebody settles it.
        """
        return {path: self._shown(path) for path in paths if self.heads.get(path)}

    def all_of(self, paths: Iterable[str]) -> dict[str, list[str]]:
        """The same over everything that was shown: what settles a path of which several versions were."""
        return {path: self.heads[path] for path in paths if self.heads.get(path)}

    def agreed(self) -> Opened:
        """The same with the paths alone of which one value was shown: what people disagree about is settled side by
        side, by who may. What came into dispute since the form was opened stays in dispute, whatever was typed."""
        return self._replace(heads={path: ids for path, ids in self.heads.items() if len(self.versions(path)) < 2})

    def versions(self, path: str) -> set[str]:
        """The values that were shown at a path, as canonical text."""
        return {canonical(self.changes[one].set[path]) for one in self.heads.get(path, ())}

    def _shown(self, path: str) -> list[str]:
        value = canonical(self.value(path))
        return [one for one in self.heads[path] if canonical(self.changes[one].set[path]) == value]


def form(record: Record, name: str = "heads") -> Opened:
    """What the form that was sent showed, its field `heads`: see `told`."""
    return told(record, request.form.get(name, ""))


def told(record: Record, text: str) -> Opened:
    """What a form of this record carried as `text`, JSON: see `read`."""
    try:
        return read(record, json.loads(text))
    except (ValueError, RecursionError):
        abort(400)


def read(record: Record, heads: Any) -> Opened:
    """What a form of this record carried: {path: [change ids]}.

    Every id is a change of this record that sets that path, so that nobody's form names what nobody saw; what is no
    such list ends the request.
    """
    if not isinstance(heads, dict):
        abort(400)
    known = {one.change.id: one.change for one in desk.ledger().history(record.id)}
    for path, ids in heads.items():
        if not isinstance(ids, list) or not all(
            isinstance(one, str) and one in known and path in known[one].set for one in ids
        ):
            abort(400)
    return Opened({path: list(ids) for path, ids in heads.items()}, known)


def done(record: Record, path: str, value: Any, over: Mapping[str, Sequence[str]]) -> bool:
    """Whether a form that is sent twice has done this already: nothing it replaces still stands, and its value does."""
    heads = record.heads.get(path, {})
    return set(heads).isdisjoint(over.get(path, ())) and any(
        canonical(one) == canonical(value) for one in heads.values()
    )


def write(record: Record, path: str, sets: Sequence[Mapping[str, Any]], over: Mapping[str, Sequence[str]]) -> bool:
    """Writes changes that each set a path of a record, over what a form showed, unless the same form, sent before or at
    the same moment, has done so. Somebody else's who says the same is written: it is another one's word, and reason."""
    ledger = desk.ledger()
    with ledger.database.writing() as connection:
        now = ledger.record_in(connection, record.id)
        if now is not None and set(now.heads.get(path, ())).isdisjoint(over.get(path, ())):
            stand = [one.change for one in ledger.who(now.heads.get(path, ())).values()]
            said = [_said(one.set) for one in stand if one.by.get("person") == desk.me().person]
            if all(_said(one) in said for one in sets):
                return False
        ledger.write_many_in(connection, [Edit(record.kind, record.id, one, over) for one in sets], desk.me().by)
    desk.desk().written()
    return True


def _said(values: Mapping[str, Any]) -> str:
    """What a change says, its notes without the ids that they got."""
    return canonical({"note" if path.startswith("note/") else path: value for path, value in values.items()})
