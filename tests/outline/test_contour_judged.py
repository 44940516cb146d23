"""The better of two answers, on a drawn scene and on plain ground."""

from __future__ import annotations

import numpy as np

from photonest.model import NotFound, Outline
from photonest.outline.contour import apart
from photonest.outline.judged import JudgedOutline
from tests.outline.test_contour import MM, RADIUS, circle, flat, picture


def test_two_ways_agree_on_a_clear_piece() -> None:
    finder = JudgedOutline()
    outline = finder.find(flat(picture()), finder.Options())
    assert isinstance(outline, Outline)
    assert apart(np.array(outline.points), circle()) < 0.01 * 2 * RADIUS * MM
    assert apart(np.array(outline.points), circle()) < 3 * outline.standard_error


def test_neither_way_finds_what_is_not_there() -> None:
    finder = JudgedOutline()
    assert isinstance(finder.find(flat(np.full((300, 400, 3), 128, np.uint8)), finder.Options()), NotFound)
