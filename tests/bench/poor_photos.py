"""Batches of pictures as a poor camera, bad light or a misted lens would show them, for the training of networks."""

from __future__ import annotations

import math
from collections.abc import Callable

import torch
import torch.nn.functional as F
from torch import Tensor

from tests.bench.pictures import number, shaded, smooth
from tests.bench.training import DEVICE, blurred, one, some, spread

BLOCK = 8  # pixels: side of the squares in which a JPEG keeps a picture
GAMMA = 2.2
Change = Callable[[Tensor], Tensor]


def spoiled(image: Tensor) -> Tensor:
    """Return pictures, 0 to 1, each spoiled in some of the ways of this module, most of them in one or two."""
    changes: tuple[tuple[Change, float], ...] = (
        (shaded, 0.25), (exposed, 0.35), (veiled, 0.3), (softened, 0.3), (shaken, 0.12), (taken_poorly, 0.5),
        (sharpened, 0.2),
    )  # fmt: skip
    for change, share in changes:
        image = torch.where(some(len(image), share) > 0, change(image).clamp(0, 1), image)
    return image


def exposed(image: Tensor) -> Tensor:
    """Return pictures too dark or burnt out, and unevenly so."""
    shade = smooth(len(image), 1, 3, 0.2, (image.shape[2], image.shape[3]))
    return image * torch.exp(one(len(image), -0.9, 0.4) + shade)


def veiled(image: Tensor) -> Tensor:
    """Return pictures with an even light laid over them, as by mist, dust or the sun on a lens."""
    count = len(image)
    veil, share = one(count, 0.1, 0.7) * spread(count, 0.1, 3), one(count, 0.05, 0.6)
    return ((1 - share) * image.clamp(min=0) ** GAMMA + share * veil).clamp(1e-4) ** (1 / GAMMA)


def softened(image: Tensor) -> Tensor:
    """Return pictures out of focus."""
    return blurred(image, math.exp(number(math.log(0.6), math.log(2.5))))


def shaken(image: Tensor) -> Tensor:
    """Return pictures blurred along a straight line, by a hand that moved."""
    at = torch.arange(-4.0, 5.0, device=DEVICE)
    angle, half = number(0, math.pi), number(1.0, 3.5)
    along = at * math.cos(angle) + at[:, None] * math.sin(angle)
    across = at[:, None] * math.cos(angle) - at * math.sin(angle)
    weight = torch.exp(-2 * (across**2 + (along.abs() - half).clamp(min=0) ** 2))
    kernel = (weight / weight.sum()).repeat(image.shape[1], 1, 1, 1)
    return F.conv2d(F.pad(image, (4, 4, 4, 4), mode="replicate"), kernel, groups=image.shape[1])


def taken_poorly(image: Tensor) -> Tensor:
    """Return pictures from a camera of fewer or more pixels, noisy and compressed, brought to the same size."""
    size = image.shape[2], image.shape[3]
    factor = math.exp(number(math.log(0.45), math.log(1.5))) if number() < 0.7 else 1.0
    taken = packed(noisy(resized(image, (round(size[0] * factor), round(size[1] * factor)))))
    return resized(taken, size)


def resized(image: Tensor, size: tuple[int, int]) -> Tensor:
    """Return pictures of another size, without the patterns that leaving pixels out would give."""
    if (image.shape[2], image.shape[3]) == size:
        return image
    return F.interpolate(image, size, mode="bicubic", align_corners=False, antialias=True)


def noisy(image: Tensor) -> Tensor:
    """Return pictures with a sensor's noise, some of it smoothed by the camera into blotches."""
    count = len(image)
    noise = torch.randn_like(image)
    noise = torch.where(some(count, 0.4) > 0, 2.5 * blurred(noise, 0.8), noise)
    return (image + noise * one(count, 0, 0.07) * some(count, 0.7)).clamp(0, 1)


def packed(image: Tensor) -> Tensor:
    """Return pictures as a JPEG of some quality brings them back: rounded frequencies of blocks, colours coarser.

    The steps grow with the frequency about as those of ITU-T T.81, annex K, from memory.
    """
    count, _, height, width = image.shape
    down, along = -height % BLOCK, -width % BLOCK
    bright = image.mean(1, keepdim=True)
    colour = F.interpolate(F.avg_pool2d(image - bright, 2, ceil_mode=True), scale_factor=2.0)[..., :height, :width]
    layers = F.pad(torch.cat([bright, colour], 1), (0, along, 0, down), mode="replicate")
    blocks = layers.view(count, 4, (height + down) // BLOCK, BLOCK, (width + along) // BLOCK, BLOCK)
    k = torch.arange(BLOCK, device=DEVICE, dtype=image.dtype)
    waves = (2 / BLOCK) ** 0.5 * torch.cos(math.pi * k[:, None] * (k + 0.5) / BLOCK)
    waves[0] /= 2**0.5
    steps = (12 + 6 * (k[:, None] + k)) / 255 * torch.tensor([1.0, 2.0, 2.0, 2.0], device=DEVICE)[:, None, None]
    steps = steps[:, None, :, None, :] * torch.exp(one(count, -1.8, 0.7))[..., None, None]
    kept = torch.round(torch.einsum("ui,ncaibj,vj->ncaubv", waves, blocks, waves) / steps) * steps
    back = torch.einsum("ui,ncaubv,vj->ncaibj", waves, kept, waves).reshape(layers.shape)[..., :height, :width]
    return back[:, :1] + back[:, 1:]


def sharpened(image: Tensor) -> Tensor:
    """Return pictures sharpened by the camera."""
    return image + one(len(image), 0.2, 1.2) * (image - blurred(image, number(0.6, 1.5)))
