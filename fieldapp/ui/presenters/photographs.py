"""Photographs of a find or of a context: taken with the camera where there is one, else chosen from files.

Scale and north are noted with each. Of a bone that may be human no picture is taken here: whether there is one is for
the director and local law. Not here: the camera itself, and how files are shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fieldapp.domain import human
from fieldapp.ui.presenters.choices import Choice
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.texts import say

ENDINGS = (".jpg", ".jpeg", ".png")
LARGEST = 40_000_000
"""Bytes; a larger file is no photograph of a bone."""


class Photographs:
    """The photo screen, over the open form, or over the open context where there is none.

    scale, north  whether they are in the picture
    folders       where files are looked for, newest first
    """

    def __init__(self, desk: Desk, folders: Sequence[Path]) -> None:
        self.desk = desk
        self.folders = list(folders)
        self.scale = self.north = False
        self.form: Form | None = None

    def begin(self, form: Form | None) -> None:
        """The screen opens for a docket, or for the context."""
        self.form = form
        self.scale = self.north = False

    def refused(self) -> str:
        """Why no picture is taken, as a sentence; "" if one may be."""
        if self.form is None:
            return ""
        record = self.form.record
        raised = self.form.answers.get("human") in human.RAISED or (
            record is not None and self.desk.standing(record) in human.RAISED
        )
        return say("photo.human") if raised else ""

    def files(self) -> list[Path]:
        """The pictures that can be chosen, newest first."""
        found = []
        for folder in self.folders:
            try:
                found += [one for one in folder.iterdir() if one.suffix.lower() in ENDINGS and one.is_file()]
            except OSError:
                continue  # not there, or not ours to look into
        return sorted(found, key=lambda one: one.stat().st_mtime, reverse=True)[:500]

    def switches(self) -> list[Choice]:
        """What is in the picture."""
        return [
            Choice("photo.scale", say("photo.scale"), chosen=self.scale, sign="tick" if self.scale else ""),
            Choice("photo.north", say("photo.north"), chosen=self.north, sign="tick" if self.north else ""),
        ]

    def toggle(self, name: str) -> None:
        """Scale or north is in the picture, or is not."""
        setattr(self, name, not getattr(self, name))

    def take(self, path: Path) -> str:
        """Keeps a picture, and notes it with the docket or the context; a sentence of what was done.

        Raises what the notebook raises, and OSError where the file cannot be read.
        """
        if path.stat().st_size > LARGEST:
            return say("photo.too_large", name=path.name)
        sha256 = self.desk.photos.keep(path.read_bytes())
        values = {"sha256": sha256, "scale": self.scale, "north": self.north, "closed": False}
        one = self.desk.new_id()
        if self.form is not None:
            self.form.put(self.form.state.field, {f"photo/{one}": values})
        elif self.desk.context:
            self.desk.save([Write(one, "photo", {"context": self.desk.context, **values})])
        return say("photo.kept", name=path.name)

    def count(self) -> int:
        """How many there are of the docket, or of the context."""
        if self.form is not None:
            return sum(slot.startswith("photo/") for slot in self.form.answers)
        return sum(one.value("context") == self.desk.context for one in self.desk.notebook.records("photo"))
