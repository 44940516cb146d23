"""How kinds of wood look on a sawn face: colours as sRGB from 0 to 1, taken by eye, and how their rings are built."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Look:
    """A kind of wood.

    Attributes
    ----------
    sap, heart, late, bark, inner_bark : Colour
        Earlywood of the sapwood and of the heartwood; factors that turn earlywood into latewood; bark.
    profile : str
        "conifer": latewood darkens and ends sharply; "ring-porous": a row of pores opens each ring; "diffuse": a fine
        line closes each ring.
    contrast : float
        Strength of the rings: 1 is a strong conifer.
    ring : float
        Usual ring width in mm.
    rays, pores, fuzz : float
        Strength of visible rays, of pores, and how readily the saw tears the grain.
    edge : float
        Heartwood's edge in mm: 0.5 is sharp.
    """

    sap: Colour
    heart: Colour
    late: Colour
    profile: Literal["conifer", "ring-porous", "diffuse"]
    contrast: float
    ring: float
    rays: float = 0.3
    pores: float = 0.2
    fuzz: float = 0.5
    edge: float = 2.0
    bark: Colour = (0.30, 0.26, 0.23)
    inner_bark: Colour = (0.48, 0.33, 0.22)


LOOKS: dict[str, Look] = {
    "douglas-fir": Look(
        (0.90, 0.76, 0.58), (0.82, 0.57, 0.44), (0.80, 0.62, 0.52), "conifer", 0.95, 3.2, 0.15, 0.05, 0.8, 1.2,
        bark=(0.33, 0.22, 0.18), inner_bark=(0.55, 0.30, 0.20),
    ),
    "pine": Look(
        (0.88, 0.80, 0.61), (0.80, 0.57, 0.42), (0.84, 0.66, 0.48), "conifer", 1.0, 5.0, 0.1, 0.1, 0.5, 1.0,
        bark=(0.38, 0.25, 0.19), inner_bark=(0.58, 0.36, 0.24),
    ),
    "larch": Look(
        (0.88, 0.77, 0.58), (0.70, 0.47, 0.33), (0.72, 0.55, 0.45), "conifer", 1.1, 1.9, 0.1, 0.05, 0.6, 0.8,
        bark=(0.36, 0.27, 0.23), inner_bark=(0.52, 0.28, 0.22),
    ),
    "spruce": Look(
        (0.92, 0.84, 0.69), (0.90, 0.81, 0.65), (0.86, 0.74, 0.60), "conifer", 0.6, 2.6, 0.1, 0.05, 0.9, 6.0,
        bark=(0.35, 0.28, 0.24), inner_bark=(0.60, 0.42, 0.28),
    ),
    "yew": Look(
        (0.90, 0.80, 0.60), (0.73, 0.42, 0.27), (0.80, 0.62, 0.55), "conifer", 0.6, 1.4, 0.1, 0.0, 0.2, 0.5,
        bark=(0.40, 0.25, 0.20), inner_bark=(0.55, 0.30, 0.22),
    ),
    "ash": Look(
        (0.88, 0.80, 0.66), (0.70, 0.58, 0.44), (0.90, 0.84, 0.76), "ring-porous", 0.75, 3.4, 0.15, 0.8, 0.5, 5.0,
        bark=(0.42, 0.39, 0.34),
    ),
    "elm": Look(
        (0.85, 0.75, 0.58), (0.62, 0.45, 0.32), (0.86, 0.78, 0.70), "ring-porous", 0.75, 3.2, 0.3, 0.8, 0.7, 2.5,
        bark=(0.33, 0.28, 0.24),
    ),
    "oak": Look(
        (0.80, 0.70, 0.54), (0.64, 0.48, 0.33), (0.84, 0.76, 0.66), "ring-porous", 0.75, 2.4, 0.9, 0.7, 0.4, 1.5,
        bark=(0.34, 0.31, 0.28),
    ),
    "maple": Look(
        (0.90, 0.81, 0.68), (0.82, 0.70, 0.54), (0.90, 0.84, 0.77), "diffuse", 0.30, 3.0, 0.35, 0.15, 0.3, 3.0,
        bark=(0.42, 0.38, 0.34),
    ),
    "birch": Look(
        (0.91, 0.82, 0.67), (0.86, 0.73, 0.57), (0.92, 0.86, 0.78), "diffuse", 0.22, 2.6, 0.2, 0.2, 0.5, 8.0,
        bark=(0.80, 0.78, 0.74), inner_bark=(0.62, 0.42, 0.30),
    ),
    "beech": Look(
        (0.86, 0.72, 0.57), (0.74, 0.55, 0.42), (0.88, 0.78, 0.70), "diffuse", 0.35, 2.4, 0.9, 0.1, 0.3, 1.5,
        bark=(0.50, 0.49, 0.46),
    ),
    "lime": Look(
        (0.90, 0.83, 0.70), (0.89, 0.81, 0.66), (0.94, 0.90, 0.84), "diffuse", 0.18, 3.4, 0.15, 0.1, 0.9, 10.0,
        bark=(0.38, 0.34, 0.31),
    ),
    "cherry": Look(
        (0.88, 0.76, 0.58), (0.72, 0.47, 0.32), (0.86, 0.75, 0.66), "diffuse", 0.45, 3.0, 0.4, 0.2, 0.3, 1.0,
        bark=(0.33, 0.25, 0.24), inner_bark=(0.50, 0.26, 0.18),
    ),
    "walnut": Look(
        (0.83, 0.74, 0.58), (0.42, 0.31, 0.24), (0.80, 0.74, 0.70), "diffuse", 0.5, 3.6, 0.2, 0.6, 0.4, 1.5,
        bark=(0.33, 0.29, 0.26),
    ),
    "plum": Look(
        (0.87, 0.74, 0.55), (0.60, 0.34, 0.30), (0.78, 0.66, 0.64), "diffuse", 0.6, 2.4, 0.6, 0.1, 0.2, 0.6,
        bark=(0.28, 0.25, 0.24),
    ),
    "weathered": Look(
        (0.60, 0.57, 0.53), (0.54, 0.50, 0.46), (0.72, 0.70, 0.68), "conifer", 0.7, 2.2, 0.3, 0.3, 1.0, 4.0,
        bark=(0.26, 0.25, 0.23), inner_bark=(0.35, 0.32, 0.29),
    ),
}  # fmt: skip
"""Real woods by their common names; the figures are ours."""
