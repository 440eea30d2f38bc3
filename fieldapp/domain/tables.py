"""Turns the rows of the reference tables into Knowledge, and refuses tables that contradict one another.

Takes rows, not files: `fieldapp.assets` reads them. Each table is a list of (file, line, row), a row being
{column: text}. What they hold of teeth, measurements, presence and surfaces is read in the modules of those names.
A fault is a TableFault with the table, the line and what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping

from fieldapp.domain import criteria, gallery, measures, presence, short_codes, surface, teeth_tables
from fieldapp.domain.cells import Cells, TableFault, Tables, by_key, cells_of
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
from fieldapp.domain.knowledge import Knowledge

NAMES = (
    "taxa",
    "elements",
    "element_taxon",
    "portions",
    "centres",
    "element_parts",
    "positions",
    "fusion_ages",
    "fusion_choices",
    "skeleton_counts",
    "roles",
    "words",
    "rules",
    *teeth_tables.NAMES,
    *measures.NAMES,
    *presence.NAMES,
    *surface.NAMES,
    *gallery.NAMES,
    *criteria.NAMES,
    *short_codes.NAMES,
)
"""The tables that Knowledge is made of."""

MOST_PORTIONS = 14
KINDS = ("docket", "context", "bag", "group", "sample", "tally", "transfer", "photo", "site")
"""The kinds of record that a rule may look at."""


def knowledge_from(tables: Tables) -> Knowledge:
    """Knowledge from the tables named in NAMES. Raises TableFault."""
    for name in NAMES:
        if name not in tables:
            raise TableFault(name, 0, "the table is missing")
    taxa = _taxa(tables)
    elements = _elements(tables, taxa)
    centres = _centres(tables, elements, taxa)
    portions = _portions(tables, elements, centres, taxa)
    _check_growth_lines(tables, portions, centres)
    glossary = _words(tables)
    views = frozenset(word.key for word in glossary if word.of == "view")
    return Knowledge(
        taxa=taxa,
        elements=elements,
        forms=tuple(_element_form(cells, taxa, elements) for cells in cells_of("element_taxon", tables)),
        portions=portions,
        centres=centres,
        element_parts=tuple(_element_part(cells, portions, centres) for cells in cells_of("element_parts", tables)),
        positions=_positions(tables, taxa, elements),
        fusion_ages=_fusion_ages(tables, taxa, elements, centres),
        skeleton_counts=_skeleton_counts(tables, taxa, elements),
        teeth=teeth_tables.read(tables, taxa, elements),
        measures=measures.read(tables, taxa, elements, centres, portions),
        presence=presence.read(tables, taxa),
        surface=surface.read(tables, taxa, elements),
        roles=_roles(tables),
        gallery=gallery.read(tables, taxa, elements, views),
        criteria=criteria.read(tables, elements),
        circumstances=criteria.read_circumstances(tables),
        child_lengths=criteria.read_child_lengths(tables, elements),
        glossary=glossary,
        rules=by_key("rules", tables, _rule),
        short_words=short_codes.read(tables, taxa, elements),
    )


def _taxa(tables: Tables) -> dict[str, Taxon]:
    rows = cells_of("taxa", tables)
    above = {cells.key(): cells.several("broader") for cells in rows}
    for cells in rows:
        if (cells.text("broader") == "") != (cells.key() == "unknown"):
            raise cells.fault("`unknown`, and it alone, stands above all: every other taxon has a wider group")
    lines = _lines(rows, above)

    def make(cells: Cells) -> Taxon:
        return Taxon(
            key=cells.key(),
            name=cells.text("name"),
            latin=cells.text("latin"),
            ncbi=tuple(int(one) for one in cells.several("ncbi")),
            broader=lines[cells.key()],
            parents=above[cells.key()],
            kind=cells.one_of("kind", "species", "pair", "family", "size_class", "group"),
            form=cells.key("form"),
            status=cells.one_of("status", "domestic", "wild", "either", "-"),
            antler=cells.occurs("antler"),
            horn_core=cells.occurs("horn_core"),
            tooth=cells.occurs("tooth"),
            burrows=cells.occurs("burrows"),
            infant_sized=cells.occurs("infant_sized"),
            by_hand=cells.occurs("by_hand"),
            heaviest_g=cells.number("heaviest_g"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    return by_key("taxa", tables, make)


def _lines(rows: list[Cells], above: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """{key: every wider name, nearest first, each once}. A wider name that is missing, or a circle, is a fault."""
    lines: dict[str, tuple[str, ...]] = {}
    for cells in rows:
        key = cells.key()
        for one in above[key]:
            if one not in above:
                raise cells.fault(f"`broader` names {one!r}, which is not in its table")
        line: list[str] = []
        step = list(above[key])
        while step:
            line += [one for one in dict.fromkeys(step) if one not in line]
            step = [wider for one in step for wider in above.get(one, ()) if wider not in line]
        if key in line:
            raise cells.fault(f"the wider groups of {key!r} go round in a circle")
        # What stands above another of the line comes after it, so that the nearest that two share is met first.
        lines[key] = tuple(sorted(line, key=lambda one: -len(_above_all(one, above))))
    return lines


def _above_all(key: str, above: Mapping[str, tuple[str, ...]]) -> set[str]:
    found: set[str] = set()
    step = list(above.get(key, ()))
    while step:
        found.update(step)
        step = [wider for one in step for wider in above.get(one, ()) if wider not in found]
    return found


def _elements(tables: Tables, taxa: Mapping[str, Taxon]) -> dict[str, Element]:
    rows = cells_of("elements", tables)
    lines = _lines(rows, {cells.key(): cells.several("broader") for cells in rows})

    def make(cells: Cells) -> Element:
        return Element(
            key=cells.key(),
            name=cells.text("name"),
            latin=cells.text("latin"),
            region=cells.one_of("region", "head", "trunk", "forelimb", "hindlimb", "feet", "unidentified"),
            kind=cells.one_of("kind", "long_bone", "flat", "short", "axial", "tooth", "indeterminate"),
            broader=lines[cells.key()],
            only=_all_known(cells, "only", taxa),
            not_in=_all_known(cells, "not_in", taxa),
            sided=cells.yes("sided"),
            midline=cells.yes("midline"),
            finest=cells.one_of("finest", "species", "size_class"),
            shows_sex=cells.occurs("shows_sex"),
            material=cells.one_of("material", "bone", "tooth", "antler", "horn_core", "shell"),
            uberon=cells.text("uberon"),
            uberon_label=cells.text("uberon_label"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )

    return by_key("elements", tables, make)


def _all_known(cells: Cells, column: str, taxa: Mapping[str, Taxon]) -> tuple[str, ...]:
    for taxon in cells.several(column):
        if taxon not in taxa:
            raise cells.fault(f"`{column}` names {taxon!r}, which is not in its table")
    return cells.several(column)


def _element_form(cells: Cells, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]) -> ElementForm:
    return ElementForm(
        element=cells.known("element", elements),
        taxon=cells.known("taxon", taxa),
        occurs=cells.yes("occurs"),
        form=cells.text("form"),
        name=cells.text("name"),
        uberon=cells.text("uberon"),
        finest=cells.one_of("finest", "", "species", "size_class"),
        shows_sex=cells.one_of("shows_sex", "", "yes", "no", "some"),
        note=cells.text("note"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _centres(
    tables: Tables, elements: Mapping[str, Element], taxa: Mapping[str, Taxon]
) -> dict[str, tuple[Centre, ...]]:
    found: dict[str, list[Centre]] = {key: [] for key in elements}
    for cells in cells_of("centres", tables):
        element, key = cells.known("element", elements), cells.key()
        if any(centre.key == key for centre in found[element]):
            raise cells.fault(f"{element} has the centre {key!r} twice")
        found[element].append(
            Centre(
                element=element,
                key=key,
                name=cells.text("name"),
                metaphysis=cells.text("metaphysis") or None,
                ends=cells.several("ends"),
                only=_all_known(cells, "only", taxa),
                not_in=_all_known(cells, "not_in", taxa),
                source=cells.text("source"),
                seen=cells.text("seen"),
            )
        )
    return {key: tuple(rows) for key, rows in found.items()}


def _portions(
    tables: Tables,
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
    taxa: Mapping[str, Taxon],
) -> dict[str, tuple[Portion, ...]]:
    found: dict[str, list[Portion]] = {key: [] for key in elements}
    for cells in cells_of("portions", tables):
        element, key = cells.known("element", elements), cells.key()
        taxon = cells.known("taxon", {"", *taxa})
        scope = [portion for portion in found[element] if portion.taxon == taxon]
        if any(portion.key == key for portion in scope):
            raise cells.fault(f"{element} has the portion {key!r} twice")
        if any(portion.key == key and portion.name != cells.text("name") for portion in found[element]):
            raise cells.fault(f"the portion {key!r} of {element} has another name elsewhere")
        if len(scope) == MOST_PORTIONS:
            raise cells.fault(f"{element} has more than {MOST_PORTIONS} portions")
        kind = cells.one_of("kind", "epiphysis", "metaphysis", "shaft", "part")
        centre = cells.text("centre") or None
        if centre is not None and centre not in {one.key for one in centres[element]}:
            raise cells.fault(f"`centre` names {centre!r}, which {element} does not have")
        if kind == "epiphysis" and centre is None:
            raise cells.fault(f"the epiphysis {key!r} of {element} names no fusion centre")
        found[element].append(
            Portion(
                element=element,
                taxon=taxon,
                key=key,
                step=cells.whole("step"),
                kind=kind,
                centre=centre,
                share=cells.number("share") or 0.0,
                tells_side=cells.yes("tells_side"),
                uberon=cells.text("uberon"),
                name=cells.text("name"),
                definition=cells.text("definition"),
                source=cells.text("source"),
                seen=cells.text("seen"),
            )
        )
    return {key: tuple(rows) for key, rows in found.items()}


def _check_growth_lines(
    tables: Tables, portions: Mapping[str, tuple[Portion, ...]], centres: Mapping[str, tuple[Centre, ...]]
) -> None:
    for cells in cells_of("centres", tables):
        element, metaphysis = cells.text("element"), cells.text("metaphysis")
        if metaphysis and metaphysis not in {portion.key for portion in portions[element]}:
            raise cells.fault(f"`metaphysis` names {metaphysis!r}, which is no portion of {element}")
    last = {(cells.text("element"), cells.text("taxon")): cells for cells in cells_of("portions", tables)}
    for (element, taxon), cells in last.items():
        rows = [portion for portion in portions[element] if portion.taxon == taxon]
        if abs(sum(portion.share for portion in rows) - 1) > 1e-6:
            raise cells.fault(f"the shares of {element} add up to {sum(p.share for p in rows):.2f}, not 1")
        if {portion.step for portion in rows} != set(range(1, max(p.step for p in rows) + 1)):
            raise cells.fault(f"the steps of {element} leave a gap")


def _element_part(
    cells: Cells, portions: Mapping[str, tuple[Portion, ...]], centres: Mapping[str, tuple[Centre, ...]]
) -> ElementPart:
    rows: Mapping[str, tuple[Portion | Centre, ...]] = (
        portions if cells.one_of("what", "portion", "centre") == "portion" else centres
    )
    for of, column in (("element", "key"), ("part_element", "part_key")):
        element = cells.known(of, rows)
        cells.known(column, {row.key for row in rows[element]})
    return ElementPart(
        element=cells.text("element"),
        what=cells.text("what"),
        key=cells.text("key"),
        part_element=cells.text("part_element"),
        part_key=cells.text("part_key"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )


def _positions(
    tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]
) -> dict[tuple[str, str], tuple[str, ...]]:
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for cells in cells_of("positions", tables):
        key = cells.known("element", elements), cells.known("taxon", taxa)
        if key in found:
            raise cells.fault(f"the positions of {key[0]} in {key[1]} are given twice")
        found[key] = cells.several("positions")
    return found


def _fusion_ages(
    tables: Tables,
    taxa: Mapping[str, Taxon],
    elements: Mapping[str, Element],
    centres: Mapping[str, tuple[Centre, ...]],
) -> tuple[FusionAge, ...]:
    choice = {cells.known("taxon", taxa): cells.text("chosen_source") for cells in cells_of("fusion_choices", tables)}
    found: list[FusionAge] = []
    for cells in cells_of("fusion_ages", tables):
        age = FusionAge(
            taxon=cells.known("taxon", taxa),
            element=cells.known("element", elements),
            centre=cells.key("centre"),
            sex=cells.one_of("sex", "any", "F", "M"),
            min_months=cells.number("min_months"),
            max_months=cells.number("max_months"),
            chosen=cells.yes("chosen"),
            method=cells.one_of("method", "radiographic", "not stated"),
            published_element=cells.text("published_element"),
            published_end=cells.text("published_end"),
            confidence=cells.one_of("confidence", "high", "medium", "low"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        centre = next((one for one in centres[age.element] if one.key == age.centre), None)
        if centre is None:
            raise cells.fault(f"{age.element} has no fusion centre {age.centre!r}")
        if age.published_end not in centre.ends:
            raise cells.fault(f"the centre {age.element} {age.centre} does not list the end {age.published_end!r}")
        if age.min_months is not None and age.max_months is not None and age.min_months > age.max_months:
            raise cells.fault("the age ends before it begins")
        if age.chosen != (choice.get(age.taxon) == age.source):
            raise cells.fault(f"`chosen` does not follow the source chosen for {age.taxon}")
        found.append(age)
    return tuple(found)


def _skeleton_counts(
    tables: Tables, taxa: Mapping[str, Taxon], elements: Mapping[str, Element]
) -> tuple[SkeletonCount, ...]:
    found: list[SkeletonCount] = []
    chosen: set[tuple[str, str]] = set()
    for cells in cells_of("skeleton_counts", tables):
        row = SkeletonCount(
            taxon=cells.known("taxon", taxa),
            element=cells.known("element", elements),
            count=cells.whole("count"),
            count_max=cells.whole("count_max"),
            chosen=cells.yes("chosen"),
            published_taxon=cells.text("published_taxon"),
            published_element=cells.text("published_element"),
            note=cells.text("note"),
            source=cells.text("source"),
            seen=cells.text("seen"),
        )
        if not 0 < row.count <= row.count_max:
            raise cells.fault(f"a skeleton cannot have {row.count} to {row.count_max}")
        if row.chosen:
            if (row.taxon, row.element) in chosen:
                raise cells.fault(f"two counts are chosen for {row.element} of {row.taxon}")
            chosen.add((row.taxon, row.element))
        found.append(row)
    return tuple(found)


def _roles(tables: Tables) -> dict[tuple[str, str], str]:
    return {
        (cells.key("act"), cells.key("role")): cells.one_of("allowed", "yes", "no", "policy", "zone")
        for cells in cells_of("roles", tables)
    }


def _words(tables: Tables) -> tuple[Word, ...]:
    found: dict[tuple[str, str], Word] = {}
    for cells in cells_of("words", tables):
        of, key = cells.key("list"), cells.key()
        if (of, key) in found:
            raise cells.fault(f"the list {of!r} has {key!r} twice")
        found[of, key] = Word(
            of, key, cells.text("name"), cells.text("definition"), cells.text("source"), cells.text("seen")
        )
    return tuple(found.values())


def _rule(cells: Cells) -> RuleRow:
    return RuleRow(
        key=cells.key(),
        level=cells.one_of("level", "impossible", "check", "note"),
        kinds=cells.several_of("kinds", *KINDS),
        families=cells.several("families"),
        raises=cells.one_of("raises", "", "query", "not_excluded"),
        source=cells.text("source"),
        seen=cells.text("seen"),
    )
