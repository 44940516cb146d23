"""Colours are told apart by lightness alone, so that a grey print and every eye can read them."""

from __future__ import annotations

import itertools

import pytest

from photonest.report import style


def luminance(colour: str) -> float:
    """Return the relative luminance of '#rrggbb' (WCAG 2.2, definition of relative luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_on_known_values() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: ratios range from 1 to 21
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # widely quoted: just short of 4.5


@pytest.mark.parametrize("ink, paper", [(style.INK, style.PAPER), (style.QUIET, style.PAPER), (style.INK, style.SHADE)])
def test_text_reaches_the_higher_level(ink: str, paper: str) -> None:
    assert contrast(ink, paper) >= 7  # WCAG 2.2 success criterion 1.4.6


@pytest.mark.parametrize(
    "stroke",
    [
        style.BARK_EDGE, style.WOOD_EDGE, style.CRACK, style.POSSIBLE, style.PITH, style.OFFSET, style.CLEAR,
        style.CENTRE, style.INSCRIBED,
    ],
)  # fmt: skip
def test_lines_over_a_photo_stand_off_their_casing(stroke: style.Stroke) -> None:
    assert stroke.casing is not None
    assert contrast(stroke.colour, stroke.casing) >= 3  # WCAG 2.2 success criterion 1.4.11, graphical objects


@pytest.mark.parametrize("wood", ["#f3e3c3", "#a9825a", "#4a2e1c"])
def test_one_of_line_and_casing_shows_on_any_wood(wood: str) -> None:
    for stroke in (style.BARK_EDGE, style.CRACK, style.PITH, style.CLEAR):
        assert max(contrast(stroke.colour, wood), contrast(stroke.casing or wood, wood)) >= 3


def test_neighbouring_walls_differ_or_are_parted_by_a_pale_groove() -> None:
    for fill in style.BOWLS:
        assert fill.edge == style.INK
        assert fill.edge_width > 0
    assert len({fill.colour for fill in style.BOWLS}) == len(style.BOWLS)


def test_the_kinds_of_line_differ_without_colour() -> None:
    kinds = [style.BARK_EDGE, style.WOOD_EDGE, style.POSSIBLE, style.INSCRIBED, style.CLEAR, style.DISMISSED]
    for one, other in itertools.combinations(kinds, 2):
        assert one.dash != other.dash
