"""Drawn scenes changed anew, a batch at a time, for the training of the outline's network.

What is changed: size, turn and shape of the piece, and whether it fills the frame; the ground, for another scene's, a
plain colour, mottles or clutter, sharp or not, with a shadow on it; the bark, its tint, for bark of other kinds, or
grown anew in plates; a bar or board at the piece; the piece sawn off along a line; the tint of the wood; light, shadows
across piece and ground alike, contrast, colour, blur, noise; part of the photo missing; the point aimed at. Where the
camera is known, most pictures seen at a slant keep it and most others do without: who has no scale that tells of the
camera holds it about level.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import torch
import torch.nn.functional as F
from torch import Tensor

from photonest.outline.network import AIM_PX, SIDE, STEEPEST
from tests.bench.pictures import clutter, half_plane, lit, mean_over, mottles, number, smooth
from tests.bench.training import DEVICE, blurred, one, some, spread

SIZE = (SIDE, SIDE)
SLANTED = 0.22  # from this slant on, 12 degrees, a picture mostly keeps its camera
PER_TURN = 720  # places about a piece at which its bark may change
SWAPPED = 0.57  # share of the pictures that get another ground


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
    bend = smooth(count, 2, 5, 0.035, SIZE) + smooth(count, 2, 10, 0.010, SIZE)
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


class Bark(NamedTuple):
    """Bark that grows about the wood: its share of each pixel, and its colours."""

    share: Tensor
    colour: Tensor


def grown(piece: Tensor, wood: Tensor) -> Bark:
    """Return other bark wherever there is some: plates, each of its own thickness, or even; of any tone and texture."""
    out = 2**0.5 * 8.0 * torch.erfinv((1 - 2 * blurred(wood, 8.0)).clamp(-0.995, 0.995))  # pixels from the wood
    near = (blurred(bark_of(piece, wood), 5.0) > 0.03).float()
    height, tone = plated(piece)
    share = (height - out + 0.5).clamp(0, 1) * (1 - wood) * near
    return Bark(share, bark_colour(out, height, tone))


def plated(piece: Tensor) -> tuple[Tensor, Tensor]:
    """Return how many pixels thick the bark of each place about the pieces is, and a factor on its colour."""
    count = len(piece)
    starts = (torch.rand(count, PER_TURN, device=DEVICE) < torch.exp(one(count, -4.2, -1.6)[:, 0, 0])).long()
    plate = starts.cumsum(1)
    uneven = one(count, 0, 0.6)[:, 0, 0] * some(count, 0.7)[:, 0, 0]
    height, tone = torch.exp(uneven * torch.randn(2, count, PER_TURN, device=DEVICE))
    height = height * (1 - 0.9 * (torch.rand_like(height) < 0.3 * uneven).float())  # some are broken off
    thick = torch.exp(one(count, math.log(1.2), math.log(16.0)))[:, 0, 0]
    furrow = 1 - starts * torch.rand_like(height) * some(count, 0.6)[:, 0, 0]
    height = (thick * height.gather(1, plate)).clamp(max=20.0) * torch.minimum(furrow, furrow.roll(1, 1))
    middle, _ = about(piece[:, 0])
    at = (torch.arange(SIDE, device=DEVICE) + 0.5) * 2 / SIDE - 1
    angle = torch.atan2(at[:, None] - middle[:, 1, None, None], at - middle[:, 0, None, None])
    place = ((angle / (2 * math.pi) % 1) * PER_TURN).long().clamp(max=PER_TURN - 1).flatten(1)
    height, tone = (table.gather(1, place).view(count, 1, SIDE, SIDE) for table in (height, tone.gather(1, plate)))
    return height, tone**0.5


def bark_colour(out: Tensor, height: Tensor, tone: Tensor) -> Tensor:
    """Return colours of bark: mostly dark, some pale; rough or smooth, in layers, lighter or darker outwards."""
    count, kind = len(out), one(len(out))
    light = torch.where(kind < 0.85, one(count, 0.2, 0.6), one(count, 0.5, 0.9))
    base = torch.where(kind < 0.6, one(count, 0.03, 0.3), light)
    brown = torch.tensor([1.12, 1.0, 0.86], device=DEVICE).view(1, 3, 1, 1) ** one(count, -0.3, 1.5)
    rough = torch.randn(count, 1, SIDE, SIDE, device=DEVICE) * one(count, 0, 0.4)
    rough = rough + smooth(count, 1, 64, 0.5, SIZE) * one(count) + smooth(count, 1, 20, 0.4, SIZE) * one(count)
    layers = one(count, 0, 0.3) * some(count, 0.4) * torch.sin(out * one(count, 1, 3) + smooth(count, 1, 12, 1.0, SIZE))
    outwards = one(count, -1.0, 0.6) * some(count, 0.4) * (out / height.clamp(min=1)).clamp(0, 1)
    colour = base * brown * torch.exp(rough * some(count, 0.75) + layers + outwards) * tone
    pale = torch.exp(-((out / 1.5) ** 2)) * one(count, 0, 0.7) * some(count, 0.4)
    cambium = torch.tensor([0.72, 0.58, 0.38], device=DEVICE).view(1, 3, 1, 1)
    return (colour + pale * (cambium - colour)).clamp(0, 1)


def changed(mine: Tensor, cameras: Tensor, other: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return a batch: what the network gets, the true shares at half size, and where they count."""
    count = len(mine)
    filling = some(count, 0.25)[:, 0, 0]
    turn = some_turn(count, 0.45, 1.35).filled(mine[:, 4], filling)
    slant = turn.slant(cameras * some(count, kept_camera(mine[:, 4], cameras))[:, 0, 0])
    mine, other = turn.of(mine, bent(count, 0.7 + 0.3 * filling)), some_turn(count, 0.5, 1.2).of(other)
    filling = filling[..., None, None]
    image, usable, piece, wood = mine.split([3, 1, 1, 1], 1)
    kind = one(count)
    swapped = (kind < SWAPPED).float()
    # other bark, grown anew where the ground is replaced as well, and the bark by itself
    other_bark = grown(piece, wood)
    there = bark_of(piece, wood)
    anew = some(count, 0.45) * ((there > 0.5).float().sum((2, 3), keepdim=True) > 150)
    image = torch.where(anew * (1 - swapped) > 0, image * (1 - there) + other_bark.colour * there, image)
    image = torch.where(anew * swapped > 0, image * wood + other_bark.colour * (1 - wood), image)
    within = other_bark.share * (usable > 0.5)
    piece = torch.where(anew * swapped > 0, (wood + within).clamp(0, 1), piece)
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
    rough = torch.where(kind < 0.46, mottles(count, SIZE), clutter(count, SIZE))
    ground = torch.where(kind < 0.18, other[:, :3], torch.where(kind < 0.36, plain, rough))
    ground_usable = torch.where(kind < 0.18, other[:, 3:4], torch.ones_like(usable))
    if number() < 0.3:
        ground = blurred(ground, number(1.0, 6.0))  # far behind
    barked = (bark_of(piece, wood).sum((2, 3), keepdim=True) > 300).float() * some(count, 0.35)
    like_bark = (mean_over(image, bark_of(piece, wood)) + 0.02) / (mean_over(ground, 1 - piece) + 0.02)
    ground = torch.where(barked > 0, (ground * like_bark.clamp(0.1, 4)).clamp(0, 1), ground)
    kept = 1 - some(count, 0.35) * half_plane(count, -0.25, 0.5, 1.0, SIZE) * swapped
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
    beyond = some(count, 0.25) * half_plane(count, 0.3, 1.0, 0.3, SIZE)
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


def kept_camera(piece: Tensor, cameras: Tensor) -> Tensor:
    """Return how likely each picture keeps its camera, shape (count, 1, 1, 1)."""
    middle, _ = about(piece)
    slant = (cameras[:, :2] - cameras[:, 2:] * middle).norm(dim=1)
    return torch.where(slant > SLANTED, 0.85, 0.35)[:, None, None, None]


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
