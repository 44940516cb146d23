"""Things of a workshop that repeat: what a finder of rulers or of chequered bars may take for one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.drawn.camera import F32
from tests.drawn.ink import Artwork, canvas, mottled
from tests.drawn.noise import generator
from tests.drawn.references import Item

Pattern = Callable[[F32, F32, Item, float], F32]


def _bars(x: F32, pitch: float, share: float, soft: float) -> F32:
    """Return 1 in stripes that take a share of a pitch, 0 between, their edges as soft as a pixel."""
    off = np.abs((x / np.float32(pitch) + 0.5) % 1 - 0.5) * np.float32(pitch)
    return np.asarray(np.clip((0.5 * share * pitch - off) / np.float32(soft) + 0.5, 0, 1), np.float32)


def _slats(x: F32, y: F32, item: Item, soft: float) -> F32:
    """Fence pickets, decking, gratings, corrugated board, teeth of a comb, threads: stripes across."""
    return _bars(x, item.pitch, 0.1 * item.number, soft) * np.asarray(y > 0.08 * item.size[1], np.float32)


def _tiles(x: F32, y: F32, item: Item, soft: float) -> F32:
    """Small tiles, graters, trays: a grid of dark joints."""
    joint = 0.05 * item.number
    return np.maximum(_bars(x, item.pitch, joint, soft), _bars(y, item.pitch, joint, soft))


def _bricks(x: F32, y: F32, item: Item, soft: float) -> F32:
    """Bricks or blocks in bond."""
    row = np.floor(y / np.float32(item.pitch) + 0.5)
    along = x + np.float32(item.pitch) * (row % 2)
    return np.maximum(_bars(along, 2 * item.pitch, 0.05, soft), _bars(y, item.pitch, 0.1, soft))


def _chequers(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A board or cloth with many rows of squares."""
    a, b = (2 * _bars(at - np.float32(item.pitch / 2), 2 * item.pitch, 0.5, soft) - 1 for at in (x, y))
    return np.asarray(0.5 + 0.5 * a * b, np.float32)


def _gingham(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A cloth of stripes both ways, darkest where they cross."""
    return np.asarray(0.5 * _bars(x, 2 * item.pitch, 0.5, soft) + 0.5 * _bars(y, 2 * item.pitch, 0.5, soft))


def _keys(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A keyboard: keys with gaps, rows staggered by a quarter."""
    row = np.floor(y / np.float32(item.pitch))
    along = x + np.float32(0.25 * item.pitch) * row
    key = _bars(along, item.pitch, 0.8, soft) * _bars(y - np.float32(item.pitch / 2), item.pitch, 0.8, soft)
    legend = _bars(along + np.float32(3), item.pitch, 0.12, soft) * _bars(
        y - np.float32(item.pitch / 3), item.pitch, 0.12, soft
    )
    return np.asarray(key * (1 - 0.8 * legend))


def _teeth(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A saw blade: teeth along one edge, the blade bright."""
    tooth = ((x / np.float32(item.pitch)) % 1) * np.float32(item.pitch)
    return np.asarray(np.clip((tooth - y) / np.float32(soft) + 0.5, 0, 1), np.float32)


def _code(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A bar code: stripes of one to four modules."""
    rng = generator(item.seed, "code")
    widths = rng.integers(1, 5, int(item.size[0] / item.pitch))
    edges = np.cumsum(widths) * item.pitch
    inside = (y > 0.1 * item.size[1]) & (y < 0.8 * item.size[1])
    return np.asarray((np.searchsorted(edges, x) % 2 == 1) & inside, np.float32)


def _hazard(x: F32, y: F32, item: Item, soft: float) -> F32:
    """Slanting stripes of barrier tape."""
    return _bars(x + y, item.pitch, 0.5, soft)


def _holes(x: F32, y: F32, item: Item, soft: float) -> F32:
    """Pegboard, perforated angle iron."""
    p = np.float32(item.pitch)
    r = np.hypot((x / p + 0.5) % 1 - 0.5, (y / p + 0.5) % 1 - 0.5) * p
    return np.asarray(np.clip((0.25 * p - r) / np.float32(soft) + 0.5, 0, 1), np.float32)


def _degrees(x: F32, y: F32, item: Item, soft: float) -> F32:
    """A scale of something else, every fourth and twelfth tick longer."""
    number = np.rint(x / np.float32(item.pitch))
    tall = 3.0 + 2.0 * (number % 4 == 0) + 2.0 * (number % 12 == 0)
    return _bars(x, item.pitch, 0.2, soft) * np.asarray(y < tall, np.float32)


PATTERNS: dict[str, Pattern] = {
    "slats": _slats, "tiles": _tiles, "bricks": _bricks, "chequers": _chequers, "gingham": _gingham, "keys": _keys,
    "teeth": _teeth, "code": _code, "hazard": _hazard, "holes": _holes, "degrees": _degrees,
}  # fmt: skip


def repeated_art(item: Item, step: float) -> Artwork:
    """A thing whose `variant` is one of `PATTERNS`, of its own colour and a darker or a lighter one."""
    art = canvas(item, step).astype(np.float32)
    x, y = np.meshgrid(*((np.arange(n, dtype=np.float32) + 0.5) * np.float32(step) for n in art.shape[1::-1]))
    rng = generator(item.seed, "repeated")
    ground = np.asarray(item.colour) * 255
    tone = rng.uniform(0.05, 0.5) if ground.mean() > 110 else rng.uniform(1.6, 3.5)
    other = np.clip(ground * tone + rng.normal(0, 6, 3), 0, 255).astype(np.float32)
    share = PATTERNS[item.variant](x, y, item, step)[..., None]
    art += share * (other - art)
    return Artwork(mottled(np.clip(art, 0, 255).astype(np.uint8), rng, 2.0), step)
