"""Two ways of finding the outline, and the better answer of the two."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from photonest.imaging import mean_diameter
from photonest.model import FlatPhoto, NotFound, Outline, Points
from photonest.outline.choice import appeals
from photonest.outline.contour import ContourOutline, apart, measured
from photonest.outline.edge import EdgeOutline
from photonest.outline.polar import prepare

JUDGED_PX = 256
LEAST_ERROR_PCT = 0.3  # of the diameter: what both may have in common, a shadow's foot or a rough rim


DISAGREE = "Two ways of finding the outline disagree: check it in the picture."
BARK = "What lies about the wood is taken for its bark: check in the picture that it is no shadow."


@dataclass(frozen=True)
class JudgedOptions:
    """How far apart two answers may lie, in percent of the mean diameter.

    Attributes
    ----------
    same_pct, same_wood_pct : float
        Up to here the two are one: where the rim lies on the other's outline, and where on its edge under bark.
    doubtful_pct : float
        From here on the outline comes with a warning.
    """

    same_pct: float = 0.8
    same_wood_pct: float = 2.0
    doubtful_pct: float = 2.5


class JudgedOutline:
    """Asks for the competing regions and for the strongest rim, and gives the answer that more speaks for.

    Where the two lie apart, the standard error says so: two ways that share no cue seldom fail alike.
    """

    name = "judged"
    version = "1"
    Options = JudgedOptions

    def find(self, flat: FlatPhoto, options: JudgedOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        return judged(flat, _asked(EdgeOutline(), flat), _asked(ContourOutline(), flat), options)


def judged(
    flat: FlatPhoto, regions: Outline | NotFound, rim: Outline | NotFound, options: JudgedOptions
) -> Outline | NotFound:
    """Return the better of an answer by regions and one by the rim.

    Where they agree, or the rim is the other's edge under bark, it is the regions' answer: they tell bark apart.
    """
    if not isinstance(regions, Outline) or not isinstance(rim, Outline):
        return _alone(regions if isinstance(regions, Outline) else rim)
    unit = mean_diameter(rim.points) / 100
    distance = _distance(regions.points, rim.points) / unit
    wood = _distance(regions.under_bark, rim.points) / unit if regions.under_bark is not None else np.inf
    agreed = distance <= options.same_pct or wood <= options.same_wood_pct
    chosen = rim if not agreed and _appeals_more(flat, rim, regions) else regions
    least = max(chosen.standard_error, LEAST_ERROR_PCT * unit)
    said = BARK if agreed else DISAGREE
    return replace(
        chosen,
        standard_error=float(np.hypot(least, 0.5 * unit * min(distance, 4.0))),
        warnings=(*chosen.warnings, said) if distance > options.doubtful_pct else chosen.warnings,
    )


def _asked(finder: Any, flat: FlatPhoto) -> Outline | NotFound:
    answer: Outline | NotFound = finder.find(flat, finder.Options())
    return answer


def _alone(answer: Outline | NotFound) -> Outline | NotFound:
    if isinstance(answer, NotFound):
        return answer
    said = "Only one of two ways of finding the outline sees it: check it in the picture."
    return replace(answer, warnings=(*answer.warnings, said))


def _distance(first: Points, second: Points) -> float:
    """Return the mean distance between two closed lines, the larger of both ways."""
    one, other = np.array(first), np.array(second)
    return max(apart(one, other), apart(other, one))


def _appeals_more(flat: FlatPhoto, first: Outline, second: Outline) -> bool:
    score = appeals(prepare(flat, JUDGED_PX), [measured(flat, np.array(one.points)) for one in (first, second)])
    return bool(score[0] >= score[1])
