"""What the trainings of networks share: the device, chance for batches of pictures, and the training itself."""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable, Iterable, Sequence
from multiprocessing import Pool
from pathlib import Path
from threading import Thread
from typing import Any

import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import Tensor, nn

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
RATE, RATE_ON = 3e-3, 2.5e-3  # the second where a network goes on from other weights

Weights = dict[str, Tensor]
Example = Sequence[NDArray[Any]]


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


class Drawn:
    """Examples on the training device, of which more and more are drawn while it trains."""

    def __init__(self, drawn: Iterable[Example | None], count: int, least: int) -> None:
        self.parts: list[Tensor] = []  # each of shape (count, ...): what the examples' arrays hold
        self.ready = 0
        worker = Thread(target=self._gather, args=(drawn, count), daemon=True)
        worker.start()
        while worker.is_alive() and self.ready < least:
            time.sleep(0.5)

    def _gather(self, drawn: Iterable[Example | None], count: int) -> None:
        for example in drawn:
            if example is None:
                continue
            given = [torch.from_numpy(array).to(DEVICE) for array in example]
            if not self.parts:
                self.parts = [torch.zeros(count, *one.shape, dtype=one.dtype, device=DEVICE) for one in given]
            for part, one in zip(self.parts, given, strict=True):
                part[self.ready] = one
            self.ready += 1


def trained_as_drawn(
    made: Callable[[], nn.Module],
    draw: Callable[[int], Example | None],
    loss: Callable[[nn.Module, Drawn], Tensor],
    seeds: range,
    steps: int,
    weights: Weights | None,
    *,
    least: int,
    warm_up: int,
    kept: float,
) -> nn.Module:
    """Return a network with the running mean of its weights over its training, gone on from others where given.

    Examples are drawn from the seeds on all processors meanwhile; it begins with `least` of them. See `averaged`.
    """
    with Pool() as pool:  # begun before the device is first used: a process forked afterwards could not live with it
        scenes = Drawn(pool.imap_unordered(draw, seeds, chunksize=4), len(seeds), min(len(seeds), least))
        torch.manual_seed(1)
        network = made()
        if weights is not None:
            network.load_state_dict(weights)
        network = network.to(DEVICE, memory_format=torch.channels_last)
        rate = RATE if weights is None else RATE_ON
        network = averaged(network, lambda each: loss(each, scenes), steps, rate, warm_up, kept)
        print(f"{scenes.ready} scenes drawn", flush=True)
    return network


def answer(network: nn.Module, given: Tensor) -> Tensor:
    """Return what a network makes of pictures, worked out in half precision."""
    with torch.autocast(DEVICE, torch.bfloat16):
        found: Tensor = network(given.contiguous(memory_format=torch.channels_last))
    return found.float()


def asked(doc: str | None, drawn: str, count: int, steps: int, target: Path) -> argparse.Namespace:
    """Return what the command line asks of a training, by a module's docstring: `drawn` names what it draws."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(f"--{drawn}", dest="count", type=int, default=count, help=f"to draw ({count})")
    parser.add_argument("--steps", type=int, default=steps, help=f"of training ({steps})")
    parser.add_argument("--target", type=Path, default=target, help="file to write; by default the package's own")
    parser.add_argument("--weights", type=Path, help="go on from these, where they are, and keep the new ones there")
    return parser.parse_args()


def weights_in(file: Path | None) -> Weights | None:
    """Return the weights that a file keeps, None where there is none."""
    return torch.load(file, map_location="cpu") if file is not None and file.exists() else None


def averaged(
    network: nn.Module,
    loss: Callable[[nn.Module], Tensor],
    steps: int,
    rate: float,
    warm_up: int,
    kept: float,
    cooled: float = 0.01,
) -> nn.Module:
    """Train a network and return the running mean of its weights.

    `loss` is asked at every step, for a batch of its own making. The rate rises to `rate` over the first `warm_up`
    steps and cools along a cosine to the share `cooled`; `kept` is the share of the mean that each step keeps.
    """
    mean_fn: Any = torch.optim.swa_utils.get_ema_multi_avg_fn(kept)
    mean = torch.optim.swa_utils.AveragedModel(network, multi_avg_fn=mean_fn, use_buffers=True)
    optimiser = torch.optim.AdamW(network.parameters(), rate, weight_decay=1e-3)
    run = torch.zeros((), device=DEVICE)
    for k in range(steps):
        cooling = cooled + (1 - cooled) * 0.5 * (1 + math.cos(math.pi * k / steps))
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
