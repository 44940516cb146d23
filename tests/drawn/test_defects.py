"""Knots, holes, bark and decay stand in the photo where the truth says, and only when asked for."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, contains_xy

from tests.drawn import draw, random_spec
from tests.drawn.camera import CameraSpec
from tests.drawn.defects import DefectSpec, defect_outline
from tests.drawn.spec import SceneSpec
from tests.drawn.wood import WoodSpec

CAMERA = CameraSpec(width=600, height=600, focal_px=600.0, distance=400.0, noise=0.0, blur_px=0.3)
WOOD = WoodSpec(seed=3, look="birch", diameter=300.0, heart=0.0)


def test_defects_are_drawn_only_when_asked_for() -> None:
    plain, asked = random_spec(11, reference="none"), random_spec(11, reference="none", defects=True)
    assert plain.defects == () and asked.defects
    assert replace(asked, defects=()) == plain


@pytest.mark.parametrize("kind", ["hole", "knot", "bark"])
def test_a_defect_darkens_its_place(kind: str) -> None:
    spec = DefectSpec(kind, (60.0, -30.0), 24.0, 16.0, 30.0, colour=(0.3, 0.25, 0.2))  # type: ignore[arg-type]
    drawn = draw(SceneSpec(wood=WOOD, defects=(spec,), camera=CAMERA))
    (truth,) = drawn.truth.defects
    assert truth.kind == kind and truth.clear
    rows, columns = np.mgrid[: CAMERA.height, : CAMERA.width]
    mm = drawn.truth.px_to_mm(np.column_stack([columns.ravel(), rows.ravel()]))
    grey = drawn.pixels.mean(axis=2).ravel()
    shape = Polygon(truth.outline_mm)
    inside = contains_xy(shape.buffer(-2), mm)
    about = contains_xy(shape.buffer(9).difference(shape.buffer(4)), mm)
    assert grey[inside].mean() < 0.8 * grey[about].mean()


def test_an_outline_has_the_size_asked_for() -> None:
    x, y = defect_outline(DefectSpec("hole", (5.0, -2.0), 8.0, 8.0, rough=0.0)).T
    assert np.hypot(x - 5, y + 2) == pytest.approx(np.full(len(x), 4.0))
