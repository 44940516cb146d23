"""A rim moved to where the piece parts from what lies about it, whatever the piece is made of.

Heart, sapwood, stain and bark look different from each other; what they share is that the ground about them looks
different again. So the ground is learnt, from well outside the rim, near each part of it and all around; and what is
unlike the ground, next to the piece, belongs to the piece.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import blurred, k_means
from photonest.outline.polar import Floats, Rays

Labels = NDArray[np.intp]
UNITS = np.array([0.5, 0.06, 0.06, 0.35], np.float32)
"""Differences of each layer that count alike; brightness counts little, since it is the light as much as the thing."""


class Contrast(NamedTuple):
    """How the ground is learnt; lengths are shares of the radius, `near` is in rays."""

    labels: int = 20
    gap_in: float = 0.03
    gap_out: float = 0.06
    reach: float = 0.5
    near: float = 14.0
    whole_share: float = 0.4
    unknown: float = 0.3
    """Share of the piece that may look like nothing seen inside it yet."""
    limit: float = 2.0


def labelled(rays: Rays, count: int) -> Labels:
    """Return clusters of like looks along the rays of one star, shape (r, c), by k-means from points far apart."""
    layers = rays.layers[0] / UNITS
    every = np.ascontiguousarray(layers.reshape(-1, layers.shape[2]))
    some = every[rays.usable[0].ravel()]
    some = some[:: max(1, len(some) // 3000)]
    return k_means(every, some, count, rounds=8).reshape(layers.shape[:2])


def unlike_ground(rays: Rays, labels: Labels, columns: NDArray[np.intp], how: Contrast) -> Floats:
    """Return for each point of one star how much rather it belongs to the piece than to the ground, shape (r, c).

    A logarithm of a ratio of likelihoods, learnt inside and outside the path `columns` (r,).
    """
    away = np.log(rays.radii) - np.log(rays.radii[columns])[:, None]
    usable = rays.usable[0]
    inside = (away < -how.gap_in) & usable
    outside = (away > how.gap_out) & (away < how.reach) & usable
    piece = _shares(labels, inside, how)
    ground = _shares(labels, outside, how)
    piece = (1 - how.unknown) * piece + how.unknown / how.labels
    ratio = np.clip(np.log(piece / (0.97 * ground + 0.03 / how.labels)), -how.limit, how.limit)
    values = np.take_along_axis(ratio, labels, axis=1)
    smooth = blurred(np.where(usable, values, -how.limit).astype(np.float32), 1.0)
    return np.asarray(smooth, float)


def _shares(labels: Labels, part: NDArray[np.bool_], how: Contrast) -> Floats:
    """Return the share of each label in a part of the star: near each ray, mixed with all of it; shape (r, labels)."""
    from scipy.ndimage import gaussian_filter1d

    rows, columns = np.nonzero(part)
    count = np.zeros((len(labels), how.labels))
    np.add.at(count, (rows, labels[rows, columns]), 1.0)
    whole = count.sum(axis=0) / max(float(count.sum()), 1.0)
    near = gaussian_filter1d(count, how.near, axis=0, mode="wrap")
    near = (near + 2.0 * whole) / (near.sum(axis=1, keepdims=True) + 2.0)
    return np.asarray((1 - how.whole_share) * near + how.whole_share * whole)
