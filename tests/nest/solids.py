"""Plans checked a second time, as solids in space: bowls and grooves turned about their axis, defects as prisms.

Nothing here is reduced to a half-plane. manifold3d gives the least gap between two solids, what of one lies outside
another, and volumes; trimesh gives the distance between the surfaces of a wall.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import manifold3d
import numpy as np
import shapely
import shapely.affinity
import trimesh
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

from photonest.model import Bowl, Cut, Defect, Face, Nest, Plan, Points

SECTIONS = 180  # chords of a circle of radius 200 mm lie within 0.03 mm of it
PIECE = 3.0  # mm: defects are taken piece by piece, as the distance to keep grows away from the axis
THIN = 0.005  # mm: half width of lines
LONG = 2000.0
SLACK = 0.1  # mm: sections, chords of the drawn curves, thin lines, rounding
Solid = Any  # manifold3d.Manifold, which is not typed


def turned(profile: Points) -> Solid:
    """Return the solid that a closed profile (rho, h) sweeps about the axis, which is z from the rim plane down."""
    area = shapely.Polygon(profile)
    area = area if area.is_valid else area.buffer(0)
    parts = area.geoms if area.geom_type == "MultiPolygon" else [area]
    rings = [np.array(orient(part).exterior.coords)[:-1] for part in parts]  # anticlockwise, else they'd count as holes
    found = manifold3d.CrossSection([np.clip(ring, 0.0, None) for ring in rings]).revolve(SECTIONS)
    assert found.volume() > 0
    return found


def wall_of(bowl: Bowl) -> Solid:
    return turned((*bowl.outer, *reversed(bowl.inner)))


def hollow_of(bowl: Bowl) -> Solid:
    return turned((*bowl.inner, (0.0, 0.0)))


def groove_of(cut: Cut) -> Solid:
    """Return what a cut takes away below the rim plane."""
    (rho, h), half = cut.pivot, cut.kerf / 2
    whole = shapely.Point(rho, h).buffer(cut.radius + half, 128)
    ring = whole.difference(shapely.Point(rho, h).buffer(cut.radius - half, 128))
    return turned(tuple(ring.intersection(shapely.box(0, 0, 1000, 1000)).exterior.coords))


def placed(solid: Solid, nest: Nest) -> Solid:
    """Return a solid moved to where its axis lies in the wood."""
    down = np.array(nest.axis.direction, float)
    side = np.cross(down, [0.0, 1.0, 0.0] if abs(down[1]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    frame = np.column_stack([side, np.cross(down, side), down, nest.axis.point])
    return solid.transform(frame)


def prism(area: shapely.Polygon, low: float, high: float) -> Solid:
    ring = np.array(orient(area).exterior.coords)[:-1]
    found = manifold3d.CrossSection([ring]).extrude(high - low).translate((0, 0, low))
    assert found.volume() > 0
    return found


def pieces(path: Points, halves: list[float]) -> Iterator[tuple[shapely.Polygon, NDArray[np.float64]]]:
    """Yield a path piece by piece, each as wide as it is there, and the piece's middle line."""
    for (start, end), (a, b) in zip(pairwise(path), pairwise(halves), strict=True):
        count = max(1, math.ceil(math.dist(start, end) / PIECE))
        shares = np.linspace(0, 1, count + 1)[:, None]
        points = np.array(start) * (1 - shares) + np.array(end) * shares
        widths = (a * (1 - shares) + b * shares).ravel()
        discs = [shapely.Point(p).buffer(max(w, THIN), 6) for p, w in zip(points, widths, strict=True)]
        for k in range(count):
            yield shapely.convex_hull(shapely.union(discs[k], discs[k + 1])), points[k : k + 2]


def branches(
    knot: Defect, pith: tuple[float, float], depth: float | None
) -> Iterator[tuple[str, shapely.Polygon, NDArray[np.float64], float, float | None]]:
    """Yield what all branches through a knot may fill: the hull of the pith and the knot drawn out from it."""
    edge = np.array(knot.outline) - pith
    if shapely.Polygon(edge).distance(shapely.Point(0, 0)) < 1.0:
        return
    hull = shapely.MultiPoint(np.vstack([[(0.0, 0.0)], edge * (2 * LONG / np.hypot(*edge.T).min())])).convex_hull
    area = shapely.affinity.translate(hull.intersection(shapely.Point(0, 0).buffer(300.0)), *pith)
    if math.pi * 300.0**2 * 0.4 > area.area:
        yield knot.id, area, np.array(area.exterior.coords), knot.standard_error, depth


def defects(face: Face, plan: Plan) -> Iterator[tuple[str, shapely.Polygon, NDArray[np.float64], float, float | None]]:
    """Yield each standing defect in pieces: name, area, line, standard error, depth."""
    checks = plan.stock.check_depth if plan.stock.kind == "log" else None
    for crack in face.cracks:
        if crack.status != "dismissed":
            widths = crack.widths if len(crack.widths) == len(crack.path) else [crack.width] * len(crack.path)
            depth = checks if crack.depth is None and crack.kind != "ring" else crack.depth
            for area, line in pieces(crack.path, [w / 2 for w in widths]):
                yield crack.id, area, line, crack.standard_error, depth
    for mark in face.defects:
        if mark.status != "dismissed":
            depth = mark.depth
            if mark.kind == "knot" and plan.stock.knots_lean and plan.stock.kind != "blank" and face.pith is not None:
                yield from branches(mark, face.pith.point, depth)
            ring = (*mark.outline, mark.outline[0])
            whole = shapely.Polygon(mark.outline)
            yield mark.id, whole, np.array(whole.exterior.coords), mark.standard_error, depth
            for area, line in pieces(ring, [0.0] * len(ring)):
                yield mark.id, area, line, mark.standard_error, depth
    if face.pith is not None and plan.stock.kind != "log" and not plan.stock.through_pith:
        at = shapely.Point(face.pith.point)
        yield "pith", at.buffer(THIN), np.array([face.pith.point]), face.pith.standard_error, None


def too_near(face: Face, plan: Plan) -> Iterator[str]:
    """Yield every wall and groove that comes nearer to a defect than it may."""
    share = face.scale.standard_error_pct / 100
    for nest in plan.nests:
        parts = {f"bowl {bowl.number}": placed(wall_of(bowl), nest) for bowl in nest.bowls}
        parts |= {f"cut {cut.number}": placed(groove_of(cut), nest) for cut in nest.cuts}
        at = np.array(nest.axis.point[:2])
        boxes = {part: shapely.box(*np.array(solid.bounding_box())[[0, 1, 3, 4]]) for part, solid in parts.items()}
        for name, area, line, error, depth in defects(face, plan):
            away = float(np.hypot(*(line - at).T).min())
            keep = plan.shop.clearance + 2 * math.hypot(error, share * away)
            low, high = (-LONG, LONG) if depth is None else (0.0, depth)
            body = None
            for part, solid in parts.items():
                if boxes[part].distance(area) > keep:
                    continue
                body = body or prism(area, low, high)
                gap = solid.min_gap(body, keep + 1.0)
                if gap < keep - SLACK:
                    yield f"{part} lies {gap:.2f} mm from {name}, not {keep:.2f}"


def outside_the_wood(face: Face, plan: Plan) -> Iterator[str]:
    """Yield first bowls of which, with the trueing allowance around, something lies outside the wood."""
    depth = plan.stock.length if plan.stock.kind == "log" else plan.stock.thickness
    wood = prism(shapely.Polygon(face.outline.wood), 0.0, depth or 0.0)
    for nest in plan.nests:
        bowl = nest.bowls[0]
        wide = [(rho + plan.shop.trueing, h) for rho, h in bowl.outer[:-1]]
        body = placed(turned((*wide, (0.0, bowl.outer[-1][1]), (0.0, 0.0))), nest)
        out = (body - wood).volume()
        if out > 200.0:  # mm3: 0.05 mm, the rounding of figures, over a patch of 4000 mm2
            yield f"{out:.0f} mm3 of bowl 1 lie outside the wood"


def thinnest(bowl: Bowl, samples: int = 150) -> float:
    """Return the least distance from points of the inside to the surface of the outside."""
    inside, outside = (trimesh.creation.revolve(np.array(line)[::-1], sections=64) for line in (bowl.inner, bowl.outer))
    points = inside.vertices[:: max(1, len(inside.vertices) // samples)]
    return float(trimesh.proximity.closest_point(outside, points)[1].min())


def pith_too_near(face: Face, plan: Plan) -> Iterator[str]:
    """Yield first bowls of a log that come too near to the pith, which runs along the log."""
    if plan.stock.kind != "log" or face.pith is None or plan.stock.through_pith:
        return
    line = prism(shapely.Point(face.pith.point).buffer(THIN), -LONG, LONG)
    keep = plan.shop.pith_slab + 2 * face.pith.standard_error
    for nest in plan.nests:
        gap = placed(turned((*nest.bowls[0].outer, (0.0, 0.0))), nest).min_gap(line, keep + 1.0)
        if gap < keep - SLACK:
            yield f"bowl 1 lies {gap:.2f} mm from the pith, not {keep:.2f}"


def found_unsafe(face: Face, plan: Plan) -> list[str]:
    """Return all that is found wrong with a plan; empty when nothing is."""
    found = [*too_near(face, plan), *pith_too_near(face, plan)]
    if plan.stock.far_outline is None:
        found += outside_the_wood(face, plan)
    for nest in plan.nests:
        for bowl in nest.bowls:
            need = max(plan.shop.wall_min, plan.shop.wall_share * bowl.rim_diameter)
            if (wall := thinnest(bowl)) < need - SLACK:
                found.append(f"the wall of bowl {bowl.number} is {wall:.2f} mm, not {need:.2f}")
    return found
