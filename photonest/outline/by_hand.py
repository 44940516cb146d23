"""The outline as a person set it."""

from __future__ import annotations

from dataclasses import dataclass

from photonest.model import FlatPhoto, NotFound, Outline, Points


class ByHand:
    """Answers with the outline given in its options, in mm."""

    name = "by-hand"
    version = "1"

    @dataclass(frozen=True)
    class Options:
        """The outline, with bark and under bark, and how exactly it was set."""

        points: Points = ()
        under_bark: Points = ()
        standard_error: float = 1.0

    def find(self, flat: FlatPhoto, options: Options) -> Outline | NotFound:
        """Return the outline given, or NotFound when none is."""
        if not options.points:
            return NotFound("no outline was set by hand")
        return Outline(options.points, options.under_bark or None, options.standard_error, set_by="person")
