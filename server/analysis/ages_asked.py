"""What the tables of ages leave open, and how each choice is followed: the animal, the source, the scheme.

For: the options that several tables share. Not for: any figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from fieldapp.assets import wear_limits
from fieldapp.domain.assemblage.results import LeftOut, Note, Word
from fieldapp.domain.assemblage.specimens import TALLY, Specimen
from fieldapp.domain.assemblage.wear import has_ages
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.teeth import Scheme
from server.analysis.asking import Asked, Option, left_out

FEW = 10
"""Below so many a percentage is told to say little (common practice, no source)."""


# The animal


def taxa(asked: Asked) -> list[str]:
    """Animals that can be aged here, the one with most specimens that show age first; a pair before its animals."""
    know = asked.knowledge
    told = Counter(one.taxon or "" for one in asked.animals if one.fusion or one.teeth)
    held = Counter({taxon: sum(told[one] for one in _under(know, taxon)) for taxon in _aged(know)})
    found = sorted(held, key=lambda taxon: (-held[taxon], know.taxa[taxon].kind != "pair", taxon))
    return [taxon for taxon in found if held[taxon]] or found


def _aged(know: Knowledge) -> list[str]:
    """Animals, pairs among them, for which fusion ages or stages of the jaw are known. Never people."""
    schemes = {taxon for scheme in jaw_schemes(know) for taxon in scheme.taxa}
    members = {taxon: know.members(taxon) for taxon, row in know.taxa.items() if row.kind == "pair"}
    ages = {row.taxon for row in know.fusion_ages}
    aged = {taxon for taxon in know.taxa if taxon in ages or taxon in schemes}
    aged |= {pair for pair, own in members.items() if own and set(own) <= ages}
    return [taxon for taxon in know.taxa if taxon in aged and know.taxa[taxon].kind in ("species", "pair")
            and not know.is_a(taxon, "human")]  # fmt: skip


def taxon_of(asked: Asked) -> str:
    """The animal asked for; the commonest where none is, or one that there is not."""
    named = asked.options.get("taxon", "")
    return named if named in asked.knowledge.taxa else next(iter(taxa(asked)), "")


def of_taxon(specimens: Iterable[Specimen], taxon: str, know: Knowledge) -> list[Specimen]:
    """Those of an animal and everything under it."""
    wanted = _under(know, taxon)
    return [one for one in specimens if one.taxon in wanted]


def _under(know: Knowledge, taxon: str) -> frozenset[str]:
    return frozenset(one for one in know.taxa if know.is_a(one, taxon))


# The source of fusion ages


def sources(asked: Asked) -> list[str]:
    """The sources that give fusion ages of the animal: the site's choice first, those read off radiographs last. Of a
    pair its own, and those that give them of all its animals."""
    know, taxon = asked.knowledge, taxon_of(asked)
    found = list(dict.fromkeys((*know.sources_of(taxon), *_common(know, taxon))))
    usual = usual_source(know, taxon)
    return sorted(found, key=lambda one: (one != usual, radiographic(know, taxon, one)))


def _common(know: Knowledge, taxon: str) -> list[str]:
    own = know.members(taxon) if taxon in know.taxa and know.taxa[taxon].kind == "pair" else ()
    lists = [know.sources_of(one) for one in own]
    return [one for one in lists[0] if all(one in other for other in lists)] if lists else []


def usual_source(know: Knowledge, taxon: str) -> str | None:
    """The one source that the site has chosen for the animal; of a pair its own, else that of all its animals."""
    chosen = {row.taxon: row.source for row in know.fusion_ages if row.chosen}
    if taxon in chosen:
        return chosen[taxon]
    of_members = {chosen.get(one) for one in know.members(taxon)} if _common(know, taxon) else set()
    return next(iter(of_members)) if len(of_members) == 1 else None


def radiographic(know: Knowledge, taxon: str, source: str) -> bool:
    """Whether any age that the source gives of the animal was read off radiographs."""
    of = {taxon, *know.members(taxon)}
    return any(row.method == "radiographic" for row in know.fusion_ages if row.source == source and row.taxon in of)


def source_of(asked: Asked) -> str:
    """The source asked for; the usual where none is, or one that does not know the animal. "" where there is none."""
    found = sources(asked)
    named = asked.options.get("source", "")
    return named if named in found else next(iter(found), "")


def knowledge_with(asked: Asked, taxon: str, source: str) -> Knowledge:
    """Knowledge as the site has it, but for this one source for this animal."""
    know = asked.knowledge
    own = (taxon,) if source in know.sources_of(taxon) else know.members(taxon)
    site = {path: value for path, value in asked.gathered.site.items() if path != f"fusion_source/{taxon}"}
    return know.at_site(site | {f"fusion_source/{one}": source for one in own})


def source_notes(know: Knowledge, taxon: str, source: str) -> list[Note]:
    """What is to be known of the source before its ages are believed."""
    if not source:
        return [Note("ages_no_source", {"taxon": Word("taxon", taxon)})]
    notes = [Note("ages_source", {"taxon": Word("taxon", taxon), "source": source})]
    if radiographic(know, taxon, source):
        notes.append(Note("ages_radiographic"))
    if know.members(taxon):
        notes.append(Note("ages_pair", {"taxon": Word("taxon", taxon)}))
    return notes


def cited(rows: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Sources as results name them, each once, with whether it was seen."""
    return tuple(dict.fromkeys(source if seen == "-" else f"{source} ({seen})" for source, seen in rows))


def fusion_sources(know: Knowledge, taxon: str, source: str) -> tuple[str, ...]:
    """The source of fusion ages, as results name it."""
    of = {taxon, *know.members(taxon)}
    return cited((row.source, row.seen) for row in know.fusion_ages if row.source == source and row.taxon in of)


# Schemes of the jaw


def jaw_schemes(know: Knowledge) -> list[Scheme]:
    """Schemes whose stages can be told from single teeth."""
    told = {limit.scheme for limit in wear_limits()}
    return [scheme for key, scheme in know.teeth.schemes.items() if key in told]


def schemes(asked: Asked) -> list[str]:
    """Schemes of the jaw for the animal, those with ages first."""
    taxon = taxon_of(asked)
    own = [scheme for scheme in jaw_schemes(asked.knowledge) if taxon in scheme.taxa]
    return [scheme.key for scheme in sorted(own, key=lambda one: not has_ages(one))]


def scheme_of(asked: Asked) -> Scheme | None:
    """The scheme asked for; the first for the animal where none is, or one that is not for it."""
    found = schemes(asked)
    named = asked.options.get("scheme", "")
    key = named if named in found else next(iter(found), "")
    return asked.knowledge.teeth.schemes.get(key)


# What is left out


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
