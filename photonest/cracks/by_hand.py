"""Cracks and other defects as a person set them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Pith


class ByHand:
    """Answers with the marks given in its options, in mm."""

    name = "by-hand"
    version = "1"

    @dataclass(frozen=True)
    class Options:
        """Marks set by a person: added, dismissed, probed or moved."""

        cracks: tuple[Crack, ...] = ()
        defects: tuple[Defect, ...] = ()

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: Options
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return the marks given, or NotFound when there are none."""
        if not options.cracks and not options.defects:
            return NotFound("no marks were set by hand")
        return (*options.cracks, *options.defects)
