"""Movement of bowls in space, against closed forms of the rim, symmetry and a search over all axes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from photonest.model import Axis
from photonest.wood.bowl import (
    CENTRED,
    RoundBowl,
    best_seat,
    dry,
    holds_pith,
    largest_round,
    pith_in_bowl,
    rough_bowl,
    seated,
)
from photonest.wood.moisture import Shrink, shrink_of
from photonest.wood.movement import PithLine
from photonest.wood.species import find_species, load_species
from tests.wood.shapes import arc_bowl, round_after_drying, straight_bowl

SPECIES = load_species()
MAPLE = shrink_of(find_species("sugar maple", SPECIES), 8.0)


def below(distance: float, depth: float = 110.0, aside: float = 0.0) -> PithLine:
    """Return a pith along x at a depth under the rim (negative: in front of it), in the frame of a bowl."""
    return PithLine((0.0, aside, distance), (1.0, 0.0, 0.0), (0.0, 0.0, depth / 2))


# Rim of 300 mm, its plane parallel to the pith, 8 % moisture: (species, distance) -> across, ovality %, lift.
# Worked from the polar map by hand, 2 (1 - er) r sin(k phi) across and (1 - er) (r cos(k phi) - h) lift, where
# phi = atan(150 / h), r = hypot(150, h), with Table 4-3's figures.
RIMS = [
    ("hard maple", 15, 287.3, 4.1, 8.2),
    ("hard maple", 60, 283.8, 5.3, 6.6),
    ("hard maple", 120, 281.2, 6.2, 5.0),
    ("black cherry", 15, 290.6, 3.0, 5.5),
    ("black cherry", 60, 288.2, 3.8, 4.4),
    ("black cherry", 120, 286.4, 4.4, 3.3),
    ("black walnut", 15, 287.1, 4.2, 3.7),
    ("black walnut", 60, 285.4, 4.8, 3.0),
    ("black walnut", 120, 284.2, 5.1, 2.3),
    ("American beech", 15, 285.1, 4.9, 10.3),
    ("American beech", 60, 280.7, 6.3, 8.3),
    ("American beech", 120, 277.5, 7.4, 6.2),
    ("white ash", 15, 288.1, 3.9, 4.7),
    ("white ash", 60, 286.1, 4.5, 3.8),
    ("white ash", 120, 284.6, 5.0, 2.8),
]


@pytest.mark.parametrize(("name", "distance", "across", "ovality", "lift"), RIMS)
def test_rim_of_a_side_grain_bowl(name: str, distance: float, across: float, ovality: float, lift: float) -> None:
    shrink = shrink_of(find_species(name, SPECIES), 8.0)
    found = round_after_drying(*arc_bowl(300, 110, 30), below(-distance), shrink)
    assert found.along == pytest.approx(299.7, abs=0.05)  # the table's last digits
    assert found.across == pytest.approx(across, abs=0.051)
    assert found.ovality_pct == pytest.approx(ovality, abs=0.051)
    assert found.rim_lift == pytest.approx(lift, abs=0.051)


def test_rim_of_an_end_grain_bowl_far_from_the_pith() -> None:
    pith = PithLine((-30000.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, 55.0))
    found = round_after_drying(*arc_bowl(300, 110, 30), pith, MAPLE)
    # Far away the rings are straight: 1 - er along the ray, 1 - et across it, no lift; the next term is D / distance.
    assert found.along == pytest.approx(300 * (1 - MAPLE.radial), abs=0.05)
    assert found.across == pytest.approx(300 * (1 - MAPLE.tangential), abs=0.05)
    assert found.rim_lift == pytest.approx(0, abs=0.05)
    assert found.diameter == pytest.approx(found.across, abs=0.05)
    assert found.depth == pytest.approx(110 * (1 - MAPLE.longitudinal), abs=0.1)


def test_a_green_bowl_is_already_round() -> None:
    outer, inner = arc_bowl(300, 110, 30)
    found = round_after_drying(outer, inner, below(-60), Shrink(0, 0, 0))
    # Chords between the sampled points lie up to 0.05 mm inside the arcs.
    for value, expected in zip(_sizes(found), (300, 110, 30, 36, 0, 0), strict=True):
        assert value == pytest.approx(expected, abs=0.1)


def _sizes(found: RoundBowl) -> tuple[float, ...]:
    return (found.diameter, found.depth, found.wall, found.base, found.ovality_pct, found.rim_lift)


def test_even_shrinkage_only_makes_it_smaller() -> None:
    found = round_after_drying(*arc_bowl(300, 110, 30), below(-60), Shrink(0.05, 0.05, 0.05))
    for value, expected in zip(_sizes(found), (285, 104.5, 28.5, 34.2, 0, 0), strict=True):
        assert value == pytest.approx(expected, abs=0.1)


@settings(max_examples=15)
@given(st.floats(-300, 300), st.floats(10, 300), st.floats(0.2, 0.45))
def test_turning_the_wood_about_the_axis_changes_no_size(aside: float, distance: float, share: float) -> None:
    outer, inner = arc_bowl(240, share * 240, 24)
    sizes = []
    for turn in (0.0, 0.7):
        c, s = math.cos(turn), math.sin(turn)
        axis = Axis((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
        pith = pith_in_bowl(axis, (-s * aside, c * aside, -distance), (c, s, 0.0), share * 240)
        sizes.append(_sizes(round_after_drying(outer, inner, pith, MAPLE)))
    assert sizes[0] == pytest.approx(sizes[1], abs=1e-6)


def test_a_mirrored_bowl_becomes_the_same() -> None:
    outer, inner = arc_bowl(240, 90, 24)
    left, right = (round_after_drying(outer, inner, below(-40, 90, aside), MAPLE) for aside in (-70.0, 70.0))
    assert _sizes(left) == pytest.approx(_sizes(right), abs=0.1)  # what the search for the axis leaves open


def test_the_frame_puts_x_along_the_grain() -> None:
    # A log's bowl: the pith along z of the face's frame at (10, 20); the rim 60 mm to its right, the bowl going right.
    pith = pith_in_bowl(Axis((70.0, 20.0, 150.0), (1.0, 0.0, 0.0)), (10.0, 20.0, 0.0), (0.0, 0.0, 1.0), 100.0)
    point, grain = np.array(pith.point), np.array(pith.grain)
    assert np.abs(grain) == pytest.approx([1, 0, 0])
    assert point[1:] == pytest.approx([0, -60])
    # A slice: x runs away from the pith.
    pith = pith_in_bowl(Axis((70.0, 20.0, 0.0), (0.0, 0.0, 1.0)), (10.0, 20.0, 0.0), (0.0, 0.0, 1.0), 100.0)
    assert pith.point == pytest.approx((-60, 0, 0))
    assert pith.grain == pytest.approx((0, 0, 1))


@pytest.mark.parametrize("pith", [below(-60, 110, 80), below(150, 110, 80), below(-200, 110, 200)])
def test_the_axis_found_is_the_best_there_is(pith: PithLine) -> None:
    """Second way: a finer search over all four numbers of the axis, from another start, on all meridians."""
    dried = dry(rough_bowl(*arc_bowl(300, 110, 30)), pith, MAPLE)

    def wood(found: RoundBowl) -> float:
        return found.diameter / 2 + found.depth + found.wall

    def lost(v: np.ndarray) -> float:
        return -wood(largest_round(seated(dried, (v[0], v[1] / 100, v[2], v[3] / 100))))

    simplex = np.array([1.0, -1.0, 1.0, -1.0]) - np.vstack([np.zeros(4), np.eye(4)])
    found = minimize(lost, simplex[0], method="Nelder-Mead", options={"initial_simplex": simplex, "maxfev": 500})
    best = wood(largest_round(seated(dried, best_seat(dried, pith))))
    assert best == pytest.approx(-found.fun, abs=0.2)  # the search on half the meridians, stopped at 0.02 mm
    assert best >= wood(largest_round(seated(dried, CENTRED))) - 0.02


def test_pith_in_the_wood_is_told() -> None:
    outer, _ = arc_bowl(300, 110, 30)
    end_grain = [PithLine((x, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, 55.0)) for x in (140.0, 160.0)]
    assert [holds_pith(outer, pith) for pith in end_grain] == [True, False]
    side_grain = [below(h) for h in (-1.0, 1.0, 109.0, 111.0)]
    assert [holds_pith(outer, pith) for pith in side_grain] == [False, True, True, False]
    assert holds_pith(outer, below(-1.0), margin=5.0)


def test_overlap_is_a_negative_wall() -> None:
    # A thin straight wall in beech: 300 mm, 4 mm thick; about 150 * 0.0862 = 12.9 mm of it are lost across the grain.
    beech = shrink_of(find_species("American beech", SPECIES), 8.0)
    found = round_after_drying(*straight_bowl(300, 120, 4), below(-50000), beech)
    assert found.wall == pytest.approx(150 * (1 - beech.tangential) - 146 * (1 - beech.longitudinal), abs=0.05)
    assert found.wall < 0
