"""Two ways of finding the outline, and the better answer of the two."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from photonest.imaging import mean_diameter, reduced, usable_part
from photonest.model import FlatPhoto, NotFound, Outline
from photonest.outline.choice import appeals
from photonest.outline.contour import ContourOutline, apart, measured
from photonest.outline.edge import EdgeOutline
from photonest.outline.plain import plain_piece
from photonest.outline.polar import prepare

PLAIN_PX, JUDGED_PX = 1024, 256


@dataclass(frozen=True)
class JudgedOptions:
    """How far apart, in percent of the diameter, two answers may lie before the outline is called doubtful."""

    doubtful_pct: float = 2.5


class JudgedOutline:
    """Asks for the competing regions and for the strongest rim, and gives the answer that more speaks for.

    Before a plain background the regions alone answer. Where the two lie apart, the standard error says so: two ways
    that share no cue seldom fail alike.
    """

    name = "judged"
    version = "1"
    Options = JudgedOptions

    def find(self, flat: FlatPhoto, options: JudgedOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        middling = reduced(flat, PLAIN_PX)
        if plain_piece(middling, usable_part(middling)) is not None:
            return _asked(EdgeOutline(), flat)
        answers = [_asked(finder, flat) for finder in (ContourOutline(), EdgeOutline())]
        found = [answer for answer in answers if isinstance(answer, Outline)]
        if len(found) < 2:
            return found[0] if found else answers[0]
        chosen, other = _by_appeal(flat, found[0], found[1])
        distance = apart(np.array(chosen.points), np.array(other.points))
        doubtful = distance > options.doubtful_pct / 100 * mean_diameter(chosen.points)
        said = ("Two ways of finding the outline disagree: check it in the picture.",) if doubtful else ()
        error = float(np.hypot(chosen.standard_error, 0.5 * min(distance, 0.04 * mean_diameter(chosen.points))))
        return replace(chosen, standard_error=error, warnings=(*chosen.warnings, *said))


def _asked(finder: Any, flat: FlatPhoto) -> Outline | NotFound:
    answer: Outline | NotFound = finder.find(flat, finder.Options())
    return answer


def _by_appeal(flat: FlatPhoto, first: Outline, second: Outline) -> tuple[Outline, Outline]:
    """Return the two, the one that more speaks for first."""
    ground = prepare(flat, JUDGED_PX)
    rims = [measured(flat, np.array(outline.points)) for outline in (first, second)]
    score = appeals(ground, rims)
    return (first, second) if score[0] >= score[1] else (second, first)
