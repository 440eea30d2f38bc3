"""The plate files, for the plate tests: which there are and what each must hold."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from fieldapp.domain.plates import Plate, read_plate

FOLDER = Path(__file__).parents[2] / "assets" / "plates"
SHAFT = "proximal_metaphysis upper_shaft lower_shaft distal_metaphysis"
PORTIONS = {
    "humerus": f"head greater_tubercle {SHAFT} trochlea capitulum".split(),
    "radius": f"proximal_medial proximal_lateral {SHAFT} distal_medial distal_lateral".split(),
    "femur": f"head greater_trochanter lesser_trochanter {SHAFT} medial_condyle lateral_condyle".split(),
    "tibia": f"medial_condyle lateral_condyle tuberosity {SHAFT} distal_medial distal_lateral".split(),
}
DRAWN = [(form, element) for form in ("human", "ruminant") for element in PORTIONS]


def plate_text(form: str, element: str) -> str:
    return (FOLDER / form / f"{element}.svg").read_text(encoding="utf-8")


@cache
def plate(form: str, element: str) -> Plate:
    return read_plate(plate_text(form, element))
