"""Train the network that tells wood, bark and rest apart: ``python -m tests.bench.train_outlines [scenes] [steps]``.

Draws `scenes` (7000) small scenes of every kind on all processors, trains `steps` (10000) times meanwhile, each time on
about a hundred of them changed anew, and writes photonest/outline/shares.onnx. It needs PyTorch and onnx, which nothing
else here does, and a graphics card (seven minutes on a fast one) or much patience. No real photo is used. A third
argument names another file to write; a fourth, a file of weights to go on from where there is one, on fresh scenes, and
to keep the new ones in. Gone on, what is written is the mean of the weights before and after: alone the later ones know
sides better, and took dark bark before white for one.

What ships was trained so: 9934 steps from 6590 scenes, with fewer slants and no camera, plates or bars in them; from
there on 14807 steps from 7054 others by this recipe. Another run gives other weights, so run ``python -m
tests.bench.outlines`` and ``python -m tests.bench.altered`` after it, and see whether the weights of the doubt still
hold (``python -m tests.bench.outlines doubt``).

What is changed: size, turn and shape of the piece, and whether it fills the frame; the ground, for another scene's, a
plain colour or mottles, sharp or not, with a shadow on it; a bar or board at the piece; the piece sawn off along a
line; the tint of wood and of bark; light, shadows across piece and ground alike, contrast, colour, blur, noise; part of
the photo missing; the point aimed at. Half of the pictures do without the camera where it is known.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from threading import Thread
from typing import NamedTuple

import numpy as np
import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import Tensor, nn

from photonest.imaging import cropped, reduced, usable_part
from photonest.outline.network import AIM_PX, SIDE, STEEPEST
from tests.bench.piece_scenes import KINDS, piece_scene
from tests.bench.training import DEVICE, averaged, blurred, one, some, spread
from tests.drawn import SceneSpec
from tests.drawn.references import Item

TARGET = Path(__file__).parents[2] / "photonest" / "outline" / "shares.onnx"
FIRST_SEED, SEED_ON = 7_001_000, 7_021_000
KINDS_DRAWN = (*KINDS, "disc", "blank", "several", "no reference")
CHANNELS = (16, 28, 48, 80, 112)
SEEN = 7  # what the network gets: colours, where they count, the aim, the slant along x and y
BATCH, AVERAGED = 96, 0.999
RATE, RATE_ON = 3e-3, 2.5e-3  # the second where it goes on from other weights
LEAST_DRAWN = 600


class Small(NamedTuple):
    """A small scene.

    `layers` are colours, where usable, piece and wood, shape (6, SIDE, SIDE), 0 to 255. `camera`, in half sides of the
    picture from its middle, is (x, y, 1) of the camera's foot, over its distance: zeros where that is not known.
    """

    layers: NDArray[np.uint8]
    camera: NDArray[np.float32]


def small_scene(seed: int) -> Small | None:
    """Return the scene of a seed; None if nothing of the piece is in its frame."""
    import cv2

    rng = np.random.default_rng(seed + 7)
    near = rng.random() < 0.45
    kind = KINDS_DRAWN[seed % len(KINDS_DRAWN)]
    cracks = int(rng.integers(0, 4))
    try:
        scene = piece_scene(
            seed, kind, megapixels=0.75 if near else 0.3, cracks=cracks, change=partial(harder, rng, kind)
        )
    except (ValueError, cv2.error):  # nothing of the piece is in the frame, or a thing is too large in it for OpenCV
        return None
    flat = scene.flat
    if near:
        low, high = scene.outline.min(axis=0), scene.outline.max(axis=0)
        margins = 0.6 * rng.uniform(0.15, 1.0, (2, 2)) ** 1.5 * (high - low).max()
        flat = cropped(flat, low - margins[0], high + margins[1])
    small = reduced(flat, SIDE)
    height, width = small.pixels.shape[:2]
    out = np.zeros((6, SIDE, SIDE), np.uint8)
    out[:3, :height, :width] = small.pixels.transpose(2, 0, 1)
    out[3, :height, :width] = 255 * usable_part(small)
    out[4, :height, :width] = _cover(small.to_px(scene.outline), height, width)
    out[5, :height, :width] = np.minimum(_cover(small.to_px(scene.under_bark), height, width), out[4, :height, :width])
    camera = np.zeros(3, np.float32)
    if small.camera is not None:
        foot = (small.to_px([small.camera[:2]])[0] + 0.5) * 2 / SIDE - 1
        camera[:] = np.array([*foot, 1.0]) / (small.camera[2] / small.mm_per_px * 2 / SIDE)
    return Small(out, camera)


def harder(rng: np.random.Generator, kind: str, spec: SceneSpec) -> SceneSpec:
    """Return a scene with thick, plated, thin or no bark, and often seen at a slant, its side in sight."""
    wood, camera, bench, light, items = spec.wood, spec.camera, spec.bench, spec.light, spec.items
    if kind != "blank":
        thick, thin, share = float(rng.uniform(5, 38)), float(rng.uniform(0.7, 3.5)), rng.random()
        bark = thick if share < 0.35 else thin if share < 0.5 else 0.0 if share < 0.6 else wood.bark
        gone = float(rng.uniform(0.2, 0.85)) if share < 0.2 else wood.bark_missing
        plates = float(rng.uniform(0.2, 1.0)) if bark > 5 and rng.random() < 0.5 else 0.0
        items = tuple(farther(item, 1.3 * max(bark - wood.bark, 0.0), wood.diameter) for item in items)
        wood = replace(wood, bark=bark, bark_missing=gone, plates=plates)
    if rng.random() < (0.5 if camera.tilt_deg > 0 else 0.3):
        camera = replace(camera, tilt_deg=float(rng.uniform(10, 38)), tilt_axis_deg=float(rng.uniform(0, 360)))
        bench = replace(bench, below=float(rng.uniform(30, 250)))
        light = replace(light, side=float(rng.uniform(0.6, 2.2)))
    return replace(spec, wood=wood, camera=camera, bench=bench, light=light, items=items)


def farther(item: Item, by: float, diameter: float) -> Item:
    """Return a thing that lies beside the wood moved out; one on it stays."""
    x, y = item.centre
    away = math.hypot(x, y)
    return replace(item, centre=(x + by * x / away, y + by * y / away)) if away > diameter / 2 else item


def _cover(line: NDArray[np.float64], height: int, width: int, fine: int = 4) -> NDArray[np.uint8]:
    import cv2

    mask = np.zeros((height * fine, width * fine), np.uint8)
    cv2.fillPoly(mask, [np.round((line * fine + (fine - 1) / 2) * 16).astype(np.int32)], 255, shift=4)
    return np.asarray(cv2.resize(mask, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


class Layer(nn.Sequential):  # type: ignore[misc]
    """A convolution, in two steps if `apart` (along the picture, across the channels), normalised and rectified."""

    def __init__(self, given: int, out: int, stride: int = 1, apart: bool = False, reach: int = 1) -> None:
        def normal(n: int) -> nn.Module:
            return nn.BatchNorm2d(n)

        def along(n: int, groups: int) -> nn.Module:
            return nn.Conv2d(given, n, 3, stride, reach, dilation=reach, groups=groups, bias=False)

        parts = [along(given, given), normal(given), nn.Conv2d(given, out, 1, bias=False)] if apart else [along(out, 1)]
        super().__init__(*parts, normal(out), nn.ReLU(inplace=True))


class Network(nn.Module):  # type: ignore[misc]
    """Down to a thirty-second of the picture's size and up again, with what was seen on the way (a U-net)."""

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d, e = CHANNELS
        self.down = nn.ModuleList([
            nn.Sequential(Layer(SEEN, a, 2), Layer(a, a)),
            nn.Sequential(Layer(a, b, 2), Layer(b, b)),
            nn.Sequential(Layer(b, c, 2), Layer(c, c)),
            nn.Sequential(Layer(c, d, 2), Layer(d, d, apart=True), Layer(d, d, apart=True)),
            nn.Sequential(Layer(d, e, 2, True), Layer(e, e, 1, True), Layer(e, e, 1, True, 2), Layer(e, e, 1, True)),
        ])  # fmt: skip
        self.up = nn.ModuleList([
            nn.Sequential(Layer(e + d, d, apart=True), Layer(d, d, apart=True)),
            nn.Sequential(Layer(d + c, c, apart=True), Layer(c, c, apart=True)),
            Layer(c + b, b),
            Layer(b + a, a),
        ])  # fmt: skip
        self.out = nn.Conv2d(a, 3, 1)
        self.larger = nn.Upsample(scale_factor=2, mode="nearest")

    def forward(self, x: Tensor) -> Tensor:
        """Return the logarithms of the shares, up to a constant, at half the picture's size."""
        seen: list[Tensor] = []
        for step in self.down:
            x = step(x)
            seen.append(x)
        for step, before in zip(self.up, seen[-2::-1], strict=True):
            x = step(torch.cat([self.larger(x), before], 1))
        return self.out(x)


def number(low: float = 0.0, high: float = 1.0) -> float:
    """Return a random number for all pictures."""
    return float(torch.empty(1).uniform_(low, high))


def smooth(count: int, channels: int, cells: int, height: float) -> Tensor:
    """Return smooth random fields."""
    nodes = height * torch.randn(count, channels, cells, cells, device=DEVICE)
    return F.interpolate(nodes, (SIDE, SIDE), mode="bicubic", align_corners=False)


def half_plane(count: int, low: float, high: float, soft: float | Tensor) -> Tensor:
    """Return 1 beyond a random straight line, 0 before it."""
    along = torch.linspace(-1, 1, SIDE, device=DEVICE)
    angle = one(count, 0, 2 * math.pi)
    away = along * angle.cos() + along[:, None] * angle.sin() - one(count, low, high)
    return torch.sigmoid(away * SIDE / 2 / soft)


class Turn(NamedTuple):
    """How pictures are laid anew: where one shows p, in half sides from its middle, it showed size spin p + shift.

    Shapes are (count, 2, 2), (count, 1) and (count, 2); `spin` turns, and may turn over.
    """

    spin: Tensor
    size: Tensor
    shift: Tensor

    def filled(self, piece: Tensor, filling: Tensor) -> Turn:
        """Return the same, but where `filling` is 1 the piece fills the frame."""
        middle, reach = about(piece)
        size = torch.where(filling > 0, reach * one(len(piece), 1.0, 1.15)[:, 0, 0], self.size)
        return Turn(self.spin, size, torch.where(filling > 0, middle, self.shift))

    def of(self, pictures: Tensor, bend: Tensor | None = None) -> Tensor:
        """Return the pictures laid anew, and bent."""
        count = len(pictures)
        turn = torch.cat([self.size[..., None] * self.spin, self.shift[..., None]], 2)
        grid = F.affine_grid(turn, [count, 1, SIDE, SIDE], align_corners=False)
        grid = grid if bend is None else grid + bend
        return F.grid_sample(pictures, grid, mode="bilinear", padding_mode="zeros", align_corners=False)

    def slant(self, cameras: Tensor) -> Tensor:
        """Return how far the line of sight runs along the face, towards the camera, for each mm of depth."""
        at = (torch.arange(SIDE, device=DEVICE) + 0.5) * 2 / SIDE - 1
        foot = cameras[:, :2] - cameras[:, 2:] * self.shift
        x, y = torch.einsum("nji,nj->in", self.spin, foot)[..., None, None]
        near = (cameras[:, 2:] * self.size)[..., None]
        ways = (x - near * at).expand(-1, SIDE, -1), (y - near * at[:, None]).expand(-1, -1, SIDE)
        return torch.stack(ways, 1).clamp(-STEEPEST, STEEPEST)


def some_turn(count: int, low: float, high: float) -> Turn:
    """Return random ways to lay pictures anew, taken `low` to `high` times as wide; a fifth stays as it is."""
    angle, size = one(count, 0, 2 * math.pi)[:, 0, 0], torch.exp(one(count, math.log(low), math.log(high)))[:, 0, 0]
    flip = 2 * some(count, 0.5)[:, 0, 0] - 1
    rows = [angle.cos() * flip, -angle.sin(), angle.sin() * flip, angle.cos()]
    spin, shift = torch.cat(rows, 1).view(count, 2, 2), one(count, -0.15, 0.15, 2)[..., 0, 0]
    kept = some(count, 0.2)[:, 0, 0]
    spin = torch.where(kept[..., None] > 0, torch.eye(2, device=DEVICE), spin)
    return Turn(spin, torch.where(kept > 0, 1.0, size), torch.where(kept > 0, 0.0, shift))


def bent(count: int, share: Tensor) -> Tensor:
    """Return how a `share` of the pictures is bent, shape (count, SIDE, SIDE, 2)."""
    bend = smooth(count, 2, 5, 0.035) + smooth(count, 2, 10, 0.010)
    return (bend * (one(count) < share[..., None, None])).permute(0, 2, 3, 1)


def about(piece: Tensor) -> tuple[Tensor, Tensor]:
    """Return the middle (x, y) and the reach of each piece from it, in half sides of the picture from its centre."""
    at = (torch.arange(SIDE, device=DEVICE) + 0.5) * 2 / SIDE - 1
    total = piece.sum((1, 2)).clamp(min=1)
    middle = torch.stack([(piece.sum(1) * at).sum(1), (piece.sum(2) * at).sum(1)], 1) / total[:, None]
    away = torch.hypot(at - middle[:, :1, None], at[:, None] - middle[:, 1:, None])
    return middle, (away * (piece > 0.5)).amax((1, 2)).clamp(min=0.1)[:, None]


def trimmed(piece: Tensor, low: float, high: float) -> Tensor:
    """Return 1 in frames about the pieces, each side `low` to `high` sides of the picture out from the piece."""
    count = len(piece)
    inside, at = (piece > 0.5).float(), torch.arange(SIDE, device=DEVICE).float()
    frame = torch.ones_like(piece)
    for axis, along in ((2, at.view(1, 1, 1, SIDE)), (3, at.view(1, 1, SIDE, 1))):
        there = inside.amax(axis, keepdim=True) > 0
        first = torch.where(there, along, SIDE).amin((2, 3), keepdim=True) - one(count, low, high) * SIDE
        last = torch.where(there, along, -1.0).amax((2, 3), keepdim=True) + one(count, low, high) * SIDE
        frame = frame * ((along >= first) & (along <= last))
    return frame


def mottles(count: int) -> Tensor:
    """Return clouds in two colours, sometimes drawn out like boards."""
    drawn_out = 0.15 if number() < 0.3 else 1.0

    def field(cells: int) -> Tensor:
        nodes = torch.randn(count, 1, cells, max(2, int(cells * drawn_out)), device=DEVICE)
        return F.interpolate(nodes, (SIDE, SIDE), mode="bilinear", align_corners=False)

    mix = (0.5 + 0.2 * field(6) + 0.15 * field(24) + 0.12 * field(90)).clamp(0, 1)
    return mix * one(count, channels=3) + (1 - mix) * one(count, channels=3)


def changed(mine: Tensor, cameras: Tensor, other: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return a batch: what the network gets, the true shares at half size, and where they count."""
    count = len(mine)
    filling = some(count, 0.25)[:, 0, 0]
    turn = some_turn(count, 0.45, 1.35).filled(mine[:, 4], filling)
    slant = turn.slant(cameras * some(count, 0.5)[:, 0, 0])
    mine, other = turn.of(mine, bent(count, 0.7 + 0.3 * filling)), some_turn(count, 0.5, 1.2).of(other)
    filling = filling[..., None, None]
    image, usable, piece, wood = mine.split([3, 1, 1, 1], 1)
    kind = one(count)
    # the bark by itself
    bark = bark_of(piece, wood) * some(count, 0.5)
    dull = image.mean(1, keepdim=True) * one(count, 0, 0.6) * some(count, 0.5)
    tinted = (image * (1 - 0.6 * some(count, 0.5)) + dull) * spread(count, 0.12, 3) * spread(count, 0.35)
    grey = tinted.mean(1, keepdim=True)
    tinted = torch.where(some(count, 0.35) > 0, grey * one(count, 0.25, 1.6), tinted)  # weathered
    tinted = tinted * torch.where(some(count, 0.3) > 0, one(count, 0.15, 0.6), torch.ones_like(kind))  # dark
    image = image * (1 - bark) + tinted.clamp(0, 1) * bark
    # another ground, and the piece sawn off
    black_or_white = (some(count, 0.65) * one(count, 0.9, 1.0)).expand(-1, 3, -1, -1)
    plain = torch.where(some(count, 0.55) > 0, black_or_white, one(count, channels=3)).expand(-1, -1, SIDE, SIDE)
    ground = torch.where(kind < 0.18, other[:, :3], torch.where(kind < 0.36, plain, mottles(count)))
    ground_usable = torch.where(kind < 0.18, other[:, 3:4], torch.ones_like(usable))
    if number() < 0.3:
        ground = blurred(ground, number(1.0, 6.0))  # far behind
    barked = (bark_of(piece, wood).sum((2, 3), keepdim=True) > 300).float() * some(count, 0.35)
    like_bark = (mean_over(image, bark_of(piece, wood)) + 0.02) / (mean_over(ground, 1 - piece) + 0.02)
    ground = torch.where(barked > 0, (ground * like_bark.clamp(0.1, 4)).clamp(0, 1), ground)
    swapped = (kind < 0.5).float()
    kept = 1 - some(count, 0.35) * half_plane(count, -0.25, 0.5, 1.0) * swapped
    piece, wood = piece * kept, wood * kept
    shift = (round(number(-10, 10)), round(number(-10, 10)))
    shadow = torch.roll(blurred(piece, number(1, 8)), shift, (2, 3))
    ground = ground * (1 - shadow * one(count, 0, 0.8) * some(count, 0.7))
    tint = spread(count, 0.15, 3) * spread(count, 0.2)
    like_ground = (mean_over(ground, 1 - piece) + 0.02) / (mean_over(image, piece) + 0.02)
    tint = torch.where(some(count, 0.15) > 0, like_ground, tint).clamp(0.4, 2)
    image = torch.where(swapped > 0, piece * image * tint + (1 - piece) * ground, image)
    usable = torch.where(swapped > 0, piece * (usable > 0.5).float() + (1 - piece) * ground_usable, usable)
    image = beside(image, piece)
    # the frame
    beyond = some(count, 0.25) * half_plane(count, 0.3, 1.0, 0.3)
    beyond = torch.where(filling * some(count, 0.7) > 0, 1 - trimmed(piece, -0.03, 0.12), beyond)
    usable, piece, wood = usable * (1 - beyond), piece * (1 - beyond), wood * (1 - beyond)
    usable = (usable > 0.98).float()
    image = (lit(image) - 0.5) * 4 * usable
    alone = (swapped == 0) | (kind >= 0.18)
    truth = F.avg_pool2d(torch.cat([1 - piece, wood, (piece - wood).clamp(min=0)], 1), 2).clamp(0, 1)
    large = (truth[:, 1:].sum((1, 2, 3)) > 250).float()[:, None, None]
    counts = F.avg_pool2d(torch.maximum(usable, piece), 2)[:, 0] * large
    spot = aimed_at(piece, usable, alone.flatten())
    return torch.cat([image, usable, spot, slant], 1), truth / truth.sum(1, keepdim=True), counts


def bark_of(piece: Tensor, wood: Tensor) -> Tensor:
    """Return the share of bark."""
    return (piece - wood).clamp(0, 1)


def beside(image: Tensor, piece: Tensor) -> Tensor:
    """Return pictures of which some have a bar or board lying at the piece, or all but touching it."""
    count = len(image)
    along = (torch.arange(SIDE, device=DEVICE) + 0.5) * 2 / SIDE - 1
    angle = one(count, 0, 2 * math.pi)
    out = along * angle.cos() + along[:, None] * angle.sin()
    across = along[:, None] * angle.cos() - along * angle.sin()
    reach = torch.where(piece > 0.5, out, -3.0).amax((2, 3), keepdim=True)
    away, wide = out - reach - one(count, -0.015, 0.03), one(count, 0.04, 0.35)
    middle = one(count, -0.7, 0.7)
    there = (away > 0) & (away < wide) & ((across - middle).abs() < one(count, 0.2, 2.0)) & (some(count, 0.2) > 0)
    pitch = torch.exp(one(count, math.log(0.02), math.log(0.25)))
    chequers = torch.sign(torch.sin(across * math.pi / pitch))
    chequers = chequers * torch.where(some(count, 0.5) > 0, torch.sign(torch.sin(away * math.pi / pitch)), 1.0)
    marked = (1 + chequers * one(count, 0, 0.5) * some(count, 0.6)) * one(count, channels=3)
    lying = there.float() * (1 - piece)
    return image * (1 - lying) + marked.clamp(0, 1) * lying


def mean_over(image: Tensor, weight: Tensor) -> Tensor:
    """Return each picture's mean colour under a weight."""
    return (image * weight).sum((2, 3), keepdim=True) / (weight.sum((2, 3), keepdim=True) + 1)


def lit(image: Tensor) -> Tensor:
    """Return pictures in another light, from another camera."""
    count = len(image)
    image = image * torch.exp(0.10 * torch.randn(count, 3, 1, 1, device=DEVICE) * some(count, 0.7)) * spread(count, 0.2)
    image = image * torch.exp(smooth(count, 1, 4, 0.22) * some(count, 0.6))
    image = shaded(image).clamp(1e-4, 1.3) ** spread(count, 0.25)
    if number() < 0.4:
        image = blurred(image, number(0.4, 1.6) if number() < 0.75 else number(1.6, 3.0))
    image = image + torch.randn_like(image) * one(count, 0, 0.05) * some(count, 0.6)
    colour = torch.where(some(count, 0.4) > 0, one(count, 0.2, 1.4), torch.ones(count, 1, 1, 1, device=DEVICE))
    colour = colour * (1 - some(count, 0.17))
    grey = image.mean(1, keepdim=True)
    return (grey + (image - grey) * colour).clamp(0, 1)


def shaded(image: Tensor) -> Tensor:
    """Return pictures partly in the sun: beyond a straight shadow, between two, or under leaves."""
    count = len(image)
    soft = torch.exp(one(count, math.log(0.5), math.log(16)))
    shade, kind = half_plane(count, -0.7, 0.7, soft), one(count)
    second = half_plane(count, -0.7, 0.7, soft)
    leaves = torch.sigmoid(smooth(count, 1, 6, 1.0) * 40 / soft)
    shade = torch.where(kind < 0.55, shade, torch.where(kind < 0.75, shade * second, leaves))
    depth = one(count, 0.1, 1.1) * torch.cat([torch.ones_like(kind), one(count, 0.85, 1.0), one(count, 0.7, 1.0)], 1)
    lit_up = 1 + some(count, 0.4) * one(count, 0, 0.5)  # the sun's part burnt out
    return torch.where(some(count, 0.42) > 0, image * lit_up * torch.exp(-depth * shade), image)


def aimed_at(piece: Tensor, usable: Tensor, alone: Tensor) -> Tensor:
    """Return a spot where somebody points: the middle of the photo if that will do, else somewhere well inside."""
    count, cells = len(piece), SIDE // 4
    inside = F.avg_pool2d(blurred(piece, 6.0), 4).flatten(1).clamp(min=0) ** 3 + 1e-9
    place = torch.multinomial(inside, 1)[:, 0]
    x, y = (place % cells).float() * 4 + 2, (place // cells).float() * 4 + 2
    at = torch.arange(SIDE, device=DEVICE).float()
    total = usable.sum((1, 2, 3)).clamp(min=1)
    middle_x = (usable.sum((1, 2)) * at).sum(1) / total
    middle_y = (usable.sum((1, 3)) * at).sum(1) / total
    cell = (middle_y / 4).long().clamp(0, cells - 1) * cells + (middle_x / 4).long().clamp(0, cells - 1)
    will_do = (inside.gather(1, cell[:, None])[:, 0] > 0.02) | alone
    central = will_do & (torch.rand(count, device=DEVICE) < 0.6)
    x, y = torch.where(central, middle_x, x)[:, None, None], torch.where(central, middle_y, y)[:, None, None]
    return torch.exp(-((at - x) ** 2 + (at[:, None] - y) ** 2) / (2 * AIM_PX**2))[:, None]


def loss(found: Tensor, truth: Tensor, counts: Tensor) -> Tensor:
    """Return the cross entropy, thrice about the edge, twice where bark meets wood, and half of 1 - overlap (Dice)."""
    logs = F.log_softmax(found, 1)
    entropy = -(truth * logs).sum(1)
    rest = truth[:, :1]
    edge = F.max_pool2d(rest, 7, 1, 3) + F.max_pool2d(1 - rest, 7, 1, 3) - 1
    bark = truth[:, 2:]
    within = F.max_pool2d(bark, 7, 1, 3) * F.max_pool2d(truth[:, 1:2], 7, 1, 3)
    weight = (0.15 + 0.85 * counts) * (1 + 2 * edge[:, 0] + within[:, 0])
    piece, true = 1 - logs[:, 0].exp(), 1 - truth[:, 0]
    overlap = (2 * (piece * true).sum((1, 2)) + 1) / ((piece**2).sum((1, 2)) + (true**2).sum((1, 2)) + 1)
    return (entropy * weight).sum() / weight.sum() + 0.5 * (1 - overlap).mean()


class Drawn:
    """Scenes on the training device, of which more and more are drawn while it trains."""

    def __init__(self, drawn: Iterable[Small | None], count: int, least: int) -> None:
        self.layers = torch.zeros(count, 6, SIDE, SIDE, dtype=torch.uint8, device=DEVICE)
        self.cameras = torch.zeros(count, 3, device=DEVICE)
        self.ready = 0
        worker = Thread(target=self._gather, args=(drawn,), daemon=True)
        worker.start()
        while worker.is_alive() and self.ready < least:
            time.sleep(0.5)

    def _gather(self, drawn: Iterable[Small | None]) -> None:
        for scene in drawn:
            if scene is not None:
                self.layers[self.ready] = torch.from_numpy(scene.layers).to(DEVICE)
                self.cameras[self.ready] = torch.from_numpy(scene.camera).to(DEVICE)
                self.ready += 1

    def batch(self) -> tuple[Tensor, Tensor, Tensor]:
        """Return a batch drawn by lot and changed, see `changed`."""
        mine, other = torch.randint(self.ready, (2, BATCH), device=DEVICE)
        return changed(self.layers[mine].float() / 255, self.cameras[mine], self.layers[other].float() / 255)


def trained(scenes: Drawn, steps: int, weights: dict[str, Tensor] | None) -> nn.Module:
    """Return the running mean of a network's weights over its training, gone on from others where given."""
    torch.manual_seed(1)

    def of_batch(network: nn.Module) -> Tensor:
        given, truth, counts = scenes.batch()
        with torch.autocast(DEVICE, torch.bfloat16):
            found = network(given.contiguous(memory_format=torch.channels_last))
        return loss(found.float(), truth, counts)

    network = Network()
    if weights is not None:
        network.load_state_dict(weights)
    network = network.to(DEVICE, memory_format=torch.channels_last)
    return averaged(network, of_batch, steps, RATE if weights is None else RATE_ON, 300, AVERAGED)


def main(count: int, steps: int, target: Path, kept: Path | None) -> None:
    """Draw, train and write."""
    weights = torch.load(kept, map_location="cpu") if kept is not None and kept.exists() else None
    first = FIRST_SEED if weights is None else SEED_ON
    with Pool() as pool:  # begun before the device is first used: a process forked afterwards could not live with it
        drawn = pool.imap_unordered(small_scene, range(first, first + count), chunksize=4)
        scenes = Drawn(drawn, count, min(count, LEAST_DRAWN))
        network = trained(scenes, steps, weights)
        print(f"{scenes.ready} scenes drawn", flush=True)
    if kept is not None:
        torch.save(network.state_dict(), kept)
    if weights is not None:
        network.load_state_dict({name: (part + weights[name]) / 2 for name, part in network.state_dict().items()})
    given = torch.zeros(1, SEEN, SIDE, SIDE)
    torch.onnx.export(network, (given,), str(target), opset_version=13, dynamo=False)


if __name__ == "__main__":
    given = sys.argv[1:]
    count, steps, target = [*given[:3], *("7000", "10000", str(TARGET))[len(given) :]]
    main(int(count), int(steps), Path(target), Path(given[3]) if len(given) > 3 else None)
