"""One cut: where its pivot stands, its groove, and the places where the wall is measured after it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Bowl, Cut, Nest
from photonest.report import style
from photonest.report.marks import arrow, chip_size, cross, draw_chip
from photonest.report.page import Box, Page, text_width
from photonest.report.section import HalfPlane, groove_edge, half_ring, wall_ring
from photonest.report.units import Units, sixteenths

BELOW_RIM = 10.0
"""How far below the rim the first caliper place lies, in mm."""
HEAD, TAIL = 18.0, 8.0
"""Paper above the pivot for a dimension, and below the foot for a letter, in mm."""


@dataclass(frozen=True)
class CaliperPlace:
    """Where to measure a wall.

    Attributes
    ----------
    letter, name : str
        As it is marked, and in words.
    inside, outside : (rho, h)
        Where the two points of the calipers rest.
    wall : float
        What they should read, in mm.
    """

    letter: str
    name: str
    inside: tuple[float, float]
    outside: tuple[float, float]
    wall: float


def caliper_places(bowl: Bowl, units: Units = "mm") -> tuple[CaliperPlace, ...]:
    """Return three places to measure a bowl's wall: near the rim, half way down, and the base on the axis."""
    inner = np.asarray(bowl.inner, dtype=float)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(inner, axis=0).T))])
    deep = float(inner[:, 1].max())
    below = min(BELOW_RIM, deep / 4)
    near_rim = float(np.interp(below, np.maximum.accumulate(inner[:, 1]), run))
    places = []
    for letter, name, at in (
        ("P", f"{f'{below:.0f} mm' if units == 'mm' else f'{sixteenths(below)} in'} below rim", near_rim),
        ("Q", "half way", run[-1] / 2),
    ):
        inside = np.array([np.interp(at, run, inner[:, 0]), np.interp(at, run, inner[:, 1])])
        outside = nearest_on(bowl.outer, inside)
        places.append(CaliperPlace(letter, name, _pair(inside), _pair(outside), float(np.hypot(*(inside - outside)))))
    floor, foot = (0.0, bowl.inner[-1][1]), (0.0, bowl.outer[-1][1])
    return (*places, CaliperPlace("R", "base on axis", floor, foot, foot[1] - floor[1]))


def nearest_on(curve: ArrayLike, point: ArrayLike) -> NDArray[np.float64]:
    """Return the point of a polyline, shape (n, 2), that is nearest to a point."""
    line, at = np.asarray(curve, dtype=float), np.asarray(point, dtype=float)
    start, along = line[:-1], np.diff(line, axis=0)
    share = np.sum((at - start) * along, axis=1) / np.maximum(np.sum(along**2, axis=1), 1e-12)
    feet = start + np.clip(share, 0, 1)[:, None] * along
    return np.asarray(feet[int(np.argmin(np.hypot(*(feet - at).T)))])


def draw_cut(page: Page, nest: Nest, index: int, box: Box) -> None:
    """Draw a cut into a box of the page: the letters on it stand beside its figures."""
    cut, bowl = nest.cuts[index], nest.bowls[index]
    place = _fit(cut, bowl, box)
    page.area(wall_ring(bowl, place.to_page), style.bowl_fill(bowl.number))
    core = nest.bowls[index + 1]
    page.area(_core_ring(cut, place), style.Fill(style.SHADE, edge=style.QUIET, edge_width=0.8))
    page.line(place.to_page(core.outer), style.Stroke(style.QUIET, 0.9, dash=(3, 2)))
    page.line(place.to_page(core.outer, -1), style.Stroke(style.QUIET, 0.9, dash=(3, 2)))
    reach = bowl.rim_diameter / 2
    page.line(place.to_page([(-reach - 6, 0), (reach + 6, 0)]), style.RULE)
    page.line(place.to_page([(0, min(cut.pivot[1], 0) - 10), (0, bowl.depth + 5)]), style.AXIS_LINE)
    _draw_arm(page, cut, place)
    _draw_dimensions(page, cut, place)
    for each in caliper_places(bowl):
        _draw_calipers(page, each, place)
    x, y = place.to_page([(-reach - 8, 0)])[0]
    aside = x - text_width("rim plane", style.SMALL) > page.left
    page.text(x, y + (1.3 if aside else -1.8), "rim plane", size=style.SMALL, across="right" if aside else "left")


def _fit(cut: Cut, bowl: Bowl, box: Box) -> HalfPlane:
    standing = max(-cut.pivot[1], 0.0)
    per_mm = min(box.width / (bowl.rim_diameter + 20), (box.height - HEAD - TAIL) / (standing + bowl.depth))
    return HalfPlane(box.left + box.width / 2, box.top + HEAD + standing * per_mm, per_mm)


def _core_ring(cut: Cut, place: HalfPlane) -> NDArray[np.float64]:
    """Return the core that the cut sets free, both sides of the axis, as one polygon on the page."""
    return half_ring(groove_edge(cut, -cut.kerf / 2), place.to_page)


def _draw_arm(page: Page, cut: Cut, place: HalfPlane) -> None:
    """Draw the pivot and the radius to where the cut begins and ends."""
    pivot = place.to_page([cut.pivot])[0]
    middle = place.to_page(groove_edge(cut, 0.0))
    page.line(middle, style.Stroke(style.INK, 1.0, dash=(4, 2)))
    page.line([middle[0], pivot, middle[-1]], style.HAIRLINE)
    cross(page, pivot, 3.4, style.Stroke(style.INK, 2.0, casing=style.PAPER, casing_width=0.8))
    turn = np.linspace(0, 2 * np.pi, 40)
    page.line(pivot + 1.8 * np.column_stack([np.cos(turn), np.sin(turn)]), style.Stroke(style.INK, 1.6))


def _draw_dimensions(page: Page, cut: Cut, place: HalfPlane) -> None:
    """Draw A stand-off, B offset, C entry radius, D depth on the axis."""
    c, h = cut.pivot
    mm = 1 / place.per_mm  # of paper
    aside = -abs(c) - 14 * mm
    page.line(place.to_page([(c, h), (aside - 2 * mm, h)]), style.HAIRLINE)
    _dimension(page, place.to_page([(aside, 0), (aside, h)]), "A", (-6.0, 0.0))
    if abs(c) >= 0.05:
        top = h - 8 * mm
        page.line(place.to_page([(c, h), (c, top - 2 * mm)]), style.HAIRLINE)
        _dimension(page, place.to_page([(0, top), (c, top)]), "B", (0.0, -5.5))
    level = -7 * mm
    page.line(place.to_page([(cut.entry_radius, 0), (cut.entry_radius, level - 2 * mm)]), style.HAIRLINE)
    _dimension(page, place.to_page([(0, level), (cut.entry_radius, level)]), "C", (0.22 * cut.entry_radius / mm, 0.0))
    page.line(place.to_page([(0, cut.axis_depth), (-13 * mm, cut.axis_depth)]), style.HAIRLINE)
    _dimension(page, place.to_page([(-9 * mm, 0), (-9 * mm, cut.axis_depth)]), "D", (0.0, 0.0))


def _dimension(page: Page, ends: NDArray[np.float64], letter: str, aside: tuple[float, float]) -> None:
    """Draw a dimension line, its letter `aside` of its middle."""
    arrow(page, ends[0], ends[1], style.Stroke(style.INK, 1.1))
    x, y = ends.mean(axis=0) + aside
    wide, high = chip_size(letter, style.HEADING)
    draw_chip(page, Box(x - wide / 2, y - high / 2, wide, high), letter, size=style.HEADING, dark=True)


def _draw_calipers(page: Page, each: CaliperPlace, place: HalfPlane) -> None:
    ends = place.to_page([each.inside, each.outside], 1)
    page.line(ends, style.Stroke(style.INK, 2.2, casing=style.PAPER, casing_width=1.0))
    way = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    at = ends[1] + 5.0 * way
    wide, high = chip_size(each.letter, style.BODY)
    draw_chip(page, Box(float(at[0]) - wide / 2, float(at[1]) - high / 2, wide, high), each.letter, size=style.BODY)


def _pair(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])
