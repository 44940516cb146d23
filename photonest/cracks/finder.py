"""The crack finder: lines that a network likens to cracks, judged by their cuts at full resolution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from photonest.cracks.evidence import evidence
from photonest.cracks.judge import Judge, likelihoods, shipped
from photonest.cracks.search import Candidate, View, candidates, view
from photonest.cracks.tips import led_on
from photonest.cracks.traces import Trace, Vector, each_once, extended, joined, kind_of, length_of, traced
from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Pith

NEAR_PITH = 0.03  # of the diameter: a check that comes so near goes through
PALE, PALE_SURE = 0.2, 0.7  # of the wood's brightness: of lines less dark than that, so many are cracks, not streaks
FAINT = 0.4  # of what makes a possible crack: enough for one that goes on from another
ENDS = -1.7  # log odds to which a line is followed: higher, more tips lie beyond the margin; lower, more beside a crack
EVENED = 0.005  # of the diameter: what they are averaged over
SPACING, SAME, GAP = 0.004, 0.004, 0.03  # of the diameter: of points, of one line told twice, between fragments
LED_ON = 0.5  # likelihood from which a line is followed beyond what the network sees
APART = 0.05  # of the diameter: a stretch so long that no better line takes in is told by itself


@dataclass(frozen=True)
class LineOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Confidence from which a crack is reported as seen, and as possible.
    tip_margin_pct : float
        How far a free tip is extended beyond what is seen, in percent of the mean diameter. Of the free
        tips of drawn cracks more than nine in ten lie within it.
    """

    seen_from: float = 0.8
    possible_from: float = 0.22
    tip_margin_pct: float = 3.0


class Lines:
    """Finds checks as thin dark or light lines: best paths over a network's answer, judged by their profile."""

    name = "lines"
    version = "5"
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
    """Return how likely each candidate is a crack.

    Real wood has more pale streaks than drawn wood, from which the judge has most of its examples: of pale lines in
    real textures that it was surest of, seven in ten were cracks.
    """
    if not found:
        return np.empty(0)
    sure = likelihoods(judge, evidence(found, seen, pith))
    pale = [p > PALE_SURE and abs(1 - one.profile.level) < PALE for one, p in zip(found, sure, strict=True)]
    return np.where(pale, PALE_SURE, sure)


def cracks_of(
    seen: View, found: Sequence[Candidate], sure: Vector, pith: Pith | None, options: LineOptions
) -> list[Crack]:
    """Return the cracks among candidates, from the likelihood of each.

    A faint stretch counts where it goes on from a surer one; a sure one is followed on at full size.
    """
    centre, mm, across = pith.point if pith else None, seen.full.mm_per_px, seen.diameter
    traces = [
        traced(
            seen.full.to_mm(one.profile.path),
            one.profile.width * mm,
            float(p),
            one.profile.light,
            SPACING * across,
            centre,
        )
        for one, p in zip((_between_ends(one, seen) for one in found), sure, strict=True)
        if p >= FAINT * options.possible_from
    ]
    once = each_once(traces, SAME * across, APART * across)
    whole = joined(led_on(once, seen, centre, LED_ON), GAP * across)
    return [_crack(trace, seen, pith, options) for trace in whole if trace.sure >= options.possible_from]


def _between_ends(one: Candidate, seen: View) -> Candidate:
    """Return a line from the first to the last place where the network sees a crack, if it does anywhere."""
    count = min(len(one.odds), max(1, round(EVENED * seen.diameter_px / one.profile.step)))
    framed = np.pad(one.odds, (count // 2, count - 1 - count // 2), mode="edge")
    seen_at = np.flatnonzero(np.convolve(framed, np.full(count, 1 / count), "valid") >= ENDS)
    return one.part(int(seen_at[0]), int(seen_at[-1]) + 1) if len(seen_at) > 3 else one


def _crack(trace: Trace, seen: View, pith: Pith | None, options: LineOptions) -> Crack:
    centre = pith.point if pith else None
    through = centre is not None and bool(np.hypot(*(trace.path[0] - centre)) < NEAR_PITH * seen.diameter)
    margin = options.tip_margin_pct / 100 * seen.diameter
    whole = extended(trace, margin, seen.outline, centre if through else None)
    return Crack(
        id="",
        path=tuple((float(x), float(y)) for x, y in whole.path),
        width=_widest(whole.widths),
        length=length_of(whole.path),
        kind=kind_of(trace.path, through, centre),
        confidence=round(trace.sure, 3),
        status="seen" if trace.sure >= options.seen_from else "possible",
        standard_error=seen.full.mm_per_px,
        tip_margin=margin,
        widths=tuple(float(w) for w in whole.widths),
    )


def _widest(widths: Vector) -> float:
    """Return the widest opening that its neighbours bear out."""
    framed = np.concatenate([[0.0], widths, [0.0]])
    return float(np.median(np.lib.stride_tricks.sliding_window_view(framed, 3), axis=1).max())
