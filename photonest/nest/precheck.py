"""Before coring: what each bowl of a nest meets on the axis the blank turns on, and what to change to save the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from photonest.model import Axis, Bowl, Cut, Face, Nest, NoPlanError, Plan, Point, Shop, Stock, StockError
from photonest.nest.check import check_nest, in_half_plane, section, standing_defects
from photonest.nest.planner import plan_nest
from photonest.nest.rules import WallNeed

Verdict = Literal["clear", "close", "hit"]
ROUNDED = 0.05  # mm: plans are told to a tenth


@dataclass(frozen=True)
class Meeting:
    """What a bowl or a cut meets.

    Attributes
    ----------
    number : int
    verdict : {"clear", "close", "hit"}
        Nothing within the margin; a defect within it; a defect in the wood of the bowl or in the way of the cut.
    defect : str
        The worst, by its name: of those that hit, the one that comes farthest inside the rim. Empty when there is none.
    distance : float
        To it, in mm, before standard errors; 0 when it is hit, 1000 when there is none.
    needed : float
        The distance to keep from it: the workshop's clearance and twice the standard errors.
    inside : float
        How far it comes inside the bowl's rim, in mm; 0 when it does not.
    """

    number: int
    verdict: Verdict
    defect: str
    distance: float
    needed: float
    inside: float


@dataclass(frozen=True)
class Precheck:
    """The answer before coring.

    Attributes
    ----------
    axis : Axis
    bowls, cuts : tuple of Meeting
    too_small : tuple of str
        In which ways the piece can't hold the nest, each in a sentence.
    faults : tuple of str
        The rules of safe coring that the nest breaks by itself, in this workshop: a file may have been changed by hand.
    advice : tuple of str
        What to do, in plain words.
    safe : Plan or None
        The best nest that is safe on this axis, when the one checked is not.
    """

    axis: Axis
    bowls: tuple[Meeting, ...]
    cuts: tuple[Meeting, ...]
    too_small: tuple[str, ...]
    faults: tuple[str, ...]
    advice: tuple[str, ...]
    safe: Plan | None

    @property
    def all_clear(self) -> bool:
        """Whether the nest is sound, the piece holds it, and every bowl and every cut is clear."""
        return not (self.too_small or self.faults) and all(
            meeting.verdict == "clear" for meeting in (*self.bowls, *self.cuts)
        )


def rim_centre(face: Face) -> Point:
    """Return the centre of the circle that best fits the edge of the wood, by least squares: where it turns."""
    import shapely

    edge = shapely.LineString([*face.outline.wood, face.outline.wood[0]])
    points = np.array([edge.interpolate(share, normalized=True).coords[0] for share in np.linspace(0, 1, 361)[:-1]])
    rows = np.column_stack([2 * points, np.ones(len(points))])
    x, y, _ = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)[0]
    return float(x), float(y)


def check_before_coring(
    face: Face,
    stock: Stock,
    shop: Shop,
    plan: Plan | None = None,
    *,
    half: int | None = None,
    axis: Point | None = None,
    wall_need: WallNeed | None = None,
) -> Precheck:
    """Return what each bowl and cut meets on the axis that a blank or slice turns on.

    Parameters
    ----------
    face, stock, shop
        The face as it is now, and what it belongs to.
    plan : Plan or None
        The nest to check; None for the one that would be best if the wood held no defect.
    half : int or None
        Which half of a log the blank is of, from 1, as the plan counts; None where the plan has one nest.
    axis : (x, y) or None
        The axis; None for the centre of the round rim.
    wall_need : callable or None
        As for `plan_nest`.

    Raises
    ------
    StockError
        If the stock is a log, the plan is of another kind of piece or has no such half, or, without a plan, the axis
        lies outside the wood.
    NoPlanError
        If not even sound wood would give a bowl on this axis.
    """
    if stock.kind == "log":
        raise StockError("A log is not cored: check each blank sawn from it.", "Give --stock blank and its thickness.")
    at = axis if axis is not None else rim_centre(face)
    if plan is None:
        sound = replace(face, cracks=(), defects=(), pith=None)
        plan = plan_nest(sound, stock, shop, keep_axis=at, wall_need=wall_need)
    nest = _turning_about(at, _nest_of(plan, stock, half), stock)
    asked = replace(plan, stock=stock, shop=shop, nests=(nest,))
    bowls = tuple(_meeting(bowl.number, _wood_of(bowl), bowl, face, asked) for bowl in nest.bowls)
    pairs = zip(nest.cuts, nest.bowls, strict=False)
    cuts = tuple(_meeting(cut.number, _groove(cut), bowl, face, asked) for cut, bowl in pairs)
    small = _too_small(face, stock, nest)
    faults = tuple(f"{fault.where}: {fault.message}" for fault in check_nest(nest, shop))
    told = (
        [f"Don't cut by this plan: {'; '.join(faults)}. It was changed, or is of another workshop."] if faults else []
    )
    advice, safe = _advice(face, stock, shop, nest, bowls, cuts, (*told, *small), at, wall_need)
    guessed = _guessed(face, shop, at) if axis is None else ()
    return Precheck(nest.axis, bowls, cuts, small, faults, (*guessed, *advice), safe)


def _nest_of(plan: Plan, stock: Stock, half: int | None) -> Nest:
    """Return the nest of a plan that a piece is meant for; raise StockError where that can't be told."""
    if stock.kind != plan.stock.kind and (plan.stock.kind, stock.kind) != ("log", "blank"):
        raise StockError(f"The plan is of a {plan.stock.kind}, and this is a {stock.kind}.", "Give the right --stock.")
    count = len(plan.nests)
    if half is None and count > 1:
        raise StockError(f"The plan has {count} halves.", "Say with --half which one this blank is of.")
    if half is not None and not 1 <= half <= count:
        raise StockError(f"The plan has no half {half}.", f"It counts its halves from 1 to {count}.")
    return plan.nests[(half or 1) - 1]


def _turning_about(at: Point, nest: Nest, stock: Stock) -> Nest:
    """Return a nest on an axis square to the face, as a log's is not until its blank is sawn."""
    far = stock.rim == "far"
    axis = Axis((*at, (stock.thickness or 0.0) if far else 0.0), (0.0, 0.0, -1.0 if far else 1.0))
    return replace(nest, axis=axis)


def _too_small(face: Face, stock: Stock, nest: Nest) -> tuple[str, ...]:
    """Return in which ways a piece can't hold the first bowl of a nest, each in a sentence.

    Twice the standard errors of the face are allowed for: a piece that is turned true already just holds its rim.
    """
    import shapely

    bowl, rim = nest.bowls[0], nest.bowls[0].rim_diameter / 2
    wood, middle = shapely.Polygon(face.outline.wood), shapely.Point(nest.axis.point[:2])
    room = float(wood.exterior.distance(middle)) if wood.contains(middle) else 0.0
    error = 2 * math.hypot(face.scale.standard_error_pct / 100 * rim, face.outline.standard_error)
    told = []
    if stock.thickness is not None and stock.thickness < bowl.depth - ROUNDED:
        told.append(f"Bowl 1 is planned {bowl.depth:.1f} mm deep, and the piece is {stock.thickness:g} mm thick.")
    if room + error < rim - ROUNDED:
        told.append(f"Bowl 1 reaches {rim:.1f} mm from the axis, and the wood ends {room:.1f} mm from it.")
    return tuple(told)


def _guessed(face: Face, shop: Shop, centre: Point) -> tuple[str, ...]:
    """Return that the axis is a guess, where the rim is farther from round than trueing and errors explain."""
    away = np.hypot(*(np.asarray(face.outline.wood) - centre).T)
    off = float(np.ptp(away)) / 2
    if off <= shop.trueing + 2 * face.outline.standard_error:
        return ()
    return (
        f"The rim is up to {off:.0f} mm off round, as of a piece that was not turned yet: where it will turn is a "
        "guess. Give it with --axis X,Y.",
    )


def _wood_of(bowl: Bowl) -> Any:
    return section(bowl.outer).difference(section(bowl.inner))


def _groove(cut: Cut) -> Any:
    import shapely

    pivot = shapely.Point(cut.pivot)
    ring = pivot.buffer(cut.radius + cut.kerf / 2, 256).difference(pivot.buffer(cut.radius - cut.kerf / 2, 256))
    return ring.intersection(shapely.box(0.0, 0.0, 1e4, 1e4))


def _meeting(number: int, solid: Any, bowl: Bowl, face: Face, plan: Plan) -> Meeting:
    """Return the worst that a part of the half-plane meets: what comes deepest inside, or else nearest its margin."""
    import shapely

    share = face.place_error
    worst = Meeting(number, "clear", "", 1000.0, 0.0, 0.0)
    for name, points, reach, error, depth in standing_defects(face, plan):
        lines, on_face = in_half_plane(points, depth, plan.nests[0])
        away = np.maximum(shapely.distance(lines, solid) - reach, 0.0)
        needed = plan.shop.clearance + 2 * np.hypot(error, share * on_face)
        place = int(np.argmin(away - needed))
        distance, keep = float(away[place]), float(needed[place])
        verdict: Verdict = "hit" if distance <= 0 else "close" if distance < keep else "clear"
        inside = max(0.0, bowl.outer[0][0] - float((on_face - reach).min())) if verdict == "hit" else 0.0
        found = Meeting(number, verdict, name, distance, keep, inside)
        worst = min(worst, found, key=lambda each: (each.verdict != "hit", -each.inside, each.distance - each.needed))
    return worst


def _advice(
    face: Face,
    stock: Stock,
    shop: Shop,
    nest: Nest,
    bowls: tuple[Meeting, ...],
    cuts: tuple[Meeting, ...],
    worse: tuple[str, ...],
    at: Point,
    wall_need: WallNeed | None,
) -> tuple[tuple[str, ...], Plan | None]:
    bad = [meeting for meeting in (*bowls, *cuts) if meeting.verdict != "clear"]
    if not bad and not worse:
        return ("Nothing comes within the margin of any bowl or cut.",), None
    told = [*worse]
    for meeting in bowls:
        if meeting.verdict == "hit":
            told.append(
                f"Bowl {meeting.number}: {meeting.defect} comes {meeting.inside:.0f} mm inside its rim. Don't core "
                "or keep it with that in its wall: such a bowl can fly apart."
            )
        elif meeting.verdict == "close":
            told.append(
                f"Bowl {meeting.number}: {meeting.defect} is {meeting.distance:.1f} mm off, and should be "
                f"{meeting.needed:.1f} mm."
            )
    try:
        safe = plan_nest(face, stock, shop, keep_axis=at, wall_need=wall_need)
    except NoPlanError as error:
        return (*told, f"On this axis nothing safe is left. {error.message}"), None
    return (*told, *_changes(nest, safe.nests[0])), safe


def _changes(planned: Nest, safe: Nest) -> list[str]:
    """Return what to change, from one nest to the other, step by step."""
    told = []
    before, after = planned.bowls[0], safe.bowls[0]
    off = (before.rim_diameter - after.rim_diameter) / 2
    if off > ROUNDED:
        told.append(f"Turn {off:.1f} mm off the radius first: down to {after.rim_diameter:.1f} mm across.")
    if before.depth - after.depth > ROUNDED:
        told.append(f"Turn the first bowl {after.depth:.1f} mm deep, not {before.depth:.1f}.")
    for place, cut in enumerate(safe.cuts):
        old = planned.cuts[place] if place < len(planned.cuts) else None
        if old is None or (old.cutter, old.pivot) != (cut.cutter, cut.pivot):
            told.append(
                f"Cut {cut.number}: use cutter {cut.cutter}, pivot {-cut.pivot[1]:.1f} mm in front of the rim and "
                f"{cut.pivot[0]:+.1f} mm across."
            )
    lost = len(planned.bowls) - len(safe.bowls)
    if lost > 0:
        told.append(f"That leaves {len(safe.bowls)} of {len(planned.bowls)} bowls.")
    return told
