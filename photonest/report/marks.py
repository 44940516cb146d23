"""The marks that drawings share: labels that keep out of each other's way, crosses, scale bars, dimensions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.report.ground import Ground
from photonest.report.page import Box, Page, line_height, text_width
from photonest.report.style import BODY, HAIRLINE, INK, PAPER, SMALL, Fill, Stroke

REACHES = (2.0, 5.0, 9.0, 14.0, 20.0, 28.0, 38.0)
"""How far off its point a label may be set, in mm."""
OUTWARDS = np.array([-1.0, -1.0, 1.0, 1.0])
ROUND_LENGTHS = (5, 10, 20, 50, 100, 200, 500, 1000)


@dataclass(frozen=True)
class Label:
    """Words that belong to a point of the page.

    Attributes
    ----------
    words : str
        A short line.
    at : (x, y)
        The point, in mm on the page.
    toward : (x, y)
        The direction in which the label should rather lie.
    dark : bool
        White on ink, for what matters most; else ink on white.
    """

    words: str
    at: tuple[float, float]
    toward: tuple[float, float] = (0.0, -1.0)
    dark: bool = False
    size: float = BODY


def place_labels(labels: Sequence[Label], frame: Box, keep_clear: ArrayLike, taken: Sequence[Box] = ()) -> list[Box]:
    """Return where each label goes: near its point, inside the frame, off the others and off what it would hide.

    Parameters
    ----------
    labels : sequence of Label
        Those that matter most first.
    frame : Box
        Where labels may lie.
    keep_clear : array, shape (n, 2)
        Points of the page that are better not covered.
    taken : sequence of Box
        Rectangles already in use.
    """
    dots = np.asarray(keep_clear, dtype=float).reshape(-1, 2)
    anchors = np.array([label.at for label in labels]).reshape(-1, 2)
    placed = [_corners(box) for box in taken]
    for label in labels:
        boxes, far = _candidates(label)
        room = _overlap(boxes, np.array([_corners(frame)]))[:, 0]
        outside = np.prod(boxes[0, 2:] - boxes[0, :2]) - room
        covered = _overlap(boxes + 0.7 * OUTWARDS, np.array(placed).reshape(-1, 4)).sum(axis=1)
        hidden = _count_inside(boxes + 0.6 * OUTWARDS, dots)
        cost = far + 1000 * outside + 40 * covered + 5 * hidden + 6 * _count_inside(boxes, anchors)
        placed.append(boxes[int(np.argmin(cost))])
    return [Box(x0, y0, x1 - x0, y1 - y0) for x0, y0, x1, y1 in np.array(placed[len(taken) :]).tolist()]


def draw_labels(
    page: Page, labels: Sequence[Label], frame: Box, keep_clear: ArrayLike, taken: Sequence[Box] = ()
) -> None:
    """Draw labels where `place_labels` puts them, each tied to its point by a line."""
    boxes = place_labels(labels, frame, keep_clear, taken)
    for label, box in zip(labels, boxes, strict=True):
        end = np.clip(label.at, [box.left, box.top], [box.right, box.bottom])
        if np.hypot(*(end - label.at)) > 0.8:
            page.line(np.array([label.at, end]), Stroke(INK, 1.0, casing=PAPER, casing_width=0.8))
    for label, box in zip(labels, boxes, strict=True):
        draw_chip(page, box, label.words, size=label.size, dark=label.dark)


def draw_chip(page: Page, box: Box, words: str, *, size: float = BODY, dark: bool = False) -> None:
    """Draw words on a plate of their own, legible over anything."""
    paper, ink = (INK, PAPER) if dark else (PAPER, INK)
    page.rectangle(box, Fill(paper, 0.94, edge=ink if not dark else PAPER, edge_width=0.8))
    page.text(
        box.left + box.width / 2, box.top + box.height / 2, words, size=size, bold=True, colour=ink, across="center",
        upright="center",
    )  # fmt: skip


def chip_size(words: str, size: float = BODY) -> tuple[float, float]:
    """Return the width and height of the plate for words, in mm."""
    return text_width(words, size, bold=True) + 2.4, line_height(size) * 0.98


def cross(page: Page, at: ArrayLike, arm: float, stroke: Stroke, *, gap: float = 0.0) -> None:
    """Draw an upright cross of the arm length given, open in the middle by `gap`."""
    x, y = np.asarray(at, dtype=float)
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        page.line([(x + gap * dx, y + gap * dy), (x + arm * dx, y + arm * dy)], stroke)


def scale_bar(page: Page, ground: Ground, error_pct: float, share: float = 0.26) -> Box:
    """Draw a bar of a round length lying in the plane of the face, lower left; return the plate it stands on.

    Parameters
    ----------
    error_pct : float
        Standard error of the scale in percent; the bar is marked with twice that.
    share : float
        About how much of the frame's width it takes.
    """
    frame = ground.frame
    start, end = ground.to_face(
        [[frame.left + 5, frame.bottom - 4.6], [frame.left + 5 + share * frame.width, frame.bottom - 4.6]]
    )
    long = max([n for n in ROUND_LENGTHS if n <= np.hypot(*(end - start))], default=ROUND_LENGTHS[0])
    toward = (end - start) / np.hypot(*(end - start))
    stops = ground.to_page(start + np.linspace(0, long, 6)[:, None] * toward)
    error = 2 * error_pct / 100 * long
    words = f"{long} mm ± {error:.1f}" if error >= 0.05 else f"{long} mm"
    wide = max(float(stops[-1, 0] - stops[0, 0]), text_width(words, SMALL + 1, bold=True)) + 6
    plate = Box(frame.left + 2, frame.bottom - 13.5, wide, 11.5)
    page.rectangle(plate, Fill(PAPER, 0.94, edge=INK, edge_width=0.8))
    page.text(plate.left + 3, plate.top + 5.2, words, size=SMALL + 1, bold=True)
    page.line(stops[[0, -1]], Stroke(INK, 7))
    for i in (1, 3):
        page.line(stops[[i, i + 1]], Stroke(PAPER, 4.6))
    return plate


def arrow(page: Page, start: ArrayLike, end: ArrayLike, stroke: Stroke = HAIRLINE, *, both: bool = True) -> None:
    """Draw a dimension line with slim filled heads."""
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    page.line([a, b], stroke)
    along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    square = np.array([-along[1], along[0]])
    for tip, way in ((b, along), *(((a, -along),) if both else ())):
        page.area([tip, tip - 2.6 * way + 0.7 * square, tip - 2.6 * way - 0.7 * square], Fill(stroke.colour))


def _candidates(label: Label) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the plates a label could have, shape (n, 4), and how far off its point and its wish each of them is."""
    size = np.array(chip_size(label.words, label.size))
    turns = np.radians([0, 20, -20, 40, -40, 65, -65, 95, -95, 130, -130, 180])
    angles = np.arctan2(label.toward[1], label.toward[0]) + turns
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    extents = (size / 2 / np.maximum(np.abs(ways), 1e-9)).min(axis=1)  # of a plate, from its middle to its edge
    reach = np.array(REACHES)[:, None]
    middles = np.asarray(label.at) + ((reach + extents)[..., None] * ways).reshape(-1, 2)
    return np.hstack([middles - size / 2, middles + size / 2]), (reach + 4.0 * np.abs(turns)).ravel()


def _corners(box: Box) -> NDArray[np.float64]:
    return np.array([box.left, box.top, box.right, box.bottom])


def _overlap(some: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the area that each of some rectangles, shape (n, 4), shares with each of others, shape (n, m)."""
    low = np.maximum(some[:, None, :2], others[:, :2])
    high = np.minimum(some[:, None, 2:], others[:, 2:])
    return np.asarray(np.prod(np.clip(high - low, 0, None), axis=-1))


def _count_inside(boxes: NDArray[np.float64], dots: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return how many dots lie in each rectangle."""
    inside = (dots > boxes[:, None, :2]) & (dots < boxes[:, None, 2:])
    return np.asarray(inside.all(axis=-1).sum(axis=1))
