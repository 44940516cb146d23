"""The most likely view of a printed sheet by its corners: some of them soiled, the sheet perhaps not flat.

Paper bends one way at a time. About the sheet's middle its lift towards the camera is taken as a quadratic form of the
place, and the print as moved inwards so that lengths along the paper stay (to the order of the slope squared). How much
bend to allow for is read off the corners themselves (empirical Bayes: the spread that makes the form seen most likely),
so that a flat sheet measures nearly as well as if it were known to be flat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.scale.camera import OPTICS, Array, Prior, View, fit

ASPECT_ERROR = 0.001  # of a printer's scale along against across the feed; common practice, no source
UNIT_MM = 100.0  # from the sheet's middle, where the quadratic form of the lift is stated
BENDS_MM = (0.2, 0.3, 0.45, 0.7, 1.0, 1.5, 2.2, 3.3, 5.0)  # spreads of the form's coefficients that are tried
MORE = 4  # parameters beside the view's: the print's stretch, and the form
FORM = slice(OPTICS + 1, OPTICS + MORE)
USUAL_SPREAD, SPREAD_WEIGHT = 0.7, 8.0  # of residuals over the corners' own errors, and how many residuals that counts
ROUGHLY = 1e-4  # gain, as a share of the cost, that is enough where only a first view is wanted
HEAVY = 4.0  # degrees of freedom of the t distribution that residuals are taken from (Lange et al. 1989)


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners in sight: pixels, shape (n, 2), the mm on the sheet that they are, and each one's own error in pixels."""

    px: Array
    mm: Array
    error_px: Array

    def picked(self, which: NDArray[np.bool_]) -> Corners:
        """Return some of them."""
        return Corners(self.px[which], self.mm[which], self.error_px[which])


@dataclass(frozen=True, eq=False)
class SheetView:
    """A view of a sheet, how far its corners are off over their own errors, and the sheet's middle in mm."""

    view: View
    spread: float
    middle_mm: Array

    def to_px(self, mm: ArrayLike) -> Array:
        """Return where the photo shows places of the print, shape (n, 2)."""
        return self.view.to_px(placed(self.view, np.asarray(mm, dtype=float), self.middle_mm))

    def lift(self, mm: ArrayLike) -> Array:
        """Return by how many mm places of the print lie nearer to the camera than the plane in its middle."""
        return -placed(self.view, np.asarray(mm, dtype=float), self.middle_mm)[:, 2]


def placed(view: View, mm: Array, middle_mm: Array) -> Array:
    """Return where places of a print lie, shape (..., n, 3): stretched as it came out of the printer, and bent.

    A sheet bent about one axis with curvature k has at s from its middle the lift k s^2 / 2, and lies k^2 s^3 / 6
    farther in than its print says.
    """
    stretch = view.more[..., None, :1] * [1.0, -1.0]
    x, y = np.moveaxis((mm - middle_mm) / UNIT_MM, -1, 0)
    a, b, c = np.moveaxis(view.values[..., FORM], -1, 0)[..., None]
    lift = a * x * x + b * x * y + c * y * y
    slope = np.stack([2 * a * x + b * y, b * x + 2 * c * y], axis=-1) / UNIT_MM
    flat = mm * (1 + stretch) - lift[..., None] * slope / 3
    return np.concatenate([flat, -lift[..., None]], axis=-1)


def rough_fit(start: View, corners: Corners, prior: Prior, middle_mm: ArrayLike) -> SheetView | None:
    """Return a view of a sheet, bent as it may be, that tells where to look for its corners; None without one."""
    middle = np.asarray(middle_mm, dtype=float)
    return _settled(SheetView(start, 1.0, middle), corners, prior, BENDS_MM[-1], rounds=2, settled=ROUGHLY)


def fit_corners(start: View, corners: Corners, prior: Prior, middle_mm: ArrayLike) -> SheetView | None:
    """Return the most likely view of a sheet by its corners, near a first one; None where the fit runs away."""
    loose = rough_fit(start, corners, prior, middle_mm)
    if loose is None:
        return None
    bend = _likeliest_bend(loose.view)
    fitted = _settled(loose, corners, prior, bend, rounds=2)
    if fitted is None or fitted.view.covariance is None:
        return None
    # information of a t distribution over that of the normal one with the same weights, in two dimensions
    wider = (HEAVY + 4) / (HEAVY + 2)
    return replace(fitted, view=replace(fitted.view, covariance=wider * fitted.view.covariance))


def _settled(
    sheet: SheetView, corners: Corners, prior: Prior, bend: float, rounds: int, settled: float = 1e-6
) -> SheetView | None:
    """Return the most likely view for one spread of the bend, corners weighted by how well they fit."""
    errors: Sequence[float] = (ASPECT_ERROR, bend, bend, bend)
    weight, spread, middle = np.ones(len(corners.px)), sheet.spread, sheet.middle_mm
    for k in range(rounds):
        if k or sheet.view.covariance is not None:
            weight, spread = _weights(sheet, corners)
        root = (np.sqrt(weight) / (corners.error_px * spread))[:, None]

        def residuals(at: View, root: Array = root) -> Array:
            off = (at.to_px(placed(at, corners.mm, middle)) - corners.px) * root
            return off.reshape(*off.shape[:-2], -1)

        view = fit(sheet.view, prior, residuals, errors, settled)
        if view is None:
            return None
        sheet = replace(sheet, view=view, spread=spread)
    return sheet


def _weights(sheet: SheetView, corners: Corners) -> tuple[Array, float]:
    """Return the corners' weights, shape (n,), and the spread of their residuals, both by the t distribution."""
    off2 = ((sheet.to_px(corners.mm) - corners.px) ** 2).sum(axis=1) / corners.error_px**2
    weight, spread = np.ones(len(off2)), sheet.spread
    freedom = max(1, 2 * len(off2) - 9)
    for _ in range(10):
        weight = (HEAVY + 2) / (HEAVY + off2 / spread**2)
        total = SPREAD_WEIGHT * USUAL_SPREAD**2 + float(weight @ off2)
        spread = float(np.sqrt(total / (SPREAD_WEIGHT + freedom)))
    return weight, spread


def _likeliest_bend(view: View) -> float:
    """Return the spread of the bend that makes the form seen most likely, from a fit with the widest one."""
    assert view.covariance is not None
    kept = np.linalg.inv(view.covariance[FORM, FORM])
    told = kept - np.eye(3) / BENDS_MM[-1] ** 2 + 1e-9 * np.eye(3)  # what the corners alone say of it
    seen, spread = np.linalg.solve(told, kept @ view.values[FORM]), np.linalg.inv(told)

    def doubt(bend: float) -> float:
        covariance = spread + bend**2 * np.eye(3)
        return float(seen @ np.linalg.solve(covariance, seen) + np.linalg.slogdet(covariance)[1])

    return min(BENDS_MM, key=doubt)
