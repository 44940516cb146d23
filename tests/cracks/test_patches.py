"""Areas unlike the wood about them are outlined, described and judged."""

import dataclasses

import numpy as np
import pytest
import shapely

from photonest.cracks.patch_cues import Cues, cues_of
from photonest.cracks.patch_finder import Patches, PatchOptions, _along_edge, _goes_on, _Likely
from photonest.cracks.patch_judge import shipped
from photonest.cracks.patches import outline_of, patches, sheets
from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline
from tests.cracks.scenes import CENTRE, MM_PER_PX, face, outline, pith

HOLE, RADIUS = (330.0, 190.0), 8.0  # px
DEFAULT = PatchOptions()


def drilled(middle: tuple[float, float] = HOLE, radius: float = RADIUS) -> FlatPhoto:
    """A drawn face with a round dark hole, its edge a pixel wide."""
    flat = face()
    y, x = np.mgrid[: flat.pixels.shape[0], : flat.pixels.shape[1]]
    share = np.clip(radius - np.hypot(x - middle[0], y - middle[1]) + 0.5, 0, 1)[..., None]
    pixels = (flat.pixels * (1 - share) + 18 * share).astype(np.uint8)
    return dataclasses.replace(flat, pixels=pixels)


def found(flat: FlatPhoto, **options: float) -> list[Defect]:
    answer = Patches().find(flat, outline(), pith(), dataclasses.replace(DEFAULT, **options))
    assert not isinstance(answer, NotFound)
    marks: list[Crack | Defect] = list(answer)
    return [mark for mark in marks if isinstance(mark, Defect)]


def test_a_hole_is_seen_where_and_as_large_as_it_is() -> None:
    (hole,) = found(drilled())
    assert (hole.kind, hole.status) == ("hole", "seen")
    shape = shapely.Polygon(hole.outline)
    assert shape.centroid.coords[0] == pytest.approx(np.array(HOLE) * MM_PER_PX, abs=MM_PER_PX)
    # The cut at a level between half and full depth moves the edge by under a pixel.
    assert np.sqrt(shape.area / np.pi) == pytest.approx(RADIUS * MM_PER_PX, abs=MM_PER_PX)


def test_sound_wood_and_its_pith_are_no_defects() -> None:
    assert found(face()) == []
    assert found(face(lines=[((300.0, 200.0), (420.0, 120.0), 3.0, 40.0)])) == []  # a crack is the others' business


def test_the_answer_does_not_depend_on_where_the_photo_lies() -> None:
    (here,) = found(drilled())
    (there,) = Patches().find(
        drilled().shifted(100.0, -50.0),
        Outline(tuple((x + 100, y - 50) for x, y in outline().points)),
        dataclasses.replace(pith(), point=(pith().point[0] + 100, pith().point[1] - 50)),
        DEFAULT,
    )  # type: ignore[misc]
    assert isinstance(there, Defect)
    moved = np.asarray(there.outline) - np.asarray(here.outline)
    assert moved == pytest.approx(np.tile([100.0, -50.0], (len(moved), 1)), abs=1e-6)


def test_what_is_covered_is_not_looked_at() -> None:
    x, y = np.array(HOLE) * MM_PER_PX
    card = ((x - 20, y - 20), (x + 20, y - 20), (x + 20, y + 20), (x - 20, y + 20))
    assert found(dataclasses.replace(drilled(), references=(card,))) == []


def test_limits_split_seen_possible_and_unsaid() -> None:
    (hole,) = found(drilled(), seen_from=1.0)
    assert hole.status == "possible"
    assert found(drilled(), possible_from=1.0) == []


def test_without_colours_nothing_is_more_than_possible() -> None:
    (hole,) = found(dataclasses.replace(drilled(), grey=True))
    assert hole.status == "possible" and hole.confidence > 0.8


def test_what_lies_along_the_edge_is_not_more_than_possible() -> None:
    wood = Outline(outline().points)
    x, y = np.array(CENTRE) * MM_PER_PX
    radius = shapely.Polygon(wood.points).exterior.distance(shapely.Point(x, y))

    def box(left: float, upper: float, right: float, lower: float) -> shapely.Polygon:
        return shapely.box(x + left, y + upper, x + right, y + lower)

    assert _along_edge(box(-20, radius - 8, 20, radius), wood)
    assert not _along_edge(box(-4, radius - 30, 4, radius), wood)  # inwards, as bark between two stems
    assert not _along_edge(box(-20, 10, 20, 18), wood)


@pytest.mark.parametrize("beyond", [25, 235])
def test_dark_that_goes_on_beyond_the_edge_is_not_wood(beyond: int) -> None:
    flat, wood = face(), shapely.Polygon(outline().points)
    y, x = np.mgrid[: flat.pixels.shape[0], : flat.pixels.shape[1]] * MM_PER_PX
    sliver = shapely.box(*(np.array(CENTRE) * MM_PER_PX + (-20, 108)), *(np.array(CENTRE) * MM_PER_PX + (20, 119)))
    pixels = flat.pixels.copy()
    pixels[~shapely.contains_xy(wood, x, y)] = beyond
    pixels[shapely.contains_xy(sliver, x, y)] = 25
    _, areas = sheets(dataclasses.replace(flat, pixels=pixels), outline())
    one = _Likely(0.9, "bark", patches(*sheets(drilled(), outline()))[0], sliver)
    assert _goes_on(one, outline(), areas) == (beyond == 25)


def test_a_tiny_piece_is_refused_with_a_hint() -> None:
    small = tuple((CENTRE[0] * MM_PER_PX + 10 * np.cos(a), CENTRE[1] * MM_PER_PX + 10 * np.sin(a)) for a in range(6))
    answer = Patches().find(face(), Outline(small), None, DEFAULT)
    assert isinstance(answer, NotFound) and "nearer" in answer.hint


def test_outlines_enclose_what_was_cut_and_cues_are_finite() -> None:
    holes, areas = sheets(drilled(), outline())
    cut = patches(holes, areas)
    cues = np.array(cues_of(cut, areas, None))
    assert cues.shape == (len(cut), len(Cues._fields))
    assert np.isfinite(cues).all()
    for one in cut:
        area = one.mask.sum() * one.sheet.flat.mm_per_px**2
        assert shapely.Polygon(outline_of(one)).buffer(0).area == pytest.approx(area, rel=0.35)  # smoothed


def test_the_shipped_judge_knows_every_cue() -> None:
    networks = shipped()
    assert set(networks) == {"knot", "hole", "bark"}
    assert all(network.first.shape[1] == len(Cues._fields) for network in networks.values())
