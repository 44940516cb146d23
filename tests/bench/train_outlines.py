"""Train the network that tells wood, bark and rest apart: ``python -m tests.bench.train_outlines [scenes] [steps]``.

Draws `scenes` (4500) small scenes of every kind, trains `steps` (5700) times on a hundred of them, each time changed
anew, and writes photonest/outline/shares.onnx. It needs PyTorch and onnx, which nothing else here does, and a graphics
card or patience. No real photo is used. What ships was made by this recipe; another run gives other weights, so run
``python -m tests.bench.outlines`` and ``python -m tests.bench.altered`` after it, and fit the weights of the doubt
again (``python -m tests.bench.outlines doubt``). A run cut short (3600 scenes, 3000 steps, with more shade) lost pieces
that fill the frame before a white ground, so train in full.

What is changed: size, turn and shape of the piece; the ground, for another scene's, a plain colour or mottles, with a
shadow on it; the piece sawn off along a line; the tint of wood and of bark; light, shadows, contrast, colour, blur,
noise; part of the photo missing; the point aimed at.
"""

from __future__ import annotations

import math
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import Tensor, nn

from photonest.imaging import cropped, reduced, usable_part
from photonest.outline.network import AIM_PX, SIDE
from tests.bench.piece_scenes import KINDS, piece_scene
from tests.bench.training import DEVICE, averaged, blurred, one, some, spread

TARGET = Path(__file__).parents[2] / "photonest" / "outline" / "shares.onnx"
FIRST_SEED = 7_001_000
KINDS_DRAWN = (*KINDS, "disc", "blank", "several", "no reference")
CHANNELS = (16, 28, 48, 80, 112)
BATCH, RATE, AVERAGED = 96, 3e-3, 0.999


def small_scene(seed: int) -> NDArray[np.uint8] | None:
    """Return colours, where usable, piece and wood of a scene, shape (SIDE, SIDE, 6), 0 to 255; None if it has none."""
    rng = np.random.default_rng(seed + 7)
    near = rng.random() < 0.45
    thick = float(rng.uniform(5, 38)) if rng.random() < 0.3 else None
    kind = KINDS_DRAWN[seed % len(KINDS_DRAWN)]
    try:
        scene = piece_scene(seed, kind, megapixels=0.75 if near else 0.3, cracks=int(rng.integers(0, 4)), bark=thick)
    except ValueError:  # nothing of the piece is in the frame
        return None
    flat = scene.flat
    if near:
        low, high = scene.outline.min(axis=0), scene.outline.max(axis=0)
        margins = rng.uniform(0.03, 0.6, (2, 2)) * (high - low).max()
        flat = cropped(flat, low - margins[0], high + margins[1])
    small = reduced(flat, SIDE)
    height, width = small.pixels.shape[:2]
    out = np.zeros((SIDE, SIDE, 6), np.uint8)
    out[:height, :width, :3] = small.pixels
    out[:height, :width, 3] = 255 * usable_part(small)
    out[:height, :width, 4] = _cover(small.to_px(scene.outline), height, width)
    out[:height, :width, 5] = np.minimum(_cover(small.to_px(scene.under_bark), height, width), out[:height, :width, 4])
    return out


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
            nn.Sequential(Layer(5, a, 2), Layer(a, a)),
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


def half_plane(count: int, low: float, high: float, soft: float) -> Tensor:
    """Return 1 beyond a random straight line, 0 before it."""
    along = torch.linspace(-1, 1, SIDE, device=DEVICE)
    angle = one(count, 0, 2 * math.pi)
    away = along * angle.cos() + along[:, None] * angle.sin() - one(count, low, high)
    return torch.sigmoid(away * SIDE / 2 / soft)


def laid_anew(x: Tensor, low: float, high: float, bent: bool) -> Tensor:
    """Return pictures turned, shifted, taken larger or smaller, and most of them bent."""
    count = len(x)
    angle, size = one(count, 0, 2 * math.pi)[:, 0, 0], torch.exp(one(count, math.log(low), math.log(high)))[:, 0, 0]
    flip = 2 * some(count, 0.5)[:, 0, 0] - 1
    shift = one(count, -0.15, 0.15, 2)[..., 0, 0]
    rows = [angle.cos() * size * flip, -angle.sin() * size, angle.sin() * size * flip, angle.cos() * size]
    turn = torch.cat([torch.cat(rows, 1).view(count, 2, 2), shift[..., None]], 2)
    grid = F.affine_grid(turn, [count, 1, SIDE, SIDE], align_corners=False)
    if bent:
        bend = (smooth(count, 2, 5, 0.035) + smooth(count, 2, 10, 0.010)) * some(count, 0.7)
        still = F.affine_grid(
            torch.eye(2, 3, device=DEVICE).repeat(count, 1, 1), [count, 1, SIDE, SIDE], align_corners=False
        )
        grid = torch.where(some(count, 0.25) > 0, still, grid + bend.permute(0, 2, 3, 1))
    return F.grid_sample(x, grid, mode="bilinear", padding_mode="zeros", align_corners=False)


def mottles(count: int) -> Tensor:
    """Return clouds in two colours, sometimes drawn out like boards."""
    drawn_out = 0.15 if number() < 0.3 else 1.0

    def field(cells: int) -> Tensor:
        nodes = torch.randn(count, 1, cells, max(2, int(cells * drawn_out)), device=DEVICE)
        return F.interpolate(nodes, (SIDE, SIDE), mode="bilinear", align_corners=False)

    mix = (0.5 + 0.2 * field(6) + 0.15 * field(24) + 0.12 * field(90)).clamp(0, 1)
    return mix * one(count, channels=3) + (1 - mix) * one(count, channels=3)


def changed(scenes: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return a batch: what the network gets, the true shares at half size, and where they count."""
    count = BATCH
    mine, other = (scenes[torch.randint(len(scenes), (count,))].to(DEVICE).float() / 255 for _ in range(2))
    mine, other = laid_anew(mine, 0.45, 1.35, bent=True), laid_anew(other, 0.5, 1.2, bent=False)
    image, usable, piece, wood = mine.split([3, 1, 1, 1], 1)
    # the bark by itself
    bark = (piece - wood).clamp(0, 1) * some(count, 0.5)
    dull = image.mean(1, keepdim=True) * one(count, 0, 0.6) * some(count, 0.5)
    tinted = (image * (1 - 0.6 * some(count, 0.5)) + dull) * spread(count, 0.12, 3) * spread(count, 0.35)
    image = image * (1 - bark) + tinted.clamp(0, 1) * bark
    # another ground, and the piece sawn off
    kind = one(count)
    black_or_white = some(count, 0.6).expand(-1, 3, -1, -1)
    plain = torch.where(some(count, 0.5) > 0, black_or_white, one(count, channels=3)).expand(-1, -1, SIDE, SIDE)
    ground = torch.where(kind < 0.2, other[:, :3], torch.where(kind < 0.32, plain, mottles(count)))
    ground_usable = torch.where(kind < 0.2, other[:, 3:4], torch.ones_like(usable))
    swapped = (kind < 0.45).float()
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
    # the frame
    beyond = some(count, 0.25) * half_plane(count, 0.3, 1.0, 0.3)
    usable, piece, wood = usable * (1 - beyond), piece * (1 - beyond), wood * (1 - beyond)
    usable = (usable > 0.98).float()
    image = (lit(image) - 0.5) * 4 * usable
    alone = (swapped == 0) | (kind >= 0.2)
    truth = F.avg_pool2d(torch.cat([1 - piece, wood, (piece - wood).clamp(min=0)], 1), 2).clamp(0, 1)
    large = (truth[:, 1:].sum((1, 2, 3)) > 250).float()[:, None, None]
    counts = F.avg_pool2d(torch.maximum(usable, piece), 2)[:, 0] * large
    spot = aimed_at(piece, usable, alone.flatten())
    return torch.cat([image, usable, spot], 1), truth / truth.sum(1, keepdim=True), counts


def mean_over(image: Tensor, weight: Tensor) -> Tensor:
    """Return each picture's mean colour under a weight."""
    return (image * weight).sum((2, 3), keepdim=True) / (weight.sum((2, 3), keepdim=True) + 1)


def lit(image: Tensor) -> Tensor:
    """Return pictures in another light, from another camera."""
    count = len(image)
    image = image * torch.exp(0.10 * torch.randn(count, 3, 1, 1, device=DEVICE) * some(count, 0.7)) * spread(count, 0.2)
    image = image * torch.exp(smooth(count, 1, 4, 0.22) * some(count, 0.6))
    edge = number(1, 12)
    image = image * (1 - half_plane(count, -0.8, 0.8, edge) * one(count, 0, 0.65) * some(count, 0.25))
    image = image.clamp(1e-4, 1.3) ** spread(count, 0.25)
    if number() < 0.4:
        image = blurred(image, number(0.4, 1.6))
    image = image + torch.randn_like(image) * one(count, 0, 0.05) * some(count, 0.6)
    colour = torch.where(some(count, 0.4) > 0, one(count, 0.2, 1.4), torch.ones(count, 1, 1, 1, device=DEVICE))
    colour = colour * (1 - some(count, 0.12))
    grey = image.mean(1, keepdim=True)
    return (grey + (image - grey) * colour).clamp(0, 1)


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
    """Return the cross entropy, thrice about the edge, and half of one minus the overlap (Dice) of the whole piece."""
    logs = F.log_softmax(found, 1)
    entropy = -(truth * logs).sum(1)
    rest = truth[:, :1]
    edge = F.max_pool2d(rest, 7, 1, 3) + F.max_pool2d(1 - rest, 7, 1, 3) - 1
    weight = (0.15 + 0.85 * counts) * (1 + 2 * edge[:, 0])
    piece, true = 1 - logs[:, 0].exp(), 1 - truth[:, 0]
    overlap = (2 * (piece * true).sum((1, 2)) + 1) / ((piece**2).sum((1, 2)) + (true**2).sum((1, 2)) + 1)
    return (entropy * weight).sum() / weight.sum() + 0.5 * (1 - overlap).mean()


def trained(scenes: Tensor, steps: int) -> nn.Module:
    """Return the running mean of a network's weights over its training."""
    torch.manual_seed(1)

    def of_batch(network: nn.Module) -> Tensor:
        given, truth, counts = changed(scenes)
        with torch.autocast(DEVICE, torch.bfloat16):
            found = network(given)
        return loss(found.float(), truth, counts)

    return averaged(Network().to(DEVICE), of_batch, steps, RATE, 300, AVERAGED)


def main(count: int, steps: int, target: Path) -> None:
    """Draw, train and write."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        drawn = [scene for scene in pool.map(small_scene, range(FIRST_SEED, FIRST_SEED + count), chunksize=8)
                 if scene is not None]  # fmt: skip
    print(f"{len(drawn)} scenes drawn", flush=True)
    scenes = torch.from_numpy(np.stack(drawn).transpose(0, 3, 1, 2).copy())
    given = torch.zeros(1, 5, SIDE, SIDE)
    torch.onnx.export(trained(scenes, steps), (given,), str(target), opset_version=13, dynamo=False)


if __name__ == "__main__":
    given = sys.argv[1:]
    count, steps, target = [*given, *("4500", "5700", str(TARGET))[len(given) :]]
    main(int(count), int(steps), Path(target))
