from __future__ import annotations

import numpy as np
import pytest

from photonest.cracks.search import View, view
from photonest.cracks.tips import led_on
from photonest.cracks.traces import Trace
from photonest.model import Point
from tests.cracks.scenes import MM_PER_PX, RADIUS, Line, face, outline

FIRST, LAST = (300.0, 250.0), (430.0, 215.0)  # px, of a check that is followed
DIAMETER = 2 * RADIUS * MM_PER_PX


def seen(lines: list[Line], seed: int = 1) -> View:
    return view(face(lines, seed=seed), outline())


def on(photo: View, start: Point, share: float, light: bool = False, sure: float = 0.9) -> Trace:
    """Return a trace of a check's beginning: from `start` to a share of the way to its end, in mm."""
    way = np.array(start) + np.linspace(0, share, 25)[:, None] * (np.array(LAST) - start)
    return Trace(MM_PER_PX * way, np.full(25, 3 * MM_PER_PX), sure, light)


@pytest.mark.parametrize("brightness", [60.0, 245.0])
def test_a_check_is_followed_to_its_end_and_no_farther(brightness: float) -> None:
    photo = seen([(FIRST, LAST, 3.0, brightness)])
    (found,) = led_on([on(photo, FIRST, 0.75, brightness > 200)], photo, None, 0.5)
    # it tapers to nothing: its end is where it opens a pixel, a twelfth before, give or take a hundredth of the face
    opens = np.array(LAST) - (np.array(LAST) - FIRST) / 12
    assert np.hypot(*(found.path[-1] / MM_PER_PX - opens)) < 0.02 * 2 * RADIUS
    assert len(found.widths) == len(found.path)


def test_nothing_follows_in_plain_wood() -> None:
    photos = [seen([], seed) for seed in range(3, 9)]
    led = [led_on([on(photo, FIRST, 0.75)], photo, None, 0.5)[0] for photo in photos]
    assert all(np.array_equal(one.path, on(photos[0], FIRST, 0.75).path) for one in led)


def test_an_end_at_the_pith_a_doubtful_line_and_what_another_tells_are_left() -> None:
    photo = seen([(FIRST, LAST, 3.0, 60.0)])
    doubtful = on(photo, FIRST, 0.75, sure=0.4)
    assert led_on([doubtful], photo, None, 0.5) == [doubtful]
    short = on(photo, FIRST, 0.75)
    x, y = short.path[-1]
    (left,) = led_on([short], photo, (float(x), float(y)), 0.5)
    assert np.allclose(left.path[-1], short.path[-1])
    rest = Trace(MM_PER_PX * np.linspace(np.add(FIRST, np.subtract(LAST, FIRST) * 0.8), LAST, 12), np.ones(12), 0.4)
    first, other = led_on([short, rest], photo, None, 0.5)
    assert other is rest or np.array_equal(other.path, rest.path)
    # up to where the other begins, and the few points of it that may be reached
    assert np.hypot(*(first.path[-1] - rest.path[0])) < 0.012 * DIAMETER
