"""What is seen on cards and paper, and on the other things that lie about a workshop."""

from __future__ import annotations

import numpy as np

from tests.drawn.ink import Artwork, canvas, figures, mottled
from tests.drawn.noise import Grid, clouds, generator, speckle
from tests.drawn.references import Item


def plain_art(item: Item, step: float) -> Artwork:
    """A thing of one colour."""
    art = canvas(item, step)
    return Artwork(mottled(art, generator(item.seed, "plain"), 1.5), step)


def paper_art(item: Item, step: float) -> Artwork:
    """A sheet of paper, blank, ruled or written on."""
    art = canvas(item, step)
    rng = generator(item.seed, "paper")
    k = 1 / step
    w, h = item.size
    if item.variant.endswith("ruled"):
        for y in np.arange(18.0, h - 8, 8.0):
            art[int(y * k) : int(y * k) + max(1, int(0.25 * k))] = (170, 190, 215)
    elif item.variant.endswith("written"):
        for y in np.arange(25.0, 25.0 + 10.0 * int(rng.integers(1, 9)), 10.0):
            words = "".join(chr(97 + c) if c < 26 else " " for c in rng.integers(0, 30, int(rng.integers(8, 30))))
            figures(art, words, (0.08 * w, float(y)), 5.0, [45.0, 45.0, 80.0], k)
    return Artwork(mottled(art, rng, 1.2), step)


def heap_art(item: Item, step: float) -> Artwork:
    """A heap of sawdust."""
    art = canvas(item, step).astype(np.float32)
    rng = generator(item.seed, "heap")
    grid = Grid(0.0, 0.0, step, art.shape[1], art.shape[0])
    tone = 1 + 0.16 * speckle(grid, rng, 0.5) + 0.14 * speckle(grid, rng, 1.3) + 0.06 * clouds(grid, rng, 12.0, 2)
    return Artwork(np.clip(art * tone[..., None], 0, 255).astype(np.uint8), step)


def card_art(item: Item, step: float) -> Artwork:
    """A card: plain, or with the print of a bank's or a pass."""
    import cv2

    art = canvas(item, step)
    rng = generator(item.seed, "card")
    k = 1 / step
    ground = np.array(item.colour) * 255
    if item.variant == "plain":
        return Artwork(mottled(art, rng, 1.0), step)
    for _ in range(3):  # broad curves of a second tone
        centre = tuple(int(v) for v in rng.uniform(0, 1, 2) * [art.shape[1], art.shape[0]])
        tone = np.clip(ground * rng.uniform(0.85, 1.15) + rng.normal(0, 6, 3), 0, 255)
        cv2.circle(art, centre, int(rng.uniform(15, 50) * k), [float(v) for v in tone], -1, cv2.LINE_AA)
    ink = [float(v) for v in (np.full(3, 30.0) if ground.mean() > 128 else np.full(3, 235.0))]
    if item.variant == "bank":
        chip = np.array([[10, 19], [22, 19], [22, 28], [10, 28]]) * k
        cv2.fillPoly(art, [chip.astype(np.int32)], (205, 180, 110), cv2.LINE_AA)
        for j in range(4):
            figures(art, "".join(str(d) for d in rng.integers(0, 10, 4)), (10 + 17 * j, 38), 5.0, ink, k)
        figures(art, "M. SAMPLE", (10, 48), 3.2, ink, k)
    else:
        figures(art, "WORKSHOP PASS", (8, 14), 4.5, ink, k)
        cv2.rectangle(art, (int(8 * k), int(20 * k)), (int(28 * k), int(46 * k)), (150.0, 140.0, 130.0), -1)
        for j in range(4):
            figures(art, "".join(chr(97 + d) for d in rng.integers(0, 26, 10)), (33, 25 + 6 * j), 3.0, ink, k)
    return Artwork(mottled(art, rng, 1.0), step)


def book_art(item: Item, step: float) -> Artwork:
    """A book's cover."""
    import cv2

    art = canvas(item, step)
    rng = generator(item.seed, "book")
    k = 1 / step
    w, h = item.size
    tone = [float(v) for v in np.clip(255 * np.array(item.colour) * 0.7, 0, 255)]
    cv2.rectangle(art, (0, 0), (int(0.07 * w * k), art.shape[0]), tone, -1)
    ink = [235.0, 225.0, 190.0] if np.mean(item.colour) < 0.6 else [40.0, 35.0, 30.0]
    figures(art, "ORCHARD TREES", (0.15 * w, 0.3 * h), 0.08 * w, ink, k)
    cv2.circle(art, (int(0.55 * w * k), int(0.62 * h * k)), int(0.18 * min(w, h) * k), ink, max(1, int(k)), cv2.LINE_AA)
    return Artwork(mottled(art, rng, 3.0), step)


def tile_art(item: Item, step: float) -> Artwork:
    """A tile."""
    return Artwork(mottled(canvas(item, step), generator(item.seed, "tile"), 6.0), step)


def label_art(item: Item, step: float) -> Artwork:
    """A paper label with a few letters."""
    art = canvas(item, step)
    rng = generator(item.seed, "label")
    h = item.size[1]
    text = item.variant or f"{chr(65 + int(rng.integers(0, 26)))}{int(rng.integers(2, 99))}"
    tall = min(0.45 * h, 1.1 * item.size[0] / len(text))
    figures(art, text, (0.1 * item.size[0], h / 2 + tall / 2), tall, [35.0, 35.0, 60.0], 1 / step)
    return Artwork(mottled(art, rng, 2.0), step)


def board_art(item: Item, step: float) -> Artwork:
    """A piece of a plank, its grain along it."""
    import cv2

    art = canvas(item, step).astype(np.float32)
    rng = generator(item.seed, "board")
    small = rng.standard_normal((max(4, int(item.size[1] / 1.2)), max(3, int(item.size[0] / 40)))).astype(np.float32)
    grain = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return Artwork(np.clip(art * (1 + 0.07 * grain[..., None]), 0, 255).astype(np.uint8), step)


def log_art(item: Item, step: float) -> Artwork:
    """Another log's end, with wavy rings and bark."""
    rng = generator(item.seed, "log")
    step = max(step, 0.4)  # nothing on it is finer
    art = canvas(item, step).astype(np.float32)
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
