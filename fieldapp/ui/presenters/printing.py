"""Printing from the tablet, without a cabin: PDFs of the open context in a folder, for whoever has a printer.

Not here: what is on them and how they look (fieldapp.sheets), or talking to a printer.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fieldapp import assets
from fieldapp.durable import write_whole
from fieldapp.store.errors import StoreError
from fieldapp.ui.presenters.carry import Carry
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.texts import say

if TYPE_CHECKING:
    from fieldapp.sheets.entries import ContextSheet

KINDS = ("sheet", "sheet_photos", "compact", "labels", "blank")
FOLDER = "printed"
BLANKS = 5
_RECORDS = ("bag", "docket", "group", "hold", "tally", "photo", "context")


@dataclass
class Printing:
    """The screen for printing.

    running  the kind that is being written elsewhere, else ""
    told     what became of it
    """

    desk: Desk
    carry: Carry
    running: str = ""
    told: str = ""
    _context: str = field(default="", repr=False)

    def title(self) -> str:
        """Of which context."""
        record = self.desk.record(self.desk.context or "")
        return say("print.title", number=record.value("number")) if record is not None else say("more.print")

    def choices(self) -> list[Choice]:
        """A button for each kind."""
        return [Choice(f"print.{kind}", say(f"print.{kind}"), enabled=not self.running) for kind in KINDS]

    def words(self) -> str:
        """How it stands, in a sentence."""
        return say("print.running") if self.running else self.told or say("print.what")

    @property
    def folder(self) -> Path:
        """Where the files go: a folder that other programs reach, if there is one, else the notebook's own."""
        return (self.carry.shared or self.desk.notebook.folder) / FOLDER

    def begin(self, kind: str) -> bool:
        """Marks it as running; False if it cannot begin."""
        if self.running or not self.desk.context:
            return False
        self.running, self.told, self._context = kind, "", self.desk.context
        return True

    def run(self, heard: Callable[[], None]) -> None:
        """Writes the file, for a thread of its own."""
        try:
            self.told = self._write(self.running)
        except (StoreError, OSError, ValueError) as error:
            self.told = say("print.failed", cause=error)
        self.running = ""
        heard()

    def _write(self, kind: str) -> str:
        data = self._made(kind)
        if data is None:
            return say("print.no_bags")
        record = self.desk.record(self._context)
        number = str(record.value("number") or "") if record is not None else ""
        name = "".join(one if one.isalnum() else "_" for one in f"{self.desk.code}_{number}_{kind}")
        self.folder.mkdir(parents=True, exist_ok=True)
        file = self.folder / f"{name}.pdf"
        # Whole or not there: a file that was cut off would be found at the printer.
        write_whole(file, data)
        return say("print.done", file=file)

    def _made(self, kind: str) -> bytes | None:
        # Loaded only where somebody prints: the first screen does not wait for it.
        from fieldapp.sheets.blank import known_of, render_blank
        from fieldapp.sheets.compact import render_compact
        from fieldapp.sheets.context_sheet import render
        from fieldapp.sheets.edges import title_of
        from fieldapp.sheets.labels import SIZES, render_labels, tags_of
        from fieldapp.sheets.photo_box import printed
        from fieldapp.sheets.plate_drawing import bundled_plates
        from fieldapp.sheets.words import Words

        texts, at = assets.texts(), self.desk.notebook.clock()
        sheet = self._gathered()
        if kind == "compact":
            return render_compact(sheet, texts, at)
        if kind == "labels":
            words = Words(texts)
            tags = tags_of(sheet, words)
            size = next(iter(SIZES.values()))
            return render_labels(tags, size, texts, at, title=title_of(words, sheet)) if tags else None
        if kind == "blank":
            site = self.desk.site_record()
            known = known_of(self.desk.record(self._context))
            words_of = {"source": sheet.source, "number": sheet.number, "code": sheet.site_code}
            return render_blank(site, BLANKS, bundled_plates(), texts, at, known=known, **words_of)
        pictures = printed(sheet.photos, self._picture) if kind == "sheet_photos" else None
        return render(sheet, bundled_plates(), texts, at, pictures)

    def _gathered(self) -> ContextSheet:
        from fieldapp.sheets.selecting import of_context

        desk = self.desk
        context = desk.record(self._context)
        if context is None:
            raise ValueError(self._context)
        records = [one for kind in _RECORDS for one in desk.notebook.records(kind, deleted=True)]
        who = _Who(desk)
        for one in records:
            who.heads_of.update({change: one.id for heads in one.heads.values() for change in heads})
        found = of_context(
            context,
            {one.id: one for one in [context, *records]}.values(),
            site=desk.site_record(),
            authority=desk.authority(),
            knowledge=desk.knowledge,
            who=who,
            source=say("print.source", letter=desk.letter),
        )
        # A tablet that has met no cabin knows its site by the code alone.
        return replace(found, site_code=found.site_code or desk.code)

    def _picture(self, sha256: str) -> bytes | None:
        """A picture of this tablet's, in the clear; one that only the cabin can open is not here."""
        if not self.desk.photos.has(sha256):
            return None
        path = self.desk.photos.path(sha256)
        data = path.read_bytes() if path.is_file() else None
        return data if data is not None and hashlib.sha256(data).hexdigest() == sha256 else None


class _Who(dict[str, tuple[str, str, str]]):
    """Who wrote a change, looked up in its record's history the first time it is asked for."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk
        self.heads_of: dict[str, str] = {}

    def get(self, change: str, default: object = None) -> tuple[str, str, str]:
        if change not in self and change in self.heads_of:
            for one in self.desk.notebook.history(self.heads_of[change]):
                self[one.id] = (str(one.by.get("name") or ""), str(one.by.get("role") or ""), one.at)
        return super().get(change, ("", "", ""))
