"""Drawn scenes changed anew, a batch at a time, for the training of the network that sees cards and paper.

What is changed: size, turn, slant; the ground, for another scene's, a plain colour, mottles or clutter; the colour of
what is meant, to nearly that of its ground; more rectangles laid about, some of a card's or a sheet's proportion;
sawdust and sticks over all; light, shadows, contrast, colour, blur, noise. Four-sided shapes are carried along as their
corners, so that the truth stays exact.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import torch
import torch.nn.functional as F
from torch import Tensor

from tests.bench.pictures import clutter, half_plane, lit, mean_over, mottles, number, smooth
from tests.bench.training import DEVICE, blurred, one, some, spread

CANVAS = (352, 448)  # height and width of what the network is trained on; it may be asked about any size
PICTURE_HEIGHT = 336  # of a photo of 4 : 3 on it
NOTHING, CARD, PAPER, UNTOLD = 0, 1, 2, 3
CARD_LOOKS, CARD_ROUND = 85.60 / 53.98, 3.18 / 53.98
FAR = 0.6  # size from which on a picture is looked at from so far that it is halved first
LAID = 3  # rectangles that may be laid on a picture
MOST_HIDDEN = 0.45  # share of a shape, beyond which it need not be seen


class Shapes(NamedTuple):
    """Four-sided shapes in pictures: `corners`, shape (count, number, 4, 2), in half widths from the middle; `kind`.

    `kind`, shape (count, number), is one of NOTHING, CARD, PAPER, UNTOLD. `round_` is their corners' radius over their
    shorter side.
    """

    corners: Tensor
    kind: Tensor
    round_: Tensor

    def covers(self, size: tuple[int, int]) -> Tensor:
        """Return how much of each pixel each shape covers, shape (count, number, height, width)."""
        height, width = size
        corners = (self.corners + torch.tensor([1.0, CANVAS[0] / CANVAS[1]], device=DEVICE)) * width / 2 - 0.5
        following = corners.roll(-1, 2)
        step = following - corners
        long = step.norm(dim=3).clamp(min=1e-3)
        turn = corners[..., 0] * following[..., 1] - following[..., 0] * corners[..., 1]
        normal = torch.stack([-step[..., 1], step[..., 0]], 3) / long[..., None] * turn.sum(2).sign()[..., None, None]
        offset = (normal * corners).sum(3)
        x, y = torch.arange(width, device=DEVICE), torch.arange(height, device=DEVICE)[:, None]
        away = [
            normal[..., k, 0, None, None] * x + normal[..., k, 1, None, None] * y - offset[..., k, None, None]
            for k in range(4)
        ]
        one_way, other = torch.minimum(away[0], away[2]), torch.minimum(away[1], away[3])
        radius = (self.round_ * long.amin(2))[..., None, None]
        inside = radius - torch.hypot((radius - one_way).clamp(min=0), (radius - other).clamp(min=0))
        inside = torch.where((one_way < radius) & (other < radius), inside, torch.minimum(one_way, other))
        return (inside + 0.5).clamp(0, 1) * (self.kind != NOTHING)[..., None, None]

    def only(self, keep: Tensor) -> Shapes:
        """Return the shapes with those that are not kept made nothing."""
        return self._replace(kind=torch.where(keep, self.kind, NOTHING))

    def sharp(self) -> Shapes:
        """Return the shapes with sharp corners."""
        return self._replace(round_=torch.zeros_like(self.round_))


def together(*several: Shapes) -> Shapes:
    """Return several shapes of the same pictures as one."""
    return Shapes(*(torch.cat(parts, 1) for parts in zip(*several, strict=True)))


def matrices(shapes: Shapes) -> Tensor:
    """Return random homographies from the canvas to pictures, in half widths from the middle.

    Half of them look at a picture from far, a fifth of those at the whole as it is; half of them from near at one of
    its shapes, or anywhere where it has none.
    """
    count = len(shapes.kind)
    angle = one(count, 0, 2 * math.pi)[:, 0, 0, 0]
    straight = torch.rand(count, device=DEVICE) < 0.4
    square = (angle / (math.pi / 2)).round() * (math.pi / 2) + 0.05 * torch.randn_like(angle)
    angle = torch.where(straight, square, angle)
    near = torch.rand(count, device=DEVICE) < 0.5
    size = torch.exp(one(count, math.log(0.5), math.log(1.2)))[:, 0, 0, 0]
    shift = one(count, -0.3, 0.3, 2)[..., 0, 0]
    meant = ((shapes.kind == CARD) | (shapes.kind == PAPER)).float()
    aim = torch.multinomial(meant + 1e-6, 1)[:, 0]
    corners = shapes.corners[torch.arange(count, device=DEVICE), aim]
    some_shape = meant.amax(1) > 0
    extent = torch.where(some_shape, (corners.amax(1) - corners.amin(1)).amax(1), one(count, 0.2, 0.6)[:, 0, 0, 0])
    size_near = (extent / one(count, 0.5, 1.3)[:, 0, 0, 0]).clamp(0.1, 1.0)
    middle = torch.where(some_shape[:, None], corners.mean(1), one(count, -0.6, 0.6, 2)[..., 0, 0])
    middle = middle + size_near[:, None] * one(count, -0.3, 0.3, 2)[..., 0, 0]
    size, shift = torch.where(near, size_near, size), torch.where(near[:, None], middle, shift)
    flip = 2 * some(count, 0.5)[:, 0, 0, 0] - 1
    matrix = torch.zeros(count, 3, 3, device=DEVICE)
    matrix[:, 0, 0], matrix[:, 0, 1] = size * angle.cos() * flip, -size * angle.sin()
    matrix[:, 1, 0], matrix[:, 1, 1] = size * angle.sin() * flip, size * angle.cos()
    matrix[:, :2, 2] = shift
    matrix[:, 2, :2] = 0.06 * torch.randn(count, 2, device=DEVICE)
    matrix[:, 2, 2] = 1
    plain = torch.eye(3, device=DEVICE).expand(count, 3, 3).clone()
    plain[:, 1, 2] = (CANVAS[0] - PICTURE_HEIGHT) / CANVAS[1]
    kept = ~near & (torch.rand(count, device=DEVICE) < 0.2)
    return torch.where(kept[:, None, None], plain, matrix)


def mapped(matrix: Tensor, points: Tensor) -> Tensor:
    """Return points, shape (count, ..., 2), under a homography each."""
    whole = torch.cat([points, torch.ones_like(points[..., :1])], -1)
    found = torch.einsum("nij,n...j->n...i", matrix, whole)
    return found[..., :2] / found[..., 2:].clamp(min=0.05)


def laid_anew(pictures: Tensor, shapes: Shapes, matrix: Tensor) -> tuple[Tensor, Tensor, Shapes]:
    """Return pictures on the canvas, where there is something of them, and their shapes there."""
    height, width = CANVAS
    x = (torch.arange(width, device=DEVICE) + 0.5) * 2 / width - 1
    y = ((torch.arange(height, device=DEVICE) + 0.5) * 2 - height) / width
    canvas = torch.stack(torch.meshgrid(x, y, indexing="xy"), -1).expand(len(pictures), -1, -1, -1)
    at = mapped(matrix, canvas)
    at = at * torch.tensor([1.0, pictures.shape[3] / pictures.shape[2]], device=DEVICE)
    there = (at.abs().amax(-1) < 1).float()[:, None]
    full, half = (
        F.grid_sample(some, at, mode="bilinear", padding_mode="border", align_corners=False)
        for some in (pictures, F.avg_pool2d(pictures, 2))
    )
    far = torch.linalg.det(matrix[:, :2, :2]).abs() > FAR**2
    laid = torch.where(far[:, None, None, None], half, full)
    return laid, there, shapes._replace(corners=mapped(torch.linalg.inv(matrix), shapes.corners))


def rectangles(count: int) -> Shapes:
    """Return rectangles to lay on pictures: cards, sheets and others, somewhat slantwise, or none."""
    shape = (count, LAID)

    def chance(low: float = 0.0, high: float = 1.0) -> Tensor:
        return torch.empty(shape, device=DEVICE).uniform_(low, high)

    lot, kind = chance(), torch.zeros(shape, dtype=torch.long, device=DEVICE)
    kind[lot < 0.30], kind[lot < 0.15], kind[lot < 0.05] = UNTOLD, CARD, PAPER
    paper_looks = torch.where(chance() < 0.6, math.sqrt(2), 279.4 / 215.9)
    looks = torch.where(kind == CARD, CARD_LOOKS, torch.where(kind == PAPER, paper_looks, torch.exp(chance(0, 1.15))))
    round_ = torch.where(kind == CARD, CARD_ROUND, torch.where(kind == PAPER, 0.0, chance(0, 0.25) * (chance() < 0.5)))
    long = torch.where(kind == PAPER, torch.exp(chance(-1.2, -0.2)), torch.exp(chance(-2.5, -0.9)))
    half = torch.stack([long, long / looks], -1)
    signs = torch.tensor([[-1.0, -1], [1, -1], [1, 1], [-1, 1]], device=DEVICE)
    corners = turned(half[:, :, None] * signs, chance(0, 2 * math.pi))
    squeezed = corners * torch.stack([chance(0.9, 1.0), torch.ones(shape, device=DEVICE)], -1)[:, :, None]
    corners = turned(squeezed, chance(0, 2 * math.pi))
    corners = corners / (1 + (corners * 0.15 * torch.randn(*shape, 1, 2, device=DEVICE)).sum(-1, keepdim=True))
    corners = corners + torch.stack([chance(-0.9, 0.9), chance(-0.65, 0.65)], -1)[:, :, None]
    # which is another rectangle, and which may pass for a card or a sheet
    other = kind == UNTOLD
    like = (torch.log(looks / CARD_LOOKS).abs() < 0.17) | (torch.log(looks / 1.36).abs() < 0.12)
    return Shapes(corners, torch.where(other & ~like, UNTOLD + 1, kind), round_)


def turned(points: Tensor, angle: Tensor) -> Tensor:
    """Return points, shape (count, number, 4, 2), turned by an angle each."""
    c, s = angle.cos()[..., None], angle.sin()[..., None]
    x, y = points.unbind(-1)
    return torch.stack([x * c - y * s, x * s + y * c], -1)


def changed(mine: Tensor, shapes: Shapes, other: Tensor, other_shapes: Shapes) -> tuple[Tensor, Tensor, Tensor]:
    """Return a batch: what the network gets, the true covers by card and paper at half size, and where they count."""
    count, size = len(mine), CANVAS
    image, there, shapes = laid_anew(mine, shapes, matrices(shapes))
    other, other_there, other_shapes = laid_anew(other, other_shapes, matrices(other_shapes))
    meant = (shapes.kind == CARD) | (shapes.kind == PAPER)
    own = shapes.only(meant).covers(size).amax(1, keepdim=True)
    image = recoloured(image, own)
    # another ground
    lot = one(count)
    swapped, others = lot < 0.35, lot < 0.15
    plain = one(count, channels=3).expand(-1, -1, *size)
    rough = torch.where(lot < 0.28, mottles(count, size), clutter(count, size))
    ground = torch.where(others, other, torch.where(lot < 0.21, plain, rough))
    ground = shadowed(ground, own)
    tint = spread(count, 0.1, 3) * spread(count, 0.2)
    image = torch.where(swapped, own * (image * tint).clamp(0, 1) + (1 - own) * ground, image)
    there = torch.where(others, other_there, torch.where(swapped, torch.ones_like(there), there))
    shapes = shapes.only(meant | ~swapped[:, 0, 0])
    other_shapes = other_shapes.only(others[:, 0, 0].expand_as(other_shapes.kind))
    # what is laid on it
    more = rectangles(count)
    cover = more.covers(size)
    image = with_laid(image, cover, more, other)
    over = cover.amax(1, keepdim=True)
    image, dust = dusted(image)
    under = together(shapes, other_shapes)
    hidden = 1 - (1 - over) * (1 - dust)
    hidden_below = 1 - (1 - hidden) * (1 - torch.where(others, own, torch.zeros_like(own)))
    parts = [(shapes, hidden), (other_shapes, hidden_below), (more, dust)]
    under = together(*(unless_hidden(part, by) for part, by in parts))
    # the frame
    lower = torch.arange(size[0], device=DEVICE)[:, None] >= PICTURE_HEIGHT
    there = there * (1 - some(count, 0.5) * lower)
    given = (lit(image) - 0.5) * 4 * there
    return given, *truth_of(under, there)


def truth_of(shapes: Shapes, there: Tensor) -> tuple[Tensor, Tensor]:
    """Return the covers by card and paper, shape (count, 2, height, width), at half size, and where they count."""
    half = (CANVAS[0] // 2, CANVAS[1] // 2)
    cover = shapes.sharp().covers(half)
    kind = shapes.kind[..., None, None]
    truth = torch.stack([(cover * (kind == which)).amax(1) for which in (CARD, PAPER)], 1)
    untold = (cover * (kind == UNTOLD)).amax(1, keepdim=True)
    counts = F.avg_pool2d(there, 2) * (1 - untold)
    return truth, torch.maximum(counts, truth * F.avg_pool2d(there, 2))


def unless_hidden(shapes: Shapes, hidden: Tensor) -> Shapes:
    """Return the shapes, those mostly hidden or beyond the frame made such as need not be told."""
    cover = shapes.covers((CANVAS[0] // 4, CANVAS[1] // 4))
    seen = (cover * (1 - F.avg_pool2d(hidden, 4))).sum((2, 3))
    long = (shapes.corners - shapes.corners.roll(1, 2)).norm(dim=3) * CANVAS[1] / 8
    whole = (long[..., 0] + long[..., 2]) * (long[..., 1] + long[..., 3]) / 4
    little = (seen < (1 - MOST_HIDDEN) * whole) & ((shapes.kind == CARD) | (shapes.kind == PAPER))
    return shapes._replace(kind=torch.where(little, UNTOLD, shapes.kind))


def recoloured(image: Tensor, own: Tensor) -> Tensor:
    """Return pictures of which some have what is meant in nearly the ground's colour, its print faint."""
    count = len(image)
    about = (blurred(own, 6.0) > 0.1).float() * (1 - own)
    inside, ground = mean_over(image, own), mean_over(image, about)
    like = ground * spread(count, 0.06, 3) * spread(count, 0.12)
    anew = torch.where(some(count, 0.6) > 0, like, one(count, 0.1, 0.9, 3))
    colour = (anew + (image - inside) * one(count, 0, 1)).clamp(0, 1)
    return torch.where(some(count, 0.3) * own.amax((2, 3), keepdim=True) > 0, image + own * (colour - image), image)


def shadowed(ground: Tensor, own: Tensor) -> Tensor:
    """Return the ground with the shadow of what lies on it, on some."""
    shift = (round(number(-4, 4)), round(number(-4, 4)))
    shadow = torch.roll(blurred(own, number(0.5, 3)), shift, (2, 3))
    return ground * (1 - shadow * one(len(ground), 0, 0.8) * some(len(ground), 0.7))


def with_laid(image: Tensor, cover: Tensor, shapes: Shapes, other: Tensor) -> Tensor:
    """Return pictures with rectangles laid on them: plain, printed, or as pieces of other pictures."""
    count = len(image)
    for k in range(LAID):
        mask = cover[:, k : k + 1]
        white = (shapes.kind[:, k] == PAPER)[:, None, None, None]
        about = (blurred(mask, 6.0) > 0.1).float() * (1 - mask)
        near = mean_over(image, about) * spread(count, 0.08, 3) * spread(count, 0.15)
        colour = torch.where(some(count, 0.3) > 0, near, one(count, 0.05, 0.95, 3))
        colour = torch.where(white, one(count, 0.75, 1.0) * spread(count, 0.02, 3), colour)
        print_ = torch.roll(other, (round(number(-90, 90)), round(number(-90, 90))), (2, 3)) - 0.4
        fill = colour + print_ * one(count, 0, 0.8) * some(count, 0.5) * ~white
        fill = fill * torch.exp(smooth(count, 1, 3, 0.1, CANVAS))
        ground = shadowed(image, mask)
        image = ground + mask * (fill.clamp(0, 1) - ground)
    return image


def dusted(image: Tensor) -> tuple[Tensor, Tensor]:
    """Return pictures with heaps of sawdust, strewn chips and sticks on some, and where they hide what is below."""
    count = len(image)
    heaps = smooth(count, 1, round(number(6, 24)), 1.0, CANVAS) + 0.4 * smooth(count, 1, 60, 1.0, CANVAS)
    heaps = torch.sigmoid(8 * (heaps - one(count, 0.9, 2.2))) * some(count, 0.35)
    chips = (torch.randn(count, 1, *CANVAS, device=DEVICE) > one(count, 2.0, 3.5)).float() * some(count, 0.3)
    away = half_plane(count, -0.6, 0.6, 0.5, CANVAS)
    wide = round(number(3, 9))
    band = (F.max_pool2d(away, 2 * wide + 1, 1, wide) - away).clamp(0, 1)
    band = band * half_plane(count, -0.3, 0.6, 0.5, CANVAS) * some(count, 0.12)
    dust = torch.maximum(heaps, 0.8 * blurred(chips, 0.5))
    sawdust = (
        torch.tensor([0.86, 0.74, 0.55], device=DEVICE).view(1, 3, 1, 1) * spread(count, 0.15) * spread(count, 0.05, 3)
    )
    rough = 1 + 0.15 * torch.randn(count, 1, *CANVAS, device=DEVICE)
    image = image + dust * ((sawdust * rough).clamp(0, 1) - image)
    image = image + band * (one(count, 0.1, 0.95, 3) - image)
    return image, torch.maximum(heaps, band)
