"""The axes square to the face of a blank or slice, and what each must keep clear of in its half-plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.nest.circle import ClearRadius, clear_radius
from photonest.nest.keepouts import KeepOut
from photonest.nest.placing import ALL, HalfPlanePoints
from photonest.nest.rules import Real

TAPER_POINTS = 40
PIECE, MOST_PIECES = 1.0, 20_000  # mm: of defects seen on the far face, and how many there are at most


@dataclass(frozen=True, eq=False)
class RoundSite:
    """The axes square to the face of a blank or slice; the two coordinates are x and y.

    Attributes
    ----------
    clear : ClearRadius
        All that reaches down to `depth` of 0, the edge of the wood among it.
    below : ndarray, shape (n,)
        How far below the rim plane each segment's defect begins: 0 but for defects seen on the far face.
    taper : ClearRadius or None
        The far face's edge, where it was measured.
    thickness : float
    """

    clear: ClearRadius
    below: Real
    taper: ClearRadius | None
    thickness: float
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def rate(self) -> float:
        """How fast a point's figure may change as the axis moves."""
        return 1 + 2 * self.clear.scale_error

    @property
    def count(self) -> int:
        """How many points there are, without those of a taper."""
        return len(self.below)

    def points(self, a: float, b: float, picked: NDArray[np.intp] | slice = ALL) -> HalfPlanePoints:
        """Return what the axis at (x, y) has to keep clear of."""
        edge = self.clear.owner[picked] == 0
        away, keep = self.clear.away_and_keep(a, b, picked)
        rho, keep = np.where(edge, away - keep, away), np.where(edge, 0.0, keep)
        width, depths = self._sides(a, b)
        return HalfPlanePoints(
            np.concatenate([rho, width]),
            np.concatenate([self.below[picked], depths]),
            np.concatenate([keep, np.zeros(len(width))]),
            np.concatenate([edge, np.ones(len(width), bool)]),
        )

    def _sides(self, a: float, b: float) -> tuple[Real, Real]:
        """Return the far face, as a plane no foot may pass, and the straight sides down to it of wood that tapers."""
        if self.taper is None:
            return np.zeros(1), np.array([self.thickness])
        ends = (float(self.clear.each(a, b)[self.clear.owner == 0].min()), float(self.taper.each(a, b).min()))
        depths = np.linspace(0.0, self.thickness, TAPER_POINTS)
        width = ends[0] + (ends[1] - ends[0]) * depths / self.thickness
        return np.append(width, 0.0), np.append(depths, self.thickness)

    @property
    def owner(self) -> NDArray[np.intp]:
        """Which keep-out each point is of; those of the sides and the far face are of the edge."""
        sides = 1 if self.taper is None else TAPER_POINTS + 1
        return np.concatenate([self.clear.owner, np.zeros(sides, np.intp)])

    def outside(self, a: float, b: float, h: float) -> float:
        """Return how far the axis lies outside the wood, 0 if it lies inside."""
        return float(self.clear.outside(np.array([a]), np.array([b]))[0])


def round_site(
    outs: Sequence[KeepOut], thickness: float, scale_error: float, *, far: bool, taper: Real | None
) -> RoundSite:
    """Return the axes of a blank or slice; `far` tells that the rim plane is the face that was not photographed."""
    if far:
        outs = _in_pieces(outs, scale_error)
    clear = clear_radius(outs, scale_error)
    below = [0.0 if not far or out.depth is None else thickness - out.depth for out in outs]
    second = None
    if taper is not None:
        edge = outs[0]
        second = clear_radius([replace(edge, segments=taper, reach=np.zeros(len(taper)))], scale_error)
        if far:
            swapped = replace(edge, segments=taper, reach=np.zeros(len(taper)))
            clear, second = clear_radius([swapped, *outs[1:]], scale_error), clear_radius([edge], scale_error)
    sizes = np.bincount(clear.owner, minlength=len(outs))
    low, high = clear.edge[:, :2].min(axis=0), clear.edge[:, :2].max(axis=0)
    return RoundSite(
        clear, np.repeat(below, sizes), second, thickness, (low[0], low[1]), (high[0], high[1])
    )  # fmt: skip


def _in_pieces(outs: Sequence[KeepOut], scale_error: float) -> list[KeepOut]:
    """Return keep-outs with those that end below the face in short pieces.

    What to keep from each is taken at its nearest place; but a foot may come nearest to a place farther off, where the
    scale's error asks for more: at most what it asks for along a piece, or across an area.
    """
    shallow = [out for out in outs if out.depth is not None]
    step = PIECE if sum(_lengths(out).sum() for out in shallow) <= PIECE * MOST_PIECES else np.inf
    return [out if out.depth is None else _cut_up(out, step, scale_error) for out in outs]


def _cut_up(out: KeepOut, step: float, scale_error: float) -> KeepOut:
    lengths = _lengths(out)
    counts = np.maximum(np.ceil(lengths / step), 1).astype(int)
    number = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    start, way = (np.repeat(each, counts, axis=0) for each in (out.segments[:, :2], np.diff(_ends(out), axis=1)[:, 0]))
    shares = np.stack([number, number + 1], axis=1) / np.repeat(counts, counts)[:, None]
    ends = start[:, None] + shares[..., None] * way[:, None]
    longest = float(np.hypot(*np.ptp(_ends(out), axis=(0, 1)))) if out.kind == "area" else (lengths / counts).max()
    return replace(
        out,
        segments=ends.reshape(-1, 4),
        reach=np.repeat(out.reach, counts),
        margin=out.margin + 2 * scale_error * longest,
    )


def _ends(out: KeepOut) -> Real:
    return out.segments.reshape(-1, 2, 2)


def _lengths(out: KeepOut) -> Real:
    found: Real = np.hypot(*np.diff(_ends(out), axis=1)[:, 0].T)
    return found
