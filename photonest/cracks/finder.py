"""The crack finder: lines that a network likens to cracks, judged by their cuts at full resolution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from photonest.cracks.evidence import evidence
from photonest.cracks.judge import Judge, likelihoods, shipped
from photonest.cracks.search import Candidate, View, candidates, view
from photonest.cracks.tips import led_on
from photonest.cracks.traces import Trace, Vector, each_once, extended, joined, kind_of, length_of, traced
from photonest.model import Crack, CrackKind, Defect, FlatPhoto, NotFound, Outline, Pith, Point

NEAR_PITH = 0.03  # of the diameter: a check that comes so near goes through
PALE = 0.2  # of the wood's brightness: a line less dark than that is never more than possible
FAINT = 0.3  # of what makes a possible crack: enough for one that goes on from another
SPACING, SAME, GAP = 0.004, 0.004, 0.03  # of the diameter: of points, of one line told twice, between fragments
LED_ON = 0.4  # likelihood from which a line is followed beyond what the network sees
LONG = 0.1  # of the diameter
LEAST_WIDTH = 0.01  # mm, of what is seen; 0 is left to the margins at the tips
APART = 0.05  # of the diameter: a stretch so long that no better line takes in is told by itself


@dataclass(frozen=True)
class LineOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Confidence from which a crack is reported as seen, if it is not pale, and as possible.
    long_from : float
        The same for a possible one longer than a tenth of the diameter: to miss that costs more than a bowl.
    tip_margin_pct : float
        How far a free tip is extended beyond what is seen, in percent of the mean diameter.
    closing_px : float
        How far the inner tip of a radial check is at least, which closes slowly, in pixels. Of the free tips of drawn
        cracks six in seven lie within that, and 93 in 100 of those that the line found runs up to.
    """

    seen_from: float = 0.9
    possible_from: float = 0.25
    long_from: float = 0.18
    tip_margin_pct: float = 3.0
    closing_px: float = 36.0


class Lines:
    """Finds checks as thin dark or light lines: best paths over a network's answer, judged by their profile."""

    name = "lines"
    version = "8"
    Options = LineOptions

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: LineOptions
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return the cracks on the wood."""
        seen = view(flat, outline)
        if min(seen.full.pixels.shape[:2]) < 64:
            return NotFound("the piece is under 64 pixels across", "Take the photo nearer, so that the piece fills it.")
        found = candidates(seen, pith)
        return cracks_of(seen, found, judged(shipped(), found, seen, pith), pith, options)


def judged(judge: Judge, found: Sequence[Candidate], seen: View, pith: Pith | None) -> Vector:
    """Return how likely each candidate is a crack."""
    return likelihoods(judge, evidence(found, seen, pith)) if found else np.empty(0)


def cracks_of(
    seen: View, found: Sequence[Candidate], sure: Vector, pith: Pith | None, options: LineOptions
) -> list[Crack]:
    """Return the cracks among candidates, from the likelihood of each.

    A faint stretch counts where it goes on from a surer one; a sure one is followed on at full size.
    """
    centre, across = pith.point if pith else None, seen.diameter
    traces = [
        _traced(one, float(p), seen, centre)
        for one, p in zip(found, sure, strict=True)
        if p >= FAINT * options.possible_from
    ]
    once = each_once(traces, SAME * across, APART * across)
    whole = joined(led_on(once, seen, centre, LED_ON), GAP * across)
    return [_crack(trace, seen, pith, options) for trace in whole if _told(trace, across, options)]


def _told(trace: Trace, across: float, options: LineOptions) -> bool:
    """Tell whether a trace is at least possibly a crack: of a long one less is asked."""
    long_from = min(options.long_from, options.possible_from)
    return trace.sure >= (long_from if trace.length > LONG * across else options.possible_from)


def _traced(one: Candidate, sure: float, seen: View, centre: Point | None) -> Trace:
    mm, line = seen.full.mm_per_px, one.profile
    trace = traced(seen.full.to_mm(line.path), line.width * mm, sure, line.light, SPACING * seen.diameter, centre)
    return replace(trace, pale=abs(1 - line.level) < PALE)


def _crack(trace: Trace, seen: View, pith: Pith | None, options: LineOptions) -> Crack:
    centre = pith.point if pith else None
    through = centre is not None and bool(np.hypot(*(trace.path[0] - centre)) < NEAR_PITH * seen.diameter)
    kind = kind_of(trace.path, through, centre)
    first, last = margins(kind, seen, options)
    shown = replace(trace, widths=np.maximum(trace.widths, LEAST_WIDTH))
    about = centre if kind == "ring" else None
    whole = extended(shown, (first, last), seen.outline, centre if through else None, about)
    return Crack(
        id="",
        path=tuple((float(x), float(y)) for x, y in whole.path),
        width=_widest(whole.widths),
        length=length_of(whole.path),
        kind=kind,
        confidence=round(trace.sure, 3),
        status="seen" if trace.sure >= options.seen_from and not trace.pale else "possible",
        standard_error=seen.full.mm_per_px,
        tip_margin=last if through else max(first, last),
        widths=tuple(float(w) for w in whole.widths),
    )


def margins(kind: CrackKind, seen: View, options: LineOptions) -> tuple[float, float]:
    """Return how far the tips of a crack are extended, in mm: the first, which is nearer the pith, and the last."""
    usual = options.tip_margin_pct / 100 * seen.diameter
    return max(usual, options.closing_px * seen.full.mm_per_px) if kind == "radial" else usual, usual


def _widest(widths: Vector) -> float:
    """Return the widest opening that its neighbours bear out."""
    framed = np.concatenate([[0.0], widths, [0.0]])
    return float(np.median(np.lib.stride_tricks.sliding_window_view(framed, 3), axis=1).max())
