"""The small things a notebook keeps beside its records: who it is, how far it has counted, drafts, settings, cursors.

Made from journal entries by `take`, one after the other, so that opening and going on give the same. Entries and
their payloads (JSON, but for the first two):

    change, pulled   `<change id> <body>`: own, and somebody else's
    life             {notebook, site, code, letter}: from here on the notebook is this
    label            {series, number}: this number of this series (`HLG26 B`) has been handed out
    draft, setting   {put: {key: document}, drop: [keys]}
    cursor           {server, epoch, seq, pushed: {notebook: n}, mark}
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from fieldapp.domain import labels
from fieldapp.records.changes import Change, UnreadableChange, canonical
from fieldapp.store.lines import Entry

CHANGE, PULLED, LIFE, LABEL, DRAFT, SETTING, CURSOR = "change", "pulled", "life", "label", "draft", "setting", "cursor"

LASTING = frozenset({CHANGE, PULLED})
PASSING = frozenset({LABEL, DRAFT, SETTING, CURSOR})
"""Kinds of entry of which only the newest state counts; a compaction writes that state once."""


@dataclass(frozen=True, slots=True)
class Cursor:
    """How far the exchange with one cabin has come.

    epoch   the life of the cabin's ledger; another one means that it was restored, and everything is sent again
    seq     the ledger's counter up to which changes were fetched
    pushed  {notebook: n}: own changes up to n were answered for
    mark    id of the change at `seq`, as the cabin told it; "" where it is not known
    """

    epoch: str = ""
    seq: int = 0
    pushed: Mapping[str, int] = field(default_factory=dict)
    mark: str = ""


@dataclass(slots=True)
class Keeping:
    """All of it, as JSON values.

    n, prev    the last own change of this life: its number and id
    lives      {notebook: highest n}: every identity this notebook wrote under
    holed      own changes are missing from the journal (after a recovery)
    elsewhere  a change of this life came from outside: there is another copy, or this one is an old one
    unread     {id: reason} of bodies that are kept and passed on, but say nothing to this version
    wasted     characters of drafts and the like written since the last compaction, nearly all past by now
    """

    notebook: str = ""
    site: str = ""
    code: str = ""
    letter: str = ""
    n: int = 0
    prev: str = ""
    lives: dict[str, int] = field(default_factory=dict)
    holed: bool = False
    elsewhere: bool = False
    labels: dict[str, int] = field(default_factory=dict)
    drafts: dict[str, Any] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    cursors: dict[str, Any] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)
    wasted: int = 0

    def as_json(self) -> dict[str, Any]:
        """A deep copy as JSON values."""
        return asdict(self)

    @classmethod
    def from_json(cls, state: Mapping[str, Any]) -> Keeping:
        """The keeping whose `as_json` is `state`. Raises TypeError for other values."""
        return cls(**state)

    @property
    def series(self) -> str:
        """The label series of this tablet on this site; its numbers are never given twice."""
        return f"{self.code} {self.letter}"

    def take(self, entry: Entry) -> None:
        """Follows one entry that is neither `change` nor `pulled`. Unknown kinds are nothing to it."""
        if entry.kind == LIFE:
            value = json.loads(entry.payload)
            if value["notebook"] != self.notebook:
                self._begin_life(value["notebook"])
            self.site, self.code, self.letter = value["site"], value["code"], value["letter"]
            return
        if entry.kind not in PASSING:
            return
        self.wasted += len(entry.payload)
        value = json.loads(entry.payload)
        if entry.kind == LABEL:
            self._hand_out(value["series"], value["number"])
        elif entry.kind == CURSOR:
            self.cursors[value.pop("server")] = value
        else:
            table = self.drafts if entry.kind == DRAFT else self.settings
            for key in value["drop"]:
                table.pop(key, None)
            table.update(value["put"])

    def take_own(self, change: Change) -> None:
        """Follows an own change."""
        if change.notebook != self.notebook:
            self._begin_life(change.notebook)  # its `life` entry was lost to damage
        if change.n != self.n + 1:
            self.holed = True
        self.n, self.prev = change.n, change.id
        self.lives[change.notebook] = change.n
        self._see_label(change)

    def take_unread(self, noted: str, error: UnreadableChange, own: bool) -> None:
        """Follows a body that this version cannot read. An own one (of a newer version) still has its number."""
        self.unread[noted] = error.reason
        if own and error.notebook is not None and error.n is not None:
            if error.notebook != self.notebook:
                self._begin_life(error.notebook)
            self.n, self.prev = error.n, noted
            self.lives[error.notebook] = error.n

    def take_pulled(self, change: Change) -> None:
        """Follows a change that came from outside and was not known."""
        if change.notebook == self.notebook and (change.n > self.n or not self.holed):
            self.elsewhere = True
        self._see_label(change)

    def cursor(self, server: str) -> Cursor:
        """How far the exchange with `server` is; a fresh cursor for one not met before."""
        value = self.cursors.get(server)
        if not value:
            return Cursor()
        # Older versions kept no mark.
        return Cursor(value["epoch"], value["seq"], dict(value["pushed"]), value.get("mark", ""))

    def unsent(self, server: str) -> int:
        """How many own changes `server` has not answered for."""
        pushed = self.cursor(server).pushed
        return sum(max(0, n - pushed.get(life, 0)) for life, n in self.lives.items())

    def entries(self) -> list[Entry]:
        """What a compaction writes in place of all entries of PASSING kinds."""
        return [
            *(Entry(LABEL, canonical({"series": one, "number": n})) for one, n in sorted(self.labels.items())),
            *(cursor_entry(server, self.cursor(server)) for server in sorted(self.cursors)),
            table_entry(SETTING, self.settings, ()),
            table_entry(DRAFT, self.drafts, ()),
        ]

    def _begin_life(self, notebook: str) -> None:
        self.notebook, self.n, self.prev = notebook, 0, ""
        self.holed = self.elsewhere = False

    def _hand_out(self, series: str, number: int) -> None:
        self.labels[series] = max(number, self.labels.get(series, 0))

    def _see_label(self, change: Change) -> None:
        text = change.set.get("label")
        if isinstance(text, str):
            try:
                label = labels.read(text)
            except labels.LabelError:
                return
            series = f"{label.site} {label.letter}"
            if series == self.series or series in self.labels:
                self._hand_out(series, label.number)


def life_entry(notebook: str, site: str, code: str, letter: str) -> Entry:
    """From here on the notebook is this one."""
    return Entry(LIFE, canonical({"notebook": notebook, "site": site, "code": code, "letter": letter}))


def cursor_entry(server: str, cursor: Cursor) -> Entry:
    """The exchange with `server` has come this far."""
    return Entry(CURSOR, canonical({"server": server, **asdict(cursor)}))


def table_entry(kind: str, put: Mapping[str, Any], drop: Sequence[str]) -> Entry:
    """Drafts or settings written and dropped, in their order. Raises TypeError or ValueError for what JSON lacks."""
    value = {"put": dict(put), "drop": list(drop)}
    return Entry(kind, json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False))
