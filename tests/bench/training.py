"""What the trainings of both networks share: the device, chance for batches of pictures, and the training itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import torch
import torch.nn.functional as F
from torch import Tensor, nn

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"


def one(count: int, low: float = 0.0, high: float = 1.0, channels: int = 1) -> Tensor:
    """Return a random number for each picture."""
    return torch.empty(count, channels, 1, 1, device=DEVICE).uniform_(low, high)


def spread(count: int, by: float, channels: int = 1) -> Tensor:
    """Return a random factor for each picture, its logarithm normal."""
    return torch.exp(by * torch.randn(count, channels, 1, 1, device=DEVICE))


def some(count: int, share: float | Tensor) -> Tensor:
    """Return 1 for a share of the pictures, else 0; a share may be given for each."""
    return (one(count) < share).float()


def blurred(x: Tensor, sigma: float) -> Tensor:
    """Return pictures under a Gaussian."""
    reach = max(1, int(3 * sigma))
    weight = torch.exp(-0.5 * (torch.arange(-reach, reach + 1, device=DEVICE) / sigma) ** 2)
    kernel = (weight / weight.sum()).repeat(x.shape[1], 1, 1, 1)
    x = F.conv2d(F.pad(x, (reach, reach, 0, 0), mode="replicate"), kernel, groups=x.shape[1])
    return F.conv2d(F.pad(x, (0, 0, reach, reach), mode="replicate"), kernel.mT, groups=x.shape[1])


def averaged(
    network: nn.Module, loss: Callable[[nn.Module], Tensor], steps: int, rate: float, warm_up: int, kept: float
) -> nn.Module:
    """Train a network and return the running mean of its weights.

    `loss` is asked at every step, for a batch of its own making. The rate rises to `rate` over the first `warm_up`
    steps and cools along a cosine to a hundredth; `kept` is the share of the mean that each step keeps.
    """
    mean_fn: Any = torch.optim.swa_utils.get_ema_multi_avg_fn(kept)
    mean = torch.optim.swa_utils.AveragedModel(network, multi_avg_fn=mean_fn, use_buffers=True)
    optimiser = torch.optim.AdamW(network.parameters(), rate, weight_decay=1e-3)
    run = torch.zeros((), device=DEVICE)
    for k in range(steps):
        cooling = 0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * k / steps))
        optimiser.param_groups[0]["lr"] = rate * min(1.0, (k + 1) / warm_up) * cooling
        value = loss(network)
        optimiser.zero_grad()
        value.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        mean.update_parameters(network)
        run = torch.lerp(run, value.detach(), 0.02 if k else 1.0)
        if k % 100 == 0:
            print(f"{k:6d} {run.item():.4f}", flush=True)
    return mean.module.eval().float().cpu()
