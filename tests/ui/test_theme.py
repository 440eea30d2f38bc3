"""The tokens of the look. Contrast by the formulas of WCAG 2.2, checked against figures printed elsewhere."""

from __future__ import annotations

import pytest

from fieldapp.ui.theme import Theme, colour, contrast, mixed, theme


@pytest.mark.parametrize(
    ("code", "ratio"),
    # Contrast of the Okabe-Ito colours on white, from a table computed apart from this code.
    [("#E69F00", 2.25), ("#56B4E9", 2.31), ("#009E73", 3.42), ("#F0E442", 1.32), ("#0072B2", 5.19), ("#000000", 21.0)],
)
def test_contrast_is_computed_as_published(code: str, ratio: float) -> None:
    assert contrast(colour(code), colour("#FFFFFF")) == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize("name", sorted(theme.tones))
def test_words_on_their_ground_have_a_contrast_of_seven(name: str) -> None:
    tone = theme.tones[name]
    assert contrast(tone.words, tone.ground) >= 7.0


@pytest.mark.parametrize("name", ["plain", "chosen", "primary", "pressed", "off", "clay", "hazard", "black", "sheet"])
def test_the_line_round_a_button_stands_out_from_the_paper(name: str) -> None:
    assert contrast(theme.tones[name].line, theme.paper) >= 3.0
    assert contrast(theme.tones[name].line, theme.sheet) >= 3.0


@pytest.mark.parametrize("ink", ["ink", "faint", "clay", "accent"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_every_ink_can_be_read_on_every_paper(ink: str, ground: str) -> None:
    assert contrast(getattr(theme, ink), getattr(theme, ground)) >= 7.0


def test_words_on_clay_can_be_read() -> None:
    assert contrast(theme.sheet, theme.clay) >= 7.0


def test_a_pattern_stands_out_from_the_tone_below_it() -> None:
    assert contrast(theme.ink, mixed(theme.sheet, theme.bone, 0.45)) >= 3.0


def test_hazard_colours_belong_to_the_stop_alone() -> None:
    users = {name for name, tone in theme.tones.items() if theme.hazard in (tone.ground, tone.words, tone.line)}
    assert users == {"hazard", "black"}


@pytest.mark.parametrize("ppi", [149.0, 189.0, 224.0, 283.0])
def test_a_length_is_never_a_pixel_short(ppi: float) -> None:
    panel = Theme(ppi)
    for length in (3.0, 9.0, 12.0, 15.0):
        assert panel.in_mm(panel.mm(length)) >= length - 1e-6
        assert panel.in_mm(panel.mm(length)) < length + 0.2
