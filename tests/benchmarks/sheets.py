"""Printing context sheets, against fpdf2 drawing the same marks, interleaved in one run.

    python -m tests.benchmarks.sheets [--sheets 100] [--dockets 12] [--long 400] [--rounds 3] [--json]

Full sheets, compact ones and labels. The anchor replays, for each file, the very calls that the sheet made on fpdf2
(pages, lines of type, lines, boxes, polygons) with the same fonts and the same archival kind of file: no records, no
measuring, no layout. Ours is given twice: laid out and drawn, and with gathering the folded records before, which runs
the rules over each docket. Both write files in memory. Loading and cutting down the fonts is in both and weighs most in
short files, so long ones are printed too; it is from those that the time of 100 pages is taken. Memory is that of a
process without numpy, which fpdf2 loads where it happens to be installed and no part of this program needs.
"""

from __future__ import annotations

import argparse
import gc
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from fpdf import FPDF

from fieldapp import assets
from fieldapp.sheets import pen
from fieldapp.sheets.compact import render_compact
from fieldapp.sheets.context_sheet import render
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.labels import SIZES, render_labels, tags_of
from fieldapp.sheets.plate_drawing import bundled_plates
from fieldapp.sheets.qr import _made
from fieldapp.sheets.words import Words
from tests.benchmarks.stats import ratios
from tests.sheets.dig import PRINTED, Dig, reading

CALLS = ("add_page", "set_font", "set_text_color", "set_fill_color", "set_draw_color", "set_line_width")
MARKS = ("text", "line", "polyline", "rect", "polygon")
Make = Callable[[ContextSheet], bytes]
PAGE = b"/Type /Page\n"
SET_UP = ("set_margin", "set_auto_page_break", "set_creation_date", "set_xmp_metadata", "set_lang", "add_font")


class Recorder(FPDF):
    """An fpdf2 document that remembers what it was told, to be told it again."""

    made: list[list[tuple[str, tuple[Any, ...], dict[str, Any]]]] = []  # noqa: RUF012

    def __init__(self, *args: Any, **names: Any) -> None:
        self.inside = 1
        super().__init__(*args, **names)
        self.calls: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = []
        self.made.append(self.calls)
        self.inside = 0


def _recording(name: str) -> Any:
    inherited = getattr(FPDF, name)

    def call(self: Recorder, *args: Any, **names: Any) -> Any:
        if not self.inside:
            self.calls.append((name, args, names))
        self.inside += 1
        try:
            return inherited(self, *args, **names)
        finally:
            self.inside -= 1

    return call


for _name in (*SET_UP, *CALLS, *MARKS):
    setattr(Recorder, _name, _recording(_name))


def _one_by_one(self: pen.Pen, x: float, y: float, side: float, runs: Iterable[tuple[int, int, int]]) -> None:
    """As bare fpdf2 draws the squares that the pen draws as one path."""
    self._pdf.set_fill_color(*pen.INK)
    for across, down, wide in runs:
        self._pdf.rect(x + across * side, y + down * side, wide * side, side, style="F")


@contextmanager
def _recorded() -> Iterator[None]:
    before = pen.FPDF, pen.Pen.squares
    pen.FPDF, pen.Pen.squares = Recorder, _one_by_one  # type: ignore[misc, method-assign]
    try:
        yield
    finally:
        pen.FPDF, pen.Pen.squares = before  # type: ignore[misc, method-assign]


def dig_of(contexts: int, dockets: int, first: int = 0) -> tuple[Dig, list[str]]:
    """Contexts of `dockets` each; one docket in six is in dispute, two in three have a plate."""
    dig, made = Dig(), []
    for number in range(first, first + contexts):
        context = dig.context(str(1000 + number), type="pit_fill", trench="B", phase="2", grave_like="no")
        bag = dig.bag(context, number + 1, recovery="hand", state="washed")
        made.append(context)
        for n in range(dockets):
            docket = dig.docket(bag, 1000 + number * dockets + n, material="bone", count=1, weight_g=10.5 + n)
            element = ("tibia", "femur", "rib", "humerus", "radius", "mandible")[n % 6]
            portion = assets.knowledge().portions_of(element)[n % 3].key
            value = reading(element, ("cattle", "sheep", "sheep_goat")[n % 3], "left", most=portion)
            dig.set("ada", "docket", docket, {"reading": value})
            if n % 6 == 3:
                dig.set("dora", "docket", docket, {"reading": {**value, "taxon": "red_deer", "stage": "analysis"}})
            dig.ask("ada", docket, "no_sign")
            dig.note("ada", docket, "Root etching on one side; an old break across the shaft.")
    return dig, made


def replay(calls: list[tuple[str, tuple[Any, ...], dict[str, Any]]], *, lying: bool) -> bytes:
    """The same marks on a bare fpdf2 document."""
    turned = "landscape" if lying else "portrait"
    pdf = FPDF(orientation=turned, unit="mm", format="A4", enforce_compliance="PDF/A-1b")
    pdf.alias_nb_pages("")
    for name, args, names in calls:
        getattr(pdf, name)(*args, **names)
    return bytes(pdf.output())


def kinds() -> dict[str, Make]:
    """What is printed of a gathered sheet. Labels: ten pages of bags that follow its own, no code made before."""
    texts, plates = assets.texts(), bundled_plates()
    words = Words(texts)

    def labels(sheet: ContextSheet) -> bytes:
        _made.cache_clear()
        (tag,) = tags_of(sheet, words)
        tags = [replace(tag, code=f"{tag.code[:-1]}{n:03}") for n in range(100)]
        return render_labels(tags, SIZES["2x5"], texts, PRINTED, title="t")

    return {
        "full": lambda sheet: render(sheet, plates, texts, PRINTED),
        "compact": lambda sheet: render_compact(sheet, texts, PRINTED),
        "labels": labels,
    }


def run(kind: str, sheets: int, dockets: int, rounds: int) -> dict[str, Any]:
    """Times of both over `sheets` files, `rounds` times, and what came out."""
    dig, contexts = dig_of(sheets, dockets)
    gather = dig.gatherer()
    make = kinds()[kind]
    first = [make(gather(one)) for one in contexts]
    Recorder.made.clear()
    with _recorded():
        for one in contexts:
            make(gather(one))
    times: dict[str, list[float]] = {"drawn": [], "gathered too": [], "fpdf2 replay": []}
    alike = True
    for _ in range(rounds):
        make = kinds()[kind]
        for one, calls, before in zip(contexts, Recorder.made, first, strict=True):
            gc.collect()
            start = time.perf_counter()
            sheet = gather(one)
            gathered = time.perf_counter()
            out = make(sheet)
            middle = time.perf_counter()
            drawn = replay(calls, lying=kind == "compact")
            end = time.perf_counter()
            times["drawn"].append(middle - gathered)
            times["gathered too"].append(middle - start)
            times["fpdf2 replay"].append(end - middle)
            alike = alike and out == before
            assert drawn.count(PAGE) == before.count(PAGE)
    pages = sum(one.count(PAGE) for one in first)
    return {
        "kind": kind,
        "sheets": sheets,
        "dockets": dockets,
        "rows": ratios(times, "fpdf2 replay"),
        "identical": alike,
        "pages": pages,
        "bytes": sum(map(len, first)),
        "s_for_100_pages": statistics.median(times["gathered too"]) * sheets * 100 / pages,
    }


def print_only(sheets: int, dockets: int) -> tuple[float, float]:
    """Prints the sheets one after another as a cabin would, which has the records of one context at a time; highest
    memory in MB before the first, and after all."""
    plates, texts, _ = bundled_plates(), assets.texts(), assets.knowledge()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for n in range(sheets):
        dig, (context,) = dig_of(1, dockets, n)
        render(dig.gatherer()(context), plates, texts, PRINTED)
    return before, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sheets", type=int, default=100)
    parser.add_argument("--dockets", type=int, default=12)
    parser.add_argument("--long", type=int, default=400, help="dockets of one long sheet, where fonts cost least")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--print-only", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.print_only:
        print(*print_only(args.sheets, args.dockets))
        return
    # A process of its own: what the anchor remembers must not count.
    code = "import sys; sys.modules['numpy'] = None; from tests.benchmarks.sheets import main; main()"
    alone = [sys.executable, "-c", code, "--print-only"]
    alone += ["--sheets", str(args.sheets), "--dockets", str(args.dockets)]
    before, peak = map(float, subprocess.run(alone, capture_output=True, text=True, check=True).stdout.split())
    few = max(1, args.sheets // 5)
    sizes = (("full", args.sheets, args.dockets), ("full", 1, args.long), ("compact", 1, args.long * 4))
    found = [run(*one, args.rounds) for one in (*sizes, ("compact", few, args.dockets), ("labels", few, 1))]
    if args.json:
        print(json.dumps({"runs": found, "before_mb": before, "peak_mb": peak}))
        return
    for one in found:
        made = f"{one['pages']} pages, {one['bytes'] / 1e6:.1f} MB, {one['s_for_100_pages']:.1f} s for 100 pages"
        print(f"{one['kind']}: {one['sheets']} of {one['dockets']} dockets: {made}")
        for name, row in one["rows"].items():
            print(f"  {name:14} median {row['median_us'] / 1000:8.1f} ms a file   x{row['ratio']:.2f}")
        print(f"  byte-identical each time: {'yes' if one['identical'] else 'NO'}")
    print(f"highest memory while printing {args.sheets} sheets: {peak:.0f} MB ({before:.0f} MB before the first)")


if __name__ == "__main__":
    main()
