"""Every entry of the vocabulary as one plain term, and the search among them.

One small function for each kind of entry turns it into Terms; KINDS names them all, and a new kind takes a function
and a line there. Nothing is judged here, and nothing printed (fieldapp.commands.terms).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from fieldapp.domain.alphabet import bare
from fieldapp.domain.knowledge import Knowledge

Texts = Mapping[str, str]

ROLES_FROM = "project decision"
"""Where the whole table of roles comes from; Knowledge keeps its cells only."""


@dataclass(frozen=True, slots=True)
class Term:
    """An entry of the vocabulary.

    kind        one of KINDS
    key         its key; of a part of something "tibia.head", of an age "cattle.tibia.distal"
    name        what it is called
    also        other names and codes: Latin, Uberon and NCBI ids, published words
    definition  what it is, in a line; may be "" where the name says all
    source, seen  as in the tables: "verified:<address>", "memory", or "-" for a decision of the project
    where       what it belongs to, in words: wider groups, the bone, the list
    """

    kind: str
    key: str
    name: str
    also: tuple[str, ...]
    definition: str
    source: str
    seen: str
    where: str


class _Say:
    """Names and sentences by key; the key itself where there is no text for it."""

    def __init__(self, texts: Texts) -> None:
        self._texts = texts

    def name(self, of: str, *keys: str) -> str:
        """The names of some words of one list, with commas."""
        return ", ".join(self._texts.get(f"{of}.{key}", key) for key in keys)

    def line(self, key: str, **fields: object) -> str:
        """A sentence of this area."""
        return self._texts.get(f"terms.{key}", key).format(**fields)

    def range(self, low: float | None, high: float | None, unit: str) -> str:
        """From one number to another, either of which may be open; "" if both are."""
        if low is None and high is None:
            return ""
        how = "to" if low is None else "from" if high is None else "one" if low == high else "range"
        return self.line(f"number.{how}", low=f"{low or 0:g}", high=f"{high or 0:g}", unit=self.line(unit))


Maker = Callable[[Knowledge, _Say], Iterator[Term]]


def _codes(*found: str) -> tuple[str, ...]:
    """What there is of some other names, each once."""
    return tuple(dict.fromkeys(one for one in found if one))


def _taxa(know: Knowledge, say: _Say) -> Iterator[Term]:
    for key, row in know.taxa.items():
        codes = _codes(row.latin, *(f"NCBI:{one}" for one in row.ncbi))
        kind = say.line(f"taxon.{row.kind}")
        where = say.name("taxon", *row.broader)
        yield Term("taxon", key, say.name("taxon", key), codes, kind, row.source, row.seen, where)


def _elements(know: Knowledge, say: _Say) -> Iterator[Term]:
    for key, row in know.elements.items():
        sides = "paired" if row.sided and not row.midline else "midline" if row.midline else "unsided"
        parts = [say.line(f"element.{row.region}"), say.line(f"element.{sides}")]
        parts += [say.line("element.portions", number=len(own))] if (own := know.portions_of(key)) else []
        parts += [say.line("element.only", taxa=say.name("taxon", *row.only))] if row.only else []
        parts += [say.line("element.not_in", taxa=say.name("taxon", *row.not_in))] if row.not_in else []
        where = say.name("element", *row.broader)
        codes = _codes(row.latin, row.uberon, row.uberon_label)
        yield Term("element", key, say.name("element", key), codes, "; ".join(parts), row.source, row.seen, where)


def _forms(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.forms:
        element, taxon = say.name("element", row.element), say.name("taxon", row.taxon)
        name = row.name or f"{element}, {taxon}"
        how = "" if row.occurs else say.line("form.lacking", element=element, taxon=taxon)
        yield Term(
            "form",
            f"{row.element}.{row.taxon}",
            name,
            _codes(row.form, row.uberon),
            "; ".join(_codes(how, row.note)),
            row.source,
            row.seen,
            say.line("in", what=element, where=taxon),
        )


def _portions(know: Knowledge, say: _Say) -> Iterator[Term]:
    for element, rows in know.portions.items():
        for row in rows:
            bone = say.name("element", element)
            where = say.line("in", what=bone, where=say.name("taxon", row.taxon)) if row.taxon else bone
            name = say.name(f"portion.{element}", row.key)
            key = f"{element}.{row.key}"
            yield Term("portion", key, name, _codes(row.uberon), row.definition, row.source, row.seen, where)


def _centres(know: Knowledge, say: _Say) -> Iterator[Term]:
    for element, rows in know.centres.items():
        for row in rows:
            near = [one.key for one in know.portions.get(element, ()) if one.centre == row.key]
            names = say.name(f"portion.{element}", *dict.fromkeys(near))
            yield Term(
                "centre",
                f"{element}.{row.key}",
                say.name(f"centre.{element}", row.key),
                row.ends,
                say.line("centre.of", portions=names) if names else "",
                row.source,
                row.seen,
                say.name("element", element),
            )


def _ages(know: Knowledge, say: _Say) -> Iterator[Term]:
    # Side by side: what the sources say of one centre, the chosen one first.
    for row in sorted(know.fusion_ages, key=lambda one: (one.taxon, one.element, one.centre, not one.chosen)):
        facts = [
            say.range(row.min_months, row.max_months, "months"),
            "" if row.sex == "any" else say.line(f"sex.{row.sex}"),
            say.line("chosen" if row.chosen else "not_chosen"),
            "" if row.method == "not stated" else row.method,
            row.note,
        ]
        element = say.name("element", row.element)
        yield Term(
            "fusion_age",
            f"{row.taxon}.{row.element}.{row.centre}",
            f"{say.name('taxon', row.taxon)}, {element}, {say.name(f'centre.{row.element}', row.centre)}",
            _codes(" ".join(_codes(row.published_element, row.published_end))),
            "; ".join(_codes(*facts)),
            row.source,
            row.seen,
            element,
        )


def _words(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.glossary:
        where = say.line("list", of=row.of)
        yield Term("word", row.key, say.name(row.of, row.key), (), row.definition, row.source, row.seen, where)


def _roles(know: Knowledge, say: _Say) -> Iterator[Term]:
    for (act, role), allowed in know.roles.items():
        who = say.name("role", role)
        what = say.line(f"role.{allowed}", act=act.replace("_", " "))
        yield Term("role", f"{act}.{role}", who, (), what, ROLES_FROM, "-", say.line("roles"))


def _counts(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in sorted(know.skeleton_counts, key=lambda one: (one.taxon, one.element, not one.chosen)):
        taxon, element = say.name("taxon", row.taxon), say.name("element", row.element)
        many = say.range(row.count, row.count_max, "in_skeleton")
        facts = _codes(many, say.line("chosen" if row.chosen else "not_chosen"), row.note)
        yield Term(
            "count",
            f"{row.taxon}.{row.element}",
            f"{taxon}, {element}",
            _codes(" ".join(_codes(row.published_taxon, row.published_element))),
            "; ".join(facts),
            row.source,
            row.seen,
            taxon,
        )


def _teeth(know: Knowledge, say: _Say) -> Iterator[Term]:
    for key, row in know.teeth.teeth.items():
        where, codes = say.name("tooth", *row.broader), _codes(row.uberon, row.uberon_label)
        yield Term("tooth", key, say.name("tooth", key), codes, row.definition, row.source, row.seen, where)


def _dentitions(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.teeth.formulae:
        taxa = [taxon for taxon, own in know.teeth.dentitions.items() if own == row.dentition]
        some = say.line("dentition.some", teeth=", ".join(row.some)) if row.some else ""
        yield Term(
            "dentition",
            f"{row.dentition}.{row.jaw}.{row.set}",
            say.line(f"dentition.{row.set}", jaw=say.name("jaw", row.jaw)),
            (row.dentition.replace("_", " "),),
            "; ".join(_codes(", ".join(row.always), some)),
            row.source,
            row.seen,
            say.name("taxon", *taxa),
        )


def _eruption(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in sorted(know.teeth.eruption, key=lambda one: (one.taxon, one.teeth, not one.chosen)):
        teeth, taxon = "/".join(row.teeth) or row.published_tooth, say.name("taxon", row.taxon)
        facts = [
            say.line(f"eruption.{row.event}"),
            say.range(row.min_months, row.max_months, "months"),
            say.line("chosen" if row.chosen else "not_chosen"),
            row.note,
        ]
        yield Term(
            "eruption",
            f"{row.taxon}.{teeth}",
            ", ".join(_codes(taxon, teeth, say.name("jaw", row.jaw) if row.jaw else "")),
            _codes(" ".join(_codes(row.published_taxon, row.published_tooth))),
            "; ".join(_codes(*facts)),
            row.source,
            row.seen,
            taxon,
        )


def _wear(know: Knowledge, say: _Say) -> Iterator[Term]:
    for scheme in know.teeth.schemes.values():
        name = say.name("wear_scheme", scheme.key)
        where = "; ".join(_codes(", ".join(scheme.teeth), say.name("taxon", *sorted(scheme.taxa))))
        yield Term("wear", scheme.key, name, (), scheme.definition, scheme.source, scheme.seen, where)
        for key, row in scheme.stages.items():
            facts = _codes(row.definition, say.range(row.min_months, row.max_months, "months"), row.note)
            also = _codes(row.published_stage if row.published_stage != key else "")
            yield Term("wear", f"{scheme.key}.{key}", key, also, "; ".join(facts), row.source, row.seen, name)


def _measurements(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.measures.measurements:
        element = say.name("element", row.element)
        needed = [say.name(f"portion.{row.element}", *group) for group in row.needs]
        where = f"{element}: {say.name('taxon', *_widest(know, row.own))}"
        yield Term(
            "measure",
            ".".join(_codes(row.element, row.position, row.code)),
            f"{row.code}, {row.name}",
            _codes(row.code, " ".join(_codes(row.published_element, row.published_code))),
            " ".join(_codes(row.definition, say.line("measure.needs", parts="; ".join(needed)) if needed else "")),
            row.source,
            row.seen,
            where,
        )


def _sizes(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.measures.ranges:
        taxon, element = say.name("taxon", row.taxon), say.name("element", row.element)
        facts = _codes(say.range(row.min_mm, row.max_mm, "mm"), say.line(f"size.{row.use}"), row.note)
        yield Term(
            "size",
            ".".join(_codes(row.taxon, row.element, row.position, row.code)),
            f"{taxon}, {element}, {row.code}",
            _codes(" ".join(_codes(row.published_taxon, row.published_element))),
            "; ".join(facts),
            row.source,
            row.seen,
            element,
        )


def _presence(know: Knowledge, say: _Say) -> Iterator[Term]:
    for row in know.presence.limits:
        taxon, places = say.name("taxon", row.taxon), say.name("region", *row.regions)
        # A year below 1 is told as one before the common era.
        year = "" if row.year is None else say.line("year.bc" if row.year < 1 else "year.ad", year=abs(row.year))
        facts = _codes(say.line(f"presence.{row.what}", year=year), row.note)
        key = ".".join((row.taxon, *row.regions, row.what))
        yield Term("presence", key, f"{taxon}, {places}", (), "; ".join(facts), row.source, row.seen, taxon)


def _widest(know: Knowledge, taxa: Iterable[str]) -> list[str]:
    """Those of some taxa that lie under no other of them."""
    own = sorted(taxa)
    return [one for one in own if not any(one != other and know.is_a(one, other) for other in own)]


KINDS: Mapping[str, Maker] = {
    "taxon": _taxa,
    "element": _elements,
    "form": _forms,
    "portion": _portions,
    "centre": _centres,
    "fusion_age": _ages,
    "count": _counts,
    "tooth": _teeth,
    "dentition": _dentitions,
    "eruption": _eruption,
    "wear": _wear,
    "measure": _measurements,
    "size": _sizes,
    "presence": _presence,
    "word": _words,
    "role": _roles,
}
"""{kind: what makes its terms}, in the order in which they are listed; the text terms.kind.<kind> names it."""


def all_terms(know: Knowledge, texts: Texts) -> list[Term]:
    """Every term, kind by kind, in the order of the tables."""
    say = _Say(texts)
    return [term for make in KINDS.values() for term in make(know, say)]


def plain(text: str) -> str:
    """A text as it is compared: lower case, no accents, words and numbers with one space between.

    "UBERON:0000979" is "uberon 0000979", and "Proximális_epiphysis" is "proximalis epiphysis".
    """
    return " ".join("".join(one if one.isalnum() else " " for one in bare(text)).split())


def find(terms: Iterable[Term], sought: str) -> list[Term]:
    """The terms that hold every word of `sought`, best first; none if it holds no word at all.

    First those whose key, name or code it is; then where its words begin words of a name; then anywhere in a name;
    then in the definition, the source or what it belongs to. Alike, they keep their order.
    """
    phrase = plain(sought)
    if not phrase:
        return []
    ranked = [(rank, term) for term in terms if (rank := _rank(term, phrase, phrase.split())) is not None]
    return [term for _, term in sorted(ranked, key=lambda found: found[0])]


@cache
def _names(term: Term) -> tuple[str, ...]:
    return tuple(plain(one) for one in (term.key, term.name, *term.also))


@cache
def _rest(term: Term) -> str:
    return plain(f"{term.definition} {term.where} {term.source}")


def _rank(term: Term, phrase: str, words: Sequence[str]) -> int | None:
    names = _names(term)
    if phrase in names:
        return 0
    line = " " + " ".join(names)
    worst = 1
    for word in words:
        if f" {word}" in line:
            continue
        if word in line:
            worst = max(worst, 2)
            continue
        if word not in _rest(term):
            return None
        worst = 3
    return worst
