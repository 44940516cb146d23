from __future__ import annotations

import numpy as np
import pytest

from photonest.cracks.evidence import Evidence, evidence
from photonest.cracks.search import candidates, view
from photonest.model import Pith
from tests.cracks.scenes import CENTRE, Line, face, outline, pith

PITH = pith()
START, END = (CENTRE[0] + 80, CENTRE[1] + 20), (CENTRE[0] + 200, CENTRE[1] + 50)


def strongest(lines: list[Line], centre: Pith | None = PITH) -> Evidence:
    """The cues of the longest candidate on a face with these lines."""
    seen = view(face(lines), outline())
    longest = max(candidates(seen, centre), key=lambda one: one.profile.length)
    return evidence([longest], seen, centre)[0]


def test_a_line_along_the_radius_is_radial_and_one_across_it_is_not() -> None:
    assert strongest([(START, END, 4.0, 40.0)]).off_radial < 0.1
    slanted = strongest([(START, (START[0] + 60, START[1] + 90), 4.0, 40.0)])
    assert slanted.off_radial > 0.3


def test_without_a_pith_the_place_is_not_told() -> None:
    cues = strongest([(START, END, 4.0, 40.0)], None)
    assert (cues.off_radial, cues.to_pith, cues.to_rim, cues.blind) == (0.0, 0.5, 0.5, 1.0)


def test_ends_are_as_far_from_pith_and_rim_as_they_were_drawn() -> None:
    cues = strongest([(START, END, 4.0, 40.0)])
    near, far = (float(np.hypot(*np.subtract(end, CENTRE))) for end in (START, END))
    # the tips that taper away are not seen: up to a fifth of the length
    slack = 0.2 * (far - near) / 480
    assert near / 480 - 0.005 <= cues.to_pith < near / 480 + slack
    assert (240 - far) / 480 - 0.005 <= cues.to_rim < (240 - far) / 480 + slack


def test_a_dark_line_stands_out_more_than_a_pale_one() -> None:
    dark, pale = (strongest([(START, END, 4.0, brightness)]).clear for brightness in (40.0, 110.0))
    # the wood is at 170: 130 against 60 grey levels deep, beside the same texture
    assert dark - pale == pytest.approx(np.log(130 / 60), abs=0.3)
