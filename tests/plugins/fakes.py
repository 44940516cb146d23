"""Finders with known answers, and hostile ones, for the tests of the registry and the pipeline."""

import os
import sys
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from photonest.model import Crack, MapError, NotFound, Outline, Pith, Scale
from photonest.scale.known_diameter import KnownDiameter


@dataclass(frozen=True)
class NoOptions:
    pass


@dataclass(frozen=True)
class SizeOptions:
    half_width_mm: float = 40.0


class Base:
    name = "fake"
    version = "1"
    Options: Any = NoOptions


class TenthScale(Base):
    """A tenth of a millimetre per pixel."""

    def find(self, photo: Any, options: Any) -> Scale:
        return Scale("fake", ((0.1, 0, 0), (0, 0.1, 0), (0, 0, 1)), 1.0, 0.1)


class EighthScale(Base):
    """An eighth of a millimetre per pixel, and sure of it everywhere."""

    def find(self, photo: Any, options: Any) -> Scale:
        error = MapError((500.0, 450.0), 1000.0, tuple(tuple(row) for row in (1e-10 * np.eye(10)).tolist()))
        return Scale("board", ((0.125, 0, 0), (0, 0.125, 0), (0, 0, 1)), 0.001, 0.125, map_error=error)


class AbsentScale(Base):
    def find(self, photo: Any, options: Any) -> NotFound:
        return NotFound("no board in sight", "Lay a board down.", absent=True)


class BentScale(Base):
    def find(self, photo: Any, options: Any) -> NotFound:
        return NotFound("the board is bent", "Lay the board flat.")


class CaliperScale(Base):
    """Takes a pixel to be a tenth of a millimetre, until an outline shows what the calipers read."""

    name = "known-diameter"
    Options = KnownDiameter.Options

    def find(self, photo: Any, options: Any) -> Scale:
        return Scale("known-diameter", ((0.1, 0, 0), (0, 0.1, 0), (0, 0, 1)), 3.0, 0.1)


class TurnedScale(Base):
    """The same, given in a frame turned by 90 degrees and with the other sign of the homography."""

    def find(self, photo: Any, options: Any) -> Scale:
        return Scale("fake", ((0, 0.1, 7), (-0.1, 0, 3), (0, 0, -1)), 1.0, 0.1)


class MirroredScale(Base):
    def find(self, photo: Any, options: Any) -> Scale:
        return Scale("fake", ((-0.1, 0, 0), (0, 0.1, 0), (0, 0, 1)), 1.0, 0.1)


class SquareOutline(Base):
    """A square about the aim."""

    Options = SizeOptions

    def find(self, flat: Any, options: Any) -> Outline:
        x, y = flat.aim
        h = options.half_width_mm
        return Outline(((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h)))


class CornerPith(Base):
    def find(self, flat: Any, outline: Any, options: Any) -> Pith:
        return Pith((10.0, 0.0), 0.5)


class OneCrack(Base):
    def find(self, flat: Any, outline: Any, pith: Any, options: Any) -> list[Crack]:
        return [Crack("x", ((20.0, 0.0), (30.0, 0.0)), 0.5, 10.0, "radial", 0.9, "seen")]


class SameCrackAgain(Base):
    def find(self, flat: Any, outline: Any, pith: Any, options: Any) -> list[Crack]:
        return [
            Crack("x", ((20.1, 0.1), (29.0, 0.1)), 0.5, 9.0, "radial", 0.7, "possible"),
            Crack("y", ((-20.0, 0.0), (-35.0, 0.0)), 0.5, 1.0, "radial", 0.4, "possible"),
        ]


class Abstains(Base):
    def find(self, *inputs: Any) -> NotFound:
        return NotFound("nothing to see", "Look elsewhere.")


class Raises(Base):
    def find(self, *inputs: Any) -> Any:
        raise ValueError("made to fail")


class Leaves(Base):
    def find(self, *inputs: Any) -> Any:
        sys.exit(3)


class NanPith(Base):
    def find(self, flat: Any, outline: Any, options: Any) -> Pith:
        pith = Pith((0.0, 0.0), 0.5)
        object.__setattr__(pith, "point", (float("nan"), 0.0))  # past the record's own check
        return pith


class NegativePith(Base):
    def find(self, flat: Any, outline: Any, options: Any) -> Pith:
        return replace(Pith((0.0, 0.0), 0.5), standard_error=-1.0)


class WrongType(Base):
    def find(self, *inputs: Any) -> Any:
        return "here"


class BowTie(Base):
    def find(self, flat: Any, options: Any) -> Outline:
        x, y = flat.aim
        return Outline(((x - 9, y - 9), (x + 9, y + 9), (x + 9, y - 9), (x - 9, y + 9)))


class OutsideFrame(Base):
    def find(self, flat: Any, options: Any) -> Outline:
        return Outline(((0.0, 0.0), (1e6, 0.0), (0.0, 1e6)))


class Noisy(SquareOutline):
    def find(self, flat: Any, options: Any) -> Outline:
        print("noise from print")
        os.write(1, b"noise from the process\n")
        return super().find(flat, options)


class ChangesTheArray(SquareOutline):
    def find(self, flat: Any, options: Any) -> Outline:
        pixels: np.ndarray[Any, Any] = flat.pixels
        pixels.setflags(write=True)
        pixels[:] = 0
        return super().find(flat, options)


class WrongSignature(Base):
    def find(self, flat: Any) -> Any:
        return None


class NoVersion(Base):
    version = ""


class NotFrozen(Base):
    @dataclass
    class Options:
        size: float = 1.0

    def find(self, flat: Any, options: Any) -> Any:
        return None


class OtherName(Base):
    name = "other"
