from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photonest.cracks.finder import LineOptions, Lines, cracks_of, judged, margins
from photonest.cracks.judge import shipped
from photonest.cracks.profiles import profiles
from photonest.cracks.search import Candidate, _between_ends, candidates, view
from photonest.cracks.traces import length_of
from photonest.model import Crack, FlatPhoto, NotFound
from tests.cracks.scenes import CENTRE, MM_PER_PX, WANDER, face, outline, pith

RADIAL = ((CENTRE[0] + 80, CENTRE[1] + 20), (CENTRE[0] + 220, CENTRE[1] + 55), 3.0, 40.0)
HEART = ((CENTRE[0], CENTRE[1]), (CENTRE[0] - 60, CENTRE[1] - 130), 3.0, 40.0)


def found(flat: FlatPhoto, with_pith: bool = True) -> list[Crack]:
    answer = Lines().find(flat, outline(), pith() if with_pith else None, LineOptions())
    assert not isinstance(answer, NotFound)
    return [crack for crack in answer if isinstance(crack, Crack)]


def covered(crack: Crack, start: tuple[float, float], end: tuple[float, float]) -> float:
    """Share of the straight line between two pixels that lies within its wander and 2 px of the crack."""
    from shapely.geometry import LineString

    line = LineString([start, end])
    path = LineString(np.asarray(crack.path) / MM_PER_PX)
    return float(line.intersection(path.buffer(WANDER * 1.6 + 2.0)).length / line.length)


def test_clean_wood_has_no_cracks() -> None:
    assert found(face()) == []


def test_a_radial_check_is_seen_with_its_ends_and_opening() -> None:
    cracks = found(face([RADIAL]))
    assert len(cracks) == 1
    crack = cracks[0]
    assert crack.kind == "radial"
    assert crack.status == "seen"
    assert covered(crack, RADIAL[0], RADIAL[1]) > 0.9
    # drawn 3 px = 1.5 mm at its widest; half a pixel of blur and of sampling either side
    assert crack.width == pytest.approx(1.5, abs=0.5)
    start, end = np.asarray(crack.path[0]), np.asarray(crack.path[-1])
    assert np.hypot(*(start - pith().point)) < np.hypot(*(end - pith().point))
    assert crack.length == pytest.approx(float(np.hypot(*np.diff(np.asarray(crack.path), axis=0).T).sum()))
    assert len(crack.widths) == len(crack.path)


def test_a_line_that_hardly_stands_out_is_less_likely_a_crack() -> None:
    seen = view(face([RADIAL]), outline())
    found = candidates(seen, pith())
    # the same lines, and the network as sure, but a fifth of the depth
    pale = [replace(one, profile=replace(one.profile, depth=0.2 * one.profile.depth)) for one in found]
    clear, doubtful = (judged(shipped(), lines, seen, pith()) for lines in (found, pale))
    assert clear.max() > 0.8
    assert (doubtful < clear).all()
    assert judged(shipped(), [], seen, pith()).shape == (0,)


def test_a_pale_line_may_be_a_streak_however_sure() -> None:
    seen = view(face([RADIAL]), outline())
    found = candidates(seen, pith())
    lines = [one for one, p in zip(found, judged(shipped(), found, seen, pith()), strict=True) if p > 0.5]
    pale = [
        replace(one, profile=replace(one.profile, cuts=170 + (one.profile.cuts - 170) * np.float32(0.2)))
        for one in lines
    ]
    sure = np.full(len(lines), 0.95)
    for told, status in ((lines, "seen"), (pale, "possible")):
        (crack,) = cracks_of(seen, told, sure, pith(), LineOptions())
        assert (crack.status, crack.confidence) == (status, 0.95)


def test_of_a_long_line_less_is_asked() -> None:
    seen = view(face([RADIAL]), outline())
    found = candidates(seen, pith())
    line = max(found, key=lambda one: one.profile.length)
    short = line.part(0, len(line.odds) // 4)
    options = LineOptions()
    doubtful = np.array([(options.long_from + options.possible_from) / 2])
    assert seen.diameter * 0.1 < line.profile.length * seen.full.mm_per_px
    (crack,) = cracks_of(seen, [line], doubtful, pith(), options)
    assert crack.status == "possible"
    assert not cracks_of(seen, [short], doubtful, pith(), options)


def test_a_check_that_reaches_the_pith_is_a_heart_check() -> None:
    cracks = found(face([HEART]))
    assert [crack.kind for crack in cracks] == ["heart"]
    assert cracks[0].path[0] == pytest.approx(pith().point)


def test_a_light_check_is_not_missed() -> None:
    light = (RADIAL[0], RADIAL[1], 3.0, 250.0)
    cracks = found(face([light]))
    assert max(covered(crack, RADIAL[0], RADIAL[1]) for crack in cracks) > 0.8


def test_a_ring_shake_is_found() -> None:
    radius, first, last = 150.0, 0.3, 1.5
    cracks = found(face(shakes=[(radius, first, last, 3.0, 40.0)]))
    ring = max(cracks, key=lambda crack: crack.length)
    assert ring.kind == "ring"
    off = np.hypot(*(np.asarray(ring.path) / MM_PER_PX - CENTRE).T) - radius
    assert float(np.median(np.abs(off))) < 1.5
    # within its faint ends (a fifth of it) and what the tips are led on by
    assert 0.8 * (last - first) * radius < ring.length / MM_PER_PX < 1.4 * (last - first) * radius


def test_the_inner_tip_of_a_radial_check_is_led_on_farther_the_coarser_the_photo() -> None:
    coarse, options = view(face([RADIAL]), outline()), LineOptions()  # 480 px across
    fine = replace(coarse, full=replace(coarse.full, mm_per_px=MM_PER_PX / 10))
    usual = options.tip_margin_pct / 100 * coarse.diameter
    assert margins("radial", coarse, options) == pytest.approx((options.closing_px * MM_PER_PX, usual))
    assert margins("radial", fine, options) == margins("heart", coarse, options) == (usual, usual)


def test_only_the_margins_open_nowhere() -> None:
    inside = face([(RADIAL[0], (CENTRE[0] + 170, CENTRE[1] + 42), *RADIAL[2:])])
    (crack,) = found(inside)
    shown = np.flatnonzero(crack.widths)
    beyond = [length_of(np.asarray(crack.path)[part]) for part in (slice(0, shown[0] + 1), slice(shown[-1], None))]
    seen = view(inside, outline())
    assert beyond == pytest.approx(margins("radial", seen, LineOptions()))
    assert max(beyond) == pytest.approx(crack.tip_margin)


def test_a_hairline_is_found() -> None:
    cracks = found(face([(RADIAL[0], RADIAL[1], 1.2, 40.0)]))
    assert max((covered(crack, RADIAL[0], RADIAL[1]) for crack in cracks), default=0.0) > 0.6


def test_without_a_pith_a_check_is_found_whatever_its_bearing() -> None:
    slanted = ((CENTRE[0] - 20, CENTRE[1] + 40), (CENTRE[0] + 130, CENTRE[1] - 60), 3.0, 40.0)
    cracks = found(face([slanted]), with_pith=False)
    assert max(covered(crack, slanted[0], slanted[1]) for crack in cracks) > 0.8
    assert all(crack.kind == "other" for crack in cracks)


def test_a_line_ends_where_the_network_last_sees_a_crack() -> None:
    seen = view(face([RADIAL]), outline())
    path = np.linspace(RADIAL[0], RADIAL[1], 60)
    (profile,) = profiles(seen.grey.pixels, [path], 9, 4, light=False)
    count = len(profile.path)
    odds = np.full(count, -4.0, np.float32)
    odds[10 : count - 20] = 5.0
    odds[30:36] = -4.0  # a bridge of fibres
    one = _between_ends(Candidate(profile, odds), seen)
    # the ends are told from a mean over half a percent of the diameter: a point either way
    assert abs(len(one.odds) - (count - 30)) <= 2
    assert one.profile.path[0] == pytest.approx(profile.path[10], abs=2 * profile.step)
    faint = Candidate(profile, np.full(count, -2.0, np.float32))
    assert _between_ends(faint, seen) is faint


def test_the_same_photo_gives_the_same_cracks() -> None:
    flat = face([RADIAL, HEART])
    assert found(flat) == found(flat)


def test_a_photo_too_small_to_judge_says_so() -> None:
    pixels = np.zeros((40, 40, 3), np.uint8)
    flat = FlatPhoto(pixels, 6.5, (0.0, 0.0), (130.0, 130.0))
    answer = Lines().find(flat, outline(), pith(), LineOptions())
    assert isinstance(answer, NotFound)
    assert answer.hint
