"""The pith as a person set it."""

from __future__ import annotations

from dataclasses import dataclass

from photonest.model import FlatPhoto, NotFound, Outline, Pith, Point


class ByHand:
    """Answers with the pith given in its options, in mm."""

    name = "by-hand"
    version = "1"

    @dataclass(frozen=True)
    class Options:
        """The pith, and how exactly it was set."""

        point: Point | None = None
        standard_error: float = 1.0

    def find(self, flat: FlatPhoto, outline: Outline, options: Options) -> Pith | NotFound:
        """Return the pith given, or NotFound when none is."""
        if options.point is None:
            return NotFound("no pith was set by hand")
        return Pith(options.point, options.standard_error, set_by="person")
