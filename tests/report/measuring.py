"""Measure what was printed: pages rendered by pdfium, lines found to a fraction of a dot."""

from __future__ import annotations

import re

import numpy as np
import pypdfium2
from numpy.typing import ArrayLike, NDArray

DPI = 300.0
MM = 25.4 / DPI
"""Size of a dot, in mm."""


def rendered(pdf: bytes, page: int = 0) -> NDArray[np.float64]:
    """Return how dark a page is, 0 to 1, at 300 dots per inch."""
    document = pypdfium2.PdfDocument(pdf)
    picture = document[page].render(scale=DPI / 72, grayscale=True).to_numpy()
    document.close()
    return np.asarray(1.0 - picture.reshape(picture.shape[:2]).astype(float) / 255.0)


def across(dark: NDArray[np.float64], start: ArrayLike, end: ArrayLike) -> NDArray[np.float64] | None:
    """Return where a line on the page (mm) crosses the darkest stroke, in mm; None where there is none.

    The place is the middle of the darkness over the stroke, so it is good to a fraction of a dot.
    """
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    count = int(np.hypot(*(b - a)) / (MM / 4)) + 2
    points = a + np.linspace(0, 1, count)[:, None] * (b - a)
    columns, rows = (points / MM - 0.5).T
    i, j = np.floor(rows).astype(int), np.floor(columns).astype(int)
    u, v = rows - i, columns - j
    value = (
        dark[i, j] * (1 - u) * (1 - v) + dark[i, j + 1] * (1 - u) * v + dark[i + 1, j] * u * (1 - v)
        + dark[i + 1, j + 1] * u * v
    )  # fmt: skip
    top = int(np.argmax(value))
    if value[top] < 0.3:
        return None
    near = np.abs(np.arange(count) - top) * MM / 4 < 0.4
    weight = np.where(near, value, 0.0)
    return np.asarray((weight[:, None] * points).sum(axis=0) / weight.sum())


def circle_through(points: ArrayLike) -> tuple[NDArray[np.float64], float]:
    """Return centre and radius of the circle that fits points best (least squares, Kasa 1976)."""
    xy = np.asarray(points, dtype=float)
    system = np.column_stack([2 * xy, np.ones(len(xy))])
    (x, y, c), *_ = np.linalg.lstsq(system, (xy**2).sum(axis=1), rcond=None)
    return np.array([x, y]), float(np.sqrt(c + x**2 + y**2))


def svg_lines(svg: bytes) -> list[tuple[float, NDArray[np.float64]]]:
    """Return the width (mm) and the points (mm) of each stroked line of an SVG whose unit is the point."""
    found = []
    for path in re.findall(r"<path [^>]*>", svg.decode()):
        d, width = re.search(r'\bd="([^"]*)"', path), re.search(r"stroke-width: ([\d.]+)", path)
        if d is None or width is None:
            continue
        for line in d[1].split("M")[1:]:
            numbers = re.findall(r"([-\d.]+) ([-\d.]+)", line)
            found.append((float(width[1]) * 25.4 / 72, np.array(numbers, dtype=float) * 25.4 / 72))
    return found
