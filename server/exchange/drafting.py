"""A first draft of a map, guessed from a table's headings and most frequent words; a person then goes through it.

Only what the tables know is guessed: our keys and names, Latin names, codes of measurements, ids of NCBI Taxonomy and
Uberon, and a few words of the trade. Whatever is not known stands in the draft as a line that is commented out. Nothing
is read by a draft that nobody has looked at: `--dry-run` says what it makes of the table. Not here: what a map may say.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from fieldapp.assets import languages, texts
from fieldapp.domain.knowledge import Knowledge
from server.exchange import slots
from server.exchange.tables import Table

SHOWN = 200
"""Different words of a column that are listed."""
SEEN_ROWS = 200_000
HEADINGS: dict[str, tuple[str, ...]] = {
    "context": ("context", "contextno", "contextnumber", "locus", "unit", "befund", "us", "su", "lot"),
    "trench": ("trench", "area", "schnitt", "square", "sector"),
    "phase": ("phase", "period", "level", "stratum"),
    "bag": ("bag", "bagno", "bagnumber", "tüte"),
    "find_no": ("findno", "find", "findnumber", "bone", "boneno", "boneid", "id", "no", "number", "specimen", "record",
                "recordno", "fundnummer", "inventarnummer"),
    "recovery": ("recovery", "recoverymethod", "collection", "excavationmethod", "method", "bergung"),
    "taxon": ("taxon", "species", "animal", "tierart", "art", "espece", "taxa"),
    "element": ("element", "bonename", "anatomy", "part", "skelettelement", "knochen", "anatomicalelement"),
    "side": ("side", "seite", "cote", "laterality"),
    "count": ("count", "nisp", "n", "quantity", "anzahl", "pieces", "nr", "nsp"),
    "weight_g": ("weight", "weightg", "gewicht", "gewichtg", "poids", "g"),
    "sex": ("sex", "geschlecht", "sexe"),
    "age": ("age", "ageclass", "alter"),
    "fusion.proximal": ("proximalfusion", "fusionproximal", "proxfusion", "fusionprox", "pf"),
    "fusion.distal": ("distalfusion", "fusiondistal", "distfusion", "fusiondist", "df"),
    "burning": ("burning", "burnt", "burned", "verbrannt", "burn"),
    "weathering": ("weathering", "weatheringstage"),
    "preservation": ("preservation", "erhaltung"),
    "longest_mm": ("length", "longest", "maxlength", "longestmm", "fragmentlength"),
    "tooth": ("tooth", "zahn"),
    "jaw": ("jaw",),
    "finder": ("finder", "recorder", "analyst", "recordedby"),
    "mark.cut": ("cut", "cutmarks", "cuts"),
    "mark.chop": ("chop", "chopmarks"),
    "mark.carnivore_gnawing": ("gnawing", "gnawed", "carnivoregnawing"),
    "mark.rodent_gnawing": ("rodentgnawing",),
    "note": ("note", "notes", "comment", "comments", "remark", "remarks", "bemerkung", "bemerkungen"),
}  # fmt: skip
"""{slot: headings that mostly mean it, without spaces, signs and capitals}. Common practice, no source."""
WORDS: dict[str, dict[str, str]] = {
    "side": {"l": "left", "r": "right", "sin": "left", "dext": "right", "dex": "right", "li": "left", "re": "right",
             "sinister": "left", "dexter": "right", "axial": "midline"},
    "fusion_state": {"f": "fused", "u": "unfused", "uf": "unfused", "fg": "fusing"},
    "sex": {"f": "female", "m": "male", "w": "female"},
    "recovery": {"handcollected": "hand", "sieved": "sieve", "sieving": "sieve", "hc": "hand"},
    "burning": {"no": "unburnt", "yes": "burnt"},
}  # fmt: skip
"""{list: {word without signs: our key}}. Common practice, no source."""
_ID = re.compile(r"(UBERON)[_:](\d{7})\Z|(?:NCBITaxon[_:]|taxonomy/)(\d+)\Z")


@dataclass
class Seen:
    """What a column holds: how often each word, as far as they were counted."""

    words: Counter[str] = field(default_factory=Counter)
    many: bool = False

    def add(self, cell: str) -> None:
        """A cell that says something."""
        if cell in self.words or len(self.words) < SHOWN:
            self.words[cell[:200]] += 1
        else:
            self.many = True

    @property
    def figures(self) -> bool:
        """Whether it mostly holds figures."""
        told = sum(self.words.values())
        return told > 0 and sum(n for word, n in self.words.items() if _number(word)) > 0.8 * told

    @property
    def comma(self) -> bool:
        """Whether its figures have a decimal comma."""
        return any(re.fullmatch(r"\d+,\d+", word) for word in self.words)


def columns(table: Table) -> dict[str, Seen]:
    """{heading: what it holds} of a table's first rows."""
    found = {heading: Seen() for heading in table.headings}
    for n, row in enumerate(table):
        if n == SEEN_ROWS:
            break
        for heading, cell in row.cells.items():
            if heading in found and cell.strip():
                found[heading].add(cell.strip())
    return found


def draft(table: Table, name: str, knowledge: Knowledge) -> str:
    """The draft of a map for a table, as TOML."""
    seen, guesser = columns(table), Guesser(knowledge)
    decimal = "," if any(one.figures and one.comma for one in seen.values()) else "."
    plain = re.sub(r"[^A-Z0-9]+", "", name.upper())[:10] or "IMPORT"
    lines = [
        f"# A draft, guessed from {table.path.name} ({table.rows} rows). Go through every line: a guess is no reading.",
        "# What is commented out is not read; it stays in each docket as it came. Then: bonedocket import … --dry-run",
        "",
        "format = 1",
        f"name = {_quoted(name)}",
        '# credit = "whose data they are, and under which licence"',
        f"prefix = {_quoted(plain)}",
        "",
        "[file]",
        f"encoding = {_quoted('utf-8' if table.encoding == 'utf-8-sig' else table.encoding)}",
        f"delimiter = {_quoted(table.delimiter)}",
        f"decimal = {_quoted(decimal)}",
    ]
    meant = guesser.slots(seen)
    for heading, one in seen.items():
        lines += ["", *guesser.column(heading, one, meant.get(heading, ""))]
    return "\n".join(lines) + "\n"


class Guesser:
    """What headings and words may mean, by the tables."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._headings = {word: slot for slot, words in HEADINGS.items() for word in words}
        self._taxa: dict[str, str] = {}
        self._elements: dict[str, str] = {}
        for key, taxon in knowledge.taxa.items():
            # A genus is no species; but whoever writes "Homo" is to be heard.
            genus = taxon.latin.partition(" ")[0] if taxon.kind == "family" or key == "human" else ""
            ids = (f"ncbi{one}" for one in taxon.ncbi)
            self._learn(self._taxa, key, key, *self._called("taxon", key), taxon.latin, genus, *ids)
        for key, element in knowledge.elements.items():
            names = (element.latin, element.uberon_label, element.uberon)
            self._learn(self._elements, key, key, *self._called("element", key), *names)

    def _called(self, of: str, key: str) -> Iterator[str]:
        """The names that a word has in every language there is."""
        for lang in languages():
            if name := texts(lang).get(f"{of}.{key}"):
                yield name

    def _learn(self, into: dict[str, str], key: str, *names: str) -> None:
        for one in names:
            if one and (plain := _plain(one)):
                # A name of two is nobody's.
                into[plain] = key if into.get(plain, key) == key else ""

    def word(self, slot: str, word: str) -> str:
        """Our key for a word in a slot; "" where nothing is known."""
        if (match := _ID.search(word)) is not None:
            word = f"ncbi{match[3]}" if match[3] else f"{match[1]}{match[2]}"
        plain = _plain(word)
        if slot in ("taxon", "element"):
            return (self._taxa if slot == "taxon" else self._elements).get(plain, "")
        of = slots.LISTS.get(slot) or slots.FAMILY_LISTS.get(slot.partition(".")[0], "")
        own = {_plain(name): key for key in self.knowledge.words.get(of, ()) for name in (key, *self._called(of, key))}
        own |= WORDS.get(of, {})
        return own.get(plain, "")

    def slots(self, seen: Mapping[str, Seen]) -> dict[str, str]:
        """{heading: the slot that its column seems to be for}, each slot once: what a heading says goes before what its
        words say, and a column with one word in all rows tells one from another by nothing."""
        found: dict[str, str] = {}
        for guess in (self._by_code, self._by_heading, self._by_words):
            for heading, one in seen.items():
                slot = guess(heading, one) if one.words and heading not in found else ""
                if slot and (slot == slots.NOTE or slot not in found.values()):
                    found[heading] = slot
        return found

    def _by_code(self, heading: str, seen: Seen) -> str:
        bare = _bare(heading)
        return f"measure.{bare}" if bare in self.knowledge.measures.codes and seen.figures else ""

    def _by_heading(self, heading: str, seen: Seen) -> str:
        slot = self._headings.get(_plain(_bare(heading)), "")
        if slot in slots.JOINED and len(seen.words) == 1:
            return ""
        wants_figures = slots.is_figure(slot) or slot == slots.COUNT or slot.partition(".")[0] in slots.WHOLES
        return slot if seen.figures or not wants_figures else ""

    def _by_words(self, heading: str, seen: Seen) -> str:
        told, bare = sum(seen.words.values()), _bare(heading)
        # One word alone may be anything: a country in all rows is no bird.
        for slot in ("taxon", "element") if len(seen.words) > 2 else ():
            if sum(n for word, n in seen.words.items() if self.word(slot, word)) > 0.5 * told:
                return slot
        # GLL and GLl are two: a code in other letters is a guess that only figures make likely.
        codes = {one.casefold(): one for one in sorted(self.knowledge.measures.codes, reverse=True)}
        code = codes.get(bare.casefold(), "") if seen.figures and len(bare) > 1 else ""
        return f"measure.{code}" if code else ""

    def column(self, heading: str, seen: Seen, slot: str) -> Iterator[str]:
        """The lines of a draft about a column."""
        head = f"[column.{_quoted(heading)}]"
        if not slot:
            told = f"for example {_few(seen.words)}" if seen.words else "nothing in it"
            yield f"# {head}  # {told}"
            yield '# to = ""'
            return
        yield head
        yield f"to = {_quoted(slot)}"
        if slots.words_of(slot, self.knowledge) is not None:
            yield from self._words(heading, slot, seen)

    def _words(self, heading: str, slot: str, seen: Seen) -> Iterator[str]:
        known = set(slots.words_of(slot, self.knowledge) or ())
        listed = [(word, n) for word, n in seen.words.most_common() if word not in known]
        if not listed:
            return
        yield f"[column.{_quoted(heading)}.words]"
        for word, n in listed:
            guess = self.word(slot, word)
            yield f"{_quoted(word)} = {_quoted(guess)}" if guess else f'# {_quoted(word)} = ""  # {n} rows'
        if seen.many:
            yield "# and more words than are listed here"


def _bare(heading: str) -> str:
    """A heading without what stands in brackets."""
    return re.sub(r"\[.*?\]|\(.*?\)", "", heading).strip()


def _few(words: Mapping[str, int]) -> str:
    return ", ".join(_quoted(word[:30]) for word in list(words)[:3])


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "", text.casefold())


def _number(text: str) -> bool:
    return re.fullmatch(r"-?\d+([.,]\d+)?([eE]-?\d+)?\*?", text) is not None


def _quoted(text: str) -> str:
    # A JSON string is a TOML string, but for DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
