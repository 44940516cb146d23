"""A measured face and a plan made up for these tests: an ash blank seen at a slant, and a nest of three on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import (
    Axis,
    Bound,
    Bowl,
    Circle,
    Crack,
    Cut,
    Defect,
    Face,
    FaceFacts,
    Nest,
    Outline,
    Photo,
    PhotoFacts,
    Pith,
    Plan,
    Points,
    Scale,
    Score,
    Shop,
    Size,
    Stock,
)

WIDTH_PX, HEIGHT_PX = 1600, 1200
# A camera tilted by some degrees: 0.3 mm to the pixel in the middle, less at the foot of the photo.
PX_TO_MM = ((0.3, 0.0, -240.0), (0.02, 0.31, -200.0), (2e-5, -9e-5, 1.0))
PITH = (31.0, -8.0)


def wavy_edge(radius: float, n: int = 180) -> Points:
    """Return an uneven ring about the origin."""
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    r = radius * (1 + 0.018 * np.cos(2 * turn + 0.4) + 0.008 * np.cos(5 * turn + 1.0))
    return tuple(zip((r * np.cos(turn)).tolist(), (r * np.sin(turn)).tolist(), strict=True))


def crack(number: int, start: float, end: float, turn: float, **more: object) -> Crack:
    """Return a check running away from the pith, from `start` to `end` mm, wandering a little."""
    run = np.linspace(start, end, 8)
    angle = np.radians(turn) + 0.03 * np.sin(run / 9)
    path = np.asarray(PITH) + np.column_stack([run * np.cos(angle), run * np.sin(angle)])
    found = Crack(
        id=f"c{number}", path=tuple(map(tuple, path.tolist())), width=0.4 + (end - start) / 60,
        length=float(np.hypot(*np.diff(path, axis=0).T).sum()), kind="radial", confidence=0.9, status="seen",
        standard_error=0.5,
    )  # fmt: skip
    return replace(found, **more)  # type: ignore[arg-type]


def face() -> Face:
    """Return a face with bark, a pith off the middle, cracks of every status and a knot."""
    cracks = (
        crack(1, 0, 74, 205, kind="heart", width=2.4),
        crack(2, 88, 131, 20),
        crack(3, 60, 96, 118, status="possible", confidence=0.4, width=0.3),
        crack(4, 100, 128, 250),
        crack(5, 70, 92, -60, status="dismissed"),
        crack(6, 116, 140, 30, status="added", set_by="person", depth=35.0),
    )
    knot = Defect("k1", "knot", tuple((-96 + 11 * c, 70 + 8 * s) for c, s in wavy_unit()), 0.8, "seen")
    return Face(
        photo=PhotoFacts("ash-blank-07.jpg", "0" * 64, WIDTH_PX, HEIGHT_PX),
        scale=Scale("marker-sheet", PX_TO_MM, 0.25, 0.3),
        outline=Outline(wavy_edge(177.0), wavy_edge(171.0), 0.6),
        pith=Pith(PITH, 1.6),
        cracks=cracks,
        size=Size(
            352.1, 333.4, 342.3, 5.3, 32.0, 9.4, 92_000.0, Circle((1.0, -2.0), 166.2), Circle((-98.0, -64.0), 48.0)
        ),
        defects=(knot,),
        warnings=("The marker sheet lies 12 mm above the face: sizes may be 1.2 % too large.",),
    )  # fmt: skip


def wavy_unit() -> list[tuple[float, float]]:
    """Return a circle of radius 1 as points."""
    return [(float(np.cos(t)), float(np.sin(t))) for t in np.linspace(0, 2 * np.pi, 24, endpoint=False)]


def photo() -> Photo:
    """Return a drawn photo of that face: rings about the pith, bark, a bench."""
    x, y = np.meshgrid(np.arange(WIDTH_PX), np.arange(HEIGHT_PX))
    lifted = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.asarray(PX_TO_MM).T
    mm = lifted[..., :2] / lifted[..., 2:]
    radius = np.hypot(mm[..., 0], mm[..., 1])
    rings = np.sin(np.hypot(mm[..., 0] - PITH[0], mm[..., 1] - PITH[1]) / 0.9)
    wood = np.array([196.0, 158.0, 108.0]) + 18.0 * rings[..., None]
    wood[np.hypot(mm[..., 0] - PITH[0], mm[..., 1] - PITH[1]) < 90] -= 45
    pixels = np.where((radius < 171)[..., None], wood, 62.0)
    pixels[(radius >= 171) & (radius < 177)] = (74, 52, 38)
    out: NDArray[np.uint8] = np.clip(pixels, 0, 255).astype(np.uint8)
    out.flags.writeable = False
    return Photo(out, "ash-blank-07.jpg", "0" * 64)


def arc(
    centre: tuple[float, float], radius: float, foot: float | None = None, n: int = 60
) -> list[tuple[float, float]]:
    """Return an arc from the rim plane to the axis, or to a flat of radius `foot` and along that to the axis."""
    c, h = centre
    start = np.arctan2(-h, np.sqrt(radius**2 - h**2))
    last = 0.0 if foot is None else foot
    end = np.arctan2(np.sqrt(radius**2 - (last - c) ** 2), last - c)
    turn = np.linspace(start, end, n)
    points = list(zip((c + radius * np.cos(turn)).tolist(), (h + radius * np.sin(turn)).tolist(), strict=True))
    return points if foot is None else [*points, (0.0, points[-1][1])]


def capacity(inner: list[tuple[float, float]]) -> float:
    """Return the volume that a profile encloses with its rim plane, in ml, in slices square to the axis."""
    rho, h = np.array(inner).T
    return float(abs(np.trapezoid(np.pi * rho**2, h)) / 1000)


def blank_face() -> Face:
    """Return a blank without a pith, checked at its edge."""
    seen_ones = [edge_check(i + 1, turn) for i, turn in enumerate((20.0, 115.0, 215.0))]
    cracks = (*seen_ones, replace(edge_check(4, 300.0), status="possible"))
    seen = face()
    size = replace(seen.size, pith_offset=None, eccentricity_pct=None, clear_circle=Circle((0.0, 0.0), 163.0))
    return replace(seen, pith=None, cracks=cracks, defects=(), warnings=(), size=size)


def edge_check(number: int, turn: float) -> Crack:
    """Return a check from 165 mm off the middle to 169, as drying opens them at the edge."""
    way = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    path = tuple((float(r * way[0]), float(r * way[1])) for r in (165.0, 167.0, 169.0))
    return Crack(f"c{number}", path, 0.8, 4.0, "radial", 0.8, "seen", standard_error=0.4, tip_margin=0.5)


def plan() -> Plan:
    """Return a nest of three that the default workshop can cut from `blank_face`, 150 mm thick."""
    first, second, rim, foot, depth = (11.4, -3.1), (-12.0, -42.3), 156.7, 43.876, 150.0
    stand = (rim**2 - foot**2 - depth**2) / (2 * depth)
    outsides = [
        arc((0.0, -stand), float(np.hypot(rim, stand)), foot),
        arc(first, 106.0, 32.86),
        arc(second, 106.0, 23.85),
    ]
    wall = 17.05
    floor = outsides[2][-1][1] - wall - 6.0
    edge = second[0] + float(np.sqrt((106.0 - wall) ** 2 - (floor - second[1]) ** 2))
    hand = [p for p in arc(second, 106.0 - wall, n=200) if p[1] < floor]
    insides = [arc(first, 114.0), arc(second, 114.0), [*hand, (edge, floor), (0.0, floor)]]
    bowls = tuple(
        bowl(i + 1, out, ins, jaws)
        for i, (out, ins, jaws) in enumerate(zip(outsides, insides, ("medium", "medium", "small"), strict=True))
    )
    cuts = tuple(
        Cut(
            number=i + 1, cutter="R110", radius=110.0, kerf=8.0, pivot=pivot,
            entry_radius=pivot[0] + float(np.sqrt(110.0**2 - pivot[1] ** 2)),
            axis_depth=pivot[1] + float(np.sqrt(110.0**2 - pivot[0] ** 2)), start_rpm=start, top_rpm=top,
        )
        for i, (pivot, start, top) in enumerate(((first, 316.0, 487.0), (second, 390.0, 600.0)))
    )  # fmt: skip
    total = sum(each.rim_diameter for each in bowls)
    return Plan(
        face=FaceFacts("face.json", "0" * 64),
        stock=Stock("blank", thickness=150.0),
        shop=Shop(),
        nests=(Nest(Axis((-2.0, 1.0, 0.0), (0.0, 0.0, 1.0)), bowls, cuts),),
        score=Score("bowls", 3, total, total),
        bound=Bound(total * 1.008, 0.8),
        warnings=("Crack c2 is still in the waste when bowl 1 is turned: take that off first.",),
    )


def bowl(number: int, outer: list[tuple[float, float]], inner: list[tuple[float, float]], jaws: str) -> Bowl:
    """Return a bowl with the sizes its curves have."""
    from shapely.geometry import LineString

    rim = outer[0][0]
    return Bowl(
        number=number, rim_diameter=2 * rim, depth=outer[-1][1],
        wall_min=float(LineString(outer).distance(LineString(inner))), base_min=outer[-1][1] - inner[-1][1],
        clearance=6.2 * number, capacity_ml=capacity(inner), outer=tuple(outer), inner=tuple(inner),
        wall_required=max(12.0, 0.2 * rim), foot_diameter=2 * outer[-2][0], jaws=jaws,
    )  # fmt: skip


def slice_face() -> Face:
    """Return an end-grain slice with its pith in the middle and cracks at its edge."""
    blank = blank_face()
    size = replace(blank.size, pith_offset=4.0, eccentricity_pct=1.2)
    return replace(blank, pith=Pith((3.0, -2.6), 0.8), size=size)


def slice_plan() -> Plan:
    """Return the same nest in that slice, with the pith in it by request."""
    return replace(plan(), stock=Stock("slice", thickness=150.0, through_pith=True))
