"""Rules about what a bone is called: words, element, taxon, certainty, sex and age. Not portions or fusion."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, by_name, shown, term, text

_NOT_BORNE = frozenset({"not_bone", "shell", "eggshell"})

_READING_WORDS = (
    ("side", "side"),
    ("certainty", "certainty"),
    ("stage", "stage"),
    ("sex", "sex"),
    ("age", "age_class"),
)
_RECORD_WORDS = {
    "material": "material",
    "burning": "burning",
    "type": "context_type",
    "grave_like": "grave_like",
    "recovery": "recovery",
    "relation": "relation",
}
_ITEM_WORDS = {"human": ("answer", "human_answer"), "assessment": ("verdict", "verdict")}


def word_unknown(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A word that is not in the project's lists. It is kept as it came."""
    if isinstance(record, Docket):
        yield from _reading_words(record, know)
    for path, value in record.values.items():
        if path in _RECORD_WORDS:
            if not _known(_RECORD_WORDS[path], value, know):
                yield path, {"word": shown(value)}
        elif isinstance(record, Docket) and "/" in path:
            field, of = _ITEM_WORDS.get(path.split("/", 1)[0], ("", ""))
            said = value.get(field) if isinstance(value, Mapping) else value
            if of and not know.is_word(of, said):
                yield path, {"word": shown(said)}


def _reading_words(docket: Docket, know: Knowledge) -> Iterator[Finding]:
    written = docket.values.get("reading")
    if written is not None and not isinstance(written, Mapping):
        yield "reading", {"word": shown(written)}
    for field, table in (("element", know.elements), ("taxon", know.taxa)):
        word = docket.reading.get(field)
        if word is not None and not (isinstance(word, str) and word in table):
            yield f"reading/{field}", {"word": shown(word)}
    for field, of in _READING_WORDS:
        if not _known(of, docket.reading.get(field), know):
            yield f"reading/{field}", {"word": shown(docket.reading.get(field))}
    for field, of in (("portions", "portion_state"), ("fusion", "fusion_state")):
        part = docket.reading.get(field)
        if part is not None and not isinstance(part, Mapping):
            yield f"reading/{field}", {"word": shown(part)}
        elif part:
            words = know.words.get(of, ())
            for key, state in part.items():
                if not isinstance(state, str) or state not in words:
                    yield f"reading/{field}/{key}", {"word": shown(state)}


def _known(of: str, word: Any, know: Knowledge) -> bool:
    return word is None or word == "" or know.is_word(of, word)


def element_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that the animal does not have."""
    if docket.element and docket.taxon and not know.occurs(docket.element, docket.taxon):
        yield "reading/element", docket.names()


def taxon_finer_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that alone seldom tells the animal, called by a species."""
    row = docket.element_row
    if row is not None and row.finest == "size_class" and docket.named and docket.taxon != "human":
        size = know.size_class(docket.taxon or "")
        if size is not None and docket.reading.get("certainty") != "cf":
            yield "reading/taxon", docket.names(size=term("taxon", size))


def taxon_coarser_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A well preserved end that would bear a finer name than a size class."""
    row, taxon = docket.element_row, docket.taxon_row
    if row is not None and taxon is not None and taxon.kind == "size_class" and row.finest == "species":
        portions = know.portion_map(row.key, docket.taxon)
        ends = docket.most.intersection(key for key, portion in portions.items() if portion.kind != "shaft")
        if len(ends) * 2 >= len(portions):
            yield "reading/taxon", docket.names()


def cf_without_name(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """ "cf." before a size or a class: there is no animal it could be compared with."""
    if docket.reading.get("certainty") == "cf" and docket.taxon_row is not None and not docket.named:
        yield "reading/certainty", docket.names()


def pair_parted_without_comparison(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """One animal of a pair that is hard to part, for certain, and nothing it was compared with."""
    taxon = docket.taxon_row
    if taxon is None or not taxon.broader or docket.reading.get("certainty") == "cf":
        return
    pair = next((found for one in taxon.parents if (found := know.taxa[one]).kind == "pair"), None)
    if pair is not None and not text(docket.reading.get("compared")):
        yield "reading/compared", docket.names(pair=term("taxon", pair.key))


def sex_not_visible(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A sex given from a bone that does not show it."""
    sex, row = text(docket.reading.get("sex")), docket.element_row
    if sex and row is not None and row.shows_sex == "no":
        yield "reading/sex", docket.names(sex=term("sex", sex))


def adult_with_unfused(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called adult although a centre has not joined."""
    if docket.reading.get("age") == "adult":
        for key, state in docket.fusion.items():
            if state in ("unfused", "loose_epiphysis"):
                yield "reading/age", docket.names(centre=term(f"centre.{docket.element}", key))
                return


def reading_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone or tooth that nobody has read yet."""
    if docket.values.get("reading") is None and docket.material not in _NOT_BORNE:
        yield "reading", {}


RULES = by_name(
    word_unknown,
    element_not_in_taxon,
    taxon_finer_than_bone,
    taxon_coarser_than_bone,
    cf_without_name,
    pair_parted_without_comparison,
    sex_not_visible,
    adult_with_unfused,
    reading_missing,
)
