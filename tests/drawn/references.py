"""Flat things that lie in the scene: references of known size, and what may be mistaken for them.

Each is a shape with an exact edge and an artwork printed on it, in its own mm: x to the right, y down, from its upper
left corner.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.scale.board import sheet_layout, sheet_raster
from tests.drawn.camera import F32
from tests.drawn.looks import Colour
from tests.drawn.noise import Array, Grid, clouds, generator

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
        "marker-sheet", "card", "paper", "bar", "ruler", "marker" (a cut-out), or a decoy: "book", "tile", "label",
        "board", "log".
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
    thick : float
        How far its sides reach down.
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
    thick: float = 0.0
    number: int = 0
    seed: int = 0

    @property
    def is_reference(self) -> bool:
        """Whether its size is known by its kind."""
        return self.kind in ("marker-sheet", "card", "paper", "bar", "ruler", "marker")

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
        r = np.float32(self.corner)
        qx = np.abs(u - np.float32(w / 2)) - np.float32(w / 2) + r
        qy = np.abs(v - np.float32(h / 2)) - np.float32(h / 2) + r
        outside = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - r
        return np.asarray(-outside)


@dataclass(frozen=True, eq=False)
class Artwork:
    """A print: sRGB bytes (rows, columns, 3); pixel (i, j) covers the mm from (j, i) to (j + 1, i + 1) times `step`."""

    pixels: NDArray[np.uint8]
    step: float


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


def artwork(item: Item, step: float) -> Artwork:
    """Return the item's print with pixels of about `step` mm or finer."""
    makers = {
        "marker-sheet": _sheet_art,
        "card": _card_art,
        "book": _book_art,
        "tile": _tile_art,
        "label": _label_art,
        "board": _board_art,
        "log": _log_art,
    }
    return makers.get(item.kind, _plain_art)(item, step)


def _canvas(item: Item, step: float) -> NDArray[np.uint8]:
    columns, rows = (max(2, int(np.ceil(v / step))) for v in item.size)
    art = np.empty((rows, columns, 3), np.uint8)
    art[:] = np.clip(255 * np.array(item.colour), 0, 255).astype(np.uint8)
    return art


def _plain_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step)
    return Artwork(_mottled(art, generator(item.seed, "plain"), 1.5), step)


def _mottled(art: NDArray[np.uint8], rng: np.random.Generator, strength: float) -> NDArray[np.uint8]:
    import cv2

    small = rng.standard_normal((art.shape[0] // 12 + 2, art.shape[1] // 12 + 2, 1)).astype(np.float32)
    wide = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(art + strength * wide[..., None], 0, 255).astype(np.uint8))


def _sheet_art(item: Item, step: float) -> Artwork:
    fine = next((px for px in (2, 3, 4, 6, 8) if 1 / px <= step), 12)
    return Artwork(_sheet_print("Letter" if item.variant == "Letter" else "A4", fine), 1 / fine)


@functools.cache
def _sheet_print(paper: Literal["A4", "Letter"], px_per_mm: int) -> NDArray[np.uint8]:
    """Return the printed sheet: grey ink on paper that isn't quite white."""
    ink = sheet_raster(paper, px_per_mm).astype(np.float32) / 255
    pixels = np.repeat((26 + (242 - 26) * ink).astype(np.uint8)[..., None], 3, axis=2)
    pixels.setflags(write=False)
    return np.asarray(pixels)


def _card_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step)
    rng = generator(item.seed, "card")
    k = 1 / step
    ground = np.array(item.colour) * 255
    if item.variant == "plain":
        return Artwork(_mottled(art, rng, 1.0), step)
    for _ in range(3):  # broad curves of a second tone
        centre = tuple(int(v) for v in rng.uniform(0, 1, 2) * [art.shape[1], art.shape[0]])
        tone = np.clip(ground * rng.uniform(0.85, 1.15) + rng.normal(0, 6, 3), 0, 255)
        cv2.circle(art, centre, int(rng.uniform(15, 50) * k), [float(v) for v in tone], -1, cv2.LINE_AA)
    ink = [float(v) for v in (np.full(3, 30.0) if ground.mean() > 128 else np.full(3, 235.0))]
    if item.variant == "bank":
        chip = np.array([[10, 19], [22, 19], [22, 28], [10, 28]]) * k
        cv2.fillPoly(art, [chip.astype(np.int32)], (205, 180, 110), cv2.LINE_AA)
        for j in range(4):
            _figures(art, "".join(str(d) for d in rng.integers(0, 10, 4)), (10 + 17 * j, 38), 5.0, ink, k)
        _figures(art, "M. SAMPLE", (10, 48), 3.2, ink, k)
    else:
        _figures(art, "WORKSHOP PASS", (8, 14), 4.5, ink, k)
        cv2.rectangle(art, (int(8 * k), int(20 * k)), (int(28 * k), int(46 * k)), (150.0, 140.0, 130.0), -1)
        for j in range(4):
            _figures(art, "".join(chr(97 + d) for d in rng.integers(0, 26, 10)), (33, 25 + 6 * j), 3.0, ink, k)
    return Artwork(_mottled(art, rng, 1.0), step)


def _figures(
    art: NDArray[np.uint8], text: str, at: tuple[float, float], height: float, ink: list[float], k: float
) -> None:
    import cv2

    scale = height * k / 21  # Hershey capitals are 21 units tall
    place = (int(at[0] * k), int(at[1] * k))
    cv2.putText(art, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, ink, max(1, int(0.10 * height * k)), cv2.LINE_AA)


def _book_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step)
    rng = generator(item.seed, "book")
    k = 1 / step
    w, h = item.size
    tone = [float(v) for v in np.clip(255 * np.array(item.colour) * 0.7, 0, 255)]
    cv2.rectangle(art, (0, 0), (int(0.07 * w * k), art.shape[0]), tone, -1)
    ink = [235.0, 225.0, 190.0] if np.mean(item.colour) < 0.6 else [40.0, 35.0, 30.0]
    _figures(art, "ORCHARD TREES", (0.15 * w, 0.3 * h), 0.08 * w, ink, k)
    cv2.circle(art, (int(0.55 * w * k), int(0.62 * h * k)), int(0.18 * min(w, h) * k), ink, max(1, int(k)), cv2.LINE_AA)
    return Artwork(_mottled(art, rng, 3.0), step)


def _tile_art(item: Item, step: float) -> Artwork:
    return Artwork(_mottled(_canvas(item, step), generator(item.seed, "tile"), 6.0), step)


def _label_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step)
    rng = generator(item.seed, "label")
    h = item.size[1]
    text = item.variant or f"{chr(65 + int(rng.integers(0, 26)))}{int(rng.integers(2, 99))}"
    tall = min(0.45 * h, 1.1 * item.size[0] / len(text))
    _figures(art, text, (0.1 * item.size[0], h / 2 + tall / 2), tall, [35.0, 35.0, 60.0], 1 / step)
    return Artwork(_mottled(art, rng, 2.0), step)


def _board_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step).astype(np.float32)
    rng = generator(item.seed, "board")
    small = rng.standard_normal((max(4, int(item.size[1] / 1.2)), max(3, int(item.size[0] / 40)))).astype(np.float32)
    grain = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return Artwork(np.clip(art * (1 + 0.07 * grain[..., None]), 0, 255).astype(np.uint8), step)


def _log_art(item: Item, step: float) -> Artwork:
    """Another log's end, with wavy rings and bark."""
    rng = generator(item.seed, "log")
    art = _canvas(item, step).astype(np.float32)
    w = item.size[0]
    grid = Grid(-w / 2, -w / 2, step, art.shape[1], art.shape[0])
    x, y = np.meshgrid(grid.x, grid.y)
    slow = clouds(grid, rng, 60.0, 3)
    r = np.hypot(x - np.float32(0.06 * w), y + np.float32(0.03 * w)) + 1.2 * slow
    dark = (r / np.float32(rng.uniform(2, 4.5)) + 0.4 * np.sin(r / 9)) % 1
    art *= (1 - 0.22 * dark**3 + 0.03 * slow)[..., None]
    heart = r < np.float32(rng.uniform(0.15, 0.35) * w)
    art[heart] *= np.array([0.86, 0.74, 0.66], np.float32)
    in_bark = np.hypot(x, y) + 1.5 * clouds(grid, rng, 14.0, 3) > np.float32(0.465 * w)
    art[in_bark] = np.array([80, 62, 50], np.float32) * (1 + 0.25 * clouds(grid, rng, 6.0, 3)[in_bark])[:, None]
    return Artwork(np.clip(art, 0, 255).astype(np.uint8), step)
