"""Rules about what a bone is called: element, position, taxon, certainty, sex and age. Not portions or fusion."""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, shown, term, text

_YOUNGEST = frozenset({"foetal", "newborn"})
_GROWN = frozenset({"subadult", "adult"})
_WIDE = frozenset({"vertebra", "carpal", "tarsal", "metapodial", "phalanx"})
_NUMBERED = {"cervical_vertebra": 3, "thoracic_vertebra": 1, "lumbar_vertebra": 1, "caudal_vertebra": 1, "rib": 1}
"""{element: number of its first one}: these are counted along the body."""
NOT_BORNE = frozenset({"not_bone", "shell", "eggshell"})


def element_not_in_taxon(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that the animal does not have."""
    if docket.element and docket.taxon and not know.occurs(docket.element, docket.taxon):
        yield "reading/element", docket.names()


def element_coarser_than_portions(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Full analysis, most of the bone is there, and it is only called by the wide name of several bones."""
    row = docket.element_row
    if row is not None and row.key in _WIDE and docket.reading.get("stage") == "analysis":
        own = docket.parted
        if sum(own[key].share for key in docket.most if key in own) >= 0.7:
            yield "reading/element", docket.names()


def position_not_there(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A digit, vertebra or rib of a number that the animal does not have."""
    position, row = text(docket.reading.get("position")), docket.element_row
    if position is None or row is None:
        return
    there = know.positions_of(row.key, docket.taxon)
    if there:
        if position not in there:
            yield "reading/position", docket.names(position=shown(position), there=", ".join(there))
    elif row.key in _NUMBERED and (count := know.largest_count(docket.taxon, row.key)) is not None:
        first = _NUMBERED[row.key]
        last = first - 1 + (count // 2 if row.sided else count)
        if not (position.isascii() and position.isdigit() and len(position) < 3 and first <= int(position) <= last):
            yield "reading/position", docket.names(position=shown(position), there=f"{first} - {last}")


def position_of_single_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A digit or a number for a bone of which there is one, or one on each side."""
    position, row = text(docket.reading.get("position")), docket.element_row
    if position is None or row is None or know.is_part(row.key, "vertebra") or row.material != "bone":
        return
    count = know.largest_count(docket.taxon, row.key)
    if count is not None and count <= (2 if row.sided else 1) and not know.positions_of(row.key, docket.taxon):
        yield "reading/position", docket.names(position=shown(position))


def position_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Full analysis of one of several metapodials whose upper end, which tells the digit, is there."""
    row, reading = docket.element_row, docket.reading
    if row is None or reading.get("stage") != "analysis" or not know.is_part(row.key, "metapodial"):
        return
    own = docket.parted
    if (
        docket.named
        and not text(reading.get("position"))
        and any(own[key].step == 1 for key in docket.most & own.keys())
    ):
        count = know.largest_count(docket.taxon, row.key)
        if count is not None and count > 4:
            yield "reading/position", docket.names()


def taxon_finer_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone that alone seldom tells the animal, called by a species. Pairs and kin that are not parted may pass."""
    row, taxon = docket.element_row, docket.taxon_row
    if row is None or taxon is None or taxon.kind != "species" or taxon.key == "human":
        return
    if know.finest(row.key, taxon.key) == "size_class":
        size = know.size_class(docket.taxon or "")
        # A name that was compared, or that is borne by the rest of the same animal, is more than the bone alone.
        said = docket.reading.get("certainty") == "cf" or text(docket.reading.get("compared"))
        if size is not None and not said:
            yield "reading/taxon", docket.names(size=term("taxon", size))


def taxon_coarser_than_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A well preserved end that would bear a finer name than a size class."""
    row, taxon = docket.element_row, docket.taxon_row
    if (
        row is not None
        and taxon is not None
        and taxon.kind == "size_class"
        and know.finest(row.key, taxon.key) == "species"
    ):
        portions = docket.parted
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
    # A hen in lay is told by the bone that fills the marrow of any of her long bones.
    laying = sex == "female" and know.is_a(docket.taxon or "", "bird")
    if sex and row is not None and know.shows_sex(row.key, docket.taxon) == "no" and not laying:
        yield "reading/sex", docket.names(sex=term("sex", sex))


def adult_with_unfused(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Called adult although a centre has not joined. The plates of the vertebrae join years after all others."""
    if docket.reading.get("age") == "adult" and not know.is_part(docket.element or "", "vertebra"):
        for key, state in docket.fusion.items():
            if state in ("unfused", "loose_epiphysis"):
                yield "reading/age", docket.names(centre=term(f"centre.{docket.element}", key))
                return


def sex_of_young_bone(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A sex given from the shape of a bone that had not taken its grown shape yet."""
    sex, row, reading = text(docket.reading.get("sex")), docket.element_row, docket.reading
    if (
        not sex
        or row is None
        or row.material != "bone"
        or know.shows_sex(row.key, docket.taxon) == "no"
        or row.key == "baculum"
    ):
        return
    said = [state for state in docket.fusion.values() if state in ("unfused", "fusing", "fused", "loose_epiphysis")]
    unjoined = bool(said) and all(state in ("unfused", "loose_epiphysis") for state in said)
    if unjoined or reading.get("age") in (*_YOUNGEST, "juvenile") or reading.get("texture") == "woven":
        yield "reading/sex", docket.names(sex=term("sex", sex))


def texture_against_age(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """The bone of the unborn on a grown animal, or grown bone on one that was hardly born."""
    age, texture = text(docket.reading.get("age")), text(docket.reading.get("texture"))
    if (texture == "woven" and age in _GROWN) or (texture == "compact" and age in _YOUNGEST):
        yield "reading/texture", docket.names(texture=term("bone_texture", texture), age=term("age_class", age))


def reading_missing(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A bone or tooth that nobody has read yet."""
    if docket.values.get("reading") is None and docket.material not in NOT_BORNE:
        yield "reading", {}


RULES = by_name(
    element_not_in_taxon,
    element_coarser_than_portions,
    position_not_there,
    position_of_single_bone,
    position_missing,
    taxon_finer_than_bone,
    taxon_coarser_than_bone,
    cf_without_name,
    pair_parted_without_comparison,
    sex_not_visible,
    sex_of_young_bone,
    adult_with_unfused,
    texture_against_age,
    reading_missing,
)
NEEDS = {
    "element_coarser_than_portions": "most",
    "position_not_there": "position",
    "position_of_single_bone": "position",
    "position_missing": "most",
    "sex_not_visible": "sex",
    "sex_of_young_bone": "sex",
    "adult_with_unfused": "age",
    "texture_against_age": "texture",
}
"""{rule: what it looks at, without which it is passed by}: see rules.NEEDS."""
