"""The section through the axis: walls, grooves and pivots, true to scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Bowl, Cut, Nest, Plan
from photonest.report import style
from photonest.report.holding import face_recess
from photonest.report.marks import Label, chip_size, cross, draw_chip, draw_labels
from photonest.report.page import Box, Page
from photonest.report.units import Units, brief

ARC_POINTS = 90
DASHED = style.Stroke(style.INK, 0.9, dash=(3, 2))


@dataclass(frozen=True)
class HalfPlane:
    """Where the meridian half-plane lies on the page: the axis runs down, the rim plane across.

    Attributes
    ----------
    axis_x, rim_y : float
        The axis and the rim plane, in mm on the page.
    per_mm : float
        Millimetres of paper to a millimetre of wood.
    """

    axis_x: float
    rim_y: float
    per_mm: float

    def to_page(self, points: ArrayLike, side: int = 1) -> NDArray[np.float64]:
        """Return where points (rho, h), shape (n, 2), lie on the page; side -1 is their mirror image."""
        rho, h = np.atleast_2d(np.asarray(points, dtype=float)).T
        return np.column_stack([self.axis_x + side * self.per_mm * rho, self.rim_y + self.per_mm * h])


Mapping = Callable[[ArrayLike, int], NDArray[np.float64]]


def wall_ring(bowl: Bowl, to_page: Mapping) -> NDArray[np.float64]:
    """Return the cut face of a bowl, both sides of the axis, as one polygon on the page."""
    outer, inner = np.asarray(bowl.outer), np.asarray(bowl.inner)
    return np.vstack([to_page(outer, -1), to_page(outer[::-1], 1), to_page(inner, 1), to_page(inner[::-1], -1)])


def half_ring(curve: ArrayLike, to_page: Mapping) -> NDArray[np.float64]:
    """Return what lies between a curve and the rim plane, both sides of the axis, as one polygon on the page."""
    points = np.asarray(curve, dtype=float)
    return np.vstack([to_page(points, -1), to_page(points[::-1], 1)])


def groove_edge(cut: Cut, by: float) -> NDArray[np.float64]:
    """Return an arc `by` mm outside the middle of a groove, from the rim plane to the axis, as (rho, h) points.

    The arc's centre is the pivot (c, -s); it meets the rim plane at rho = c + sqrt(r^2 - s^2) and the axis at
    h = -s + sqrt(r^2 - c^2).
    """
    (c, h), radius = cut.pivot, cut.radius + by
    start = np.arctan2(-h, np.sqrt(radius**2 - h**2))
    end = np.arctan2(np.sqrt(radius**2 - c**2), -c)
    turn = np.linspace(start, end, ARC_POINTS)
    return np.column_stack([c + radius * np.cos(turn), h + radius * np.sin(turn)])


def thinnest_wall(bowl: Bowl) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the two ends, (rho, h), of the shortest line between the outside and the inside of a bowl."""
    outer, inner = np.asarray(bowl.outer), np.asarray(bowl.inner)
    start, along = outer[:-1], np.diff(outer, axis=0)
    share = np.einsum("ijk,jk->ij", inner[:, None] - start, along) / np.maximum(np.sum(along**2, axis=1), 1e-12)
    nearest = start + np.clip(share, 0, 1)[..., None] * along
    gap = np.hypot(*np.moveaxis(inner[:, None] - nearest, -1, 0))
    i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
    return nearest[i, j], inner[i]


def stock_section(plan: Plan, nest: Nest, wood: ArrayLike) -> NDArray[np.float64]:
    """Return the wood behind the rim plane as (x, h) points, x across the axis, shape (n, 2).

    A log's section lies in the plane of its end, where its outline `wood`, shape (n, 2), bounds it; that of a slice or
    blank is drawn as a plate as wide as the first bowl.
    """
    if plan.stock.kind == "log":
        from shapely import Polygon, box

        down = np.asarray(nest.axis.direction[:2], dtype=float)
        down /= np.hypot(*down)
        across = np.array([down[1], -down[0]])  # turned, not mirrored: as the photo shows it
        points = (np.asarray(wood, dtype=float) - nest.axis.point[:2]) @ np.column_stack([across, down])
        far = 2.0 * float(np.abs(points).max())
        behind = Polygon(points).buffer(0).intersection(box(-far, 0.0, far, far))
        whole = max(getattr(behind, "geoms", [behind]), key=lambda part: part.area)
        return np.asarray(whole.exterior.coords)
    reach, deep = nest.bowls[0].rim_diameter / 2, plan.stock.thickness or nest.bowls[0].depth
    return np.array([(-reach, 0.0), (reach, 0.0), (reach, deep), (-reach, deep)])


def fit_section(nest: Nest, stock: NDArray[np.float64], box: Box) -> HalfPlane:
    """Return the scale and place at which a nest's section, with its pivots and stock, fills a box of the page."""
    reach = max(nest.bowls[0].rim_diameter / 2, float(np.abs(stock[:, 0]).max()))
    above = max([-cut.pivot[1] for cut in nest.cuts], default=0.0) + 14
    below = max(float(stock[:, 1].max()), nest.bowls[0].depth) + 6
    per_mm = min(box.width / (2 * reach + 30), box.height / (above + below))
    return HalfPlane(box.left + box.width / 2, box.top + above * per_mm, per_mm)


def draw_section(page: Page, plan: Plan, nest: Nest, wood: ArrayLike, box: Box, units: Units = "mm") -> float:
    """Draw the section of a nest in the wood of a face, shape (n, 2), into a box of the page; return its height."""
    stock = stock_section(plan, nest, wood)
    place = fit_section(nest, stock, box)
    page.area(place.to_page(stock), style.Fill(style.SHADE, edge=style.QUIET, edge_width=0.8))
    for bowl in nest.bowls:
        page.area(wall_ring(bowl, place.to_page), style.bowl_fill(bowl.number))
    for cut in nest.cuts:
        _draw_groove(page, cut, place)
    for bowl in nest.bowls:
        _draw_tenon(page, bowl, plan.shop.tenon, place)
    recess = face_recess(nest, plan.shop)
    if recess is not None:
        half, deep = recess.diameter / 2, recess.depth
        page.line(place.to_page([(-half, 0), (-half, deep), (half, deep), (half, 0)]), DASHED)
    _draw_lines(page, nest, place)
    for cut in nest.cuts:
        _draw_pivot(page, cut, place)
    for bowl in nest.bowls:
        _draw_sizes(page, bowl, place)
    draw_labels(page, _labels(nest, place, units), box, _busy(nest, place))
    bottom = place.rim_y + place.per_mm * max(float(stock[:, 1].max()), nest.bowls[0].depth)
    return bottom - box.top + 3


def _draw_groove(page: Page, cut: Cut, place: HalfPlane) -> None:
    for side in (1, -1):
        edges = [place.to_page(groove_edge(cut, by), side) for by in (cut.kerf / 2, -cut.kerf / 2)]
        page.area(np.vstack([edges[0], edges[1][::-1]]), style.Fill(style.PAPER, edge=style.INK, edge_width=0.9))


def _draw_tenon(page: Page, bowl: Bowl, tenon: float, place: HalfPlane) -> None:
    """Draw the tenon: what stands of the foot when the wood beside it is turned away."""
    outer = np.asarray(bowl.outer, dtype=float)
    foot, level = float(outer[-2, 0]), bowl.depth - tenon
    shoulder = float(np.interp(level, outer[:-1, 1], outer[:-1, 0]))
    for side in (1, -1):
        page.line(place.to_page([(foot, bowl.depth), (foot, level), (shoulder, level)], side), DASHED)


def _draw_lines(page: Page, nest: Nest, place: HalfPlane) -> None:
    reach = nest.bowls[0].rim_diameter / 2 + 8
    top = min([cut.pivot[1] for cut in nest.cuts], default=0.0) - 8
    page.line(place.to_page([(0, top), (0, nest.bowls[0].depth + 5)]), style.AXIS_LINE)
    page.line(place.to_page([(-reach, 0), (reach, 0)]), style.RULE)


def _draw_pivot(page: Page, cut: Cut, place: HalfPlane) -> None:
    pivot = place.to_page([cut.pivot])[0]
    arc = place.to_page(groove_edge(cut, 0.0))
    page.line([pivot, arc[0]], style.HAIRLINE)
    cross(page, pivot, 2.4, style.Stroke(style.INK, 1.6, casing=style.PAPER, casing_width=0.8))
    turn = np.linspace(0, 2 * np.pi, 40)
    page.line(pivot + 1.3 * np.column_stack([np.cos(turn), np.sin(turn)]), style.Stroke(style.INK, 1.2))


def _draw_sizes(page: Page, bowl: Bowl, place: HalfPlane) -> None:
    """Mark a bowl's number, its thinnest wall, and its base on the axis."""
    a, b = thinnest_wall(bowl)
    page.line(place.to_page([a, b]), style.Stroke(style.INK, 1.8, casing=style.PAPER, casing_width=0.8))
    outer, inner = np.asarray(bowl.outer), np.asarray(bowl.inner)
    middle = (outer[len(outer) // 5] + inner[len(inner) // 5]) / 2
    x, y = place.to_page([middle], -1)[0]
    wide, high = chip_size(str(bowl.number), style.HEADING)
    draw_chip(page, Box(x - wide / 2, y - high / 2, wide, high), str(bowl.number), size=style.HEADING, dark=True)


def _labels(nest: Nest, place: HalfPlane, units: Units) -> list[Label]:
    labels = []
    for cut in nest.cuts:
        entry = place.to_page([(cut.entry_radius, 0.0)])[0]
        labels.append(Label(f"cut {cut.number}", (float(entry[0]), float(entry[1])), (0.3, -1.0), size=style.SMALL + 1))
        pivot = place.to_page([cut.pivot])[0]
        side = (-1.0, -0.2) if cut.number % 2 else (-1.0, 0.3)
        labels.append(Label(f"pivot {cut.number}", (float(pivot[0]), float(pivot[1])), side, size=style.SMALL + 1))
    for bowl in nest.bowls:
        a, b = place.to_page(thinnest_wall(bowl))
        labels.append(
            Label(brief(bowl.wall_min, units), tuple(((a + b) / 2).tolist()), (1.0, 0.4), size=style.SMALL + 1)
        )
        base = place.to_page([(0.0, (bowl.outer[-1][1] + bowl.inner[-1][1]) / 2)])[0]
        labels.append(Label(brief(bowl.base_min, units), tuple(base.tolist()), (0.1, 0.0), size=style.SMALL + 1))
    return labels


def _busy(nest: Nest, place: HalfPlane) -> NDArray[np.float64]:
    arcs = [place.to_page(groove_edge(cut, 0.0))[::3] for cut in nest.cuts]
    return np.vstack([place.to_page([cut.pivot for cut in nest.cuts] or [(0.0, 0.0)]), *arcs])
