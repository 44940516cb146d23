"""How likely a candidate is a crack, from its cues."""

from __future__ import annotations

import math

from photonest.cracks.evidence import Evidence


def likelihood(cues: Evidence) -> float:
    """Return the likelihood, 0 to 1."""
    doubt = 1.5 if cues.light else 0.0
    sum_ = (
        2.0 * (cues.clarity - 1.7)
        + 1.8 * (cues.contrast + 1.5)
        + 5.0 * (cues.continuity - 0.75)
        + 1.0 * (cues.length + 2.5)
        - 1.5 * max(0.0, cues.width + 1.2)
        - 3.0 * max(0.0, cues.off_radial - 0.3)
        - doubt
    )
    return 1 / (1 + math.exp(-sum_))
