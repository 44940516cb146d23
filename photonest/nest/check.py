"""The independent check of a plan. It shares no code with the search and trusts none of its figures.

Everything is measured again from what the plan tells the turner: the bowls' drawn outlines, each cut's pivot and
radius, the axis. Curves are sampled densely and distances taken between polygons; defects are sampled along their
paths, and each point, swept through the wood, is a straight line in the meridian half-plane.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import Bowl, Crack, Cut, Face, Nest, Plan, Points, Shop
from photonest.nest.check_knots import rays_through

SLACK = 0.05  # mm: chords of the drawn curves (sagitta under 0.02), samples 0.25 apart along a crack, and rounding
LEEWAY = 0.3  # mm: what the errors of two distances to a defect may add to how far an axis may be off
PATH_STEP = 0.25
FAR = 1e5


@dataclass(frozen=True)
class Violation:
    """A rule that a plan breaks.

    Attributes
    ----------
    rule : str
        Short name of the rule.
    where : str
        The bowl or cut, as it is numbered in the plan.
    message : str
        What is wrong, with the figures.
    """

    rule: str
    where: str
    message: str


def check_plan(face: Face, plan: Plan, wall_need: Callable[[float], float] | None = None) -> tuple[Violation, ...]:
    """Return every rule of safe coring that a plan breaks; empty when it is safe.

    Parameters
    ----------
    face : Face
        The face the plan was made for.
    plan : Plan
        The plan.
    wall_need : callable or None
        The wall that drying needs, from the rim radius, where the plan was made with it.
    """
    found: list[Violation] = []
    for nest in plan.nests:
        found += check_nest(nest, plan.shop, wall_need)
        found += _check_wood(nest, face, plan)
        found += _check_rip(nest, face, plan)
        found += _check_defects(nest, face, plan)
    found += _check_halves(plan)
    return tuple(found)


def check_nest(nest: Nest, shop: Shop, wall_need: Callable[[float], float] | None = None) -> Iterator[Violation]:
    """Yield every rule that a nest breaks by itself, whatever wood it is cut from."""
    yield from _check_shapes(nest)
    for bowl in nest.bowls:
        yield from _check_bowl(bowl, shop, wall_need)
    for cut, bowl in zip(nest.cuts, nest.bowls, strict=False):
        yield from _check_cut(cut, bowl, shop)
    yield from _check_lathe(nest, shop)


def _line(points: Points) -> Any:
    import shapely

    return shapely.LineString(points)


def _off_circle(points: Points, centre: tuple[float, float], radius: float) -> float:
    array = np.asarray(points)
    return float(np.abs(np.hypot(array[:, 0] - centre[0], array[:, 1] - centre[1]) - radius).max())


def _check_shapes(nest: Nest) -> Iterator[Violation]:
    """See that each groove's edges are the inside of the bowl before it and the outside of the bowl after it."""
    for cut, bowl, core in zip(nest.cuts, nest.bowls, nest.bowls[1:], strict=False):
        where = f"cut {cut.number}"
        if _off_circle(bowl.inner, cut.pivot, cut.radius + cut.kerf / 2) > SLACK:
            yield Violation("shape", where, f"bowl {bowl.number}'s inside is not the outer edge of its groove")
        if _off_circle(core.outer[:-1], cut.pivot, cut.radius - cut.kerf / 2) > SLACK:
            yield Violation("shape", where, f"bowl {core.number}'s outside is not the inner edge of its groove")
        if not _holds(bowl.inner, core.outer):
            yield Violation("shape", where, f"bowl {core.number} does not lie within bowl {bowl.number}")
        entry = cut.pivot[0] + math.sqrt(max(cut.radius**2 - cut.pivot[1] ** 2, 0.0))
        depth = cut.pivot[1] + math.sqrt(max(cut.radius**2 - cut.pivot[0] ** 2, 0.0))
        if abs(entry - cut.entry_radius) > SLACK or abs(depth - cut.axis_depth) > SLACK:
            yield Violation("shape", where, "entry radius or depth on the axis is not that of its arc")


def _holds(outer: Points, inner: Points) -> bool:
    return bool(section(outer).buffer(SLACK).contains(_line(inner)))


def section(points: Points) -> Any:
    """Return the area between a curve, the rim plane and the axis."""
    import shapely

    area = shapely.Polygon([*points, (0.0, 0.0)])
    return area if area.is_valid else shapely.make_valid(area)


def _check_bowl(bowl: Bowl, shop: Shop, wall_need: Callable[[float], float] | None) -> Iterator[Violation]:
    where = f"bowl {bowl.number}"
    rim, outer, inner = bowl.outer[0][0], _line(bowl.outer), _line(bowl.inner)
    ruled = max(shop.wall_min, shop.wall_share * 2 * rim, wall_need(rim) if wall_need else 0.0)
    need = max(ruled, bowl.wall_required)  # what the plan itself asks for counts where the wood isn't known any more
    wall, base = float(outer.distance(inner)), bowl.outer[-1][1] - bowl.inner[-1][1]
    if wall < need - SLACK or not section(bowl.outer).buffer(SLACK).contains(inner):
        yield Violation("wall", where, f"the wall is {wall:.2f} mm at its thinnest, and needs {need:.2f}")
    if base < need + shop.tenon - SLACK:
        yield Violation("base", where, f"the base is {base:.2f} mm, and needs {need + shop.tenon:.2f}")
    if 2 * rim < shop.min_rim - SLACK or bowl.outer[-1][1] < shop.min_depth - SLACK:
        yield Violation("size", where, f"{2 * rim:.1f} x {bowl.outer[-1][1]:.1f} mm is too small to be worth having")
    foot = 2 * bowl.outer[-2][0]
    if not any(jaws.name == bowl.jaws and jaws.diameter.holds(foot, SLACK) for jaws in shop.jaws):
        yield Violation("foot", where, f"no jaws called {bowl.jaws!r} hold a foot of {foot:.1f} mm")
    if abs(bowl.outer[-1][1] - bowl.outer[-2][1]) > SLACK or max(h for _, h in bowl.outer) > bowl.depth + SLACK:
        yield Violation("foot", where, "the foot is not flat")
    if min(min(rho, h) for rho, h in (*bowl.outer, *bowl.inner)) < -SLACK or abs(bowl.outer[0][1]) > SLACK:
        yield Violation("shape", where, "the outline leaves the half-plane")
    hollow = section(bowl.inner)
    held = 2 * math.pi * hollow.centroid.x * hollow.area / 1000  # Pappus
    told = (bowl.rim_diameter / 2, bowl.depth, bowl.wall_min, bowl.base_min, bowl.foot_diameter)
    true = (rim, bowl.outer[-1][1], wall, base, foot)
    if (
        any(abs(a - b) > 2 * SLACK for a, b in zip(told, true, strict=True))
        or abs(bowl.capacity_ml - held) > 0.01 * held
        or bowl.wall_required < ruled - SLACK
    ):
        yield Violation(
            "figures", where, "a size told is not that of the outline drawn, or its least wall not that of the rules"
        )


def _check_cut(cut: Cut, bowl: Bowl, shop: Shop) -> Iterator[Violation]:
    where = f"cut {cut.number}"
    owned = {(c.name, c.radius, c.kerf) for c in shop.cutters}
    if (cut.cutter, cut.radius, cut.kerf) not in owned:
        yield Violation("cutter", where, f"the workshop has no cutter {cut.cutter} of radius {cut.radius:g}")
    if not shop.stand_off.holds(-cut.pivot[1], 1e-6):
        yield Violation("reach", where, f"a stand-off of {-cut.pivot[1]:.1f} mm is beyond the rig's travel")
    if not shop.offset.holds(cut.pivot[0], 1e-6):
        yield Violation("reach", where, f"an offset of {cut.pivot[0]:.1f} mm is beyond the rig's travel")
    slope = math.degrees(math.asin(min(1.0, abs(cut.pivot[0]) / cut.radius)))
    if slope > shop.max_slope + 1e-6:
        yield Violation("slope", where, f"the groove slopes {slope:.1f} degrees at the axis")
    speed = math.pi * 2 * bowl.outer[0][0] * cut.top_rpm / 60_000
    if speed > shop.top_rim_speed + 1e-6 or cut.top_rpm > shop.coring_rpm_max or cut.start_rpm > cut.top_rpm:
        yield Violation("speed", where, f"{cut.top_rpm:g} rpm is {speed:.1f} m/s at the rim")


def _check_lathe(nest: Nest, shop: Shop) -> Iterator[Violation]:
    first = nest.bowls[0]
    if 2 * first.outer[0][0] > shop.swing + SLACK:
        yield Violation("swing", "bowl 1", f"{2 * first.outer[0][0]:.1f} mm does not swing")
    rims = [bowl.outer[0][0] for bowl in nest.bowls]
    if [bowl.number for bowl in nest.bowls] != list(range(1, len(rims) + 1)) or sorted(rims, reverse=True) != rims:
        yield Violation("order", "bowls", "are not numbered from the largest")
    left = first.outer[-1][1] - max(h for _, h in first.inner)  # a faceplate sits on the foot
    if shop.screws is not None and left < shop.screws + shop.clearance - SLACK:
        yield Violation(
            "screws", "cut 1", f"its groove comes within {left:.1f} mm of the foot, {shop.screws:g} mm screws"
        )


def _check_wood(nest: Nest, face: Face, plan: Plan) -> Iterator[Violation]:
    """See that the first bowl lies in the wood, less the trueing allowance."""
    import shapely

    rho, h = np.asarray(nest.bowls[0].outer).T
    rho = rho + plan.shop.trueing
    if 0 < nest.saw_diameter < 2 * rho[0] - 2 * SLACK:
        yield Violation("saw", "bowl 1", f"a blank {nest.saw_diameter:.1f} mm across leaves nothing to true")
    origin, into = np.asarray(nest.axis.point), np.asarray(nest.axis.direction)
    woods = [face.outline.wood, *([plan.stock.far_outline] if plan.stock.far_outline else [])]
    if plan.stock.kind == "log":
        yield from _check_length(nest, plan)
        lying = _lying(nest, plan.shop.trueing)
        for wood in woods:
            out = lying.difference(shapely.Polygon(wood).buffer(SLACK)).area
            if out > 0.1:
                yield Violation("wood", "bowl 1", f"{out:.1f} mm2 of its section lie outside the wood")
        return
    thickness = plan.stock.thickness or 0.0
    centre, rooms = shapely.Point(origin[:2]), []
    for wood in woods:
        area = shapely.Polygon(wood)
        rooms.append(float(area.exterior.distance(centre)) if area.contains(centre) else -1.0)
    depth = h if into[2] > 0 else thickness - h
    room = rooms[0] + (rooms[-1] - rooms[0]) * np.clip(depth / thickness, 0.0, 1.0)
    short = float((rho - room).max())
    if short > SLACK:
        yield Violation("wood", "bowl 1", f"comes {short:.2f} mm too near to the edge of the wood")
    if h.max() > thickness + SLACK:
        yield Violation("wood", "bowl 1", "is deeper than the wood is thick")


def _lying(nest: Nest, trueing: float) -> Any:
    """Return the section of a log's first bowl, with what is trued off it, in the plane of the log's end."""
    import shapely

    rho, h = np.asarray(nest.bowls[0].outer).T
    origin, into = np.asarray(nest.axis.point[:2]), np.asarray(nest.axis.direction[:2])
    across = np.array([-into[1], into[0]])
    sides = [origin + h[:, None] * into + side * (rho + trueing)[:, None] * across for side in (1.0, -1.0)]
    return shapely.Polygon(np.vstack([sides[0], sides[1][::-1]]))


def _check_halves(plan: Plan) -> Iterator[Violation]:
    """See that the nests of a log lie in different halves of it, the saw's slot between them."""
    if plan.stock.kind != "log" or len(plan.nests) < 2:
        return
    apart = float(_lying(plan.nests[0], 0.0).distance(_lying(plan.nests[1], 0.0)))
    if len(plan.nests) > 2 or apart < plan.shop.saw_kerf - SLACK:
        yield Violation("halves", "nests", f"they lie {apart:.1f} mm apart, and the saw takes {plan.shop.saw_kerf:g}")


def _check_length(nest: Nest, plan: Plan) -> Iterator[Violation]:
    """See that the first bowl lies between the ends of a log, clear of end checks at the end that was not seen."""
    rim, z, length = nest.bowls[0].outer[0][0], nest.axis.point[2], plan.stock.length or 0.0
    far = plan.stock.far_check_depth
    far = far if far is not None else plan.stock.check_depth or 0.0
    keep = plan.shop.clearance if far > 0 else plan.shop.trueing
    if z - rim < plan.shop.trueing - SLACK or z + rim > length - far - keep + SLACK:
        yield Violation("wood", "bowl 1", f"{2 * rim:.1f} mm at {z:.1f} mm does not fit in the log's clear length")


def _check_rip(nest: Nest, face: Face, plan: Plan) -> Iterator[Violation]:
    """See that the bowls of a log keep to their own side of the pith."""
    if plan.stock.kind != "log" or plan.stock.through_pith or face.pith is None:
        return
    into = np.asarray(nest.axis.direction[:2])
    h = float((np.asarray(face.pith.point) - np.asarray(nest.axis.point[:2])) @ into)
    deepest = max(depth for _, depth in nest.bowls[0].outer)
    needed = plan.shop.pith_slab + 2 * face.pith.standard_error
    if max(-h, h - deepest) < needed - SLACK:
        yield Violation("pith", "bowl 1", f"the pith is {max(-h, h - deepest):.1f} mm away, and must be {needed:.1f}")


def _check_defects(nest: Nest, face: Face, plan: Plan) -> Iterator[Violation]:
    """See that all between the first bowl's outside and the last bowl's inside keeps clear of every defect."""
    import shapely

    solid = section(nest.bowls[0].outer).difference(section(nest.bowls[-1].inner))
    shapely.prepare(solid)
    share = face.place_error
    for name, points, reach, error, depth in standing_defects(face, plan):
        lines, on_face = in_half_plane(points, depth, nest)
        away = shapely.distance(lines, solid) - reach
        needed = plan.shop.clearance + 2 * np.hypot(error, share * on_face)
        short = float((needed - away).max())
        if short > SLACK:
            yield Violation("clearance", "bowls", f"{name} is {short:.2f} mm nearer than it may be")
        elif short + nest.may_be_off > LEEWAY:
            message = f"with the axis {nest.may_be_off:.1f} mm off, as is allowed, {name} comes nearer than it may be"
            yield Violation("leeway", "bowls", message)


def standing_defects(
    face: Face, plan: Plan
) -> Iterator[tuple[str, NDArray[np.float64], NDArray[np.float64], float, float | None]]:
    """Yield each standing defect: name, points on the face, half width at each, standard error, depth."""
    if face.pith is not None and not plan.stock.through_pith and plan.stock.kind != "log":
        yield "pith", np.array([face.pith.point]), np.zeros(1), face.pith.standard_error, None
    for crack in face.cracks:
        if crack.status != "dismissed":
            points, half = _sampled(crack.path, [width / 2 for width in crack.openings])
            yield f"crack {crack.id}", points, half, crack.standard_error, _reaching(crack, plan)
    for defect in face.defects:
        if defect.status != "dismissed":
            points = _filled(defect.outline)
            yield f"{defect.kind} {defect.id}", points, np.zeros(len(points)), defect.standard_error, defect.depth
            if (branch := rays_through(defect, face, plan)) is not None:
                yield f"{defect.kind} {defect.id}", branch[0], np.zeros(len(branch[0])), branch[1], defect.depth


def _reaching(crack: Crack, plan: Plan) -> float | None:
    """Return how deep a crack reaches: an end check of a log as told, but no ring shake, which is none."""
    if crack.depth is None and plan.stock.kind == "log" and crack.kind != "ring":
        return plan.stock.check_depth
    return crack.depth


def _sampled(path: Points, half: Iterable[float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    array, halves = np.asarray(path, float), np.asarray(list(half), float)
    steps = np.hypot(*np.diff(array, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.union1d(np.arange(0.0, along[-1], PATH_STEP), along)
    points = np.stack([np.interp(at, along, array[:, 0]), np.interp(at, along, array[:, 1])], axis=1)
    return points, np.interp(at, along, halves)


def _filled(outline: Points) -> NDArray[np.float64]:
    import shapely

    edge, _ = _sampled((*outline, outline[0]), [0.0] * (len(outline) + 1))
    low, high = edge.min(axis=0), edge.max(axis=0)
    grid = np.stack(np.meshgrid(*(np.arange(a, b, 1.0) for a, b in zip(low, high, strict=True))), axis=-1)
    inside = grid.reshape(-1, 2)[shapely.contains_xy(shapely.Polygon(outline), grid.reshape(-1, 2))]
    return np.vstack([edge, inside])


def in_half_plane(points: NDArray[np.float64], depth: float | None, nest: Nest) -> tuple[Any, NDArray[np.float64]]:
    """Return points of the face, swept through the wood, as lines in the half-plane, and how far off they lie on it.

    A line square to the face has its least rho where it passes the axis; it is given by that place and its two ends.
    """
    import shapely

    origin, direction = np.asarray(nest.axis.point), np.asarray(nest.axis.direction)
    low, high = (-FAR, FAR) if depth is None else (0.0, depth)
    ends = []
    for z in (low, min(max(float(origin[2]), low), high), high):
        space = np.column_stack([points, np.full(len(points), z)]) - origin
        h = space @ direction
        ends.append(np.stack([np.linalg.norm(space - h[:, None] * direction, axis=1), h], axis=1))
    on_face = np.hypot(points[:, 0] - origin[0], points[:, 1] - origin[1])
    return shapely.linestrings(np.stack(ends, axis=1)), on_face
