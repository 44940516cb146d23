"""The one page a plugin author reads: what a finder of each stage gets, and what it answers.

A plugin is a plain object with

* ``name``: short, lower case, as it is typed after ``--scale``, ``--outline``, ``--pith`` or ``--cracks``;
* ``version``: a text that changes whenever its numbers may;
* ``Options``: a frozen dataclass, every field with a default, units in the names (``blur_px``); users set them with
  ``--set STAGE.NAME.FIELD=VALUE``, and ``photonest plugins show STAGE.NAME`` tells them what its docstring says of each
  under ``Attributes``;
* ``find``: as below.

It is announced under an entry-point group named after its stage, ``photonest.scale``, ``photonest.outline``,
``photonest.pith`` or ``photonest.cracks``, as the object itself or a class to be called without arguments. An optional
``priority`` (a whole number from 100; 1000 if not given) is its place in the order that ``auto`` walks, after the
built-in finders; ties go by name.

A finder MUST NOT write to the arrays it is given (they are read-only), touch files, or print. It SHOULD answer
`NotFound` with a reason and a hint when it can't stand for an answer: a wrong measurement can ruin the wood. What it
returns is checked: finite numbers, a valid outline, standard errors that are not negative. The same input MUST give
the same answer.

Scale finders see the photo. All others see the `FlatPhoto`, where every pixel has the same size in mm, and answer in
mm; its origin is the centroid of the outline from the pith stage on.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, Protocol

from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Photo, Pith, Scale

Stage = Literal["scale", "outline", "pith", "cracks"]
STAGES: tuple[Stage, ...] = ("scale", "outline", "pith", "cracks")


class ScaleFinder(Protocol):
    """Finds a reference of known size and gives the homography from pixels to mm in the plane of the face."""

    name: str
    version: str
    Options: type

    def find(self, photo: Photo, options: Any) -> Scale | NotFound:
        """Return the scale of a photo.

        The mm frame may be turned and shifted as the reference lies; the core turns it upright.
        """
        ...


class OutlineFinder(Protocol):
    """Finds the edge of the piece that holds ``flat.aim``."""

    name: str
    version: str
    Options: type

    def find(self, flat: FlatPhoto, options: Any) -> Outline | NotFound:
        """Return the outline in mm: simple, closed, the first point not repeated."""
        ...


class PithFinder(Protocol):
    """Finds the growth centre of the rings; it may lie outside the piece."""

    name: str
    version: str
    Options: type

    def find(self, flat: FlatPhoto, outline: Outline, options: Any) -> Pith | NotFound:
        """Return the pith in mm, with a standard error that holds."""
        ...


class CrackFinder(Protocol):
    """Finds cracks or other defects. All finders of this stage run, and their answers are merged by the core."""

    name: str
    version: str
    Options: type

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: Any
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return what is found, in mm; an empty sequence means: looked, and saw none. Ids are given by the core."""
        ...
