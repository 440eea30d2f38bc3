"""Turns the rows of the tooth tables into Teeth, and refuses tables that contradict one another or the other tables.

Not here: what is asked of them (domain.teeth).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

from fieldapp.domain.cells import Cells, Tables, by_key, cells_of
from fieldapp.domain.entries import Element, Taxon
from fieldapp.domain.teeth import COMING, JAWS, EruptionAge, Formula, Limits, Scheme, Teeth, Tooth, WearStage

NAMES: tuple[str, ...] = (
    "teeth",
    "dentitions",
    "tooth_taxa",
    "tooth_bearers",
    "tooth_eruption",
    "eruption_choices",
    "wear_schemes",
    "wear_stages",
)
"""The tables that are read here."""

T = TypeVar("T")
_KEY = re.compile(r"[A-Za-z][A-Za-z0-9_]*\Z", re.ASCII)


def read(tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> Teeth:
    """Teeth from the tables named in NAMES. Raises TableFault."""
    teeth = _teeth(tables)
    formulae = _formulae(tables, teeth)
    dentitions, crowns = _dentitions(tables, taxa, {row.dentition for row in formulae})
    eruption = _eruption(tables, taxa, teeth)
    return Teeth(
        teeth=MappingProxyType(teeth),
        formulae=formulae,
        dentitions=MappingProxyType(dentitions),
        toothless=frozenset(key for key, taxon in taxa.items() if taxon.tooth == "no"),
        crown_max_mm=MappingProxyType(crowns),
        bearers=MappingProxyType(
            {
                cells.known("element", elements): cells.one_of("jaw", "", *JAWS)
                for cells in cells_of("tooth_bearers", tables)
            }
        ),
        eruption=eruption,
        schemes=MappingProxyType(_schemes(tables, taxa, teeth)),
        _rows=MappingProxyType(_rows(formulae)),
        _successors=MappingProxyType({row.replaces: key for key, row in teeth.items() if row.replaces}),
        _ranges=MappingProxyType(_ranges(eruption, taxa)),
    )


def _teeth(tables: Tables) -> dict[str, Tooth]:
    found: dict[str, Tooth] = {}
    for cells in cells_of("teeth", tables):
        key = cells.text("key")
        if not _KEY.match(key) or key in found:
            raise cells.fault(f"`key` is {key!r}, not a new word of letters and figures")
        # A wider name stands before those under it, so no circle can arise.
        above = [cells.known("broader", found)] if cells.text("broader") else []
        found[key] = Tooth(
            key=key,
            name=cells.text("name"),
            kind=cells.one_of("kind", "incisor", "canine", "premolar", "molar", "any"),
            set=cells.one_of("set", "permanent", "deciduous", "either"),
            place=cells.whole("place") if cells.text("place") else None,
            broader=tuple(above + [wider for one in above for wider in found[one].broader]),
            replaces=cells.text("replaces") or None,
            uberon=cells.text("uberon"),
            uberon_label=cells.text("uberon_label"),
            definition=cells.text("definition"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
    for cells in cells_of("teeth", tables):
        row = found[cells.text("key")]
        milk = found.get(row.replaces) if row.replaces else None
        if row.replaces and (milk is None or (milk.set, milk.kind, milk.place) != ("deciduous", row.kind, row.place)):
            raise cells.fault(f"`replaces` names {row.replaces!r}, which is no milk tooth of the same place")
    return found


def _all_teeth(cells: Cells, column: str, teeth: Mapping[str, Tooth]) -> tuple[str, ...]:
    """Teeth by place, each once."""
    found = cells.several(column)
    for key in found:
        if key not in teeth or teeth[key].place is None or found.count(key) > 1:
            raise cells.fault(f"`{column}` names {key!r}, which is no single place, or is named twice")
    return found


def _formulae(tables: Tables, teeth: Mapping[str, Tooth]) -> tuple[Formula, ...]:
    found: dict[tuple[str, str, str], Formula] = {}
    for cells in cells_of("dentitions", tables):
        row = Formula(
            dentition=cells.key("dentition"),
            jaw=cells.one_of("jaw", *JAWS),
            set=cells.one_of("set", "permanent", "deciduous"),
            always=_all_teeth(cells, "always", teeth),
            some=_all_teeth(cells, "some", teeth),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        if any(teeth[key].set != row.set for key in (*row.always, *row.some)):
            raise cells.fault(f"a tooth of the other set is among the {row.set} ones")
        if set(row.always) & set(row.some):
            raise cells.fault("a tooth is both among those that all have and those that some have")
        if (row.dentition, row.jaw, row.set) in found:
            raise cells.fault(f"{row.dentition} has its {row.set} {row.jaw} teeth twice")
        found[row.dentition, row.jaw, row.set] = row
    for cells in cells_of("dentitions", tables):
        for jaw in JAWS:
            for of in ("permanent", "deciduous"):
                if (cells.key("dentition"), jaw, of) not in found:
                    raise cells.fault(f"{cells.key('dentition')} has no {of} {jaw} teeth")
    return tuple(found.values())


def _rows(formulae: tuple[Formula, ...]) -> dict[tuple[str, str], tuple[str, ...]]:
    """{(dentition, jaw): every tooth that may be in it}."""
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for row in formulae:
        key = (row.dentition, row.jaw)
        found[key] = (*found.get(key, ()), *row.always, *row.some)
    return found


def _dentitions(tables: Tables, taxa: Mapping[str, Taxon], known: set[str]) -> tuple[dict[str, str], dict[str, float]]:
    """({taxon: dentition}, {taxon: highest crown}), each from the nearest row above the taxon."""
    named: dict[str, str] = {}
    crowns: dict[str, float] = {}
    for cells in cells_of("tooth_taxa", tables):
        taxon = cells.known("taxon", taxa)
        if taxon in named:
            raise cells.fault(f"{taxon} has two dentitions")
        named[taxon] = cells.known("dentition", known)
        crown = cells.number("crown_max_mm")
        if crown is not None:
            crowns[taxon] = crown
    return _nearest(named, taxa), _nearest(crowns, taxa)


def _nearest(named: Mapping[str, T], taxa: Mapping[str, Taxon]) -> dict[str, T]:
    found: dict[str, T] = {}
    for key, taxon in taxa.items():
        line = [one for one in (key, *taxon.broader) if one in named]
        if line and taxon.tooth != "no":
            found[key] = named[line[0]]
    return found


def _eruption(tables: Tables, taxa: Mapping[str, Taxon], teeth: Mapping[str, Tooth]) -> tuple[EruptionAge, ...]:
    choices = {cells.known("taxon", taxa): cells for cells in cells_of("eruption_choices", tables)}
    choice = {taxon: cells.text("chosen_source") for taxon, cells in choices.items()}
    found: list[EruptionAge] = []
    for cells in cells_of("tooth_eruption", tables):
        age = EruptionAge(
            taxon=cells.known("taxon", taxa),
            teeth=_all_teeth(cells, "teeth", teeth),
            jaw=cells.one_of("jaw", "", *JAWS),
            min_months=cells.number("min_months"),
            max_months=cells.number("max_months"),
            event=cells.one_of("event", "eruption", "complete", "wear"),
            chosen=cells.yes("chosen"),
            published_taxon=cells.text("published_taxon"),
            published_tooth=cells.text("published_tooth"),
            confidence=cells.one_of("confidence", "high", "medium", "low"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        if age.min_months is not None and age.max_months is not None and age.min_months > age.max_months:
            raise cells.fault("the age ends before it begins")
        # Only what is said of a tooth's coming through can be the chosen age of it.
        usable = age.event == "eruption" and bool(age.teeth)
        if age.chosen != (usable and choice.get(age.taxon) == age.source):
            raise cells.fault(f"`chosen` does not follow the source chosen for {age.taxon}")
        found.append(age)
    for taxon, cells in choices.items():
        if not any(age.taxon == taxon and age.chosen for age in found):
            raise cells.fault(f"the source chosen for {taxon} gives no age for it")
    return tuple(found)


def _ranges(eruption: tuple[EruptionAge, ...], taxa: Mapping[str, Taxon]) -> dict[tuple[str, str, str], Limits]:
    """{(taxon, tooth, jaw): months}; the jaw "" stands for either."""
    found: dict[tuple[str, str, str], Limits] = {}
    for age in eruption:
        for tooth in age.teeth if age.chosen else ():
            for jaw in ("", age.jaw) if age.jaw else ("", *JAWS):
                _widen(found, (age.taxon, tooth, jaw), (age.min_months, age.max_months))
    for pair in (taxon.key for taxon in taxa.values() if taxon.kind == "pair"):
        own = [key for key, taxon in taxa.items() if pair in taxon.parents]
        if (pair in {key[0] for key in found}) or not own:
            continue
        for _, tooth, jaw in [key for key in found if key[0] == own[0]]:
            parts = [found.get((one, tooth, jaw)) for one in own]
            for part in parts if None not in parts else ():
                if part is not None:
                    _widen(found, (pair, tooth, jaw), part)
    return found


def _widen(found: dict[tuple[str, str, str], Limits], key: tuple[str, str, str], limits: Limits) -> None:
    low, high = found.setdefault(key, limits)
    found[key] = (
        None if low is None or limits[0] is None else min(low, limits[0]),
        None if high is None or limits[1] is None else max(high, limits[1]),
    )


def _schemes(tables: Tables, taxa: Mapping[str, Taxon], teeth: Mapping[str, Tooth]) -> dict[str, Scheme]:
    stages = _stages(tables)

    def make(cells: Cells) -> Scheme:
        for taxon in cells.several("taxa"):
            if taxon not in taxa:
                raise cells.fault(f"`taxa` names {taxon!r}, which is not in its table")
        named = frozenset(cells.several("taxa"))
        scheme = Scheme(
            key=cells.key(),
            name=cells.text("name"),
            kind=cells.one_of("kind", "tooth", "jaw"),
            taxa=frozenset(key for key, taxon in taxa.items() if named & {key, *taxon.broader}),
            wider=frozenset(wider for one in named for wider in taxa[one].broader),
            teeth=_all_teeth(cells, "teeth", teeth),
            jaw=cells.one_of("jaw", *JAWS),
            comparable=_all_teeth(cells, "comparable", teeth),
            code=cells.one_of("code", "list", "number_letter"),
            stages=MappingProxyType(stages.get(cells.key(), {})),
            published_scheme=cells.text("published_scheme"),
            published_stages=cells.several("published_stages"),
            definition=cells.text("definition"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        if not named or (scheme.kind == "tooth") != bool(scheme.teeth):
            raise cells.fault("a scheme is for some animal, and one for single teeth names them")
        if not set(scheme.comparable) <= set(scheme.teeth):
            raise cells.fault("`comparable` names a tooth that the scheme is not for")
        if (scheme.code == "list") != bool(scheme.stages):
            raise cells.fault("the stages of a scheme stand in wear_stages, or are a number and a letter")
        if any((stage.kind == "jaw") != (scheme.kind == "jaw") for stage in scheme.stages.values()):
            raise cells.fault("a stage of the jaw is no stage of a tooth")
        return scheme

    found = by_key("wear_schemes", tables, make)
    for cells in cells_of("wear_stages", tables):
        cells.known("scheme", found)
    return found


def _stages(tables: Tables) -> dict[str, dict[str, WearStage]]:
    found: dict[str, dict[str, WearStage]] = {}
    for cells in cells_of("wear_stages", tables):
        row = WearStage(
            scheme=cells.key("scheme"),
            key=cells.text("stage"),
            kind=cells.one_of("kind", "eruption", "wear", "jaw"),
            step=cells.whole("step"),
            score_min=cells.whole("score_min") if cells.text("score_min") else None,
            score_max=cells.whole("score_max") if cells.text("score_max") else None,
            state=cells.one_of("state", "", *COMING),
            min_months=cells.number("min_months"),
            max_months=cells.number("max_months"),
            definition=cells.text("definition"),
            published_scheme=cells.text("published_scheme"),
            published_stage=cells.text("published_stage"),
            confidence=cells.one_of("confidence", "high", "medium", "low"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        own = found.setdefault(row.scheme, {})
        if not row.key or row.key in own or row.step != len(own) + 1:
            raise cells.fault("a stage has a name of its own, and the steps of a scheme leave no gap")
        if row.min_months is not None and row.max_months is not None and row.min_months > row.max_months:
            raise cells.fault("the age ends before it begins")
        own[row.key] = row
    return found
