"""Train the network that says at each place how like a crack it is: ``python -m tests.bench.train_crack_map``.

Draws faces, end grain and side grain, some with more lines drawn into them (`tests.bench.cracked`), a fifth of them
worn (`tests.drawn.wear`), into a folder, where a later run finds them; meanwhile trains on cuttings of them, each time
changed anew, half of them as bad light or a poor camera would (`tests.bench.poor_photos`); and writes
photonest/cracks/map.onnx. It needs PyTorch and onnx, which nothing else here but the training of other networks does,
and a graphics card or patience: 25 minutes of a card that trained two networks at a time, and of sixteen cores. No real
photo is used.

What ships was made by this recipe in two runs: one of 8000 and 8000 steps on 2660 faces, and one of 10 600 that went on
from its weights with 2200 others. Another run gives other weights of like quality, so look at the judge again after it
(``python -m tests.bench.train_cracks --write``).
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from threading import Thread

import numpy as np
import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import Tensor, nn

from tests.bench.crack_faces import FIRST_SEED, kept_sample
from tests.bench.poor_photos import spoiled
from tests.bench.training import DEVICE, Weights, averaged, blurred, one, some, spread

TARGET = Path(__file__).parents[2] / "photonest" / "cracks" / "map.onnx"
CHANNELS = (16, 32, 64, 96)
CROP, BATCH, LEAST = 448, 48, 300
STAGES = (3e-3, 0.7), (1.8e-3, 0.01), (1.8e-3, 0.01)
"""Parts of the training: the rate that each begins with, and the share of it that it cools to."""
AVERAGED = 0.998
POOR = 0.5
"""Share of spoiled cuttings; by a third stage with four in five, less was found on drawn faces and on photos."""


class Layer(nn.Sequential):  # type: ignore[misc]
    """A convolution, in two steps if `apart` (along the picture, across the channels), normalised and rectified."""

    def __init__(self, given: int, out: int, stride: int = 1, apart: bool = False, reach: int = 1) -> None:
        def along(n: int, groups: int) -> nn.Module:
            return nn.Conv2d(given, n, 3, stride, reach, dilation=reach, groups=groups, bias=False)

        parts = [along(given, given), nn.Conv2d(given, out, 1, bias=False)] if apart else [along(out, 1)]
        super().__init__(*parts, nn.BatchNorm2d(out), nn.ReLU(inplace=True))


class Network(nn.Module):  # type: ignore[misc]
    """Down to a sixteenth of the picture's size and up again to a quarter, with what was seen on the way (a U-net).

    Each place of a quarter's size gives four answers, for the four places of half the size.
    """

    def __init__(self, channels: tuple[int, int, int, int] = CHANNELS) -> None:
        super().__init__()
        a, b, c, d = channels
        self.first, self.second, self.body = Layer(4, a, 2), Layer(a, b, 2), Layer(b + 2, b, apart=True)
        self.eighth = nn.Sequential(Layer(b, c, 2, True), Layer(c, c, 1, True), Layer(c, c, 1, True, 2))
        self.sixteenth = nn.Sequential(
            Layer(c, d, 2, True), Layer(d, d, 1, True), Layer(d, d, 1, True, 2), Layer(d, d, 1, True, 4)
        )
        self.to_eighth = Layer(d + c, c, apart=True)
        self.to_quarter = nn.Sequential(Layer(c + b, b, apart=True), Layer(b, b, apart=True))
        self.out = nn.Conv2d(b, 4, 3, padding=1)
        self.larger = nn.Upsample(scale_factor=2, mode="nearest")

    def forward(self, face: Tensor, courses: Tensor) -> Tensor:
        """Return the log odds of a crack, four to each place of a quarter of the picture's size."""
        quarter = self.body(torch.cat([self.second(self.first(face)), courses], 1))
        eighth = self.eighth(quarter)
        eighth = self.to_eighth(torch.cat([self.larger(self.sixteenth(eighth)), eighth], 1))
        return self.out(self.to_quarter(torch.cat([self.larger(eighth), quarter], 1)))


Mirror = Callable[[Tensor], Tensor]
MIRRORS: tuple[tuple[Mirror, tuple[float, float]], ...] = (
    (lambda x: x.flip(3), (1.0, -1.0)),
    (lambda x: x.flip(2), (1.0, -1.0)),
    (lambda x: x.mT, (-1.0, 1.0)),
)
"""Pictures the other way round, and what becomes of cosine and sine of twice a bearing in them."""


class Faces:
    """Drawn faces on the device, more and more of them, and cuttings of them."""

    def __init__(self, files: Iterable[Path | None], least: int) -> None:
        self.layers: list[Tensor] = []
        self.piths: list[NDArray[np.float64]] = []
        self.spots: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []  # on a crack; anywhere on the wood
        worker = Thread(target=self._gather, args=(files,), daemon=True)
        worker.start()
        while worker.is_alive() and len(self.layers) < least:
            time.sleep(0.5)

    def _gather(self, files: Iterable[Path | None]) -> None:
        for file in files:
            if file is not None:
                self._take(file)

    def _take(self, file: Path) -> None:
        with np.load(file) as arrays:
            layers, pith = arrays["layers"], arrays["pith"]
        short = [max(0, CROP - n) for n in layers.shape[:2]]
        layers = np.pad(layers, ((0, short[0]), (0, short[1]), (0, 0)))
        crack = np.argwhere(layers[::4, ::4, 4] == 255) * 4
        wood = np.argwhere(layers[::16, ::16, 3] > 0) * 16
        rng = np.random.default_rng(len(self.layers))
        self.spots.append((crack[rng.permutation(len(crack))[:500]], wood[rng.permutation(len(wood))[:500]]))
        self.piths.append(pith)
        self.layers.append(torch.from_numpy(layers.transpose(2, 0, 1).copy()).to(DEVICE))  # last: it counts them

    def batch(self, rng: np.random.Generator, count: int) -> tuple[Tensor, Tensor]:
        """Return cuttings, shape (count, 5, CROP, CROP), and where the pith lies in each, NaN where unknown."""
        parts, piths = [], []
        for k in rng.integers(0, len(self.layers), count):
            crack, wood = self.spots[k]
            spots = crack if len(crack) and rng.random() < 0.6 else wood
            height, width = self.layers[k].shape[1:]
            y, x = spots[rng.integers(len(spots))] + rng.integers(-CROP // 3, CROP // 3, 2) - CROP // 2
            y, x = int(np.clip(y, 0, height - CROP)), int(np.clip(x, 0, width - CROP))
            parts.append(self.layers[k][:, y : y + CROP, x : x + CROP])
            unknown = rng.random() < 0.25
            piths.append(np.full(2, np.nan) if unknown else self.piths[k] - (x, y) + rng.normal(0, 4, 2))
        return torch.stack(parts), torch.tensor(np.array(piths), dtype=torch.float32, device=DEVICE)


def courses(pith: Tensor) -> Tensor:
    """Return cosine and sine of twice the bearing about each pith, 0 where it is unknown, at a quarter of the size."""
    at = 4 * torch.arange(CROP // 4, device=DEVICE, dtype=torch.float32) + 1.5
    dx, dy = at - pith[:, 0, None, None], at[:, None] - pith[:, 1, None, None]
    square = dx**2 + dy**2 + 25
    return torch.stack([(dx**2 - dy**2) / square, 2 * dx * dy / square], 1).nan_to_num(0.0)


def lit(image: Tensor) -> Tensor:
    """Return pictures, 0 to 1, in another light, from another camera; the first of them, a share of `POOR`, spoiled."""
    count = len(image)
    image = image * spread(count, 0.08, 3) * spread(count, 0.2)
    nodes = 0.15 * torch.randn(count, 1, 4, 4, device=DEVICE) * some(count, 0.5)
    image = image * torch.exp(F.interpolate(nodes, (CROP, CROP), mode="bicubic", align_corners=False))
    image = image.clamp(1e-4, 1.3) ** spread(count, 0.25)
    if torch.rand(()) < 0.3:
        image = blurred(image, float(torch.empty(()).uniform_(0.4, 1.1)))
    poor = round(POOR * count)
    image = torch.cat([spoiled(image[:poor]), image[poor:]])
    image = image + torch.randn_like(image) * one(count, 0, 0.03) * some(count, 0.4)
    colour = torch.where(some(count, 0.4) > 0, one(count, 0.2, 1.4), torch.ones(count, 1, 1, 1, device=DEVICE))
    colour = colour * (1 - some(count, 0.12))
    grey = image.mean(1, keepdim=True)
    return (grey + (image - grey) * colour).clamp(0, 1)


def changed(faces: Faces, rng: np.random.Generator) -> tuple[Tensor, ...]:
    """Return a batch: the faces, their courses, the truth at half the size, and where that counts."""
    layers, pith = faces.batch(rng, BATCH)
    wood, told = (layers[:, 3:4] > 128).float(), layers[:, 4:5].float()
    face = torch.cat([(lit(layers[:, :3].float() / 255) - 0.5) * 4 * wood, wood], 1)
    truth = F.max_pool2d(told, 2)
    counts = ((truth < 100) | (truth > 200)).float() * F.max_pool2d(wood, 2)
    parts = [face, courses(pith), (truth > 200).float(), counts]
    for mirror, sign in MIRRORS:
        if rng.random() < 0.5:
            parts = [mirror(part) for part in parts]
            parts[1] = parts[1] * torch.tensor(sign, device=DEVICE)[:, None, None]
    return tuple(part.contiguous() for part in parts)


def loss(found: Tensor, truth: Tensor, counts: Tensor) -> Tensor:
    """Return the cross entropy, a crack's places counting thrice, and one minus the overlap (Dice) of the batch."""
    entropy = F.binary_cross_entropy_with_logits(found, truth, reduction="none")
    weight = counts * (1 + 2 * truth)
    share = torch.sigmoid(found) * counts
    overlap = (2 * (share * truth).sum() + 1) / ((share**2).sum() + (truth * counts).sum() + 1)
    return 5 * (entropy * weight).sum() / counts.sum() + 0.5 * (1 - overlap)


def trained(faces: Faces, steps: int, channels: tuple[int, int, int, int] = CHANNELS) -> nn.Module:
    """Return the mean of a network's weights at two thirds, when it has cooled for the first time, and at the end.

    At the end it fits drawn faces best; at two thirds it is less sure of them, and of what real wood has and they have
    not.
    """
    torch.manual_seed(1)
    rng = np.random.default_rng(1)

    def of_batch(network: nn.Module) -> Tensor:
        face, bearing, truth, counts = changed(faces, rng)
        with torch.autocast(DEVICE, torch.bfloat16):
            found = F.pixel_shuffle(network(face.contiguous(memory_format=torch.channels_last), bearing), 2)
        return loss(found.float(), truth, counts)

    ends: list[Weights] = []
    for rate, cooled in STAGES:
        network = Network(channels)
        if ends:
            network.load_state_dict(ends[-1])
        network = network.to(DEVICE, memory_format=torch.channels_last)
        ends.append(averaged(network, of_batch, steps // len(STAGES), rate, 200, AVERAGED, cooled).state_dict())
    mean = Network(channels).eval()
    mean.load_state_dict({name: (weights + ends[-2][name]) / 2 for name, weights in ends[-1].items()})
    return mean


def write(network: nn.Module, target: Path) -> None:
    """Write a network for any size that is a multiple of 16."""
    given = torch.zeros(1, 4, 512, 512), torch.zeros(1, 2, 128, 128)
    torch.onnx.export(
        network.to(memory_format=torch.contiguous_format), given, str(target), opset_version=13, dynamo=False,
        input_names=["face", "courses"], output_names=["odds"],
        dynamic_axes={"face": {2: "h", 3: "w"}, "courses": {2: "i", 3: "j"}, "odds": {2: "k", 3: "l"}},
    )  # fmt: skip


def main() -> None:
    """Draw, train and write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--faces", type=int, default=4900)
    parser.add_argument("--steps", type=int, default=27_000)
    parser.add_argument("--folder", type=Path, default=Path("drawn_faces"), help="where drawn faces are kept")
    parser.add_argument("--target", type=Path, default=TARGET)
    asked = parser.parse_args()
    asked.folder.mkdir(exist_ok=True, parents=True)
    seeds = range(FIRST_SEED, FIRST_SEED + asked.faces)
    with Pool() as pool:  # begun before the device is first used: a process forked afterwards could not live with it
        faces = Faces(
            pool.imap_unordered(partial(kept_sample, folder=asked.folder), seeds, chunksize=2), min(asked.faces, LEAST)
        )
        network = trained(faces, asked.steps)
        print(f"{len(faces.layers)} faces drawn", flush=True)
    write(network, asked.target)


if __name__ == "__main__":
    main()
