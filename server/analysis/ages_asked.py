"""What the tables of ages leave open, and how each choice is followed: the animal, the source, the scheme.

For: the options that several tables share. Not for: any figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fieldapp.assets import wear_limits
from fieldapp.domain.assemblage.results import LeftOut, Note, Word
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.assemblage.wear import has_ages
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.teeth import Scheme
from server.analysis.asking import Asked, Option, left_out
from server.analysis.cells import cited

FEW = 10
"""Below so many a percentage is told to say little (common practice, no source)."""


@dataclass(frozen=True)
class Chosen:
    """What was chosen for one question.

    source     of fusion ages, "" where there is none for the animal;  scheme  of jaw stages, likewise None
    knowledge  as the site has it, but for this one source for this animal
    """

    taxon: str
    source: str
    scheme: Scheme | None
    knowledge: Knowledge

    @property
    def word(self) -> Word:
        """The animal in words."""
        return Word("taxon", self.taxon)

    def own(self, specimens: Iterable[Specimen]) -> list[Specimen]:
        """Those of the animal and everything under it."""
        wanted = _under(self.knowledge, self.taxon)
        return [one for one in specimens if one.taxon in wanted]

    def source_notes(self) -> list[Note]:
        """What is to be known of the source before its ages are believed."""
        if not self.source:
            return [Note("ages_no_source", {"taxon": self.word})]
        notes = [Note("ages_source", {"taxon": self.word, "source": self.source})]
        if radiographic(self.knowledge, self.taxon, self.source):
            notes.append(Note("ages_radiographic"))
        if self.knowledge.members(self.taxon):
            notes.append(Note("ages_pair", {"taxon": self.word}))
        return notes

    def fusion_sources(self) -> tuple[str, ...]:
        """The source of fusion ages, as results name it."""
        know, of = self.knowledge, {self.taxon, *self.knowledge.members(self.taxon)}
        rows = (row for row in know.fusion_ages if row.source == self.source and row.taxon in of)
        return cited((row.source, row.seen) for row in rows)

    def eruption_sources(self) -> tuple[tuple[str, str], ...]:
        """(source, seen) of the ages at which teeth come through."""
        of = {self.taxon, *self.knowledge.members(self.taxon)}
        rows = (row for row in self.knowledge.teeth.eruption if row.chosen and row.taxon in of)
        return tuple(dict.fromkeys((row.source, row.seen) for row in rows))


def chosen(asked: Asked) -> Chosen:
    """What was chosen, each with the usual where nothing was, or what cannot be."""
    know, taxon = asked.knowledge, taxon_of(asked)
    source = _among(sources_for(know, taxon), asked.options.get("source"))
    scheme = _among(schemes_for(know, taxon), asked.options.get("scheme"))
    if source and source != usual_source(know, taxon):
        members = (taxon,) if source in know.sources_of(taxon) else know.members(taxon)
        site = {path: value for path, value in asked.gathered.site.items() if path != f"fusion_source/{taxon}"}
        know = know.at_site(site | {f"fusion_source/{one}": source for one in members})
    return Chosen(taxon, source, know.teeth.schemes.get(scheme), know)


def _among(choices: list[str], named: str | None) -> str:
    return named if named in choices else next(iter(choices), "")


# The animal


def taxa(asked: Asked) -> list[str]:
    """Animals that can be aged here, the one with most specimens that show age first; a pair before its animals, and
    what is wider than either (cattle or aurochs), for which no source has ages of fusion, after them."""
    know = asked.knowledge
    told = Counter(one.taxon or "" for one in asked.animals if one.fusion or one.teeth)
    held = {taxon: sum(told[one] for one in _under(know, taxon)) for taxon in _aged(know)}
    kinds = {taxon: ("pair", "species").index(kind) if (kind := know.taxa[taxon].kind) in ("pair", "species") else 2
             for taxon in held}  # fmt: skip
    found = sorted(held, key=lambda taxon: (kinds[taxon] == 2, -held[taxon], kinds[taxon], taxon))
    return [taxon for taxon in found if held[taxon]] or found


def taxon_of(asked: Asked) -> str:
    """The animal asked for; the commonest where none is, or one that there is not."""
    named = asked.options.get("taxon", "")
    return named if named in asked.knowledge.taxa else next(iter(taxa(asked)), "")


def _aged(know: Knowledge) -> list[str]:
    """Animals, pairs among them, for which fusion ages or stages of the jaw are known. Never people."""
    aged = {row.taxon for row in know.fusion_ages} | {one for scheme in jaw_schemes(know) for one in scheme.taxa}
    aged |= {taxon for taxon in know.taxa if _common(know, taxon)}
    return [taxon for taxon in know.taxa if taxon in aged and not know.is_a(taxon, "human")]


def _under(know: Knowledge, taxon: str) -> frozenset[str]:
    return frozenset(one for one in know.taxa if know.is_a(one, taxon))


# The source of fusion ages


def sources(asked: Asked) -> list[str]:
    """The sources that give fusion ages of the animal asked for."""
    return sources_for(asked.knowledge, taxon_of(asked))


def sources_for(know: Knowledge, taxon: str) -> list[str]:
    """Of an animal: the site's choice first, those read off radiographs last. Of a pair its own, and those that give
    them of all its animals."""
    found = list(dict.fromkeys((*know.sources_of(taxon), *_common(know, taxon))))
    usual = usual_source(know, taxon)
    return sorted(found, key=lambda one: (one != usual, radiographic(know, taxon, one)))


def _common(know: Knowledge, taxon: str) -> list[str]:
    own = know.members(taxon) if taxon in know.taxa and know.taxa[taxon].kind == "pair" else ()
    lists = [know.sources_of(one) for one in own]
    return [one for one in lists[0] if all(one in other for other in lists)] if lists else []


def usual_source(know: Knowledge, taxon: str) -> str | None:
    """The one source that the site has chosen for the animal; of a pair its own, else that of all its animals."""
    by_taxon = {row.taxon: row.source for row in know.fusion_ages if row.chosen}
    if taxon in by_taxon:
        return by_taxon[taxon]
    of_members = {by_taxon.get(one) for one in know.members(taxon)} if _common(know, taxon) else set()
    return next(iter(of_members)) if len(of_members) == 1 else None


def radiographic(know: Knowledge, taxon: str, source: str) -> bool:
    """Whether any age that the source gives of the animal was read off radiographs."""
    of = {taxon, *know.members(taxon)}
    return any(row.method == "radiographic" for row in know.fusion_ages if row.source == source and row.taxon in of)


# Schemes of the jaw


def jaw_schemes(know: Knowledge) -> list[Scheme]:
    """Schemes whose stages can be told from single teeth."""
    told = {limit.scheme for limit in wear_limits()}
    return [scheme for key, scheme in know.teeth.schemes.items() if key in told]


def schemes(asked: Asked) -> list[str]:
    """Schemes of the jaw for the animal asked for."""
    return schemes_for(asked.knowledge, taxon_of(asked))


def schemes_for(know: Knowledge, taxon: str) -> list[str]:
    """Of an animal, those with ages first."""
    own = [scheme for scheme in jaw_schemes(know) if taxon in scheme.taxa]
    return [scheme.key for scheme in sorted(own, key=lambda one: not has_ages(one))]


# What results say beside their figures


def outs(*told: tuple[str, Iterable[Specimen]]) -> tuple[LeftOut, ...]:
    """(why, which) as results name them, without reasons that nothing is left out for."""
    found = (left_out(why, specimens) for why, specimens in told)
    return tuple(one for one in found if one is not None)


def tallies(specimens: Iterable[Specimen]) -> list[Specimen]:
    """What was counted and not read singly: nothing of it can be aged."""
    return [one for one in specimens if one.kind == TALLY]


TAXON = Option("taxon", taxa, "taxon")
SOURCE = Option("source", sources)
SCHEME = Option("scheme", schemes, "wear_scheme")
