"""What is named when plates are seen without a word, and how it is counted.

    python -m tests.plates_blind.score SHEET.csv SAID.csv --namer "namer 1" --date 2026-11-25

adds to named.csv what a namer said of the sheet that `bonedocket plates --blind` made. SHEET.csv are its answers
(number, element, form, view); SAID.csv holds number, element, form: what was said, as keys of the vocabulary (`none`
where nothing was). A namer knows bones, has not seen the drawings or their names before, and sees the sheet alone.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fieldapp import assets

FILE = Path(__file__).with_name("named.csv")
COLUMNS = ("date", "namer", "form", "element", "view", "drawing", "said_element", "said_form")


@dataclass(frozen=True)
class Naming:
    """One plate named by one namer. `drawing`: digest of the drawing that was seen."""

    date: str
    namer: str
    form: str
    element: str
    view: str
    drawing: str
    said_element: str
    said_form: str

    @property
    def element_right(self) -> bool:
        return self.said_element == self.element

    @property
    def form_right(self) -> bool:
        return self.said_form == self.form


@cache
def digest(form: str, element: str, view: str) -> str:
    """The first twelve digits of the SHA-256 of a plate's file."""
    return hashlib.sha256(assets.plate_svg(form, element, view).encode()).hexdigest()[:12]


def rows(file: Path) -> list[dict[str, str]]:
    """The rows of a table."""
    with file.open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened))


def namings(file: Path = FILE) -> list[Naming]:
    """All that was ever named, the oldest first."""
    return [Naming(**row) for row in rows(file)]


def current(found: list[Naming]) -> list[Naming]:
    """Those of drawings that are shipped as they were seen."""
    shipped = {row.key: digest(row.form, row.element, row.view) for row in assets.knowledge().gallery.rows()}
    return [one for one in found if shipped.get(f"{one.form}.{one.element}.{one.view}") == one.drawing]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sheet", type=Path)
    parser.add_argument("said", type=Path)
    parser.add_argument("--namer", required=True)
    parser.add_argument("--date", required=True)
    args = parser.parse_args()
    rows = {
        name: list(csv.DictReader(path.open(encoding="utf-8")))
        for name, path in vars(args).items()
        if isinstance(path, Path)
    }
    said = {row["number"]: row for row in rows["said"]}
    known = assets.knowledge()
    forms = {taxon.form for taxon in known.taxa.values()}
    new = []
    for row in rows(args.sheet):
        answer = said.get(row["number"])
        if answer is None:
            raise SystemExit(f"number {row['number']} was not named: write none where nothing was said")
        for what, words in (("element", known.elements.keys()), ("form", forms)):
            if answer[what] not in words and answer[what] != "none":
                raise SystemExit(f"number {row['number']}: {answer[what]!r} is no {what}")
        bone = (row["form"], row["element"], row["view"])
        new.append(Naming(args.date, args.namer, *bone, digest(*bone), answer["element"], answer["form"]))
    with FILE.open("a", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerows([getattr(one, column) for column in COLUMNS] for one in new)
    for what in ("element", "form"):
        right = sum(getattr(one, f"{what}_right") for one in new)
        print(f"{what}: {right} of {len(new)} ({right / len(new):.0%})")
    for one in new:
        if not (one.element_right and one.form_right):
            print(f"  {one.form} {one.element} {one.view}: said {one.said_form} {one.said_element}")


if __name__ == "__main__":
    main()
