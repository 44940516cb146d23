"""Where references, and the things that hide or resemble them, lie about a piece of wood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal, TypeVar

import numpy as np

from photonest.scale.board import FIRST_CUT_OUT
from photonest.scale.cut_outs import FIRST_STRIP, STRIP_MARKERS
from tests.drawn.bench import BenchSpec
from tests.drawn.looks import LOOKS, Colour
from tests.drawn.noise import Array
from tests.drawn.references import RULER_LOOKS, SIZES, Item, bar, card, marker, marker_sheet, paper, ruler, strip
from tests.drawn.wood import Growth

T = TypeVar("T")
CARD_THICKNESS = 0.76
"""Of an ID-1 card, in mm (ISO/IEC 7810)."""
REFERENCES = (
    "none", "marker-sheet", "markers-around", "strips", "card", "card-on-face", "white-card-on-face", "paper", "bar",
    "ruler", "any-ruler", "ruler-on-face",
)  # fmt: skip
"""What `place_reference` knows; "card" and the rest lie beside the wood."""


def pick(rng: np.random.Generator, options: Sequence[T], shares: Sequence[float] | None = None) -> T:
    """Return one of the options."""
    return options[int(rng.choice(len(options), p=shares))]


def pair(values: Array) -> tuple[float, float]:
    """Return two numbers of an array."""
    return float(values[0]), float(values[1])


def any_colour(rng: np.random.Generator, low: float, high: float) -> Colour:
    """Return a colour with channels between two values, seldom a glaring one."""
    channels = rng.uniform(low, high, 3)
    r, g, b = (float(v) for v in channels + (channels.mean() - channels) * rng.uniform(0.3, 0.95))
    return r, g, b


def seed_of(rng: np.random.Generator) -> int:
    """Return a seed for a part."""
    return int(rng.integers(0, 2**31))


def place_reference(
    rng: np.random.Generator, kind: str, growth: Growth, level: float, z: float = 0.0
) -> tuple[Item, ...]:
    """Return a reference of one of the `REFERENCES`, as it may lie; `z` is its height where it lies beside the wood."""
    if kind == "none":
        return ()
    if kind == "markers-around":
        return _markers_around(rng, growth)
    if kind == "strips":
        return _strips(rng, growth)
    if kind in ("card-on-face", "white-card-on-face"):
        item = _card(rng, white=kind.startswith("white"))
        return (replace(item, centre=pair(rng.normal(0, 0.12 * growth.spec.diameter, 2))),)
    if kind == "ruler-on-face":
        return _ruler_on_face(rng, growth)
    makers: dict[str, Callable[[], Item]] = {
        "marker-sheet": lambda: _marker_sheet(rng, level),
        "card": lambda: _card(rng, white=bool(rng.random() < 0.3)),
        "paper": lambda: _paper(rng, level),
        "bar": lambda: _bar(rng),
        "ruler": lambda: _ruler(rng),
        "any-ruler": lambda: any_ruler(rng),
    }
    if kind not in makers:
        raise ValueError(f"no reference is called {kind!r}; there are {', '.join(REFERENCES)}")
    item = makers[kind]()
    item = replace(item, z=item.z + z)
    side = pick(rng, (0.0, 90.0, 180.0, 270.0))
    if kind in ("bar", "ruler", "any-ruler"):  # along the edge
        item = replace(item, turn_deg=item.turn_deg + side + 90.0)
    # what lies lower must lie farther away, or a tilted view hides it
    item = beside(item, growth, side, float(rng.uniform(6, 25)) + 0.6 * z)
    return (item, *_case(rng, item)) if "tape " in item.variant else (item,)


def _turn(rng: np.random.Generator) -> float:
    return pick(rng, (0.0, 90.0, 180.0, 270.0)) + float(rng.normal(0, 4))


def _curl(rng: np.random.Generator, level: float) -> float:
    return float(rng.uniform(0.5, 4.0)) if rng.random() < 0.25 * level else 0.0


def _marker_sheet(rng: np.random.Generator, level: float) -> Item:
    names: tuple[Literal["A4", "Letter"], ...] = ("A4", "Letter")
    return marker_sheet((0, 0), _turn(rng), paper=pick(rng, names), curl=_curl(rng, level))


def _card(rng: np.random.Generator, white: bool) -> Item:
    colour = any_colour(rng, 0.88, 0.95) if white else any_colour(rng, 0.05, 0.9)
    prints = "plain" if white else pick(rng, ("bank", "pass", "plain"))
    turn = float(rng.uniform(-40, 40))
    return card((0, 0), turn, z=-CARD_THICKNESS, colour=colour, print_=prints, seed=seed_of(rng))  # its upper side


def _paper(rng: np.random.Generator, level: float) -> Item:
    name = pick(rng, ("A4", "Letter", "A5", "A3"), (0.45, 0.25, 0.2, 0.1))
    prints = pick(rng, ("", "ruled", "written"), (0.7, 0.1, 0.2))
    tone = float(rng.uniform(0.86, 0.96))
    return paper((0, 0), _turn(rng), name=name, curl=_curl(rng, level), tone=tone, variant=prints, seed=seed_of(rng))


def _bar(rng: np.random.Generator) -> Item:
    square = pick(rng, (5.0, 10.0, 10.0, 12.5, 20.0))
    count = int(np.clip(rng.uniform(150, 320) / square, 6, 40))
    return bar((0, 0), float(rng.normal(0, 4)), square=square, count=count, seed=seed_of(rng))


def _ruler(rng: np.random.Generator) -> Item:
    units: tuple[Literal["mm", "inch"], ...] = ("mm", "mm", "inch")
    unit = pick(rng, units)
    length = pick(rng, (150.0, 200.0, 300.0)) if unit == "mm" else pick(rng, (6, 8, 12)) * 25.4
    look = pick(rng, list(RULER_LOOKS))
    width = float(rng.uniform(18, 34))
    return ruler((0, 0), float(rng.normal(0, 4)), look=look, unit=unit, length=length, width=width, seed=seed_of(rng))


def any_ruler(rng: np.random.Generator) -> Item:
    """Return a tape measure, a fold rule, a clear ruler or a steel rule; `z` is that of its print."""
    make = pick(rng, ("tape", "whitetape", "fold", "whitefold", "clear", "quilt", "engineer"),
                (0.25, 0.1, 0.15, 0.15, 0.12, 0.08, 0.15))  # fmt: skip
    units: tuple[Literal["mm", "inch"], ...] = ("mm", "mm", "inch")
    unit = pick(rng, units)
    length = float(rng.uniform(150, 450)) if "tape" in make or "fold" in make else pick(rng, (150.0, 200.0, 300.0))
    length = round(length / 25.4) * 25.4 if unit == "inch" else round(length, -1)
    wide = {"tape": (13, 27), "whitetape": (13, 27), "fold": (15, 18), "whitefold": (15, 18), "quilt": (60, 130)}
    low, high = wide.get(make, (18, 34))
    width = float(rng.uniform(low, high))
    item = ruler((0, 0), float(rng.normal(0, 4)), look=make, unit=unit, length=length, width=width, seed=seed_of(rng))
    if "tape" in make:
        arch = float(rng.uniform(0.0, 0.1)) * width
        return replace(item, arch=arch, z=0.8 * arch)
    return replace(item, clear=float(rng.uniform(0.55, 0.9))) if make in ("clear", "quilt") else item


def _case(rng: np.random.Generator, tape: Item) -> tuple[Item, ...]:
    """Return the case that most tape measures come out of, lying at its far end."""
    size = (float(rng.uniform(50, 80)), tape.size[1] + 8.0)
    centre = pair(tape.to_scene(np.array([[tape.size[0] + 0.4 * size[0], tape.size[1] / 2]]))[0])
    colour = any_colour(rng, 0.05, 0.5)
    case = Item("case", centre, tape.turn_deg, tape.z - 40.0, "", size, colour, 6.0, thick=40.0)
    return (case,) if rng.random() < 0.7 else ()


def _ruler_on_face(rng: np.random.Generator, growth: Growth) -> tuple[Item, ...]:
    """Return any ruler laid across the wood, thin: the print in the plane of the face."""
    item = any_ruler(rng) if rng.random() < 0.6 else _ruler(rng)
    centre = pair(rng.normal(0, 0.15 * growth.spec.diameter, 2))
    item = replace(item, centre=centre, turn_deg=float(rng.uniform(0, 360)), z=-0.1)
    return (item, *_case(rng, item)) if "tape " in item.variant else (item,)


def _markers_around(rng: np.random.Generator, growth: Growth) -> tuple[Item, ...]:
    count = int(rng.integers(4, 9))
    first = float(rng.uniform(0, 360))
    items = []
    for k in range(count):
        item = marker((0, 0), float(rng.uniform(0, 360)), number=FIRST_CUT_OUT + k)
        direction = first + 360 / count * (k + float(rng.uniform(-0.25, 0.25)))
        items.append(beside(item, growth, direction, float(rng.uniform(3, 20))))
    return tuple(items)


def _strips(rng: np.random.Generator, growth: Growth) -> tuple[Item, ...]:
    """Two strips along opposite sides, or four around."""
    sides = pick(rng, ((0.0, 180.0), (90.0, 270.0), (0.0, 90.0, 180.0, 270.0)))
    laid = []
    for k, side in enumerate(sides):
        item = strip((0, 0), side + 90.0 + float(rng.normal(0, 5)), number=FIRST_STRIP + k * STRIP_MARKERS)
        laid.append(beside(item, growth, side, float(rng.uniform(4, 20))))
    return tuple(laid)


def beside(item: Item, growth: Growth, side_deg: float, gap: float) -> Item:
    """Return the item moved out beside the wood, on the side of this direction, `gap` mm away."""
    a = np.radians(side_deg)
    n = np.array([np.cos(a), np.sin(a)])
    corners = item.corners - np.asarray(item.centre)
    far = float((growth.polygon(growth.outer) @ n).max()) + gap - float((corners @ n).min())
    return replace(item, centre=pair(far * n))


def occluders(rng: np.random.Generator, level: float, references: tuple[Item, ...]) -> tuple[Item, ...]:
    """Return what lies on the references: heaps of sawdust, a stick."""
    items = []
    for reference in references:
        if rng.random() > 0.35 * level:
            continue
        w, h = reference.size
        at = pair(reference.to_scene(np.array([[rng.uniform(0, w), rng.uniform(0, h)]]))[0])
        z = reference.z - 1.0
        if rng.random() < 0.75:
            size = float(rng.uniform(0.15, 0.5)) * min(w, h)
            tone = float(rng.uniform(0.75, 1.05))
            colour = (0.86 * tone, 0.74 * tone, 0.55 * tone)
            items.append(Item("heap", at, 0.0, z, "", (1.3 * size, size), colour, seed=seed_of(rng)))
        else:
            stick = (float(rng.uniform(60, 180)), float(rng.uniform(5, 9)))
            colour = any_colour(rng, 0.2, 0.9)
            items.append(Item("stick", at, float(rng.uniform(0, 180)), z, "", stick, colour, 2.5, seed=seed_of(rng)))
    return tuple(items)


def decoys(rng: np.random.Generator, level: float, growth: Growth, bench: BenchSpec) -> tuple[Item, ...]:
    """Return other things lying about on the bench, rectangles among them that have no reference's proportions."""
    return tuple(_decoy(rng, growth, bench) for _ in range(int(rng.poisson(0.5 + 2.5 * level))))


def _decoy(rng: np.random.Generator, growth: Growth, bench: BenchSpec) -> Item:
    kind = pick(rng, ("book", "tile", "label", "board", "log"))
    colour = any_colour(rng, 0.15, 0.9)
    thick = 0.0
    if kind in ("tile", "log"):
        side = float(rng.uniform(80, 200) if kind == "tile" else rng.uniform(90, 300))
        size = (side, side)
    elif kind == "board":
        size = (float(rng.uniform(200, 600)), float(rng.uniform(30, 90)))
    else:
        long = float(rng.uniform(150, 300) if kind == "book" else rng.uniform(45, 90))
        size = (long, long / _odd_proportion(rng))
    if kind in ("board", "log"):
        colour = LOOKS[pick(rng, list(LOOKS))].sap
    elif kind == "label":
        colour = (0.92, 0.91, 0.88)
    if kind in ("book", "board", "log"):
        thick = float(min(rng.uniform(5, 40), 0.9 * bench.below))
    item = Item(kind, (0, 0), float(rng.uniform(0, 360)), max(bench.below - 1.0 - thick, 0.1), "", size, colour)
    item = replace(item, thick=thick, seed=seed_of(rng))
    return beside(item, growth, float(rng.uniform(0, 360)), float(rng.uniform(15, 140)))


def _odd_proportion(rng: np.random.Generator) -> float:
    """Return a proportion of sides that no reference has, by 6 % at least."""
    known = [max(size) / min(size) for size in SIZES.values()]
    while True:
        proportion = float(rng.uniform(1.05, 2.0))
        if all(abs(proportion / k - 1) > 0.06 for k in known):
            return proportion
