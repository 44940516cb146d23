"""A finder of our own: the outline is the frame of the photo, as for a picture already cropped to the wood."""

from dataclasses import dataclass
from typing import Any

from photonest.model import FlatPhoto, NotFound, Outline


class FrameOutline:
    name = "frame"
    version = "1"
    priority = 2000

    @dataclass(frozen=True)
    class Options:
        inset_px: float = 0.0

    def find(self, flat: FlatPhoto, options: Any) -> Outline | NotFound:
        height, width = flat.pixels.shape[:2]
        if min(height, width) <= 2 * options.inset_px + 1:
            return NotFound("the inset leaves nothing of the photo", "Give a smaller inset_px.")
        left, top = options.inset_px, options.inset_px
        right, bottom = width - 1 - options.inset_px, height - 1 - options.inset_px
        corners = flat.to_mm([[left, top], [right, top], [right, bottom], [left, bottom]])
        return Outline(tuple((float(x), float(y)) for x, y in corners), standard_error=flat.mm_per_px)
