"""Random specimens for tests: few words, so that they fall together, and every sort of joining, doubt and oddity."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from fieldapp.assets import knowledge
from fieldapp.domain.assemblage.specimens import TALLY, Specimen, Tooth

TAXA = ("sheep", "goat", "sheep_goat", "cattle", "pig", "red_deer", "cervid", "bovid", "medium_mammal", "gryphon", None)
ELEMENTS = (
    "humerus", "tibia", "metacarpal", "metatarsal", "metapodial", "radio_ulna", "radius", "ulna", "mandible", "skull",
    "phalanx_1", "loose_tooth", "antler", "rib", "vertebra", "long_bone", "wing", None,
)  # fmt: skip
STATES = ("unfused", "loose_epiphysis", "fusing", "fused")


@st.composite
def teeth(draw):
    return Tooth(
        draw(st.sampled_from(("P4", "dP4", "M1", "M2", "M1_2", "M3", "dP3", "M", "cheek", "fang"))),
        draw(st.sampled_from((None, "lower", "upper", "both"))),
        draw(st.sampled_from((None, "left", "right"))),
        seat=draw(st.sampled_from((None, "in_jaw", "loose", "socket_only"))),
        stage=draw(st.sampled_from((None, "in_wear", "full_unworn", "crypt_open", "shed"))),
    )


@st.composite
def specimens(draw, taxa=TAXA, elements=ELEMENTS):
    element = draw(st.sampled_from(elements))
    known = knowledge()
    portions = [*sorted(known.portion_map(element or ""))[:5], "nowhere"]
    centres = [*sorted(one.key for one in known.centres_of(element or ""))[:2], "nothing"]
    id = draw(st.sampled_from("abcdefghijklmnopqrstuvwxyz"))
    bearing = element in ("mandible", "skull", "loose_tooth", "radio_ulna")
    return Specimen(
        id,
        kind=TALLY if draw(st.integers(0, 20)) == 0 else "docket",
        sure=True,
        count=draw(st.sampled_from((1, 1, 1, 2, 5))),
        element=element,
        taxon=draw(st.sampled_from(taxa)),
        side=draw(st.sampled_from(("left", "right", "left", "right", None, "midline", "unsided"))),
        material=draw(st.sampled_from((None, "bone", "bone", "shell", "not_bone"))),
        portions=draw(
            st.dictionaries(st.sampled_from(portions), st.sampled_from(("most", "part", "absent")), max_size=4)
        ),
        fusion=draw(st.dictionaries(st.sampled_from(centres), st.sampled_from(STATES), max_size=2)),
        teeth=tuple(draw(st.lists(teeth(), max_size=3))) if bearing else (),
        surface={"antler_base": draw(st.sampled_from(("shed", "attached")))} if element == "antler" else {},
        bone=draw(st.sampled_from(("", "", "", "", "one", "other"))),
        fitted=draw(st.sampled_from(("", "", "", "fits", "fits too"))),
        group=draw(st.sampled_from(("", "", "", "g"))),
        context=draw(st.sampled_from("xyz")),
        apart="impossible" if draw(st.integers(0, 30)) == 0 else "",
    )


@st.composite
def assemblages(draw, taxa=TAXA, elements=ELEMENTS, doubt=True, max_size=14):
    """Specimens, where those of one id are readings of one docket: not sure, or at most the first of them."""
    found = draw(st.lists(specimens(taxa, elements), max_size=max_size))
    by_id: dict[str, list[Specimen]] = {}
    for one in found:
        by_id.setdefault(one.id, []).append(one)
    out = []
    for of_one in by_id.values():
        if not doubt:
            out.append(of_one[0])
        elif len(of_one) == 1:
            gone = not draw(st.integers(0, 5))
            out.append(replace(of_one[0], sure=False, readings=0) if gone else of_one[0])
        else:
            first = of_one[0]
            alike = [_same_ties(one, first) for one in of_one]
            sure = [first if draw(st.booleans()) else _unsure(first), *map(_unsure, alike[1:])]
            out += [replace(one, readings=len(sure)) for one in sure]
    return out


SHEEP_AND_GOAT = {"taxa": ("sheep", "goat", "sheep_goat"), "elements": ("humerus", "tibia", "metacarpal", "metapodial")}
"""Few enough that their pieces fall together."""


def mixed(doubt=True, most=14):
    """Anything, or much of little."""
    return st.one_of(assemblages(doubt=doubt, max_size=most), assemblages(**SHEEP_AND_GOAT, doubt=doubt, max_size=most))


def _unsure(one: Specimen) -> Specimen:
    return replace(one, sure=False)


def _same_ties(one: Specimen, first: Specimen) -> Specimen:
    """What lies round a docket is the same whatever it is read as."""
    return replace(
        one, bone=first.bone, fitted=first.fitted, group=first.group, context=first.context, kind=first.kind,
        apart=first.apart,
    )  # fmt: skip


def agreeing(specimens):
    """The same, but pieces that fit are called one animal and bone. Where they are not, which a rule finds, they are
    one of each of these, and more than there are pieces."""
    first: dict[str, Specimen] = {}
    return [
        replace(one, taxon=first.setdefault(one.fitted, one).taxon, element=first[one.fitted].element)
        if one.fitted
        else one
        for one in specimens
    ]
