"""The drawing bench: `python -m tests.plates [FILE ...]` makes plates from drafts and says what is wrong with them.

    python -m tests.plates                        every draft of assets/drafts becomes an SVG of assets/plates
    python -m tests.plates FILE ... --look P.png  these alone, and a picture of them: each with its portions named
                                                  over a grid of 100 units, and beside it as a recorder sees it

Not for: printing the plates for people (`bonedocket plates`).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from fieldapp import assets
from tests.plates.checks import faults, small
from tests.plates.draft import DraftError, Drawn, draft_at, drawn, svg


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.plates", description="Makes plates from their drafts.")
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--look", type=Path, help="a PNG with the plates, their portions and a grid")
    parser.add_argument("--plain", action="store_true", help="the picture shows the drawings only")
    chosen = parser.parse_args(arguments)
    folder = assets.root()
    bad = 0
    made: list[Drawn] = []
    drafts = (path for path in (folder / "drafts").glob("*/*.txt") if path.parent.name != "maps")
    for path in chosen.files or sorted(drafts):
        try:
            plate = drawn(draft_at(path))
        except DraftError as error:
            print(error)
            bad += 1
            continue
        made.append(plate)
        target = folder / "plates" / plate.draft.form / f"{path.stem}.svg"
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(svg(plate), encoding="utf-8")
        for fault in faults(plate):
            print(f"{plate.draft.form}/{path.stem}: {fault}")
            bad += 1
        narrow = small(plate)
        if narrow:
            print(f"{plate.draft.form}/{path.stem}: needs the inset: {', '.join(narrow)}")
    if chosen.look and made:
        from tests.plates.look import picture

        picture(made, chosen.plain).save(chosen.look)
    print(f"{len(made)} plates, {bad} faults")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
