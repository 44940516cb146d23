"""Random numbers for batches of pictures on the device that trains: what the training scripts change pictures by."""

from __future__ import annotations

import torch
import torch.nn.functional as F
from torch import Tensor

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


def one(count: int, low: float = 0.0, high: float = 1.0, channels: int = 1) -> Tensor:
    """Return a random number for each picture."""
    return torch.empty(count, channels, 1, 1, device=DEVICE).uniform_(low, high)


def spread(count: int, by: float, channels: int = 1) -> Tensor:
    """Return a random factor for each picture, its logarithm normal."""
    return torch.exp(by * torch.randn(count, channels, 1, 1, device=DEVICE))


def some(count: int, share: float) -> Tensor:
    """Return 1 for a share of the pictures, else 0."""
    return (one(count) < share).float()


def blurred(x: Tensor, sigma: float) -> Tensor:
    """Return pictures under a Gaussian."""
    reach = max(1, int(3 * sigma))
    weight = torch.exp(-0.5 * (torch.arange(-reach, reach + 1, device=DEVICE) / sigma) ** 2)
    kernel = (weight / weight.sum()).repeat(x.shape[1], 1, 1, 1)
    x = F.conv2d(F.pad(x, (reach, reach, 0, 0), mode="replicate"), kernel, groups=x.shape[1])
    return F.conv2d(F.pad(x, (0, 0, reach, reach), mode="replicate"), kernel.mT, groups=x.shape[1])
