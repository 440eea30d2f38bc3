"""What the project knows of skeletons, as plain values: taxa, elements, portions, centres, ages, counts, words.

The values come from the tables in assets/reference; `fieldapp.assets` reads and checks them. Nothing is measured,
judged or drawn here. Every helper takes any value and answers for a key it does not know: "" or nothing, never
an error, because records keep words from newer vocabularies.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, TypeAlias

from fieldapp.domain import human
from fieldapp.domain.criteria import Circumstance, Criterion
from fieldapp.domain.entries import (
    Centre,
    Element,
    ElementForm,
    ElementPart,
    FusionAge,
    Portion,
    RuleRow,
    SkeletonCount,
    Taxon,
    Word,
)
from fieldapp.domain.gallery import ANY, Gallery, PlateRow
from fieldapp.domain.measures import Measures
from fieldapp.domain.naming import Naming, naming
from fieldapp.domain.presence import Presence, Span, own_span
from fieldapp.domain.surface import Surface
from fieldapp.domain.teeth import Teeth

__all__ = [
    "Centre",
    "Element",
    "ElementForm",
    "ElementPart",
    "FusionAge",
    "Knowledge",
    "Portion",
    "RuleRow",
    "SkeletonCount",
    "Taxon",
    "Word",
]


@dataclass(frozen=True)
class Knowledge:
    """All tables together, by key, with the questions asked of them most."""

    taxa: Mapping[str, Taxon]
    elements: Mapping[str, Element]
    forms: tuple[ElementForm, ...]
    portions: Mapping[str, tuple[Portion, ...]]
    centres: Mapping[str, tuple[Centre, ...]]
    element_parts: tuple[ElementPart, ...]
    positions: Mapping[tuple[str, str], tuple[str, ...]]
    fusion_ages: tuple[FusionAge, ...]
    skeleton_counts: tuple[SkeletonCount, ...]
    roles: Mapping[tuple[str, str], str]
    teeth: Teeth
    measures: Measures
    presence: Presence
    surface: Surface
    gallery: Gallery
    criteria: Mapping[str, Criterion]
    circumstances: Mapping[str, Circumstance]
    child_lengths: Mapping[str, tuple[float, float]]
    glossary: tuple[Word, ...]
    rules: Mapping[str, RuleRow]
    short_words: Mapping[str, tuple[str, str]]

    # Looked up for every record that is checked, so worked out once.
    words: Mapping[str, tuple[str, ...]] = field(init=False, repr=False)
    names: Naming = field(init=False, repr=False)
    portion_keys: Mapping[str, Mapping[str, Portion]] = field(init=False, repr=False)
    centre_keys: Mapping[str, Mapping[str, Centre]] = field(init=False, repr=False)
    _word_sets: Mapping[str, frozenset[str]] = field(init=False, repr=False)
    _lines: Mapping[str, frozenset[str]] = field(init=False, repr=False)
    _under: Mapping[str, frozenset[str]] = field(init=False, repr=False)
    _members: Mapping[str, tuple[str, ...]] = field(init=False, repr=False)
    _ranges: Mapping[tuple[str, str, str], tuple[float | None, float | None]] = field(init=False, repr=False)
    _counts: Mapping[tuple[str, str], tuple[int, int]] = field(init=False, repr=False)
    _largest: Mapping[tuple[str, str], int] = field(init=False, repr=False)
    _places: Mapping[tuple[str, str], tuple[str, str]] = field(init=False, repr=False)
    _forms: Mapping[tuple[str, str], ElementForm] = field(init=False, repr=False)
    _centres_in: Mapping[tuple[str, str], tuple[Centre, ...]] = field(init=False, repr=False)
    _scopes: Mapping[str, Mapping[str, Mapping[str, Portion]]] = field(init=False, repr=False)
    _epiphyses: dict[tuple[str, str, str], frozenset[str]] = field(init=False, repr=False, compare=False)
    _sites: dict[_Choices, Knowledge] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_sites", {_NO_CHOICES: self})
        object.__setattr__(self, "_epiphyses", {})
        object.__setattr__(self, "names", naming(self.taxa, self.elements, self.criteria))
        lines = {key: frozenset((key, *taxon.broader)) for key, taxon in self.taxa.items()}
        members: dict[str, list[str]] = {}
        for key, taxon in self.taxa.items():
            for parent in taxon.parents:
                members.setdefault(parent, []).append(key)
        words: dict[str, tuple[str, ...]] = {}
        for word in self.glossary:
            words[word.of] = (*words.get(word.of, ()), word.key)
        self._set("words", words)
        self._set("_word_sets", {of: frozenset(found) for of, found in words.items()})
        # Of one key in several partings, the first stands for all: they mean the same place.
        self._set("portion_keys", {e: {p.key: p for p in reversed(rows)} for e, rows in self.portions.items()})
        self._set("_scopes", {element: _by_scope(rows) for element, rows in self.portions.items()})
        self._set("centre_keys", {e: {c.key: c for c in rows} for e, rows in self.centres.items()})
        self._set("_lines", lines)
        under: dict[str, set[str]] = {key: set() for key in self.taxa}
        for key, line in lines.items():
            for wider in line:
                under[wider].add(key)
        self._set("_under", {key: frozenset(found) for key, found in under.items()})
        self._set("_members", {key: tuple(found) for key, found in members.items()})
        self._set("_forms", self._nearest_forms())
        self._set("_ranges", self._chosen_ranges())
        self._set("_counts", self._chosen_counts())
        self._set("_largest", self._largest_counts())
        places = (row for row in self.element_parts if row.what == "portion")
        self._set("_places", {(row.element, row.key): (row.part_element, row.part_key) for row in places})
        self._set(
            "_centres_in",
            {
                (element, taxon): found
                for element, rows in self.centres.items()
                for taxon in ("", *self.taxa)
                if (found := tuple(c for c in rows if self._has(taxon, c)))
            },
        )

    def _set(self, name: str, value: Mapping[Any, Any]) -> None:
        object.__setattr__(self, name, MappingProxyType(value))

    def _has(self, taxon: str, centre: Centre) -> bool:
        # An element is asked for the centres of the parting it is shown in: a bird's shin has no epiphysis at the knee,
        # and where the animal is not known the usual parting has no tarsal cap. Some centres have no portion anywhere.
        own = {portion.centre for portion in self.portion_map(centre.element, taxon).values()}
        if centre.key not in own and any(one.centre == centre.key for one in self.portions.get(centre.element, ())):
            return False
        if taxon not in self.taxa:
            return True
        # A wide group has a centre if any animal in it may have it.
        if centre.only and not any(self.share(taxon, one) for one in centre.only):
            return False
        return not any(self.is_a(taxon, one) for one in centre.not_in)

    def _chosen_ranges(self) -> dict[tuple[str, str, str], tuple[float | None, float | None]]:
        found: dict[tuple[str, str, str], tuple[float | None, float | None]] = {}
        for row in self.fusion_ages:
            if row.chosen:
                key = (row.taxon, row.element, row.centre)
                limits = (row.min_months, row.max_months)
                found[key] = _span(found[key], limits) if key in found else limits
        chosen = {row.taxon: row.source for row in self.fusion_ages if row.chosen}
        for pair in (taxon for taxon in self.taxa.values() if taxon.kind == "pair"):
            own = self._members.get(pair.key, ())
            if len({chosen.get(one) for one in own}) > 1:
                continue  # One figure has one source: ages of two are not spanned.
            for element, centre in {key[1:] for key in found if key[0] in own}:
                parts = [found.get((one, element, centre)) for one in own]
                if all(part is not None for part in parts):
                    limits = parts[0] or (None, None)
                    for part in parts[1:]:
                        limits = _span(limits, part or (None, None))
                    found.setdefault((pair.key, element, centre), limits)
        # Bones grown together join as each does by itself, and every vertebra as vertebrae do.
        wider = [
            (row.part_element, row.part_key, row.element, row.key) for row in self.element_parts if row.what == "centre"
        ]
        for element, centres in self.centres.items():
            wider += [(wide, one.key, element, one.key) for wide in self.elements[element].broader for one in centres]
        for bone, own_centre, element, centre in wider:
            for taxon in self.taxa:
                if (taxon, bone, own_centre) in found:
                    found.setdefault((taxon, element, centre), found[taxon, bone, own_centre])
        return found

    def _chosen_counts(self) -> dict[tuple[str, str], tuple[int, int]]:
        usual: dict[tuple[str, str], int] = {}
        most: dict[tuple[str, str], int] = {}
        for row in self.skeleton_counts:
            key = (row.taxon, row.element)
            most[key] = max(most.get(key, 0), row.count_max)
            if row.chosen:
                usual[key] = row.count
        for pair in (taxon for taxon in self.taxa.values() if taxon.kind == "pair"):
            own = self._members.get(pair.key, ())
            for element in self.elements:
                counts = {usual.get((one, element)) for one in own}
                if own and len(counts) == 1 and None not in counts:
                    key = (pair.key, element)
                    usual.setdefault(key, usual[own[0], element])
                    most.setdefault(key, max(most[one, element] for one in own))
        found = {key: (count, max(count, most[key])) for key, count in usual.items()}
        # An animal without a count of its own has that of the nearest group that has one.
        for taxon, animal in self.taxa.items():
            for element in self.elements:
                nearest = next((found[one, element] for one in animal.broader if (one, element) in found), None)
                if nearest is not None and self.occurs(element, taxon):
                    found.setdefault((taxon, element), nearest)
        return found

    def _largest_counts(self) -> dict[tuple[str, str], int]:
        found: dict[tuple[str, str], int] = {}
        for (taxon, element), (_, most) in self._counts.items():
            for one in ("", taxon, *self.taxa[taxon].broader):
                found[one, element] = max(most, found.get((one, element), 0))
        return found

    def _nearest_forms(self) -> dict[tuple[str, str], ElementForm]:
        named = {(form.element, form.taxon): form for form in self.forms}
        found: dict[tuple[str, str], ElementForm] = {}
        for key, taxon in self.taxa.items():
            for element in self.elements:
                line = (named.get((element, one)) for one in (key, *taxon.broader))
                form = next((one for one in line if one is not None), None)
                if form is not None:
                    found[element, key] = form
        return found

    # Taxa

    def is_a(self, taxon: str, broader: str) -> bool:
        """Whether `taxon` is `broader` or lies under it. False for a key that is not known."""
        return broader in self._lines.get(taxon, ())

    def may_be_human(self, taxon: object) -> bool:
        """Whether it names a human, or is the name that leaves human open."""
        return bool(self.human_answer(taxon))

    def human_answer(self, taxon: object) -> str:
        """What the name of an animal says of the human question by itself: a query, not excluded, or ""."""
        if not isinstance(taxon, str):
            return ""
        return human.QUERY if self.is_a(taxon, "human") else human.NOT_EXCLUDED if taxon == "mammal_or_human" else ""

    def common(self, one: str, other: str) -> str | None:
        """The narrowest group that holds both; None if either is not known."""
        if one not in self.taxa or other not in self.taxa:
            return None
        line = self._lines[other]
        return next((key for key in (one, *self.taxa[one].broader) if key in line), None)

    def share(self, one: str, other: str) -> bool:
        """Whether an animal can be both: deer and large mammal, since a red deer is both."""
        return not self._under.get(one, frozenset()).isdisjoint(self._under.get(other, ()))

    def members(self, taxon: str) -> tuple[str, ...]:
        """The taxa directly under `taxon`."""
        return self._members.get(taxon, ())

    def size_class(self, taxon: str) -> str | None:
        """The size class of `taxon`, or None where it has none."""
        found = self.taxa.get(taxon)
        line = (found.key, *found.broader) if found else ()
        return next((key for key in line if self.taxa[key].kind == "size_class"), None)

    # Elements

    def form_of(self, element: str, taxon: str) -> ElementForm | None:
        """How the element differs in the taxon, or None if it is the usual bone."""
        return self._forms.get((element, taxon))

    def finest(self, element: str, taxon: str | None) -> str:
        """The finest name that the bare element usually allows in the taxon: "species", "size_class", "" if unknown."""
        form, row = self._forms.get((element, taxon or "")), self.elements.get(element)
        return (form.finest if form else "") or (row.finest if row else "")

    def shows_sex(self, element: str, taxon: str | None) -> str:
        """Whether sex can be seen on the element in the taxon: "yes", "no", "some", "" if unknown."""
        form, row = self._forms.get((element, taxon or "")), self.elements.get(element)
        return (form.shows_sex if form else "") or (row.shows_sex if row else "")

    def occurs(self, element: str, taxon: str) -> bool:
        """Whether the taxon can have the element; True where nothing is known against it."""
        form = self._forms.get((element, taxon))
        if form is not None:
            return form.occurs
        row = self.elements.get(element)
        if row is None or taxon not in self.taxa:
            return True
        if row.only and not any(self.share(taxon, one) for one in row.only):
            return False
        return not any(self.is_a(taxon, one) for one in row.not_in)

    def is_part(self, element: str, broader: str) -> bool:
        """Whether `element` is `broader` or lies under it (humerus under long_bone)."""
        row = self.elements.get(element)
        return row is not None and (element == broader or broader in row.broader)

    def place(self, element: str, portion: str) -> tuple[str, str]:
        """(element, portion) that a portion stands for once bones grown together are taken apart."""
        return self._places.get((element, portion), (element, portion))

    def positions_of(self, element: str, taxon: str | None) -> tuple[str, ...]:
        """The digits ("3", "3+4", "lateral") on which the animal has the element; () where nothing is known."""
        line = (taxon, *self.taxa[taxon].broader) if taxon is not None and taxon in self.taxa else ()
        return next((self.positions[element, one] for one in line if (element, one) in self.positions), ())

    def portion_map(self, element: str, taxon: str | None = None) -> Mapping[str, Portion]:
        """{key: portion} of an element as it is parted in the taxon, in the order of the table.

        A bird's tibia is not parted like a calf's. Where the taxon is not known the usual parting holds.
        """
        scopes = self._scopes.get(element)
        if not scopes:
            return _NO_PORTIONS
        if len(scopes) > 1 and taxon is not None and taxon in self.taxa:
            for one in (taxon, *self.taxa[taxon].broader):
                if one in scopes:
                    return scopes[one]
        return scopes.get("") or next(iter(scopes.values()))

    def portions_of(self, element: str, taxon: str | None = None) -> tuple[Portion, ...]:
        """The portions of `portion_map`; none for an indeterminate or unknown element."""
        return tuple(self.portion_map(element, taxon).values())

    def views_of(self, element: str, taxon: str | None = None) -> tuple[PlateRow, ...]:
        """The plates to show for an element of a taxon, the first view first; () where none is drawn.

        Those of the taxon's own form, or of the nearest form that parts the element alike: then it is schematic,
        which the row's form tells.
        """
        known = self.taxa.get(taxon) if taxon is not None else None
        wanted = self.portion_map(element, taxon).keys()
        for views in self.gallery.candidates(known.form if known else ANY, element) if wanted else ():
            if self.portion_map(element, views[0].after).keys() == wanted:
                return views
        return ()

    def centres_of(self, element: str, taxon: str | None = None) -> tuple[Centre, ...]:
        """The fusion centres of an element as it is parted in the taxon; in the usual parting if that is not known."""
        known = taxon if taxon is not None and taxon in self.taxa else ""
        return self._centres_in.get((element, known), ())

    def epiphysis(self, element: str, centre: str, taxon: str | None = None) -> tuple[Portion, ...]:
        """The portions that belong to a centre, as the element is parted in the taxon."""
        return tuple(portion for portion in self.portions_of(element, taxon) if portion.centre == centre)

    def epiphysis_keys(self, element: str, centre: str, taxon: str | None = None) -> frozenset[str]:
        """The keys of `epiphysis`. The rules ask for them again and again: worked out once for what the tables know."""
        known = (element, centre, taxon if taxon is not None and taxon in self.taxa else "")
        found = self._epiphyses.get(known)
        if found is None:
            found = frozenset(portion.key for portion in self.epiphysis(element, centre, taxon))
            if found:  # what is not in the tables is not kept: a record may hold any word
                self._epiphyses[known] = found
        return found

    def count(self, taxon: str, element: str) -> int | None:
        """How many a skeleton has after the chosen source, both sides; None where no source says.

        What is true of a whole group is true of its animals, unless they have a count of their own.
        """
        found = self._counts.get((taxon, element))
        return found[0] if found else None

    def count_max(self, taxon: str, element: str) -> int | None:
        """The largest number any of the sources gives."""
        found = self._counts.get((taxon, element))
        return found[1] if found else None

    def largest_count(self, taxon: str | None, element: str) -> int | None:
        """The largest number that any animal under `taxon` (any at all, if it is not known) can have."""
        return self._largest.get((taxon if taxon is not None and taxon in self.taxa else "", element))

    # Ages

    def fusion_range(self, taxon: str, element: str, centre: str) -> tuple[float | None, float | None] | None:
        """Months (from, to) in which the centre fuses, after the source chosen for the taxon.

        Both sexes together. A limit of None is open. None altogether where the chosen source is silent; other
        sources are never filled in. An unparted pair has the span of its animals, if each has an age.
        """
        return self._ranges.get((taxon, element, centre))

    # A site's own choices

    def at_site(self, site: object) -> Knowledge:
        """Knowledge as one site has it, given its record's values {path: value}, or anything, which chooses nothing.

        fusion_source/<taxon>  the one source that its fusion ages are taken from
        plausible/<taxon>      {"from": year, "to": year} in which it is to be expected there, or true: always

        A choice that names a taxon or a source not in the tables is left aside (rule `choice_unknown`). Only what
        differs is made anew, once; where nothing differs this same Knowledge is given back.
        """
        choices = self._choices(site)
        base = self._sites[_NO_CHOICES]
        found = self._sites.get(choices)
        if found is None:
            sources, own = dict(choices[0]), dict(choices[1])
            found = copy(base)
            ages = tuple(
                replace(row, chosen=row.source == sources[row.taxon]) if row.taxon in sources else row
                for row in base.fusion_ages
            )
            object.__setattr__(found, "fusion_ages", ages)
            object.__setattr__(found, "presence", base.presence.with_own(own))
            found._set("_ranges", found._chosen_ranges())
            for old in list(self._sites)[1:] if len(self._sites) > _SITES_KEPT else ():
                self._sites.pop(old, None)
            self._sites[choices] = found
        return found

    def _choices(self, site: object) -> _Choices:
        """The choices of a site's record that can be followed."""
        sources: dict[str, str] = {}
        own: dict[str, Span] = {}
        for path, value in site.items() if isinstance(site, Mapping) else ():
            what, _, taxon = path.partition("/") if isinstance(path, str) else ("", "", "")
            if what == "fusion_source" and isinstance(value, str) and value in self.sources_of(taxon):
                sources[taxon] = value
            elif what == "plausible" and taxon in self.taxa and (span := own_span(value)) is not None:
                own[taxon] = span
        return tuple(sorted(sources.items())), tuple(sorted(own.items()))

    def sources_of(self, taxon: str) -> tuple[str, ...]:
        """The sources that give fusion ages of a taxon, in the order of the table."""
        return tuple(dict.fromkeys(row.source for row in self.fusion_ages if row.taxon == taxon))

    # People and words

    def allowed(self, act: str, role: str) -> str:
        """Whether a role may do an act: "yes", "no", "policy" or "zone"; "no" for anything not in the table."""
        return self.roles.get((act, role), "no")

    def is_word(self, of: str, word: object) -> bool:
        """Whether `word` is in the closed list named `of`."""
        return isinstance(word, str) and word in self._word_sets.get(of, ())


_Choices: TypeAlias = tuple[tuple[tuple[str, str], ...], tuple[tuple[str, Span], ...]]
_NO_CHOICES: _Choices = ((), ())
_SITES_KEPT = 8

_NO_PORTIONS: Mapping[str, Portion] = MappingProxyType({})


def _by_scope(portions: tuple[Portion, ...]) -> dict[str, dict[str, Portion]]:
    found: dict[str, dict[str, Portion]] = {}
    for portion in portions:
        found.setdefault(portion.taxon, {})[portion.key] = portion
    return found


def _span(
    one: tuple[float | None, float | None], other: tuple[float | None, float | None]
) -> tuple[float | None, float | None]:
    """The range that holds both; an open limit stays open."""
    low = None if one[0] is None or other[0] is None else min(one[0], other[0])
    high = None if one[1] is None or other[1] is None else max(one[1], other[1])
    return low, high
