"""Areas that the network likens to defects are outlined, described and judged."""

import dataclasses

import numpy as np
import pytest
import shapely

from photonest.cracks.patch_cues import Cues, cues_of
from photonest.cracks.patch_finder import Patches, PatchOptions, _along_edge, _each_once, _goes_on, _Likely
from photonest.cracks.patch_judge import shipped
from photonest.cracks.patch_map import KINDS, Likeness, likeness
from photonest.cracks.patches import Patch, outline_of, patches
from photonest.model import Crack, Defect, DefectKind, FlatPhoto, NotFound, Outline
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
    # The network answers for a four-hundredth of the diameter at a time, which is the standard error.
    assert hole.standard_error == pytest.approx(2 * 240 * MM_PER_PX / 400, rel=0.01)
    radius = np.sqrt(shape.area / np.pi)
    assert RADIUS * MM_PER_PX < radius < RADIUS * MM_PER_PX + 2 * hole.standard_error


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
    seen = likeness(dataclasses.replace(flat, pixels=pixels), outline(), None)
    assert _goes_on(sliver, outline(), seen) == (beyond == 25)


def test_a_tiny_piece_is_refused_with_a_hint() -> None:
    small = tuple((CENTRE[0] * MM_PER_PX + 10 * np.cos(a), CENTRE[1] * MM_PER_PX + 10 * np.sin(a)) for a in range(6))
    answer = Patches().find(face(), Outline(small), None, DEFAULT)
    assert isinstance(answer, NotFound) and "nearer" in answer.hint


def lumps(*areas: tuple[DefectKind, tuple[int, int, int, int], float], size: int = 200) -> Likeness:
    """What the network would make of boxes (left, upper, right, lower) of so likely kinds on a square of wood."""
    near = np.zeros((len(KINDS), size, size), np.float32)
    for kind, (left, upper, right, lower), share in areas:
        near[:, upper:lower, left:right] = 0
        near[KINDS.index(kind), upper:lower, left:right] = share
    pixels = np.full((size, size, 3), 150, np.uint8)
    flat = FlatPhoto(pixels, MM_PER_PX, (0.0, 0.0), (0.0, 0.0))
    return Likeness(flat, near, near, np.ones((size, size), bool), float(size))


def test_a_hole_in_decay_is_told_with_it_and_what_surrounds_it() -> None:
    seen = lumps(("decay", (40, 40, 120, 120), 0.9), ("hole", (70, 70, 80, 80), 0.9))
    told = [_Likely(0.9, one, shapely.Polygon(outline_of(one)).buffer(0)) for one in patches(seen)]
    assert sorted(one.patch.kind for one in _each_once(told)) == ["decay", "hole"]


def test_of_two_outlines_about_as_sure_the_larger_is_told() -> None:
    seen = lumps(("knot", (40, 40, 120, 120), 0.3), ("knot", (60, 60, 100, 100), 0.9))
    faint, clear = sorted(patches(seen), key=lambda one: one.level)
    assert faint.mask.sum() == 80**2 and clear.mask.sum() == 40**2

    def told(*sure: float) -> list[Patch]:
        shapes = [shapely.Polygon(outline_of(one)) for one in (faint, clear)]
        both = zip(sure, (faint, clear), shapes, strict=True)
        return [one.patch for one in _each_once([_Likely(*each) for each in both])]

    assert told(0.93, 0.95) == [faint]
    assert told(0.6, 0.95) == [clear]


def test_specks_are_holes_or_nothing() -> None:
    box = (100, 100, 102, 102)
    assert [one.kind for one in patches(lumps(("hole", box, 0.9)))] == ["hole"]
    assert patches(lumps(("knot", box, 0.9))) == []


def test_outlines_enclose_what_was_cut_and_cues_are_finite() -> None:
    cut = patches(likeness(drilled(), outline(), None))
    cues = np.array(cues_of(cut, None))
    assert cut and cues.shape == (len(cut), len(Cues._fields))
    assert np.isfinite(cues).all()
    for one in cut:
        if one.mask.sum() < 20:  # cells: the smoothing takes much of fewer
            continue
        area = one.mask.sum() * one.seen.flat.mm_per_px**2
        assert shapely.Polygon(outline_of(one)).buffer(0).area == pytest.approx(area, rel=0.35)  # smoothed


def test_the_shipped_judge_knows_every_cue() -> None:
    assert shipped().first.shape[1] == len(Cues._fields)
