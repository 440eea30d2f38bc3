"""Reads what is shipped beside the code: reference tables, plates, texts and the font.

The only module below `records` that opens a file. The tables are checked against each other when they are first
read: a table that contradicts another is a fault of the installation, and an AssetError names file and line.
Not here: what the values mean (fieldapp.domain.knowledge) and what is drawn with a plate.
"""

from __future__ import annotations

import csv
import gettext
import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fieldapp.domain import places as place_lines
from fieldapp.domain import rules
from fieldapp.domain.assemblage import size_tables, wear
from fieldapp.domain.assemblage.size_tables import Sizes
from fieldapp.domain.cells import TableFault
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.places import PlaceLine
from fieldapp.domain.plates import (
    Plate,
    PlateError,
    SkeletonMap,
    mirrored,
    other_key,
    read_map,
    read_plate,
)
from fieldapp.domain.tables import NAMES, knowledge_from


class AssetError(Exception):
    """Something shipped with the program is missing or contradicts itself.

    file  the file, below the assets folder;  line  its line, 0 where the whole file is meant;  what  the fault
    """

    def __init__(self, file: str, line: int, what: str) -> None:
        at = f"{file}, line {line}" if line else file
        super().__init__(f"{at}: {what}. No record is touched; install the program again, or mend the file.")
        self.file = file
        self.line = line
        self.what = what


def root() -> Path:
    """The assets folder: inside the installed package, or beside it in a checkout."""
    here = Path(__file__).resolve().parent
    for folder in (here / "_assets", here.parent / "assets"):
        if (folder / "reference").is_dir():
            return folder
    raise AssetError("assets", 0, f"there is no assets folder at {here / '_assets'} or {here.parent / 'assets'}")


def table(name: str) -> list[dict[str, str]]:
    """The rows of the table `name`, every cell a text. Raises AssetError."""
    return [row for _, _, row in rows(root(), name)]


def rows(base: Path, name: str) -> list[tuple[str, int, dict[str, str]]]:
    """(file, line, row) of a table under `base`: reference/<name>.csv, or all files of reference/<name>/ in order.

    Every row has every column, and says where it is from. `file` is below reference/, without its ending.
    """
    folder = base / "reference"
    files = sorted((folder / name).glob("*.csv")) if (folder / name).is_dir() else [folder / f"{name}.csv"]
    if not name.isidentifier() or not files or not files[0].is_file():
        raise AssetError(f"reference/{name}.csv", 0, "the table is missing")
    found: list[tuple[str, int, dict[str, str]]] = []
    first: list[str] = []
    for path in files:
        file = path.relative_to(folder).as_posix()
        head, own = _rows(path, f"reference/{file}")
        if first and head != first:
            raise AssetError(f"reference/{file}", 1, f"its columns are not those of {files[0].name}")
        first = head
        found += [(file.removesuffix(".csv"), line, row) for line, row in own]
    return found


def _rows(path: Path, file: str) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    with path.open(encoding="utf-8", newline="") as opened:
        reader = csv.DictReader(opened)
        head = list(reader.fieldnames or [])
        found = [(reader.line_num, row) for row in reader]
    if not {"source", "seen"} <= set(head):
        raise AssetError(file, 1, "the table lacks the column `source` or `seen`")
    for line, row in found:
        if None in row or None in row.values():
            raise AssetError(file, line, f"the row does not have {len(head)} cells")
        if not row["source"].strip():
            raise AssetError(file, line, "the row names no source")
        if row["seen"] not in ("memory", "-") and not row["seen"].startswith("verified:"):
            raise AssetError(file, line, f"`seen` is {row['seen']!r}, not verified:<address>, memory or -")
    return head, found


@cache
def knowledge() -> Knowledge:
    """All reference tables together, checked against each other. Raises AssetError."""
    return knowledge_at(root())


def knowledge_at(base: Path) -> Knowledge:
    """Knowledge from the tables under another assets folder. Raises AssetError."""
    try:
        found = knowledge_from({name: rows(base, name) for name in NAMES})
    except TableFault as fault:
        raise AssetError(f"reference/{fault.table}.csv", fault.line, fault.what) from fault
    for what in rules.unmatched(found):
        raise AssetError("reference/rules.csv", 0, what)
    return found


@cache
def criteria_version() -> str:
    """Which version of the human criteria is in use: twelve digits drawn from the tables as they stand."""
    held = sorted(path for path in (root() / "reference").glob("human_c*.csv"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in held)).hexdigest()[:12]


@cache
def places() -> Mapping[str, tuple[PlaceLine, ...]]:
    """{place: the lines of its draft}. Nothing of it is shown unless a site sets it. Raises AssetError."""
    return MappingProxyType(places_at(root()))


def places_at(base: Path) -> dict[str, tuple[PlaceLine, ...]]:
    """The same from another assets folder. Raises AssetError."""
    try:
        return place_lines.read({name: rows(base, name) for name in place_lines.NAMES}, texts_at(base, ENGLISH))
    except TableFault as fault:
        raise AssetError(f"reference/{fault.table}.csv", fault.line, fault.what) from fault


@cache
def sizes() -> Sizes:
    """Factors of withers height, size classes and standards. Raises AssetError."""
    return sizes_at(root())


def sizes_at(base: Path) -> Sizes:
    """The same from another assets folder. Raises AssetError."""
    known = knowledge()
    try:
        return size_tables.read({name: rows(base, name) for name in size_tables.NAMES}, known.taxa, known.elements)
    except TableFault as fault:
        raise AssetError(f"reference/{fault.table}.csv", fault.line, fault.what) from fault


@cache
def wear_limits() -> tuple[wear.Limit, ...]:
    """What is seen when each stage of a jaw has begun. Raises AssetError."""
    try:
        return wear.read({name: rows(root(), name) for name in wear.NAMES}, knowledge())
    except TableFault as fault:
        raise AssetError(f"reference/{fault.table}.csv", fault.line, fault.what) from fault


@cache
def stamp() -> str:
    """What the tables are now, as a short text: another one after any of them was changed."""
    digest = hashlib.sha256()
    for path in sorted((root() / "reference").rglob("*.csv")):
        digest.update(path.relative_to(root()).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def plate_svg(form: str, element: str, view: str) -> str:
    """The plate of a view of an element in a form, as SVG text. Raises AssetError where none is drawn."""
    file = f"plates/{form}/{element}.{view}.svg"
    if not all(part.isidentifier() for part in (form, element, view)) or not (root() / file).is_file():
        raise AssetError(file, 0, "no plate is drawn for it")
    return (root() / file).read_text(encoding="utf-8")


@lru_cache(maxsize=512)
def plate(form: str, element: str, view: str) -> Plate:
    """The plate of a view, read once. Raises AssetError."""
    try:
        return read_plate(plate_svg(form, element, view))
    except PlateError as error:
        raise AssetError(f"plates/{form}/{element}.{view}.svg", 0, str(error)) from error


@lru_cache(maxsize=2048)
def plates_of(element: str, taxon: str | None, side: str | None) -> tuple[Plate, ...]:
    """The plates that show an element of a taxon, the first view first; () where none is drawn.

    A bone of the right side is the mirror image of the drawing; of a midline bone drawn from one side both images are
    there. A plate whose `form` is not the taxon's is schematic. Raises AssetError.
    """
    found: list[Plate] = []
    for row in knowledge().views_of(element, taxon):
        drawn = plate(row.form, row.element, row.view)
        if drawn.side == "midline":
            found.append(drawn)
        elif any(other_key(key) != key for key in drawn.portions):
            found += [drawn, mirrored(drawn)]
        else:
            found.append(mirrored(drawn) if side == "right" else drawn)
    return tuple(found)


MAPS = ("ruminant", "equid", "pig", "carnivore", "lagomorph", "human", "bird", "fish")
"""The forms of which a whole skeleton is drawn, in the order in which they are offered."""


@cache
def skeleton(form: str) -> SkeletonMap:
    """The whole skeleton of a form, read once. Raises AssetError where none is drawn."""
    file = root() / "maps" / f"{form}.svg"
    if form not in MAPS or not file.is_file():
        raise AssetError(f"maps/{form}.svg", 0, "no skeleton is drawn for it")
    try:
        return read_map(file.read_text(encoding="utf-8"))
    except PlateError as error:
        raise AssetError(f"maps/{form}.svg", 0, str(error)) from error


@cache
def skeleton_elements() -> Mapping[str, frozenset[str]]:
    """{form: the elements drawn on its skeleton}. Raises AssetError."""
    return MappingProxyType({form: frozenset(skeleton(form).elements()) for form in MAPS})


def skeleton_form(form: str) -> str:
    """The form whose skeleton is shown for animals of a form: its own, or the nearest that is drawn."""
    nearest = (form, *knowledge().gallery.nearest.get(form, ()), *MAPS)
    return next(one for one in nearest if one in MAPS)


def font(bold: bool = False) -> Path:
    """The bundled font file (DejaVu Sans; its licence lies beside it)."""
    file = f"fonts/DejaVuSans{'-Bold' if bold else ''}.ttf"
    if not (root() / file).is_file():
        raise AssetError(file, 0, "the font is missing")
    return root() / file


ENGLISH = "en"
DOMAIN = "bonedocket"


def languages() -> tuple[str, ...]:
    """The languages there are texts in, English first."""
    found = sorted(path.parts[-3] for path in (root() / "translations").glob(f"*/LC_MESSAGES/{DOMAIN}.mo"))
    return (ENGLISH, *found)


def language_name(lang: str) -> str:
    """A language's own name for itself."""
    return texts(lang)["language.name"]


_spoken = ENGLISH
_spoken_here: ContextVar[str] = ContextVar("spoken_here", default="")


def speak(lang: str) -> str:
    """Says everything in this language from now on. The language until now."""
    global _spoken
    former, _spoken = _spoken, lang
    return former


@contextmanager
def speaking(lang: str) -> Iterator[None]:
    """Says everything in this language within the block and its context, as one request of a server does."""
    token = _spoken_here.set(lang)
    try:
        yield
    finally:
        _spoken_here.reset(token)


def spoken() -> str:
    """The language in which everything is said here."""
    return _spoken_here.get() or _spoken


def texts(lang: str = "") -> Mapping[str, str]:
    """User texts by key, in the language that is spoken here if none is named. Raises AssetError."""
    return texts_in(lang or spoken())


@cache
def texts_in(lang: str) -> Mapping[str, str]:
    """User texts by key: the names in the tables, then those of texts/en. Raises AssetError on a repeated key.

    Another language's come by gettext from translations/<lang>: the key is the context, the English text the message;
    what it lacks stays English. Raises AssetError for a language that is not there.
    """
    if lang != ENGLISH:
        try:
            found = gettext.translation(DOMAIN, root() / "translations", [lang])
        except OSError as error:
            raise AssetError(f"translations/{lang}", 0, "there are no texts in this language") from error
        return MappingProxyType({key: text and found.pgettext(key, text) for key, text in texts_in(ENGLISH).items()})
    names, own = names_of(knowledge()), texts_at(root(), ENGLISH)
    for key in names.keys() & own.keys():
        raise AssetError(f"texts/{lang}", 0, f"the key {key!r} is given twice: the tables name it already")
    return MappingProxyType({**names, **own})


def names_of(known: Knowledge) -> dict[str, str]:
    """{text key: name} of everything in the tables: "taxon.pig", "portion.tibia.head", "side.left" ..."""
    found = {f"taxon.{key}": one.name for key, one in known.taxa.items()}
    found |= {f"element.{key}": one.name for key, one in known.elements.items()}
    found |= {f"portion.{e}.{key}": one.name for e, own in known.portion_keys.items() for key, one in own.items()}
    found |= {f"centre.{e}.{key}": one.name for e, own in known.centre_keys.items() for key, one in own.items()}
    found |= {f"tooth.{key}": one.name for key, one in known.teeth.teeth.items()}
    found |= {f"criterion.{key}": one.question for key, one in known.criteria.items()}
    found |= {f"criterion.{key}.pitfall": one.pitfall for key, one in known.criteria.items()}
    found |= {f"circumstance.{key}": one.name for key, one in known.circumstances.items()}
    found |= {f"plate.{one.key}": one.shows for one in known.gallery.rows()}
    found |= {f"wear_scheme.{key}": one.name for key, one in known.teeth.schemes.items()}
    for key, scheme in known.teeth.schemes.items():
        if scheme.kind == "tooth":  # stages of whole jaws are worked out, and nobody taps them
            found[f"wear_scheme.{key}.how"] = scheme.definition
            found |= {f"wear_stage.{key}.{stage}": one.definition for stage, one in scheme.stages.items()}
    found |= {f"measure.{one.text}": one.name for one in known.measures.measurements}
    found |= {f"measure.{one.text}.how": one.definition for one in known.measures.measurements}
    return found | {f"{one.of}.{one.key}": one.name for one in known.glossary}


def texts_at(base: Path, lang: str) -> dict[str, str]:
    """The texts under another assets folder. Raises AssetError."""
    files = sorted((base / "texts" / lang).rglob("*.json"))
    if not files:
        raise AssetError(f"texts/{lang}", 0, "there are no texts in this language")
    found: dict[str, str] = {}
    for path in files:
        file = path.relative_to(base).as_posix()
        for key, text in _pairs(path, file):
            if key in found:
                raise AssetError(file, 0, f"the key {key!r} is given twice")
            if not isinstance(text, str):
                raise AssetError(file, 0, f"the text of {key!r} is no sentence")
            found[key] = text
    return found


def _pairs(path: Path, file: str) -> list[tuple[str, Any]]:
    """The keys and texts of one file as they stand, repeated keys and all."""
    try:
        read = json.loads(path.read_text(encoding="utf-8"), object_pairs_hook=list)
    except json.JSONDecodeError as error:
        raise AssetError(file, error.lineno, f"not readable as JSON ({error.msg})") from None
    if not isinstance(read, list) or not all(isinstance(pair, tuple) for pair in read):
        raise AssetError(file, 0, "not a plain list of key and sentence")
    return read
