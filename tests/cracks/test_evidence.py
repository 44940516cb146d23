from __future__ import annotations

import numpy as np

from photonest.cracks.evidence import Evidence, evidence
from photonest.cracks.search import candidates, view
from tests.cracks.scenes import CENTRE, Line, face, outline, pith

START, END = (CENTRE[0] + 80, CENTRE[1] + 20), (CENTRE[0] + 200, CENTRE[1] + 50)


def strongest(lines: list[Line]) -> Evidence:
    """The cues of the longest candidate on a face with these lines."""
    seen = view(face(lines), outline())
    return max(evidence(candidates(seen, pith()), seen, pith()), key=lambda cues: cues.length)


def test_length_is_a_share_of_the_diameter() -> None:
    cues = strongest([(START, END, 4.0, 40.0)])
    length = np.hypot(END[0] - START[0], END[1] - START[1])
    # the faint tips are not seen: up to a fifth of the length
    assert 0.75 < np.exp(cues.length) * 480 / length < 1.1


def test_a_line_along_the_radius_is_radial_and_one_across_it_is_not() -> None:
    assert strongest([(START, END, 4.0, 40.0)]).off_radial < 0.1
    slanted = strongest([(START, (START[0] + 60, START[1] + 90), 4.0, 40.0)])
    assert slanted.off_radial > 0.3


def test_without_a_pith_the_place_is_not_told() -> None:
    seen = view(face([(START, END, 4.0, 40.0)]), outline())
    cues = max(evidence(candidates(seen, None), seen, None), key=lambda cues: cues.length)
    assert (cues.off_radial, cues.to_pith, cues.to_rim, cues.blind) == (0.0, 0.5, 0.5, 1.0)


def test_ends_are_as_far_from_pith_and_rim_as_they_were_drawn() -> None:
    cues = strongest([(START, END, 4.0, 40.0)])
    near, far = (float(np.hypot(*np.subtract(end, CENTRE))) for end in (START, END))
    # the tips that taper away are not seen: up to a fifth of the length
    slack = 0.2 * (far - near) / 480
    assert near / 480 - 0.005 <= cues.to_pith < near / 480 + slack
    assert (240 - far) / 480 - 0.005 <= cues.to_rim < (240 - far) / 480 + slack
