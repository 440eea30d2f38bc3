"""How many taps a record takes, and by arithmetic how long in gloves. Scripted over fifty fragments of the demo's kind.

The keystroke-level model's operators: a decision 1.35 s (M), a tap 0.31 s and pointing 0.43 s (touch variant, written
down from memory), and a factor of 1.3 on the hand's part for gloves (project decision). A comparison, not a promise.
"""

from __future__ import annotations

import random
import statistics

import pytest

from fieldapp import assets
from fieldapp.domain.plates import widest
from fieldapp.domain.usual import USUAL
from fieldapp.ui.presenters import quick
from fieldapp.ui.presenters.form import Form
from tests.ui.conftest import Tablet

pytestmark = pytest.mark.ui

M, TAP, POINT, GLOVE = 1.35, 0.31, 0.43, 1.3
ELEMENTS = ("humerus", "radius", "femur", "tibia", "metacarpal", "metatarsal", "phalanx_1", "calcaneum")
TAXA = ("cattle", "sheep_goat", "sheep", "pig", "horse", "dog", "red_deer")


def gloved(taps: int, decisions: int) -> float:
    """Seconds of so many taps, of which some are decisions."""
    return decisions * M + taps * (TAP + POINT) * GLOVE


def fragments(count: int) -> list[tuple[str, str, str]]:
    """(element, taxon, side) of fragments as they come up: common animals often, rare ones seldom; a fixed seed."""
    rng = random.Random(26)
    return [
        (rng.choice(ELEMENTS), rng.choices(TAXA, (30, 30, 5, 20, 8, 4, 3))[0], rng.choice(("left", "right")))
        for _ in range(count)
    ]


def record(tablet: Tablet, element: str, taxon: str, side: str) -> tuple[int, int]:
    """Records a fragment from the first field to the next form; (taps, decisions)."""
    before = tablet.hand.taps
    tablet.press("human.no_sign", f"element.{element}", f"taxon.{taxon}", f"side.{side}")
    form: Form = tablet.shell.form
    centres = form.visible_centres()
    # The end of which the centre tells, and two portions beside it: what usually survives.
    wanted = list(form.desk.knowledge.portion_map(element, taxon))
    wanted = wanted[-3:] if not centres or centres[-1].key == "distal" else wanted[:3]
    for key in wanted:
        tablet.press(f"portion.{key}" if tablet.hand.sees(f"portion.{key}") else f"plate.{key}")
    tablet.press("portion.rest_absent")
    decisions = 3  # is it human, what is it (looked at as a whole), what of it is there; saving is habit
    if form.state.field == "fusion":
        tablet.press(f"fusion.{form.visible_centres()[0].key}.fused")
        decisions += 1
    tablet.press("action.save_again")
    return tablet.hand.taps - before, decisions


@pytest.mark.proof
def test_a_full_record_takes_ten_taps_and_a_quick_one_five(tablet: Tablet, capsys: pytest.CaptureFixture[str]) -> None:
    tablet.begin()
    tablet.press("docket.new", "material.bone", "human.not_asked", "element.rib", "action.save_again")
    found = [record(tablet, *one) for one in fragments(50)]
    taps = sorted(one for one, _ in found)
    seconds = statistics.median(gloved(*one) for one in found)
    tablet.leave()
    tablet.press("docket.quick")
    shorts = []
    rng = random.Random(27)
    for _ in range(20):
        before = tablet.hand.taps
        look, size = rng.choice(list(quick.LOOKS)), rng.choice(quick.SIZES)
        tablet.press(f"look.{look}", f"taxon.{size}", "human.not_excluded", "action.save_again")
        shorts.append(tablet.hand.taps - before)
    with capsys.disabled():
        print(
            f"\nfifty fragments: median {statistics.median(taps):g} taps, 95 of 100 within {taps[47]},"
            f" {seconds:.1f} s in gloves; a quick one {statistics.median(shorts):g}"
        )
    assert statistics.median(taps) <= 10
    assert taps[47] <= 14
    assert round(seconds, 1) <= 15
    assert max(shorts) <= 5
    assert len(tablet.app.notebook.records("docket")) == 71


def test_every_fragment_of_the_measure_is_chosen_without_turning_a_page() -> None:
    usual = {key for row in USUAL["element"] for key in row}
    assert set(ELEMENTS) <= usual
    assert set(TAXA) <= {key for row in USUAL["taxon"] for key in row}
    assert all(widest(one)[2] > 0 for one in assets.plates_of("tibia", "cattle", "left")[0].portions.values())
