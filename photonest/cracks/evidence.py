"""What speaks for and against a candidate line being a crack, as numbers that do not depend on the photo's size."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.profiles import Profile, Vector, normals, ranked
from photonest.cracks.search import Candidate, View
from photonest.model import Pith


class Evidence(NamedTuple):
    """The cues of one candidate; D is the mean diameter.

    Attributes
    ----------
    contrast : float
        Log of the depth in shares of the brightness of the wood beside it.
    clarity : float
        Log of the depth in units of the wood's texture beside it.
    continuity : float
        Share of the line that stands clearly out of the texture.
    length : float
        Log of length over D.
    width : float
        Log of the typical opening over D.
    widest : float
        Log of the widest opening over the typical one.
    unevenness : float
        Spread of the opening over its mean: pencil lines and saw marks are even.
    taper : float
        Opening at the narrower end over that of the wider end: a check tapers.
    sharpness : float
        Steepest slope of the blunter side, in depths per pixel times the opening: stains are blunt.
    level, darkest : float
        Brightness of the middle over that of the wood beside it, typically and at the strongest tenth of the line.
    straightness : float
        Log of the deviation from a straight line over the length.
    wander : float
        Log of the short-range wander in pixels.
    off_radial : float
        Sine of the angle between line and radius; 0 without a pith.
    to_pith, to_rim : float
        Distance of the nearer end to either, over D; 0.5 without a pith.
    step : float
        Difference of the two sides over their texture: an edge is no crack.
    crossing : float
        How well what is seen along one side repeats on the other: rings go on across a crack, and break at a fold.
    colour : float
        Change of chroma at the middle: stains and ink have a colour of their own.
    likely, doubtful : float
        Log odds of a crack along it as the network sees it: the mean, and what nine tenths of it pass.
    light : float
        1 for a line lighter than the wood.
    blind : float
        1 where no pith is known.
    standing : float
        By how much its clarity passes that of most candidates of the photo: rays and streaks look alike, a check stands
        out.
    company : float
        Log of the number of candidates in the photo.
    """

    contrast: float
    clarity: float
    continuity: float
    length: float
    width: float
    widest: float
    unevenness: float
    taper: float
    sharpness: float
    level: float
    darkest: float
    straightness: float
    wander: float
    off_radial: float
    to_pith: float
    to_rim: float
    step: float
    crossing: float
    colour: float
    likely: float
    doubtful: float
    light: float
    blind: float
    standing: float = 0.0
    company: float = 0.0


def evidence(found: list[Candidate], seen: View, pith: Pith | None) -> list[Evidence]:
    """Return the cues of every candidate."""
    alone = [_evidence(one, seen, pith) for one in found]
    usual = ranked(np.array([cues.clarity for cues in alone]), 0.75) if alone else 0.0
    return [cues._replace(standing=cues.clarity - usual, company=_log(len(alone))) for cues in alone]


def _evidence(one: Candidate, seen: View, pith: Pith | None) -> Evidence:
    line = one.profile
    across = seen.diameter_px
    left, right = _beside(line)
    base = np.maximum((left + right) / 2, 1.0)
    level = line.cuts[:, line.cuts.shape[1] // 2] / base
    opening = line.width[line.width > 0]
    typical = ranked(opening, 0.5) if len(opening) else 0.5
    off_radial, to_pith, to_rim = _place(line, seen, pith)
    return Evidence(
        contrast=_log(ranked(line.depth / base, 0.5)),
        clarity=_log(1.0 + max(0.0, ranked(line.depth, 0.5)) / line.noise),
        continuity=float((line.depth > 2.5 * line.noise).mean()),
        length=_log(line.length / across),
        width=_log(100 * typical / across),
        widest=_log(ranked(opening, 0.95) / typical if len(opening) else 1.0),
        unevenness=float(opening.std() / opening.mean()) if len(opening) else 0.0,
        taper=_taper(line),
        sharpness=_sharpness(line, typical),
        level=ranked(level, 0.5),
        darkest=ranked(level, 0.9 if line.light else 0.1),
        straightness=_log(_bow(line.path) / line.length),
        wander=_log(_wander(line.path)),
        off_radial=off_radial,
        to_pith=to_pith,
        to_rim=to_rim,
        step=abs(ranked(left - right, 0.5)) / line.noise,
        crossing=_crossing(line),
        colour=_colour(line, seen.full.pixels),
        likely=float(np.clip(one.odds, -8, 8).mean()),
        doubtful=float(np.clip(ranked(one.odds, 0.1), -8, 8)),
        light=float(line.light),
        blind=float(pith is None),
    )


def _log(value: float | np.floating) -> float:
    return float(np.log(max(float(value), 1e-3)))


def _beside(line: Profile) -> Vector:
    """Return the mean brightness of either side along the line, shape (2, n)."""
    reach = line.cuts.shape[1] // 2
    left, right = line.cuts[:, : reach // 2], line.cuts[:, -(reach // 2) :]
    return np.stack([left.mean(axis=1), right.mean(axis=1)]).astype(float)


def _taper(line: Profile) -> float:
    third = max(1, len(line.width) // 3)
    ends = sorted((float(line.width[:third].mean()), float(line.width[-third:].mean())))
    return (ends[0] + 0.1) / (ends[1] + 0.1)


def _sharpness(line: Profile, width: float) -> float:
    reach = line.cuts.shape[1] // 2
    near = min(reach, max(2, round(width) + 2))
    slope = np.abs(np.diff(line.cuts, axis=1))
    left = slope[:, reach - near : reach].max(axis=1)
    right = slope[:, reach : reach + near].max(axis=1)
    depth = np.maximum(line.depth, line.noise)
    return ranked(np.minimum(left, right) / depth, 0.5) * width


def _bow(path: Vector) -> float:
    """Return the root mean square distance from the chord, in pixels."""
    chord = path[-1] - path[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-9)
    away = (path - path[0]) @ np.array([-chord[1], chord[0]])
    at = np.linspace(-1, 1, len(path))
    return float(np.sqrt(np.mean((away - away.mean() - (at @ away) / (at @ at) * at) ** 2)))


def _wander(path: Vector) -> float:
    """Return how far points lie from the middle of their neighbours 8 steps away, root mean square, in pixels."""
    if len(path) < 20:
        return 0.3
    return float(np.sqrt(np.mean(np.sum((path[8:-8] - (path[:-16] + path[16:]) / 2) ** 2, axis=1))))


def _place(line: Profile, seen: View, pith: Pith | None) -> tuple[float, float, float]:
    import cv2

    if pith is None:
        return 0.0, 0.5, 0.5
    ends = seen.full.to_mm(line.path[[0, -1]])
    edge = seen.outline.astype(np.float32).reshape(-1, 1, 2)
    to_rim = min(cv2.pointPolygonTest(edge, (float(x), float(y)), True) for x, y in ends)
    radius = ends.mean(axis=0) - pith.point
    chord = ends[1] - ends[0]
    cross = abs(radius[0] * chord[1] - radius[1] * chord[0])
    off = cross / max(float(np.hypot(*radius) * np.hypot(*chord)), 1e-9)
    to_pith = float(np.hypot(*(ends - pith.point).T).min())
    return float(off), to_pith / seen.diameter, max(0.0, to_rim) / seen.diameter


def _crossing(line: Profile) -> float:
    """Return the correlation of what lies just left and just right along the line."""
    import cv2

    reach = line.cuts.shape[1] // 2
    far = max(3, reach // 2)
    if len(line.cuts) < 12:
        return 0.0
    window = (1, min(25, len(line.cuts) // 2 * 2 - 1))
    sides = line.cuts[:, reach - far : reach - 2], line.cuts[:, reach + 3 : reach + far + 1]
    means = [side.mean(axis=1, keepdims=True) for side in sides]
    left, right = (mean - cv2.blur(mean, window, borderType=cv2.BORDER_REPLICATE) for mean in means)
    scale = float(np.sqrt((left**2).mean() * (right**2).mean()))
    return float((left * right).mean()) / max(scale, 0.3)


def _colour(line: Profile, pixels: NDArray[np.uint8]) -> float:
    import cv2

    middle, across = line.path[::3], normals(line.path)[::3]
    reach = 0.7 * (line.cuts.shape[1] // 2)
    height, width = pixels.shape[:2]
    points = np.concatenate([middle, middle + reach * across, middle - reach * across])
    x, y = np.clip(np.round(points).astype(int), 0, [width - 1, height - 1]).T
    chroma = cv2.cvtColor(pixels[y, x].reshape(-1, 1, 3), cv2.COLOR_RGB2LAB)[:, 0, 1:].astype(float)
    middle, left, right = np.split(chroma, 3)
    return float(np.hypot(*np.median(middle - (left + right) / 2, axis=0))) / 10
