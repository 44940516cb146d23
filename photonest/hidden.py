"""What a reference lying on the face hides of it: edge and cracks are drawn on beneath it, a pith is unsure there."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from photonest.imaging import Mask, light, polygon_mask
from photonest.model import Crack, Outline, Photo, Pith, Point, Points, Scale
from photonest.planar import Path, evenly, mean_diameter, polygon_area
from photonest.rectify import photo_to_mm

if TYPE_CHECKING:
    import shapely

CORNERS = 720
# shares of the mean diameter:
BESIDE = 0.006  # an edge found so near a reference may be the reference's own
ASTRAY = 0.03  # an edge that leaves the line between its hidden ends by more is not the wood's; by less, it may be
APART = 0.02  # hidden stretches with less in sight between them are one
LEAD = 0.06  # of the edge in sight at either end, by which its direction is known
# standard error of the edge drawn across, as a share of the hidden stretch: 0.04 to 0.06 on outlines of real and of
# drawn faces, 8 to 60 % of the diameter hidden
BRIDGE_ERROR = 0.05
LEAST_HIDDEN = 0.003  # of the face's area
# standard error of a pith as a share of how far from sight it lies: cards laid on the hearts of eleven real faces made
# it 0.03 to 0.4 times that wrong
PITH_ERROR = 0.2
LEAST_SHEET = 25_000.0  # mm2: between a card or loose marker and the smallest sheet, A5
RIM, BLACKEST = (0.02, 0.12), 0.16  # of a sheet's side: where its own white is looked for; its widest black, and more
NO_PAPER, SHEET_PX = 0.7, 240
REACHES = 0.02  # of the mean diameter: a crack that ends so near a reference runs beneath it


def sheets_beneath(photo: Photo, scale: Scale, aim_px: Point) -> tuple[Points, ...]:
    """Return the sheets, in pixels, on which the piece at the aim lies, whole or in part: they hide nothing of it.

    Nowhere near the aim is the picture as bright in blue, in which wood is dark, as the sheet is along its sides.
    """
    return tuple(
        sheet
        for sheet in scale.references_px
        if polygon_area(photo_to_mm(scale, sheet)) > LEAST_SHEET and _lies_on(photo, np.asarray(sheet), aim_px)
    )


def _lies_on(photo: Photo, sheet: Path, aim_px: Point) -> bool:
    import cv2
    import shapely

    area = shapely.Polygon(sheet)
    wide = math.sqrt(area.area)
    inner, outer = area.buffer(-RIM[1] * wide), area.buffer(-RIM[0] * wide)
    if inner.is_empty or not inner.contains(shapely.Point(aim_px)):
        return False
    low = np.maximum(np.floor(sheet.min(axis=0)).astype(int), 0)
    high = np.ceil(sheet.max(axis=0)).astype(int) + 1
    part = photo.pixels[low[1] : high[1], low[0] : high[0]]
    finer = SHEET_PX / max(part.shape[:2])
    small = cv2.resize(part, None, fx=finer, fy=finer, interpolation=cv2.INTER_AREA)
    reach = max(3, round(BLACKEST * wide * finer))
    blue = cv2.dilate(light(small)[..., 2], np.ones((reach, reach), np.uint8))

    def within(shape: shapely.Geometry) -> Mask:
        return polygon_mask((np.asarray(shape.exterior.coords)[:-1] - low) * finer, (small.shape[0], small.shape[1]))

    column, row = (np.asarray(aim_px) - low) * finer
    return bool(blue[int(row), int(column)] < NO_PAPER * np.median(blue[within(outer) & ~within(inner)]))


def drawn_across(outline: Outline, references: Sequence[Points]) -> Outline:
    """Return an outline that runs beneath the references as it does on either side of them.

    A reference is not taken for wood, so that an edge which it hides is found around it or astray across it.
    """
    import shapely

    if not references or outline.set_by == "person":
        return outline
    lying = shapely.unary_union([shapely.Polygon(reference).buffer(0) for reference in references])
    edge, hidden = _bridged(np.asarray(outline.points, dtype=float), lying)
    wood = outline.under_bark
    if wood is not None:
        inner, also = _bridged(np.asarray(wood, dtype=float), lying)
        part = shapely.Polygon(inner).buffer(0).intersection(shapely.Polygon(edge).buffer(0))
        if also or hidden:
            wood = _points(part) if part.area > 0 else None
    warnings = list(outline.warnings)
    error = outline.standard_error
    if hidden:
        share = hidden / float(shapely.LinearRing(edge).length)
        error = float(np.hypot(error, BRIDGE_ERROR * hidden * np.sqrt(share)))
        warnings.append(
            f"The reference hides about {hidden:.0f} mm of the edge, which is drawn across as it runs on either side: "
            "lay it clear of the edge."
        )
    whole = shapely.Polygon(edge).buffer(0)
    if whole.intersection(lying).area > LEAST_HIDDEN * whole.area:
        warnings.append("What lies on the face hides the wood beneath: look there for cracks yourself.")
    points = _points(whole) if hidden else outline.points
    return replace(outline, points=points, under_bark=wood, standard_error=error, warnings=tuple(warnings))


def unsure_beneath(pith: Pith, references: Sequence[Points]) -> Pith:
    """Return a pith that a reference hides, less sure by how far from sight it lies."""
    import shapely

    if pith.set_by == "person":
        return pith
    point = shapely.Point(pith.point)
    over = [shape for shape in map(shapely.Polygon, references) if shape.contains(point)]
    if not over:
        return pith
    depth = max(float(shape.exterior.distance(point)) for shape in over)
    return replace(
        pith,
        standard_error=math.hypot(pith.standard_error, PITH_ERROR * depth),
        warnings=(*pith.warnings, "The reference hides the pith: lay it clear of the heart, to know the pith better."),
    )


def led_beneath(crack: Crack, outline: Outline, references: Sequence[Points]) -> Crack:
    """Return a crack led straight on beneath a reference that it runs to: nobody sees how far it goes there."""
    import shapely

    if not references or crack.set_by == "person":
        return crack
    lying = shapely.unary_union([shapely.Polygon(one).buffer(0) for one in references])
    lying = lying.intersection(shapely.Polygon(outline.points).buffer(0)).buffer(0)  # areas alone
    path, diameter = np.asarray(crack.path, dtype=float), mean_diameter(outline.points)
    first, final = _beyond(path[::-1], lying, diameter), _beyond(path, lying, diameter)
    led = np.concatenate([first, path, final])
    widths = crack.widths
    if widths:
        widths = (*widths[:1] * len(first), *widths, *widths[-1:] * len(final))
    length = float(np.hypot(*np.diff(led, axis=0).T).sum())
    return replace(crack, path=tuple((float(x), float(y)) for x, y in led), widths=widths, length=length)


def _beyond(path: Path, lying: shapely.Geometry, diameter: float) -> Path:
    """Return where a path that ends at something lying on the wood comes out beyond it, shape (1, 2) or (0, 2)."""
    import shapely

    line = shapely.LineString(path)
    end, before = path[-1], np.asarray(line.interpolate(max(0.0, line.length - LEAD * diameter)).coords[0])
    way = (end - before) / max(float(np.linalg.norm(end - before)), 1e-9)
    under = shapely.LineString([end, end + diameter * way]).intersection(lying)
    if under.is_empty or under.distance(shapely.Point(end)) > REACHES * diameter:
        return np.empty((0, 2))
    nearest = min(shapely.get_parts(under), key=lambda part: float(part.distance(shapely.Point(end))))
    return np.asarray(nearest.coords)[-1:] if nearest.length > REACHES * diameter else np.empty((0, 2))


def _bridged(edge: Path, lying: shapely.Geometry) -> tuple[Path, float]:
    """Return a closed line led on where something lies on it, and how much of it that hides, in mm."""
    import shapely

    diameter = mean_diameter(edge)
    near = lying.buffer(BESIDE * diameter)
    ring = evenly(edge, CORNERS)
    within = shapely.contains_xy(near, ring[:, 0], ring[:, 1])
    if not within.any() or within.all():
        return edge, 0.0
    step = float(shapely.LinearRing(ring).length) / CORNERS
    lead = max(4, round(LEAD * diameter / step))
    first = int(np.flatnonzero(~within)[0])
    ring, within = np.roll(ring, -first, axis=0), np.roll(within, -first)
    led, hidden = ring.copy(), 0.0
    for start, stop in _runs(within, round(APART * diameter / step)):
        before, after = (np.take(ring, range(*ends), axis=0, mode="wrap")
                         for ends in ((start - lead, start), (stop, stop + lead)))  # fmt: skip
        across = _between(before, after[::-1], stop - start)
        if _away(ring[start:stop], np.concatenate([before[-1:], across, after[:1]])).max() > ASTRAY * diameter:
            led[start:stop] = across
            hidden += (stop - start) * step
    if not hidden:
        return edge, 0.0
    seen = shapely.Polygon(ring).buffer(0).difference(near)
    beneath = shapely.Polygon(led).buffer(0).intersection(near)
    return np.asarray(_points(shapely.union(seen, beneath).buffer(1e-6))), hidden


def _runs(within: np.ndarray[tuple[int], np.dtype[np.bool_]], apart: int) -> Iterator[tuple[int, int]]:
    """Yield the stretches of a closed line whose first point is in sight that are hidden, near ones as one."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], within, [False]])))
    runs = change.reshape(-1, 2).tolist()
    while runs:
        start, stop = runs.pop(0)
        while runs and runs[0][0] - stop < apart:
            stop = runs.pop(0)[1]
        yield start, stop


def _between(before: Path, after: Path, count: int) -> Path:
    """Return points of the cubic that leads from one stretch's end to another's, both running towards the gap."""
    ends = np.stack([before[-1], after[-1]])
    chord = float(np.linalg.norm(ends[1] - ends[0]))
    leads = np.stack([_heading(before), _heading(after)])
    # both towards each other along the chord where one of them points away from the gap: a ragged edge tells nothing
    towards = (ends[::-1] - ends) / max(chord, 1e-9)
    leads = np.where((leads * towards).sum(axis=1, keepdims=True) > 0.3, leads, towards)
    controls = ends + leads * chord / 3
    t = (np.arange(count) + 1)[:, None] / (count + 1)
    return np.asarray(
        (1 - t) ** 3 * ends[0] + 3 * (1 - t) ** 2 * t * controls[0] + 3 * (1 - t) * t**2 * controls[1] + t**3 * ends[1]
    )


def _heading(points: Path) -> Path:
    """Return the unit direction in which a stretch runs at its last point, by the parabola that fits it best."""
    t = np.linspace(-1.0, 0.0, len(points))
    slope = np.polynomial.polynomial.polyfit(t, points, 2)[1]
    return np.asarray(slope / max(float(np.linalg.norm(slope)), 1e-9))


def _away(points: Path, line: Path) -> Path:
    import shapely

    return np.asarray(shapely.distance(shapely.points(points), shapely.LineString(line)))


def _points(shape: shapely.Geometry) -> Points:
    import shapely

    largest = max(shapely.get_parts(shape), key=lambda part: float(part.area))
    return tuple((float(x), float(y)) for x, y in np.asarray(largest.exterior.coords)[:-1])
