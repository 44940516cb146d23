"""How the places of a plane that a photo shows change with what a view is made of: derivatives worked out by hand.

They take a fraction of the time that differences of many views do, and say the same.
"""

from __future__ import annotations

import numpy as np

from photonest.scale.camera import CENTRE, FOCAL, OPTICS, RADIAL, SHIFT, TURN, Array, View


def place_slopes(view: View, points_px: Array, ways: Array) -> Array:
    """Return how places of the plane change along a way each, for each of the view's own parameters, shape (11, n).

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)
        Pixels; the places are where `View.to_mm` lays them.
    ways : ndarray, shape (n, 2)
        Of the plane: what is returned is the change in mm times these.
    """
    turn, shift, focal = view.rotation, view.shift, float(view.focal_px)
    (k1, k2), normal = view.values[RADIAL], turn[:, 2]
    ray = np.ones((len(points_px), 3))
    ray[:, :2] = (view.ideal(points_px) - view.values[CENTRE]) / focal
    # a ray meets the plane where it has gone the plane's distance over its own share along the plane's normal
    along = ray @ normal
    reach = (normal @ shift) / along
    seen = reach[:, None] * ray - shift
    space = ways @ turn[:, :2].T
    slide = ((space * ray).sum(axis=1) / along)[:, None]  # a longer ray moves the place so far along the way
    by_shift = slide * normal - space
    by_ray = reach[:, None] * (space - slide * normal)[:, :2]
    # the lens moves a ray by a multiple of it and a matrix of rank one; a pixel stays where it is
    ray = ray[:, :2]
    r2 = (ray**2).sum(axis=1)
    stretch, more = 1 + r2 * (k1 + k2 * r2), 2 * (k1 + 2 * k2 * r2)
    share = (by_ray * ray).sum(axis=1) * more / (stretch + more * r2)
    by_seen = (by_ray - share[:, None] * ray) / stretch[:, None]
    outward = (by_seen * ray).sum(axis=1)
    size = shift[2] / focal  # mm in a pixel
    slopes = np.empty((OPTICS, len(ray)))
    slopes[FOCAL] = shift[2] * by_shift[:, 2] - stretch * outward
    slopes[CENTRE] = -by_seen.T / focal - size * by_shift[:, :2].T
    slopes[RADIAL] = -outward * r2, -outward * r2**2
    slopes[SHIFT] = size * by_shift[:, 0], size * by_shift[:, 1], by_shift @ shift
    turned = np.column_stack([ways, -slide])
    slopes[TURN] = view.turn_slopes.reshape(3, 9) @ (seen[:, :, None] * turned[:, None]).reshape(-1, 9).T
    return slopes


def camera_slopes(view: View) -> Array:
    """Return how the camera's place, `View.camera_mm`, changes with each of the view's own parameters, (11, 3)."""
    turn, shift = view.rotation, view.shift
    size = shift[2] / float(view.focal_px)
    moved = np.zeros((OPTICS, 3))
    moved[FOCAL, 2] = shift[2]
    moved[CENTRE, :2] = -size * np.eye(2)
    moved[SHIFT] = np.vstack([size * np.eye(2, 3), shift])
    slopes = -moved @ turn
    slopes[TURN] = -(shift @ view.turn_slopes)
    return np.asarray(slopes)
