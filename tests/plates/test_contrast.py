"""What is drawn on a plate can be seen in the sun: contrast by the formula of WCAG 2.1 (relative luminance; memory)."""

from __future__ import annotations

import inspect

from fieldapp.domain.plates import STATES, map_svg, svg
from fieldapp.ui.theme import Theme


def luminance(rgb):
    parts = [one / 12.92 if one <= 0.03928 else ((one + 0.055) / 1.055) ** 2.4 for one in rgb]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one, other):
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def rgb(text):
    return tuple(int(text[at : at + 2], 16) / 255 for at in (1, 3, 5))


def mixed(paper, fill, tone):
    return tuple(tone * b + (1 - tone) * a for a, b in zip(paper, fill, strict=True))


def looks():
    """(ink, fill, paper, light) of the page's plates, the page's maps and the tablet."""
    for draw in (svg, map_svg):
        asked = inspect.signature(draw).parameters
        yield tuple(rgb(asked[name].default) for name in ("ink", "fill", "paper", "light"))
    theme = Theme()
    yield theme.ink[:3], theme.bone[:3], theme.sheet[:3], theme.rule[:3]


def test_the_formula_is_the_known_one():
    assert round(contrast((0, 0, 0), (1, 1, 1)), 1) == 21.0


def test_edges_stand_out_and_light_lines_can_be_seen():
    for ink, _, paper, light in looks():
        assert contrast(ink, paper) >= 7.0
        assert contrast(light, paper) >= 3.0


def test_hatches_and_edges_can_be_seen_on_the_darkest_fill():
    darkest = max(style.tone for style in STATES.values())
    for ink, fill, paper, _ in looks():
        assert contrast(ink, mixed(paper, fill, darkest)) >= 4.5
