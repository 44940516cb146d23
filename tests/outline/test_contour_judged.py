"""The better of two answers: rules on known lines, and the whole of it on a picture."""

from __future__ import annotations

import numpy as np

from photonest.model import FlatPhoto, NotFound, Outline, Points
from photonest.outline.contour import apart
from photonest.outline.judged import JudgedOptions, JudgedOutline, judged
from tests.outline.test_contour import MM, RADIUS, circle, flat, picture

DIAMETER = 2 * RADIUS * MM


def line(radius: float) -> Points:
    """Return a circle about the piece's middle, in mm."""
    return tuple((float(x), float(y)) for x, y in circle(radius))


def answer(photo: FlatPhoto, regions: Outline | NotFound, rim: Outline | NotFound) -> Outline:
    """Return what is made of two answers, which must be an outline."""
    out = judged(photo, regions, rim, JudgedOptions())
    assert isinstance(out, Outline)
    return out


def test_two_ways_agree_on_a_clear_piece() -> None:
    finder = JudgedOutline()
    outline = finder.find(flat(picture()), finder.Options())
    assert isinstance(outline, Outline)
    # the 1 % is the target for a clear piece
    assert apart(np.array(outline.points), circle()) < min(0.01 * DIAMETER, 3 * outline.standard_error)


def test_the_better_of_two_is_given_whichever_way_it_was_found() -> None:
    photo = flat(picture())
    true, wrong = Outline(line(RADIUS), None, 0.2), Outline(line(1.25 * RADIUS), None, 0.2)
    for pair in ((true, wrong), (wrong, true)):
        chosen = answer(photo, *pair)
        assert chosen.points == true.points
        assert chosen.warnings  # a quarter of the radius apart
        assert chosen.standard_error > 0.01 * DIAMETER


def test_a_rim_under_the_bark_does_not_take_the_bark_away() -> None:
    photo = flat(picture(radius=80, bark=10))
    with_bark = Outline(line(90), line(80), 0.2)
    chosen = answer(photo, with_bark, Outline(line(80.5), None, 0.2))
    assert (chosen.points, chosen.under_bark) == (with_bark.points, with_bark.under_bark)
    assert chosen.standard_error > 0.02 * 2 * 80 * MM  # half of 4 % of the diameter at most: bark, or a shadow?
    assert "bark" in chosen.warnings[0]


def test_one_way_alone_says_so() -> None:
    photo, only = flat(picture()), Outline(line(RADIUS), None, 0.2)
    assert answer(photo, NotFound("nothing"), only).warnings
    assert answer(photo, only, NotFound("nothing")).warnings
    assert isinstance(judged(photo, NotFound("a", "b"), NotFound("c", "d"), JudgedOptions()), NotFound)
