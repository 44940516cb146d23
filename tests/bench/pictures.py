"""What the batches of pictures for several trainings share: random fields, grounds, light and cameras."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F
from torch import Tensor

from tests.bench.training import DEVICE, blurred, one, some, spread

Size = tuple[int, int]
"""Height and width in pixels."""


def number(low: float = 0.0, high: float = 1.0) -> float:
    """Return a random number for all pictures."""
    return float(torch.empty(1).uniform_(low, high))


def smooth(count: int, channels: int, cells: int, height: float, size: Size) -> Tensor:
    """Return smooth random fields."""
    nodes = height * torch.randn(count, channels, cells, cells, device=DEVICE)
    return F.interpolate(nodes, size, mode="bicubic", align_corners=False)


def half_plane(count: int, low: float, high: float, soft: float | Tensor, size: Size) -> Tensor:
    """Return 1 beyond a random straight line, 0 before it; `low` and `high`, its distance in half the width."""
    height, width = size
    along = torch.linspace(-1, 1, width, device=DEVICE)
    down = torch.linspace(-height / width, height / width, height, device=DEVICE)
    angle = one(count, 0, 2 * math.pi)
    away = along * angle.cos() + down[:, None] * angle.sin() - one(count, low, high)
    return torch.sigmoid(away * width / 2 / soft)


def mottles(count: int, size: Size) -> Tensor:
    """Return clouds in two colours, sometimes drawn out like boards."""
    drawn_out = 0.15 if number() < 0.3 else 1.0

    def field(cells: int) -> Tensor:
        nodes = torch.randn(count, 1, cells, max(2, int(cells * drawn_out)), device=DEVICE)
        return F.interpolate(nodes, size, mode="bilinear", align_corners=False)

    mix = (0.5 + 0.2 * field(6) + 0.15 * field(24) + 0.12 * field(90)).clamp(0, 1)
    return mix * one(count, channels=3) + (1 - mix) * one(count, channels=3)


def clutter(count: int, size: Size) -> Tensor:
    """Return what lies or stands about out of doors, far behind or near: trunks, leaves, gaps of sky; mostly dark."""
    upright = number() < 0.5
    shape = size if upright else size[::-1]

    def field(rows: int, columns: int) -> Tensor:
        nodes = torch.randn(count, 1, rows, columns, device=DEVICE)
        return F.interpolate(nodes, shape, mode="bicubic", align_corners=False)

    trunks = torch.tanh(3 * field(2, int(number(8, 40))) - number(0, 3)) * one(count, 0, 0.9) * some(count, 0.6)
    leaves = torch.tanh(number(1, 4) * field(int(number(20, 50)), int(number(20, 50)))) * one(count, 0, 0.7)
    fine = field(int(number(60, 120)), int(number(60, 120))) * one(count, 0, 0.5)
    tone = torch.exp(trunks + leaves + fine) * torch.exp(one(count, math.log(0.06), math.log(0.5)))
    gaps = torch.sigmoid(8 * (field(int(number(6, 25)), int(number(12, 50))) - one(count, 0.4, 2.0))) * some(count, 0.5)
    picture = tone * spread(count, 0.15, 3) * (1 - gaps) + gaps * one(count, 0.5, 1.1)
    return (picture if upright else picture.mT).clamp(0, 1)


def mean_over(image: Tensor, weight: Tensor) -> Tensor:
    """Return each picture's mean colour under a weight."""
    return (image * weight).sum((2, 3), keepdim=True) / (weight.sum((2, 3), keepdim=True) + 1)


def lit(image: Tensor) -> Tensor:
    """Return pictures in another light, from another camera."""
    count, size = len(image), (image.shape[2], image.shape[3])
    image = image * torch.exp(0.10 * torch.randn(count, 3, 1, 1, device=DEVICE) * some(count, 0.7)) * spread(count, 0.2)
    image = image * torch.exp(smooth(count, 1, 4, 0.22, size) * some(count, 0.6))
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
    count, size = len(image), (image.shape[2], image.shape[3])
    soft = torch.exp(one(count, math.log(0.5), math.log(16)))
    shade, kind = half_plane(count, -0.7, 0.7, soft, size), one(count)
    second = half_plane(count, -0.7, 0.7, soft, size)
    leaves = torch.sigmoid(smooth(count, 1, 6, 1.0, size) * 40 / soft)
    shade = torch.where(kind < 0.55, shade, torch.where(kind < 0.75, shade * second, leaves))
    depth = one(count, 0.1, 1.1) * torch.cat([torch.ones_like(kind), one(count, 0.85, 1.0), one(count, 0.7, 1.0)], 1)
    lit_up = 1 + some(count, 0.4) * one(count, 0, 0.5)  # the sun's part burnt out
    return torch.where(some(count, 0.42) > 0, image * lit_up * torch.exp(-depth * shade), image)
