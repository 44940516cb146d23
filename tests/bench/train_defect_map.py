"""Train the network that says of each place of a face what it is: ``python -m tests.bench.train_defect_map``.

Draws faces with knots, holes, bark inclusions, decay and what is mistaken for them (`tests.bench.defect_faces`) on all
processors; meanwhile trains on cuttings of them, each time changed anew, half of them spoiled as bad light or a poor
camera would; and writes photonest/cracks/patches.onnx. It needs PyTorch and onnx, as the other trainings of networks
do, and a graphics card or much patience: eight minutes of a card, and of sixteen cores that draw. No real photo is
used. Run ``python -m tests.bench.train_defects --write`` after it, which fits what makes areas and confidences of its
answer, and look at ``python -m tests.bench.defects photos``: another run gives other weights of like quality.

What ships was made so, with fewer broad stains, thin and grey branches among what was drawn; going on from it with
8100 steps on 5900 of today's faces was no better on drawn faces, and worse on photos.
"""

from __future__ import annotations

import argparse
from functools import partial
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, nn

from photonest.cracks.patch_map import KINDS
from tests.bench.defect_faces import FIRST_SEED, UNTOLD, kept_sample
from tests.bench.train_crack_map import BATCH, CROP, MIRRORS, Faces, Network, courses, lit, write
from tests.bench.training import DEVICE, averaged, weights_in

TARGET = Path(__file__).parents[2] / "photonest" / "cracks" / "patches.onnx"
CHANNELS = (16, 32, 64, 96)
CLASSES = 1 + len(KINDS)
WEIGHTS = (1.0, 2.0, 4.0, 3.0, 2.0)  # what a place of each kind counts
RATE, COOLED, WARM_UP, AVERAGED = 3e-3, 0.02, 200, 0.998


class Map(Network):
    """The network for cracks with an answer for each kind, and a wider look: what a knot is shows about it."""

    def __init__(self, channels: tuple[int, int, int, int] = CHANNELS) -> None:
        super().__init__(channels)
        self.out = nn.Conv2d(channels[1], 4 * CLASSES, 3, padding=1)


class Spotted(Faces):
    """Drawn faces, cuttings of which are most often about a defect."""

    def _take(self, file: Path) -> None:
        with np.load(file) as arrays:
            layers, pith, spots = arrays["layers"], arrays["pith"], arrays["spots"]
        short = [max(0, CROP - n) for n in layers.shape[:2]]
        layers = np.pad(layers, ((0, short[0]), (0, short[1]), (0, 0)))
        wood = np.argwhere(layers[::16, ::16, 3] > 0) * 16
        rng = np.random.default_rng(len(self.layers))
        self.spots.append((spots[:, ::-1], wood[rng.permutation(len(wood))[:500]]))
        self.piths.append(pith)
        self.layers.append(torch.from_numpy(layers.transpose(2, 0, 1).copy()).to(DEVICE))  # last: it counts them


def changed(faces: Faces, rng: np.random.Generator) -> tuple[Tensor, ...]:
    """Return a batch: the faces, their courses, and the kind of each place at half the size, `UNTOLD` where none."""
    layers, pith = faces.batch(rng, BATCH)
    wood, told = (layers[:, 3:4] > 128).float(), layers[:, 4:5]
    face = torch.cat([(lit(layers[:, :3].float() / 255) - 0.5) * 4 * wood, wood], 1)
    told = torch.where(wood > 0, told, torch.full_like(told, UNTOLD))
    four = told.unfold(2, 2, 2).unfold(3, 2, 2).flatten(4)  # of four pixels: untold if any is, else the largest kind
    parts = [face, courses(pith), four.max(-1).values.float()]
    for mirror, sign in MIRRORS:
        if rng.random() < 0.5:
            parts = [mirror(part) for part in parts]
            parts[1] = parts[1] * torch.tensor(sign, device=DEVICE)[:, None, None]
    return tuple(part.contiguous() for part in parts)


def loss(found: Tensor, kind: Tensor) -> Tensor:
    """Return the weighted cross entropy, and one minus the overlap (Dice) of each kind, of a batch."""
    kind = kind[:, 0].long()
    counts = (kind != UNTOLD).float()
    kind = torch.where(kind == UNTOLD, 0, kind)
    weight = counts * torch.tensor(WEIGHTS, device=DEVICE)[kind]
    entropy = F.cross_entropy(found, kind, reduction="none")
    share = torch.softmax(found, 1) * counts[:, None]
    truth = F.one_hot(kind, CLASSES).permute(0, 3, 1, 2) * counts[:, None]
    shared, both = ((x * truth).sum((0, 2, 3))[1:] for x in (share, torch.ones_like(share)))
    overlap = (2 * shared + 50) / ((share**2).sum((0, 2, 3))[1:] + both + 50)
    return 5 * (entropy * weight).sum() / counts.sum() + 0.5 * (1 - overlap).mean()


def trained(faces: Faces, steps: int, weights: Path | None) -> nn.Module:
    """Return a network with the running mean of its weights, gone on from others where given."""
    torch.manual_seed(1)
    rng = np.random.default_rng(len(faces.layers))

    def of_batch(network: nn.Module) -> Tensor:
        face, bearing, kind = changed(faces, rng)
        with torch.autocast(DEVICE, torch.bfloat16):
            answer = network(face.contiguous(memory_format=torch.channels_last), bearing)
        count, _, rows, columns = answer.shape
        found = answer.float().view(count, 2, 2, CLASSES, rows, columns)  # down, along, kind
        found = found.permute(0, 3, 4, 1, 5, 2).reshape(count, CLASSES, 2 * rows, 2 * columns)
        return loss(found, kind)

    network = Map()
    known = weights_in(weights)
    if known is not None:
        network.load_state_dict(known)
    network = network.to(DEVICE, memory_format=torch.channels_last)
    return averaged(network, of_batch, steps, RATE if known is None else 0.7 * RATE, WARM_UP, AVERAGED, COOLED)


def main() -> None:
    """Draw, train and write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--faces", type=int, default=5700)
    parser.add_argument("--first", type=int, default=FIRST_SEED, help="seed of the first face")
    parser.add_argument("--steps", type=int, default=8300)
    parser.add_argument("--least", type=int, default=300, help="faces to begin with")
    parser.add_argument("--folder", type=Path, default=Path("drawn_defects"), help="where drawn faces are kept")
    parser.add_argument("--weights", type=Path, help="go on from these, where they are, and keep the new ones there")
    parser.add_argument("--target", type=Path, default=TARGET)
    asked = parser.parse_args()
    asked.folder.mkdir(exist_ok=True, parents=True)
    seeds = range(asked.first, asked.first + asked.faces)
    with Pool() as pool:  # begun before the device is first used: a process forked afterwards could not live with it
        drawn = pool.imap_unordered(partial(kept_sample, folder=asked.folder), seeds, chunksize=2)
        faces = Spotted(drawn, min(asked.faces, asked.least))
        network = trained(faces, asked.steps, asked.weights)
        print(f"{len(faces.layers)} faces drawn", flush=True)
    if asked.weights is not None:
        torch.save(network.state_dict(), asked.weights)
    write(network, asked.target)


if __name__ == "__main__":
    main()
