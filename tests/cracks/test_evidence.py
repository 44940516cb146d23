from __future__ import annotations

import numpy as np

from photonest.cracks.evidence import Evidence, evidence
from photonest.cracks.profiles import profiles
from photonest.cracks.search import Candidate, candidates, view
from photonest.model import Pith
from tests.cracks.scenes import CENTRE, MM_PER_PX, Line, face, outline, pith

START, END = (CENTRE[0] + 80, CENTRE[1] + 20), (CENTRE[0] + 200, CENTRE[1] + 50)


def strongest(lines: list[Line], centre: Pith | None = None, blur: float = 0.6) -> Evidence:
    """The cues of the longest candidate on a face with these lines."""
    seen = view(face(lines, blur=blur), outline())
    centre = centre or pith()
    return max(evidence(candidates(seen, centre), seen, centre), key=lambda cues: cues.length)


def test_contrast_and_level_follow_the_darkness() -> None:
    deep, shallow = (strongest([(START, END, 4.0, level)]) for level in (30.0, 110.0))
    assert deep.contrast > shallow.contrast
    assert deep.level < shallow.level
    # wood of 170: a line wider than the blur shows its own brightness, give or take the texture
    assert abs(deep.darkest - 30 / 170) < 0.15


def test_length_and_width_are_shares_of_the_diameter() -> None:
    cues = strongest([(START, END, 4.0, 40.0)])
    length = np.hypot(END[0] - START[0], END[1] - START[1])
    # the faint tips are not seen: up to a fifth of the length
    assert 0.75 < np.exp(cues.length) * 480 / length < 1.1
    assert 0.6 < np.exp(cues.width) / 100 * 480 / 4.0 < 1.4


def test_a_line_along_the_radius_is_radial_and_one_across_it_is_not() -> None:
    assert strongest([(START, END, 4.0, 40.0)]).off_radial < 0.1
    slanted = strongest([(START, (START[0] + 60, START[1] + 90), 4.0, 40.0)])
    assert slanted.off_radial > 0.3


def marked(line: Line, blur: float) -> Evidence:
    """The cues of a line looked at where it was drawn, whether or not the network offers it."""
    seen = view(face([line], blur=blur), outline())
    path = seen.full.to_px(np.linspace(line[0], line[1], 60) * MM_PER_PX)
    (profile,) = profiles(seen.grey.pixels, [path], 9, 4, light=False)
    return evidence([Candidate(profile, np.zeros(len(profile.path), np.float32))], seen, pith())[0]


def test_a_blurred_streak_is_blunter_than_a_check() -> None:
    sharp, blunt = (marked((START, END, 6.0, 60.0), blur) for blur in (0.6, 3.0))
    assert blunt.sharpness / np.exp(blunt.width) < sharp.sharpness / np.exp(sharp.width)


def test_rings_go_on_across_a_check() -> None:
    assert strongest([(START, END, 3.0, 40.0)]).crossing > 0.5
