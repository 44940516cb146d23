import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.drawn.marks import CrackSpec, trace
from tests.drawn.noise import Field, Grid
from tests.drawn.wood import ANGLES, Growth, Knot, Saw, WoodSpec

OFF_CENTRE = Growth(WoodSpec(seed=4, pith=(28.0, -17.0), ovality=0.08, lobes=0.03, knots=(Knot(70.0, 0.6, 12.0),)))


@given(st.floats(0, 2 * np.pi))
def test_wood_grows_older_inwards_along_every_ray(angle: float) -> None:
    growth = Growth(WoodSpec(seed=4, pith=(28.0, -17.0), ovality=0.08, lobes=0.03))
    r = np.linspace(1.0, float(growth.rim(angle)), 200)
    age = growth.smooth_age(growth.pith[0] + r * np.cos(angle), growth.pith[1] + r * np.sin(angle))
    assert (np.diff(age) > 0).all()


def test_a_field_is_the_same_at_points_and_over_a_raster() -> None:
    field = Field.seeded(3, "test", 9.0)
    grid = Grid(-40.0, 12.5, 0.7, 90, 60)
    x, y = np.meshgrid(grid.x, grid.y)
    np.testing.assert_allclose(field.over(grid), field.at(x, y), atol=1e-4)  # single precision
    assert field.over(Grid(0, 0, 2.0, 280, 280)).std() == pytest.approx(1.0, abs=0.1)


def test_depth_is_zero_on_the_outline_and_true_near_it() -> None:
    from shapely import Point, Polygon

    growth = OFF_CENTRE
    outline = growth.polygon(growth.under)
    assert np.abs(growth.depth(outline[:, 0], outline[:, 1], growth.under)).max() < 1e-9
    polygon = Polygon(outline)
    for scale in (0.99, 1.01):
        for x, y in outline[::500] * scale:
            true = polygon.exterior.distance(Point(x, y)) * (1 if scale < 1 else -1)
            # first order: off by the outline's curvature over 1.5 mm, where its finest waves are 3 mm long
            assert float(growth.depth(x, y, growth.under)) == pytest.approx(true, abs=0.25)


def test_a_sawn_piece_ends_at_its_saw_lines() -> None:
    growth = Growth(WoodSpec(seed=5, piece="quarter", cut_deg=30.0, cut_offset=-12.0))
    outline = growth.polygon(growth.outer)
    for nx, ny, d in growth.half_planes:
        reach = outline @ [nx, ny]
        assert reach.max() == pytest.approx(d, abs=1e-9)
        assert growth.pith @ [nx, ny] == pytest.approx(d + 12.0)


def test_a_blank_ends_at_its_saw_lines_and_has_bark_where_it_is_said_to() -> None:
    saws = (Saw(10.0, 90.0), Saw(100.0, 70.0, bark=True), Saw(190.0, 95.0), Saw(280.0, 60.0))
    growth = Growth(WoodSpec(seed=6, cut="side", bark=8.0, roughness=0.0, saws=saws))
    wood, piece = growth.polygon(growth.under), growth.polygon(growth.outer)
    for saw in saws:
        a = np.radians(saw.deg)
        reach = [float((line @ [np.cos(a), np.sin(a)]).max()) for line in (wood, piece)]
        # a log's side is as straight as a log grows: its waves are a fiftieth of its distance, some of them together
        assert reach[0] == pytest.approx(saw.distance, rel=0.06 if saw.bark else 1e-9)
        assert (reach[1] - reach[0] > 3.0) is saw.bark
    facing = np.degrees(growth.facing(np.radians([10.0, 190.0, 280.0]))) % 360
    assert facing == pytest.approx([10.0, 190.0, 280.0], abs=360 / ANGLES)  # the table's steps


def test_a_ring_shake_keeps_to_its_ring() -> None:
    shake = trace(OFF_CENTRE, CrackSpec("ring", 200.0, 0.5, length=60.0, wander=0.0))
    assert shake is not None
    age = OFF_CENTRE.age(shake.path[:, 0], shake.path[:, 1])
    assert np.ptp(age) < 1e-6
    assert np.abs(OFF_CENTRE.ring_edges - age.mean()).min() < 1e-6


def test_a_check_follows_the_rays_and_tapers() -> None:
    check = trace(OFF_CENTRE, CrackSpec("radial", 140.0, length=50.0, width=2.0, wander=0.5))
    assert check is not None
    steps = np.diff(check.path, axis=0)
    assert np.hypot(*steps.T).sum() == pytest.approx(50.0, abs=1e-6)
    along = steps / np.hypot(*steps.T)[:, None]
    rays = np.array([OFF_CENTRE.ray(x, y) for x, y in check.path[:-1]])
    turn = np.degrees(np.arccos(np.clip(-(along * rays).sum(1), -1, 1)))
    assert np.median(turn) < 8.0
    assert check.widths[0] == pytest.approx(2.0)
    assert check.widths[-1] == 0.0
    assert check.widths[: len(check.widths) // 2].mean() > check.widths[len(check.widths) // 2 :].mean()


def test_a_heart_check_passes_the_pith() -> None:
    check = trace(OFF_CENTRE, CrackSpec("heart", 30.0, length=80.0, width=1.0, second_deg=200.0))
    assert check is not None
    away = np.hypot(*(check.path - OFF_CENTRE.pith).T)
    assert away.min() == 0.0
    assert check.widths[np.argmin(away)] == pytest.approx(check.widths.max(), rel=0.6)


def test_side_grain_splits_along_the_grain_from_the_rim_inwards() -> None:
    growth = Growth(WoodSpec(seed=1, cut="side", grain_deg=90.0, bark=0.0))
    for angle in (88.0, 272.0):
        check = trace(growth, CrackSpec("radial", angle, length=20.0, wander=0.3))
        assert check is not None
        r = np.hypot(*check.path.T)
        assert r[0] - r[-1] > 18.0


def test_bark_in_plates_is_as_thick_in_the_mean_and_steps_from_plate_to_plate() -> None:
    plain, plated = (Growth(WoodSpec(seed=3, bark=15.0, plates=plates)) for plates in (0.0, 1.0))
    thick = [growth.outer - growth.under for growth in (plain, plated)]
    assert thick[1].mean() == pytest.approx(thick[0].mean(), rel=0.1)
    assert thick[1].min() > 0
    # within 3 mm along the rim, a step of half the bark's thickness
    steps = [np.abs(np.roll(line, -13) - line).max() for line in thick]
    assert steps[1] > 7.5 > steps[0]
