"""Movement: the polar map against a finite-difference strain, a finite-element solution and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.model import FieldError
from photonest.wood.moisture import Shrink, shrink_of
from photonest.wood.movement import Array, PithLine, gap_angle, move, polar_map
from photonest.wood.species import find_species, load_species

MAPLE = shrink_of(find_species("sugar maple", load_species()), 8.0)
shrinks = st.builds(Shrink, st.floats(0, 0.1), st.floats(0, 0.15), st.floats(0, 0.01))
coordinates = st.floats(-300, 300)


@given(shrinks, st.floats(20, 400), st.floats(-2.9, 2.9))
def test_every_point_is_stretched_by_its_free_shrinkage(shrink: Shrink, radius: float, angle: float) -> None:
    point = radius * np.array([math.cos(angle), math.sin(angle)])
    step = 1e-4
    steps = step * np.eye(2)
    gradient = np.stack([(polar_map(point + d, shrink) - polar_map(point - d, shrink)) / (2 * step) for d in steps], 1)
    ray = point / radius
    ring = np.array([-ray[1], ray[0]])
    # Central differences: the error is about step^2 / radius^2 < 1e-10, rounding about 1e-13 / step = 1e-9 * 400.
    assert np.linalg.norm(gradient @ ray) == pytest.approx(1 - shrink.radial, abs=1e-6)
    assert np.linalg.norm(gradient @ ring) == pytest.approx(1 - shrink.tangential, abs=1e-6)
    assert (gradient @ ray) @ (gradient @ ring) == pytest.approx(0, abs=1e-6)


@given(
    st.tuples(coordinates, st.floats(5, 300), coordinates), st.tuples(coordinates, coordinates, coordinates), shrinks
)
def test_moving_the_frame_moves_the_answer(
    point: tuple[float, float, float], shift: tuple[float, float, float], shrink: Shrink
) -> None:
    """Turned and shifted wood moves as it would where it was."""
    points = np.array([point, (50.0, 80.0, 10.0), (-30.0, 100.0, -40.0)])
    pith = PithLine((0.0, 0.0, 0.0), (0.0, 0.0, 2.0), (0.0, 90.0, 0.0))
    turn, _ = np.linalg.qr(np.array([[1.0, 2.0, 0.5], [0.3, -1.0, 2.0], [1.5, 0.2, 1.0]]))
    turn *= np.sign(np.linalg.det(turn))

    def there(values: Array) -> tuple[float, float, float]:
        a, b, c = turn @ values + np.array(shift)
        return (float(a), float(b), float(c))

    pith_there = PithLine(there(np.zeros(3)), _triple(turn @ [0.0, 0.0, 2.0]), there(np.array([0.0, 90.0, 0.0])))
    expected = move(points, pith, shrink) @ turn.T + shift
    assert move(points @ turn.T + shift, pith_there, shrink) == pytest.approx(expected, abs=1e-6)


def _triple(values: Array) -> tuple[float, float, float]:
    a, b, c = values
    return (float(a), float(b), float(c))


def test_along_the_grain_it_hardly_moves() -> None:
    pith = PithLine((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    moved = move(np.array([[200.0, 0.0, 100.0]]), pith, MAPLE)
    # 0.15 % green to ovendry, so 0.11 % at 8 %; straight away from the pith the radial figure holds.
    assert moved == pytest.approx(np.array([[200 * (1 - 0.0011), 0.0, 100 * (1 - 0.0352)]]))


@pytest.mark.parametrize("towards", [(0.0, 0.0, 5.0), (0.0, 0.0, 0.0)])
def test_a_piece_on_the_pith_has_no_side(towards: tuple[float, float, float]) -> None:
    with pytest.raises(FieldError, match="away from the pith"):
        PithLine((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), towards).frame()


def test_gap_angle_by_hand() -> None:
    assert gap_angle(MAPLE) == pytest.approx(360 * (0.0726 - 0.0352) / (1 - 0.0352))
    # Second way: the ring at 150 mm has shrunk to 2 pi 150 (1 - et), but lies at 150 (1 - er).
    missing = 2 * math.pi * 150 * ((1 - MAPLE.radial) - (1 - MAPLE.tangential))
    assert math.radians(gap_angle(MAPLE)) * 150 * (1 - MAPLE.radial) == pytest.approx(missing)


def _cup(width: float, distance: float) -> tuple[float, float]:
    """Return the cup and the new width of a flat-sawn board of maple, square above the pith."""
    face = polar_map(np.array([[distance, -width / 2], [distance, 0.0], [distance, width / 2]]), MAPLE)
    return float(face[0, 0] - face[1, 0]), float(face[2, 1] - face[0, 1])


def test_cup_of_a_flat_sawn_board() -> None:
    cup, width = _cup(100, 100)
    assert cup == pytest.approx(0.85, abs=0.005)  # two digits of the worked example
    assert width == pytest.approx(93.00, abs=0.005)
    # Second way: the edge lies at an angle k times as large, as far from the pith as the radial figure leaves it.
    half = math.atan2(50, 100) * (1 - MAPLE.tangential) / (1 - MAPLE.radial)
    radius = (1 - MAPLE.radial) * math.hypot(50, 100)
    assert cup == pytest.approx(radius * math.cos(half) - (1 - MAPLE.radial) * 100)
    assert width == pytest.approx(2 * radius * math.sin(half))


@given(st.floats(20, 60), st.floats(200, 500))
def test_small_cups_follow_the_small_angle_form(width: float, distance: float) -> None:
    # (et - er) w^2 / (4 h) to first order; the next terms are of relative size er, et and (w / h)^2: 0.15 holds all.
    approximate = (MAPLE.tangential - MAPLE.radial) * width**2 / (4 * distance)
    assert _cup(width, distance)[0] == pytest.approx(approximate, rel=0.15)


def test_the_shapes_of_the_handbooks_figure() -> None:
    """Wood Handbook Fig. 4-3: a board cups away from the pith, a square turns to a diamond, a round to an oval."""
    cup, _ = _cup(150, 80)
    assert cup > 0  # the edges go towards the bark: the bark side is hollow
    # A square whose diagonal lies along the ray (rings at 45 degrees to its sides) becomes a diamond, longest along it.
    square = polar_map(np.array([[180.0, 0.0], [200.0, 20.0], [220.0, 0.0], [200.0, -20.0]]), MAPLE)
    assert np.linalg.norm(square[0] - square[2]) > 1.03 * np.linalg.norm(square[1] - square[3])
    # A round becomes an oval, shorter along the rings by about et - er.
    angle = np.linspace(0, 2 * math.pi, 361)
    oval = polar_map(np.stack([300 + 20 * np.cos(angle), 20 * np.sin(angle)], 1), MAPLE)
    along, across = np.ptp(oval[:, 0]), np.ptp(oval[:, 1])
    assert 1 - across / along == pytest.approx(MAPLE.tangential - MAPLE.radial, rel=0.1)


# --- the finite-element check -------------------------------------------------------------------------------------


def _rms_hoop_stress(bottom: float, cells: int) -> float:
    """Return the r.m.s. hoop stress in MPa of a free 300 x 100 mm block that wants to shrink like maple.

    Plane stress, polar-orthotropic about the pith at the origin (E radial 1600, E tangential 850, shear 350 MPa, no
    Poisson coupling), four-node quadrilaterals; `bottom` is the block's lower edge above the pith.
    """
    import skfem
    from scipy.sparse.linalg import spsolve

    x = np.linspace(-150, 150, 3 * cells + 1)
    mesh = skfem.MeshQuad.init_tensor(x, bottom + np.linspace(0, 100, cells + 1))
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementQuad1()))
    moduli = np.array([1600.0, 850.0, 350.0])
    wanted = np.array([-MAPLE.radial, -MAPLE.tangential, 0.0])

    def polar_strain(u: skfem.DiscreteField, position: Array) -> Array:
        px, py = position
        r = np.maximum(np.hypot(px, py), 1e-9)
        c, s = px / r, py / r
        g = u.grad
        xx, yy, xy = g[0, 0], g[1, 1], g[0, 1] + g[1, 0]
        strain: Array = np.stack(
            [
                xx * c * c + yy * s * s + xy * c * s,
                xx * s * s + yy * c * c - xy * c * s,
                2 * (yy - xx) * c * s + xy * (c * c - s * s),
            ]
        )
        return strain

    @skfem.BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        a, b = polar_strain(u, w.x), polar_strain(v, w.x)
        return sum(m * a[i] * b[i] for i, m in enumerate(moduli))

    @skfem.LinearForm
    def load(v, w):  # type: ignore[no-untyped-def]
        b = polar_strain(v, w.x)
        return sum(m * wanted[i] * b[i] for i, m in enumerate(moduli))

    # Three fixed values take away the rigid motions and no more.
    left = int(np.argmin(mesh.p[0] + mesh.p[1]))
    right = int(np.argmin(-mesh.p[0] + mesh.p[1]))
    fixed = np.array([*basis.nodal_dofs[:, left], basis.nodal_dofs[1, right]])
    solution = skfem.solve(*skfem.condense(stiffness.assemble(basis), load.assemble(basis), D=fixed), solver=spsolve)
    field = basis.interpolate(solution)
    hoop = moduli[1] * (polar_strain(field, basis.global_coordinates())[1] - wanted[1])
    return float(np.sqrt((hoop**2 * basis.dx).sum() / basis.dx.sum()))


def test_finite_elements_find_no_stress_off_the_pith_and_plenty_with_it() -> None:
    pytest.importorskip("skfem")
    off = [_rms_hoop_stress(15.0, cells) for cells in (10, 20, 40)]
    held = [_rms_hoop_stress(-50.0, cells) for cells in (10, 20, 40)]
    # Linear elements: the stress error goes down with the mesh's step, so it halves each time; a little slack for
    # the strong curvature next to the pith.
    assert off[1] < 0.6 * off[0]
    assert off[2] < 0.6 * off[1]
    assert off[2] < 0.05  # MPa
    # With the pith inside the stress stays, whatever the mesh.
    assert held[2] == pytest.approx(held[0], rel=0.1)
    assert held[2] > 5
