"""Random pieces of invented wood: every kind of stock, defect and question the planner takes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, NamedTuple, get_args

import numpy as np

from photonest.model import Crack, Defect, Face, Points, Range, Shop, Stock, StockKind
from photonest.model.face import DefectKind
from tests.nest.examples import face, radial_crack, ring

SHOPS = (  # few, as each one's tables take half a second to work out
    Shop(),
    Shop(screws=25.0, wall_share=0.08),
    Shop(wall_share=0.07, trueing=0.0, clearance=3.0, offset=Range(-5.0, 25.0), max_slope=7.0),
)


class Piece(NamedTuple):
    """A face, the piece of wood it belongs to and a workshop."""

    face: Face
    stock: Stock
    shop: Shop


def random_piece(kind: StockKind, seed: int, index: int, defects: int | None = None) -> Piece:
    """Return a piece of wood; the same seed and index give the same one. 0 to 12 defects where not told."""
    random = np.random.default_rng([seed, index])
    radius = float(random.uniform(110, 210))
    outline = ring(radius, 120, random.uniform(0, 0.15), random.uniform(0, 0.03))
    pith = (float(random.normal(0, 0.12 * radius)), float(random.normal(0, 0.12 * radius)))
    number = int(random.integers(0, 13)) if defects is None else defects
    cracks: list[Crack] = []
    marks: list[Defect] = []
    for place in range(number):
        if random.random() < 0.25:
            marks.append(_blob(random, f"d{place}", radius))
        else:
            cracks.append(_crack(random, f"c{place}", radius, pith))
    known = kind == "log" or random.random() < 0.8
    wood = face(outline, tuple(cracks), pith if known else None, float(random.uniform(0.05, 1.5)), defects=tuple(marks))
    if wood.pith is not None:
        wood = replace(wood, pith=replace(wood.pith, standard_error=float(random.uniform(0.2, 4))))
    error = float(random.uniform(0.1, 1.5))
    bark = ring(radius - random.uniform(4, 12), 100, 0.02) if random.random() < 0.2 else None
    wood = replace(wood, outline=replace(wood.outline, standard_error=error, under_bark=bark))
    shop = SHOPS[int(random.integers(len(SHOPS)))]
    return Piece(wood, _stock(random, kind, radius), shop)


def random_wish(piece: Piece, seed: int, index: int) -> dict[str, Any]:
    """Return what is asked of one piece in three: an axis, a rip, a number of bowls, sizes, or another objective."""
    random = np.random.default_rng([seed, index, 7])
    if random.random() > 1 / 3:
        return {}
    x, y = random.normal(0, 15, 2).round(1).tolist()
    wishes: list[dict[str, Any]] = [
        {"keep_axis": (x, y)},
        {"bowls": int(random.integers(1, 4))},
        {"want": sorted(random.uniform(120, 240, int(random.integers(1, 4))).round().tolist())},
        {"objective": "capacity"},
    ]
    if piece.stock.kind == "log":
        wishes += [{"rip": float(random.uniform(0, 180))}, {"rip": float(random.uniform(0, 180)), "keep_axis": (x, y)}]
    return wishes[int(random.integers(len(wishes)))]


def _depth(random: np.random.Generator) -> float | None:
    return float(random.uniform(5, 70)) if random.random() < 0.3 else None


def _crack(random: np.random.Generator, name: str, radius: float, pith: tuple[float, float]) -> Crack:
    start, angle = radius * math.sqrt(random.uniform(0, 1)), float(random.uniform(0, 360))
    end = start + float(random.uniform(5, 70))
    width = float(random.uniform(0.2, 3))
    crack = radial_crack(
        name, angle, start, end, pith, width=width, depth=_depth(random), standard_error=float(random.uniform(0.1, 1))
    )
    if random.random() < 0.3:  # along a ring
        turns = np.radians(angle) + np.linspace(0, (end - start) / max(start, 15.0), 8)
        path = tuple((pith[0] + start * math.cos(t), pith[1] + start * math.sin(t)) for t in turns.tolist())
        crack = replace(crack, path=path, kind="ring")
    if random.random() < 0.3:
        crack = replace(crack, widths=tuple(random.uniform(0, width, len(crack.path)).tolist()))
    return crack


def _blob(random: np.random.Generator, name: str, radius: float) -> Defect:
    away, angle = radius * math.sqrt(random.uniform(0, 1)), random.uniform(0, 2 * math.pi)
    x, y = away * math.cos(angle), away * math.sin(angle)
    size = float(random.uniform(3, 15))
    outline: Points = tuple((x + px, y + py) for px, py in ring(size, 16, 0.4))
    kinds = get_args(DefectKind)
    return Defect(
        name,
        kinds[int(random.integers(len(kinds)))],
        outline,
        0.9,
        "seen",
        _depth(random),
        float(random.uniform(0.1, 1)),
    )


def _stock(random: np.random.Generator, kind: StockKind, radius: float) -> Stock:
    if kind == "log":
        return Stock(
            "log",
            length=float(random.uniform(180, 450)),
            check_depth=float(random.uniform(0, 60)) if random.random() < 0.4 else None,
            rim_towards="bark" if random.random() < 0.25 else "pith",
            through_pith=bool(random.random() < 0.1),
            knots_lean=bool(random.random() < 0.3),
        )
    far = ring(radius * random.uniform(0.8, 1.05), 90, 0.04) if random.random() < 0.1 else None
    return Stock(
        kind,
        thickness=float(random.uniform(55, 190)),
        rim="far" if random.random() < 0.25 else "photographed",
        through_pith=bool(random.random() < 0.4),
        far_outline=far,
        knots_lean=bool(random.random() < 0.3),
    )
