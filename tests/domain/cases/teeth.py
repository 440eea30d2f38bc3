"""Cases of the rules about teeth."""

from __future__ import annotations

from typing import Any

from tests.domain.cases.records import SHOULDER, Case, Cases, d, docket, femur, g, reading


def tooth(key: str = "M1", **changes: Any) -> dict[str, Any]:
    """A tooth in wear that stands in its jaw, with nothing else said of it."""
    return {"tooth": key, "jaw": None, "side": None, "seat": "in_jaw", "stage": "in_wear", **changes}


def worn(key: str, wear: str, scheme: str | None = "grant_1982", **changes: Any) -> dict[str, Any]:
    """A tooth with its stage of wear."""
    return tooth(key, scheme=scheme, wear=wear, **changes)


def jaw(*teeth: Any, taxon: str | None = "cattle", element: str = "mandible", **changes: Any) -> dict[str, Any]:
    """The docket of a left jaw with these teeth, numbered 0, 1 ..."""
    said = reading(element, taxon, **{"side": "left", "stage": "trench", **changes})
    return docket(said, **{f"tooth__{at}": one for at, one in enumerate(teeth)})


def j(*teeth: Any, taxon: str | None = "cattle", element: str = "mandible", **changes: Any) -> Case:
    """A jaw's case."""
    return Case(jaw(*teeth, taxon=taxon, element=element, **changes))


def loose(*teeth: Any, **changes: Any) -> Case:
    """A loose tooth's case."""
    return j(*({**one, "seat": "loose"} for one in teeth), element="loose_tooth", **changes)


CASES: Cases = [
    ("docket", "tooth_unknown", "tooth/0/tooth", j(tooth("M4")), j(tooth("M1_2"))),
    (
        "docket",
        "tooth_not_in_animal",
        "tooth/0",
        j(tooth("I1"), element="skull", side="midline"),
        j(tooth("C"), element="skull", side="midline", taxon="red_deer"),
    ),
    (
        "docket",
        "loose_tooth_unnamed",
        "reading/position",
        d(reading("loose_tooth", "pig", stage="analysis")),
        d(reading("loose_tooth", "pig", stage="analysis", position="M1_2")),
    ),
    ("docket", "tooth_twice", "tooth/1", j(tooth(), tooth()), j(tooth(), tooth(), side="midline")),
    (
        "docket",
        "tooth_in_other_bone",
        "tooth/0",
        j(tooth(), element="humerus"),
        j(tooth(), element="skull", side="midline"),
    ),
    ("docket", "tooth_of_other_jaw", "tooth/0", j(tooth(jaw="upper")), loose(tooth(jaw="upper"))),
    (
        "docket",
        "tooth_side_mismatch",
        "tooth/0",
        j(tooth(side="right")),
        j(tooth(side="right"), side="midline"),
    ),
    ("docket", "loose_with_several", "tooth/1", loose(tooth("M1"), tooth("M2")), j(tooth("M1"), tooth("M2"))),
    (
        "docket",
        "seat_against_bone",
        "tooth/0/seat",
        j(tooth(seat="socket_only"), element="loose_tooth"),
        j(tooth(seat="socket_only")),
    ),
    (
        "docket",
        "position_against_tooth",
        "tooth/0",
        loose(tooth("M3"), position="M1_2"),
        loose(tooth("M2"), position="M1_2"),
    ),
    ("docket", "wear_without_scheme", "tooth/0/wear", j(worn("M1", "g", None)), j(worn("M1", "g"))),
    (
        "docket",
        "scheme_for_other_animal",
        "tooth/0/scheme",
        j(worn("M1", "g"), taxon="horse"),
        j(worn("M1", "g"), taxon="large_mammal"),
    ),
    ("docket", "scheme_for_other_tooth", "tooth/0/scheme", j(worn("P3", "g")), j(worn("P4", "g"))),
    (
        "docket",
        "jaw_stage_on_tooth",
        "tooth/0/scheme",
        j(worn("M3", "G", "payne_1973"), taxon="sheep"),
        j(worn("M3", "11G", "payne_1987"), taxon="sheep"),
    ),
    ("docket", "wear_stage_unknown", "tooth/0/wear", j(worn("M1", "i")), j(worn("M1", "j"))),
    (
        "docket",
        "wear_against_state",
        "tooth/0",
        j(worn("M1", "g", stage="in_crypt")),
        j(worn("M1", "V", stage="in_crypt")),
    ),
    (
        "docket",
        "wear_of_missing_tooth",
        "tooth/0",
        j(worn("M1", "g", seat="socket_only", stage=None)),
        j(worn("M1", "V", seat="socket_only", stage=None)),
    ),
    (
        "docket",
        "wear_left_blank",
        "tooth/0/wear",
        j(tooth(), stage="analysis"),
        j(tooth(), stage="analysis", taxon="horse"),
    ),
    (
        "docket",
        "crown_height_implausible",
        "tooth/0/crown_height_mm",
        j(tooth("M3", crown_height_mm=105), taxon="cattle"),
        j(tooth("M3", crown_height_mm=105), taxon="horse"),
    ),
    (
        "docket",
        "wear_order",
        "tooth/1",
        j(worn("M1", "f"), worn("M2", "g")),
        # The numbers of the second and the third molar mean different wear.
        j(worn("M2", "9A", "payne_1987"), worn("M3", "11G", "payne_1987"), taxon="sheep_goat"),
    ),
    (
        "docket",
        "eruption_order",
        "tooth/1",
        j(tooth("M2", stage="half_up"), tooth("M3", stage="full_unworn"), taxon=None),
        j(tooth("M2", stage="half_up"), tooth("M3", stage="erupting"), taxon=None),
    ),
    (
        "docket",
        "milk_tooth_with_worn_successor",
        "tooth/0",
        j(tooth("dP4"), tooth("P4")),
        j(tooth("dP4"), tooth("P4", stage="erupting")),
    ),
    (
        "docket",
        "tooth_age_clash",
        "tooth",
        # Cattle, after the source chosen: fourth premolar from 28 months on, first incisor by 24, third by 36.
        j(tooth("I1", stage="in_crypt"), tooth("P4", stage="full_unworn")),
        j(tooth("I3", stage="in_crypt"), tooth("P4", stage="full_unworn")),
    ),
    (
        "docket",
        "tooth_against_age",
        "reading/age",
        j(tooth("M3"), taxon="sheep", age="juvenile"),
        # It comes early in these.
        j(tooth("M3"), taxon="hare_rabbit", age="juvenile"),
    ),
    (
        "group",
        "group_same_tooth_twice",
        "member/m1",
        g(jaw(tooth("M3")), loose(tooth("M3", jaw="lower")).values),
        g(jaw(tooth("M3", seat="socket_only")), loose(tooth("M3", jaw="lower")).values),
    ),
    (
        "group",
        "group_teeth_and_bones_clash",
        "member/m0",
        # A shoulder that joins from 42 months on, and a first molar that comes by 6.
        g(jaw(tooth("M1", stage="erupting")), docket(SHOULDER)),
        g(jaw(tooth("M1")), docket(SHOULDER), femur()),
    ),
]
