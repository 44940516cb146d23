"""Marking out: the arcs do meet at the centre, the line does lie where it is told."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.model import Axis
from photonest.report.marking import (
    NEAREST,
    SQUAREST,
    Landmark,
    centre_landmarks,
    edge_distances,
    line_landmarks,
    rip_frame,
    rip_line,
    seen_ends,
    visible,
)
from tests.report import examples

FACE = examples.face()


@given(x=st.floats(-60, 60), y=st.floats(-60, 60))
def test_arcs_about_the_landmarks_meet_at_the_centre(x: float, y: float) -> None:
    marks = centre_landmarks(FACE, (x, y))
    assert len(marks) == 3
    for mark in marks:
        assert np.hypot(mark.point[0] - x, mark.point[1] - y) == pytest.approx(mark.distance)
        assert mark.distance >= NEAREST
    bearings = [np.arctan2(mark.point[1] - y, mark.point[0] - x) for mark in marks]
    squares = [abs(np.sin(a - b)) for a in bearings for b in bearings]
    assert max(squares) >= SQUAREST  # some pair crosses squarely enough


@given(x=st.floats(-60, 60), y=st.floats(-60, 60))
def test_no_two_of_all_landmarks_fix_a_centre_better(x: float, y: float) -> None:
    def worth(*pair: Landmark) -> float:
        ways = [np.arctan2(mark.point[1] - y, mark.point[0] - x) for mark in pair]
        return float(abs(np.sin(ways[0] - ways[1])) / np.hypot(pair[0].error, pair[1].error))

    everything = itertools.combinations(centre_landmarks(FACE, (x, y), most=99), 2)
    chosen = centre_landmarks(FACE, (x, y), most=2)
    assert worth(*chosen) == pytest.approx(max(worth(*pair) for pair in everything))


def test_a_face_of_thousands_of_cracks_is_marked_from_the_surest_of_them() -> None:
    sure = [replace(crack, standard_error=1.0) for crack in FACE.cracks if crack.status == "seen"]
    vague = [replace(sure[i % len(sure)], id=f"v{i}", standard_error=9.0) for i in range(3000)]
    marks = centre_landmarks(replace(FACE, cracks=(*vague, *sure), pith=None), (0.0, 0.0))
    assert len(marks) == 3
    assert not any(" v" in mark.name for mark in marks)


def test_letters_and_names() -> None:
    marks = centre_landmarks(FACE, (0.0, 0.0))
    assert [mark.letter for mark in marks] == ["A", "B", "C"]
    names = {mark.name for mark in visible(FACE)}
    assert {"pith", "inner end of c1", "outer end of c1", "middle of knot k1"} <= names
    assert not any("c3" in name or "c5" in name for name in names)  # possible and dismissed ones are no landmarks


def test_error_joins_scale_and_landmark() -> None:
    mark = next(mark for mark in centre_landmarks(FACE, (-60.0, 20.0), most=20) if mark.name == "pith")
    assert mark.error == pytest.approx(2 * np.hypot(0.0025 * mark.distance, 1.6))


def test_too_few_landmarks_give_none() -> None:
    lone = replace(FACE, cracks=(), defects=())
    assert centre_landmarks(lone, (0.0, 0.0)) == ()


def test_landmarks_in_one_line_with_the_centre_give_none() -> None:
    crack = replace(examples.edge_check(1, 0.0), tip_margin=0.0)
    face = replace(FACE, cracks=(crack,), defects=(), pith=None)
    assert centre_landmarks(face, (0.0, 0.0)) == ()


def test_margins_at_the_tips_are_not_seen() -> None:
    crack = examples.edge_check(1, 0.0)  # 165 to 169 mm, 0.5 mm of margin at each end
    (inner, _), (outer, _) = seen_ends(crack)
    assert (inner, outer) == pytest.approx((165.5, 168.5))


def test_the_end_of_a_crack_at_the_edge_is_where_it_is_seen() -> None:
    path = tuple((x, 0.0) for x in (140.0, 147.0, 158.0, 170.0))
    crack = replace(examples.edge_check(1, 0.0), path=path, widths=(0.0, 0.2, 0.8, 0.5), tip_margin=7.0)
    assert seen_ends(crack) == ((147.0, 0.0), (170.0, 0.0))


def test_edge_distances_on_a_circle() -> None:
    ring = tuple((170 * np.cos(t), 170 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 720, endpoint=False))
    face = replace(FACE, outline=replace(FACE.outline, points=ring, under_bark=None))
    far = edge_distances(face, (20.0, -30.0))
    # From (20, -30): right and left along y = -30, up and down along x = 20 (y grows downwards).
    half, high = np.sqrt(170**2 - 30**2), np.sqrt(170**2 - 20**2)
    expected = {"up": high - 30, "right": half - 20, "down": high + 30, "left": half + 20}
    assert far == pytest.approx(expected, abs=0.01)  # chords of half a degree: 170 (1 - cos 0.25 deg) = 0.002


def test_line_is_where_its_landmarks_say() -> None:
    through, along = (5.0, -12.0), np.array([np.cos(0.3), np.sin(0.3)])
    for mark in line_landmarks(FACE, through, along):
        square = np.array([along[1], -along[0]])
        foot = np.asarray(mark.point) - mark.distance * square
        offset = foot - through
        assert offset[0] * along[1] - offset[1] * along[0] == pytest.approx(0, abs=1e-9)


def test_rip_line_ends_on_the_outline() -> None:
    nest = replace(examples.plan().nests[0], axis=Axis((0.0, 14.0, 150.0), (0.0, 1.0, 0.0)))
    ends = rip_line(FACE, nest)
    assert ends[:, 1] == pytest.approx([14.0, 14.0])
    assert ends[0, 0] * ends[1, 0] < 0
    from shapely.geometry import LinearRing, Point

    edge = LinearRing(FACE.outline.points)
    assert max(edge.distance(Point(end)) for end in ends) < 1e-6


def test_rip_line_lies_at_the_pith_whichever_way_the_rims_face() -> None:
    nest = examples.plan().nests[0]
    inward = replace(nest, axis=Axis((0.0, 14.0, 150.0), (0.0, 1.0, 0.0)))
    outward = replace(nest, axis=Axis((0.0, 164.0, 150.0), (0.0, -1.0, 0.0)))  # 150 mm deep, its foot at y = 14
    for turned in (inward, outward):
        through, into = rip_frame(FACE, turned)
        assert through == pytest.approx((0.0, 14.0))
        assert into == pytest.approx((0.0, 1.0))
        assert rip_line(FACE, turned)[:, 1] == pytest.approx([14.0, 14.0])
