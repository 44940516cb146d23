"""The untrained finder on painted faces, beyond what every finder must do."""

from __future__ import annotations

import numpy as np

from photonest.model import FlatPhoto, Outline
from photonest.outline.edge import EdgeOutline
from tests.outline.scenes import blob, distances, found_by, painted, photo

SHAPE = (420, 560)


def found(flat: FlatPhoto) -> Outline:
    return found_by(EdgeOutline(), flat)


def test_grey_photos_work() -> None:
    line = blob((285, 212), 160)
    grey = painted(SHAPE, line, (300, 205), ground="moss").mean(axis=2).astype(np.uint8)
    flat = photo(np.repeat(grey[..., None], 3, axis=2))
    assert flat.grey
    assert distances(flat.to_px(found(flat).points), line).mean() < 3.5  # one percent of D
