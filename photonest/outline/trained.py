"""The outline finder asked first: a trained network says what the piece is, local colour and texture where it ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from photonest.imaging import usable_part
from photonest.model import FlatPhoto, NotFound, Outline, Points
from photonest.outline.answers import CUT, RETAKE, nothing_to_see
from photonest.outline.border import without_border
from photonest.outline.lines import CUT_RUN, apart, as_points, at_frame, longest_run, simple
from photonest.outline.network import MIRRORED, Shares, looks, mean_of
from photonest.outline.plain import PLAIN_ERROR, PlainLimits, contour, plain_piece
from photonest.outline.side import Side, above, side_of, steepest
from photonest.outline.strip import FINE, about, pulled
from photonest.outline.veil import without_veil
from photonest.planar import Path, mean_diameter, polygon_area, polygon_centroid
from photonest.resizing import cropped, halved, reduced

DOUBTED = "The outline may be wrong by {error:.0f} % of the diameter: check it in the picture."
MARGINS = (0.2, 0.06)  # about the piece, in shares of its extent, when it is looked at from nearer
NEARER_PX = 256  # longer side of the picture in which the looks from near are laid over each other
PLAIN_PX, PLAIN_WITHIN = 1024, 0.012
AT_ODDS = 0.04  # of the diameter: what is seen from far and from near; then it is looked at again by the nearer edge
UNLIKE = 0.05  # of the diameter: looks from near that lie farther from their common edge count no more than the far one
CUT_OUT = PlainLimits(spread=1.0)  # a real cloth or board is less even, and may look like the bark before it
LEAST_ERROR = 0.0025  # of the diameter
CLOSE = replace(FINE, half_width=0.012)  # about an edge that lies beside a stronger one
MISTAKEN = 0.25  # of what a side takes off, counted as the error of taking it off
# Mean distance from the true edge in percent of the diameter: exp(sum of weights x signs), by least squares on drawn
# scenes of no training; the standard error is so many times that.
WEIGHTS, SPREAD = (0.07, 0.43, 0.03, 0.16, 0.43, 0.35, -0.55), 1.5
SLIGHT = 0.08  # a slant that begins to count


@dataclass(frozen=True)
class TrainedOptions:
    """Settings of the finder.

    Attributes
    ----------
    work_px : int
        Least longer side of the picture in which the edge is placed, which is the photo halved as often as that goes.
    points : int
        Corners of an outline before a plain ground.
    least_bark_pct : float
        Bark thinner than this, in percent of the mean diameter, is not told apart.
    doubtful_pct : float
        From this expected error on, in percent of the mean diameter, the outline comes with a warning; also where
        what is seen from far and from near is at odds.
    """

    work_px: int = 1400
    points: int = 720
    least_bark_pct: float = 0.5
    doubtful_pct: float = 1.3


class Doubt(NamedTuple):
    """How far ways of looking lie apart, in percent of the mean diameter, and whether a side may be in the way."""

    turned: float
    """Mean distance of the edges seen in the picture turned over from their common one."""
    nearer: float
    """Of the edge seen in the whole photo from that seen from nearer."""
    blurred: float
    """Between where the piece's share is 0.2 and where it is 0.8."""
    placed: float
    """Between the edge as the network sees it and as it is placed."""
    slant: float = 0.0
    """The greatest at which the side may show, see `photonest.outline.side`; none where no scale tells it."""
    side: bool = False
    """Whether a side was seen and left out."""

    @property
    def signs(self) -> list[float]:
        """What the weights count."""
        ways = np.log(np.clip(self[:4], 0.05, 20.0))
        return [1.0, *ways, float(np.log1p(min(self.slant, 0.5) / SLIGHT)), float(self.side)]

    @property
    def error(self) -> float:
        """The expected mean distance from the true edge, in percent of the mean diameter."""
        return float(np.exp(np.array(WEIGHTS) @ self.signs))


class Sight(NamedTuple):
    """What is seen of a piece: its edge in the whole photo, from nearer in the picture turned over each way, in common.

    Paths are in mm: `first` in the whole photo, `outer` from nearer, `placed` where the picture itself parts best, and
    so `wood`, the edge under bark. The `side` is left out of `placed` alone.
    """

    first: Path
    turned: list[Shares]
    common: Shares
    outer: Path
    wood: Path | None
    placed: Path
    side: Side | None = None


class TrainedOutline:
    """Finds the edge of the piece, with bark and under it."""

    name = "trained"
    version = "1"
    Options = TrainedOptions

    def find(self, flat: FlatPhoto, options: TrainedOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        empty = nothing_to_see(flat)
        if empty is not None:
            return empty
        work = without_veil(without_border(halved(flat, options.work_px)))
        sight = see(work)
        return _outline(work, sight, options) if isinstance(sight, Sight) else sight


def see(flat: FlatPhoto) -> Sight | NotFound:
    """Return the piece as it is seen from far and from near, and its edge as placed."""
    nothing = NotFound("no piece of wood stands out from its background", RETAKE)
    far = looks(flat)[0]
    first = far.edge()
    if first is None or polygon_area(flat.to_px(first)) < 0.002 * flat.pixels[..., 0].size:
        return nothing
    turned, common = _from_near(flat, first)
    outer = common.edge()
    if outer is None or apart(first, outer) > AT_ODDS * mean_diameter(first):
        if outer is not None and _alike(turned, outer):
            turned, common = _from_near(flat, outer)
        else:
            common = mean_of([common, far.onto(common.flat)]).with_doubtful_bark().without_tongues()
        outer = common.edge()
    if outer is None:
        return nothing
    wood = common.edge(wood=True)
    ready = about(flat, outer, FINE.longest_px, FINE.half_width + 0.02)
    if wood is not None:
        wood = pulled(ready, wood, FINE) if polygon_area(wood) > 0.5 * polygon_area(outer) else None
    placed = pulled(ready, outer, FINE, beyond=wood)
    side = side_of(ready, placed, wood, flat.camera)
    if side is not None:
        placed = pulled(ready, above(placed, side), CLOSE)
    return Sight(first, turned, common, outer, wood, placed, side)


def _from_near(flat: FlatPhoto, edge: Path) -> tuple[list[Shares], Shares]:
    """Return what is seen of the piece within an edge from nearer, turned over each way, and what they have in common.

    They lie over the same picture.
    """
    near = [_nearer(flat, edge, margin) for margin in MARGINS]
    onto = reduced(near[0], NEARER_PX)
    turned = [one.onto(onto) for k, part in enumerate(near) for one in looks(part, MIRRORED[k :: len(near)])]
    return turned, mean_of(turned).with_doubtful_bark().without_tongues()


def _alike(turned: list[Shares], common: Path) -> bool:
    """Return whether what is seen of a piece in the picture turned over each way is about the same."""
    edges = [one.edge(step=2) for one in turned]
    return all(edge is not None and apart(edge, common) < UNLIKE * mean_diameter(common) for edge in edges)


def _nearer(flat: FlatPhoto, edge: Path, margin: float) -> FlatPhoto:
    """Return the picture about a piece, aimed at its middle, with a margin in shares of its extent."""
    low, high = edge.min(axis=0), edge.max(axis=0)
    room = margin * (high - low).max()
    x, y = polygon_centroid(edge)
    return replace(cropped(flat, low - room, high + room), aim=(float(x), float(y)))


def _outline(flat: FlatPhoto, sight: Sight, options: TrainedOptions) -> Outline | NotFound:
    doubt = doubt_of(sight)
    plain = None if sight.side is not None else _plain(flat, sight.placed, options)
    edge = simple(sight.placed if plain is None else plain)
    if edge is None:
        return NotFound("the edge found crosses itself", RETAKE)
    diameter = mean_diameter(edge)
    off = 0.0 if sight.side is None else MISTAKEN * apart(sight.placed, sight.outer)
    share = PLAIN_ERROR if plain is not None else max(SPREAD * doubt.error / 100, LEAST_ERROR)
    cut = longest_run(at_frame(flat, edge)) > CUT_RUN
    doubtful = plain is None and (doubt.error > options.doubtful_pct or doubt.nearer > 100 * AT_ODDS)
    return Outline(
        as_points(edge),
        under_bark(edge, sight.wood, options.least_bark_pct / 100),
        standard_error=float(np.linalg.norm([share * diameter, off, 0.5 * flat.mm_per_px])),
        cut_by_frame=cut,
        warnings=(CUT,) * cut + (DOUBTED.format(error=SPREAD * doubt.error),) * doubtful,
    )


def doubt_of(sight: Sight) -> Doubt:
    """Return how far the ways of looking at a piece lie apart."""
    unit = mean_diameter(sight.outer) / 100
    edges = [one.edge(step=2) for one in sight.turned]
    turned = [20.0 if edge is None else apart(edge, sight.outer) / unit for edge in edges]
    whole = sight.outer if sight.side is None else above(sight.outer, sight.side)
    inner, outer = (sight.common.edge(level=level, step=2) for level in (0.8, 0.2))
    blurred = 20.0 if inner is None or outer is None else apart(inner, outer) / unit
    nearer, placed = apart(sight.first, sight.outer) / unit, apart(sight.placed, whole) / unit
    slant = steepest(sight.placed, sight.common.flat.camera)
    return Doubt(sum(turned) / len(turned), nearer, blurred, placed, slant, sight.side is not None)


def _plain(flat: FlatPhoto, edge: Path, options: TrainedOptions) -> Path | None:
    """Return the edge before a plain background where that is the piece found; it is the more exact one."""
    middling = reduced(flat, PLAIN_PX)
    piece = plain_piece(middling, usable_part(middling), CUT_OUT)
    if piece is None:
        return None
    outer = middling.to_mm(contour(piece, 0.8, options.points))
    return outer if apart(outer, edge) < PLAIN_WITHIN * mean_diameter(edge) else None


def under_bark(edge: Path, wood: Path | None, least: float) -> Points | None:
    """Return the wood within an outline where there is bark about it, `least` mean diameters thick on the average."""
    import shapely

    within = None if wood is None else simple(wood)
    if within is None:
        return None
    part = shapely.Polygon(edge).intersection(shapely.Polygon(within))
    inner = simple(np.asarray(max(shapely.get_parts(part), key=lambda one: one.area).exterior.coords)[:-1])
    if inner is None or mean_diameter(edge) - mean_diameter(inner) < 2 * least * mean_diameter(edge):
        return None
    return as_points(inner)
