"""Faces and plans to test with: invented wood, no photo behind it."""

from __future__ import annotations

import functools
import math

import numpy as np

from photonest.model import (
    Circle,
    Crack,
    Face,
    Outline,
    PhotoFacts,
    Pith,
    Plan,
    Points,
    Scale,
    Shop,
    Size,
    Stock,
)


def ring(radius: float, points: int = 180, ovality: float = 0.0, lobes: float = 0.0) -> Points:
    """Return a closed outline about the origin."""
    angles = np.linspace(0, 2 * math.pi, points, endpoint=False)
    radii = radius * (1 + ovality / 2 * np.cos(2 * angles) + lobes * np.cos(3 * angles + 1))
    return tuple(zip((radii * np.cos(angles)).tolist(), (radii * np.sin(angles)).tolist(), strict=True))


def radial_crack(
    name: str, angle: float, start: float, end: float, centre: tuple[float, float] = (0.0, 0.0), **fields: object
) -> Crack:
    """Return a straight radial check, angle in degrees."""
    x, y = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    path = tuple((centre[0] + r * x, centre[1] + r * y) for r in np.linspace(start, end, 5).tolist())
    settings: dict[str, object] = {
        "width": 1.0, "kind": "radial", "confidence": 0.9, "status": "seen", "standard_error": 0.3
    } | fields  # fmt: skip
    return Crack(id=name, path=path, length=abs(end - start), **settings)  # type: ignore[arg-type]


def face(
    outline: Points,
    cracks: tuple[Crack, ...] = (),
    pith: tuple[float, float] | None = None,
    standard_error_pct: float = 0.2,
    **fields: object,
) -> Face:
    """Return a face as the stages before the planner would, its sizes roughly right."""
    span = np.ptp(np.asarray(outline), axis=0)
    size = Size(
        max_diameter=float(span.max()),
        min_diameter=float(span.min()),
        mean_diameter=float(span.mean()),
        ovality_pct=float(100 * (1 - span.min() / span.max())),
        pith_offset=None if pith is None else math.hypot(*pith),
        eccentricity_pct=None if pith is None else 100 * math.hypot(*pith) / float(span.mean()),
        area=float(math.pi / 4 * span.prod()),
        inscribed_circle=Circle((0.0, 0.0), float(span.min()) / 2),
        clear_circle=None,
    )
    scale = Scale("mm_per_px", ((0.2, 0.0, -200.0), (0.0, 0.2, -200.0), (0.0, 0.0, 1.0)), standard_error_pct, 0.2)
    return Face(
        photo=PhotoFacts("blank-17.jpg", "0" * 64, 2000, 2000),
        scale=scale,
        outline=Outline(outline, standard_error=0.3),
        pith=None if pith is None else Pith(pith, 0.5),
        cracks=cracks,
        size=size,
        **fields,  # type: ignore[arg-type]
    )


@functools.cache
def plain_blank() -> tuple[Face, Plan]:
    """Return a blank 350 mm across and 150 mm thick with two checks at its edge, and its plan in the default shop."""
    from photonest.nest import plan_nest

    cracks = (radial_crack("c1", 40, 158, 174), radial_crack("c2", 215, 166, 175, status="possible", confidence=0.4))
    blank = face(ring(175.0), cracks)
    return blank, plan_nest(blank, Stock("blank", thickness=150.0), Shop())
