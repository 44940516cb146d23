"""The marks that drawings share: labels that keep out of each other's way, crosses, scale bars, dimensions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.report.ground import Ground
from photonest.report.page import Box, Page, line_height, text_width
from photonest.report.style import BODY, HAIRLINE, INK, PAPER, SMALL, Fill, Stroke

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
    placed = list(taken)
    for label in labels:
        candidates = _candidates(label)
        costs = [_cost(box, far, label, frame, placed, dots, anchors) for box, far in candidates]
        placed.append(candidates[int(np.argmin(costs))][0])
    return placed[len(taken) :]


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


def _candidates(label: Label) -> list[tuple[Box, float]]:
    """Return the plates a label could have, with the distance of each from the label's point."""
    width, height = chip_size(label.words, label.size)
    home = np.arctan2(label.toward[1], label.toward[0])
    found = []
    for reach in (2.0, 5.0, 9.0, 14.0, 20.0, 28.0, 38.0):
        for turn in np.radians([0, 20, -20, 40, -40, 65, -65, 95, -95, 130, -130, 180]):
            way = np.array([np.cos(home + turn), np.sin(home + turn)])
            centre = np.asarray(label.at) + way * (reach + _half_extent(way, width, height))
            box = Box(float(centre[0]) - width / 2, float(centre[1]) - height / 2, width, height)
            found.append((box, reach + 4.0 * abs(float(turn))))
    return found


def _half_extent(way: NDArray[np.float64], width: float, height: float) -> float:
    """Return how far a plate reaches from its middle in a direction."""
    across = width / 2 / max(abs(float(way[0])), 1e-9)
    down = height / 2 / max(abs(float(way[1])), 1e-9)
    return min(across, down)


def _cost(
    box: Box,
    far: float,
    label: Label,
    frame: Box,
    placed: Sequence[Box],
    dots: NDArray[np.float64],
    anchors: NDArray[np.float64],
) -> float:
    outside = box.width * box.height - box.overlap(frame)
    covered = sum(box.grown(0.7).overlap(other) for other in placed)
    return far + 1000 * outside + 40 * covered + 5 * _inside(box.grown(0.6), dots) + 6 * _inside(box, anchors)


def _inside(box: Box, dots: NDArray[np.float64]) -> int:
    x, y = dots[:, 0], dots[:, 1]
    return int(((x > box.left) & (x < box.right) & (y > box.top) & (y < box.bottom)).sum())
