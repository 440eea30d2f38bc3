"""Photographs of a find or of a context: taken with the camera where there is one, else chosen from files.

Scale and north are noted with each. Of a bone that may be human a picture is taken from its hold only, where the site
allows it and by who may see what is closed; it is sealed to the cabin before anything else is written.
Not here: the camera itself, and how files are shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
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
    hold          the docket on hold that is photographed, "" for none
    """

    def __init__(self, desk: Desk, folders: Sequence[Path]) -> None:
        self.desk = desk
        self.folders = list(folders)
        self.scale = self.north = False
        self.form: Form | None = None
        self.hold = ""

    def begin(self, form: Form | None, hold: str = "") -> None:
        """The screen opens for a docket, for one on hold, or for the context."""
        self.form, self.hold = form, hold
        self.scale = self.north = False

    def refused(self) -> str:
        """Why no picture is taken, as a sentence; "" if one may be."""
        if self.hold:
            if self.desk.site_value("hold_photos") is not True:
                return say("photo.human")
            if not self.desk.person or not self.desk.may("see_closed"):
                return say("photo.role")
            return "" if self.desk.seal_key() else say("photo.no_key")
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
        if self.hold:
            return self._take_closed(path)
        sha256 = self.desk.photos.keep(path.read_bytes())
        values = {"sha256": sha256, "scale": self.scale, "north": self.north, "closed": False}
        one = self.desk.new_id()
        if self.form is not None:
            self.form.put(self.form.state.field, {f"photo/{one}": values})
        elif self.desk.context:
            self.desk.save([Write(one, "photo", {"context": self.desk.context, **values})])
        return say("photo.kept", name=path.name)

    def _take_closed(self, path: Path) -> str:
        """Seals a picture to the cabin, notes it closed and in the hold's log, and takes the open file away."""
        refused = self.refused()
        if refused:
            return refused
        sha256 = self.desk.photos.keep_sealed(path.read_bytes(), self.desk.seal_key())
        if not sha256:
            return say("photo.no_key")
        record = self.desk.record(self.hold)
        values = {"sha256": sha256, "scale": self.scale, "north": self.north, "closed": True, "docket": self.hold}
        values["context"] = self.desk.context_of(record) if record is not None else None
        step = {"what": "photographed", "whom": "", "how": "", "ref": sha256[:12], "note": "", "at": self.desk.now()}
        self.desk.save(
            [
                Write(self.desk.new_id(), "photo", values),
                Write(hold_id(self.hold), "hold", {f"step/{self.desk.new_id()}": step}),
            ],
            last=self.desk.last,
        )
        try:
            path.unlink()
        except OSError:
            return say("photo.sealed_but", name=path.name)
        return say("photo.sealed")

    def count(self) -> int:
        """How many there are of the docket, or of the context."""
        if self.hold:
            return sum(one.value("docket") == self.hold for one in self.desk.notebook.records("photo"))
        if self.form is not None:
            return sum(slot.startswith("photo/") for slot in self.form.answers)
        return sum(one.value("context") == self.desk.context for one in self.desk.notebook.records("photo"))
