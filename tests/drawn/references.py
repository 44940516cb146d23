"""Flat things that lie in the scene: references of known size, and what may be mistaken for them.

Each is a shape with an exact edge, in its own mm: x to the right, y down, from its upper left corner. The print
on it comes from `tests.drawn.prints`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from photonest.scale.board import FIRST_CUT_OUT, sheet_layout
from photonest.scale.cut_outs import FIRST_STRIP, MARGIN_MM, SIDE_MM, STRIP_MARKERS, STRIP_SIDE_MM, STRIP_STEP_MM
from tests.drawn.camera import F32
from tests.drawn.looks import Colour
from tests.drawn.noise import Array, Field

SIZES = {
    "A3": (420.0, 297.0),
    "A4": (297.0, 210.0),
    "A5": (210.0, 148.0),
    "Letter": (279.4, 215.9),
    "card": (85.6, 53.98),
}
"""Landscape sizes in mm: ISO 216; ANSI/ASME Y14.1 A; ISO/IEC 7810 ID-1."""
CARD_CORNER = 3.18
"""Corner radius of an ID-1 card in mm (ISO/IEC 7810)."""


@dataclass(frozen=True)
class Item:
    """A flat thing.

    Attributes
    ----------
    kind : str
        "marker-sheet", "card", "paper", "bar" (chequered), "ruler", "marker" and "strip" (cut out); what may be taken
        for one: "book", "tile", "label", "board", "log", "repeated"; what may lie on one: "heap" (of sawdust),
        "stick"; and the "case" of a tape measure.
    centre : (x, y)
        Where its middle lies, in mm of the face's frame.
    turn_deg : float
        Clockwise as the photo shows it.
    z : float
        Its height: 0 in the plane of the face, positive below it.
    variant : str
        Paper size, print of a card, unit of a ruler, and so on.
    size : (width, height)
        In mm.
    colour : Colour
        Its ground.
    curl : float
        How far the middle of its sides lifts off, in mm, towards the camera.
    arch : float
        How far its long sides lift off over its middle, as a tape measure's do.
    clear : float
        How much of what lies beneath is seen through it where nothing is printed, 0 to 1.
    thick : float
        How far its sides reach down.
    pitch : float
        Side of a bar's squares, or distance between a ruler's finest ticks.
    number : int
        Squares along a bar; number of a marker.
    """

    kind: str
    centre: tuple[float, float]
    turn_deg: float = 0.0
    z: float = 0.0
    variant: str = ""
    size: tuple[float, float] = (100.0, 60.0)
    colour: Colour = (0.93, 0.93, 0.92)
    corner: float = 0.0
    curl: float = 0.0
    arch: float = 0.0
    clear: float = 0.0
    thick: float = 0.0
    pitch: float = 0.0
    number: int = 0
    seed: int = 0

    @property
    def is_reference(self) -> bool:
        """Whether its size is known by its kind."""
        return self.kind in ("marker-sheet", "card", "paper", "bar", "ruler", "marker", "strip")

    def to_scene(self, points: ArrayLike) -> Array:
        """Return points (n, 2) of the item's own mm in the frame of the face."""
        p = np.asarray(points, float).reshape(-1, 2) - np.asarray(self.size) / 2
        a = np.radians(self.turn_deg)
        c, s = np.cos(a), np.sin(a)
        return np.asarray(p @ np.array([[c, s], [-s, c]]) + self.centre)

    def to_own(self, x: F32, y: F32) -> tuple[F32, F32]:
        """Return positions of the face's frame in the item's own mm."""
        a = np.radians(self.turn_deg)
        c, s = np.float32(np.cos(a)), np.float32(np.sin(a))
        dx, dy = x - np.float32(self.centre[0]), y - np.float32(self.centre[1])
        return dx * c + dy * s + np.float32(self.size[0] / 2), -dx * s + dy * c + np.float32(self.size[1] / 2)

    @property
    def corners(self) -> Array:
        """The four corners in the frame of the face, clockwise from the upper left (sharp, before rounding)."""
        w, h = self.size
        return self.to_scene(np.array([[0, 0], [w, 0], [w, h], [0, h]]))

    @property
    def edge(self) -> Array:
        """Its edge as a polygon in the frame of the face, round where it is round."""
        if self.kind != "log":
            return self.corners
        a = np.linspace(0, 2 * np.pi, 90, endpoint=False)
        return self.to_scene(np.stack([1 + np.cos(a), 1 + np.sin(a)], 1) * np.asarray(self.size) / 2)

    def inside(self, u: F32, v: F32) -> F32:
        """Return the distance inside the item's edge, in mm, at its own positions."""
        w, h = self.size
        if self.kind == "log":
            return np.asarray(np.float32(w / 2) - np.hypot(u - np.float32(w / 2), v - np.float32(h / 2)))
        if self.kind == "heap":
            rough = Field.seeded(self.seed, "heap", 0.22 * h).at(u, v) + 0.5 * Field.seeded(self.seed, "edge", 3.0).at(
                u, v
            )
            out = np.hypot(u / np.float32(w / 2) - 1, v / np.float32(h / 2) - 1)
            return np.asarray((1 - out - 0.16 * rough) * np.float32(h / 2), np.float32)
        r = np.float32(self.corner)
        qx = np.abs(u - np.float32(w / 2)) - np.float32(w / 2) + r
        qy = np.abs(v - np.float32(h / 2)) - np.float32(h / 2) + r
        outside = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - r
        return np.asarray(-outside)


def marker_sheet(
    centre: tuple[float, float],
    turn_deg: float = 0.0,
    *,
    paper: Literal["A4", "Letter"] = "A4",
    z: float = 0.0,
    curl: float = 0.0,
) -> Item:
    """Return the printed marker sheet, its middle at a place."""
    layout = sheet_layout(paper)
    return Item("marker-sheet", centre, turn_deg, z, paper, layout.size, curl=curl)


def card(
    centre: tuple[float, float],
    turn_deg: float = 0.0,
    *,
    z: float = 0.0,
    colour: Colour = (0.15, 0.35, 0.62),
    print_: str = "bank",
    seed: int = 0,
) -> Item:
    """Return an ID-1 card."""
    return Item("card", centre, turn_deg, z, print_, SIZES["card"], colour, CARD_CORNER, seed=seed)


def paper(
    centre: tuple[float, float],
    turn_deg: float = 0.0,
    *,
    name: str = "A4",
    z: float = 0.0,
    curl: float = 0.0,
    tone: float = 0.94,
    variant: str = "",
    seed: int = 0,
) -> Item:
    """Return a sheet of white paper; `variant` "ruled" or "written" is not blank."""
    colour = (tone, tone - 0.004, tone - 0.012)
    return Item("paper", centre, turn_deg, z, f"{name} {variant}".strip(), SIZES[name], colour, curl=curl, seed=seed)


def bar(
    centre: tuple[float, float],
    turn_deg: float = 0.0,
    *,
    square: float = 10.0,
    count: int = 24,
    z: float = 0.0,
    seed: int = 0,
) -> Item:
    """Return a white strip with two rows of dark and light squares, `count` along it, the first upper one dark."""
    size = (count * square + 2.5 * square, 2 * square + 0.9 * square)
    return Item("bar", centre, turn_deg, z, "", size, (0.93, 0.92, 0.90), pitch=square, number=count, seed=seed)


RULER_LOOKS: dict[str, Colour] = {"steel": (0.66, 0.67, 0.68), "wood": (0.86, 0.70, 0.38), "white": (0.92, 0.92, 0.90)}
RULER_LOOKS |= {"blue": (0.10, 0.25, 0.60), "black": (0.10, 0.10, 0.11)}
RULER_MAKES: dict[str, Colour] = {
    "tape": (0.93, 0.77, 0.10), "whitetape": (0.90, 0.90, 0.87), "fold": (0.90, 0.72, 0.22),
    "whitefold": (0.88, 0.87, 0.82), "clear": (0.90, 0.92, 0.92), "quilt": (0.90, 0.92, 0.90),
    "engineer": (0.66, 0.67, 0.68),
}  # fmt: skip
"""Tape measures, fold rules, clear ones, some with lines that cloth is cut along, steel rules with finer ticks."""


def ruler(
    centre: tuple[float, float],
    turn_deg: float = 0.0,
    *,
    look: str = "steel",
    unit: Literal["mm", "inch"] = "mm",
    length: float = 300.0,
    width: float = 28.0,
    z: float = 0.0,
    seed: int = 0,
) -> Item:
    """Return a ruler with ticks along its upper edge every mm, or every 1/16 inch; `length` is of the scale, in mm."""
    pitch = 1.0 if unit == "mm" else 25.4 / 16
    size = (length + 12.0, width)
    colour = (RULER_LOOKS | RULER_MAKES)[look]
    return Item("ruler", centre, turn_deg, z, f"{look} {unit}", size, colour, 1.0, pitch=pitch, seed=seed)


RULER_START = 6.0
"""Distance from a ruler's end to its zero, in mm."""


def marker(centre: tuple[float, float], turn_deg: float = 0.0, *, number: int = FIRST_CUT_OUT, z: float = 0.0) -> Item:
    """Return one marker cut out with its white margin."""
    side = SIDE_MM + 2 * MARGIN_MM
    return Item("marker", centre, turn_deg, z, "", (side, side), PRINTED, pitch=SIDE_MM, number=number)


def strip(centre: tuple[float, float], turn_deg: float = 0.0, *, number: int = FIRST_STRIP, z: float = 0.0) -> Item:
    """Return a strip of markers cut out, of which `number` is the first."""
    size = ((STRIP_MARKERS - 1) * STRIP_STEP_MM + STRIP_SIDE_MM + 2 * MARGIN_MM, STRIP_SIDE_MM + 2 * MARGIN_MM)
    return Item("strip", centre, turn_deg, z, "", size, PRINTED, pitch=STRIP_SIDE_MM, number=number)


PRINTED: Colour = (0.94, 0.94, 0.93)
"""White paper."""
