"""Train the network that sees cards and paper: ``python -m tests.bench.train_shapes``.

Draws small scenes on all processors, with cards and paper and what else lies about on a bench, trains meanwhile, each
step on 64 of them changed anew (see `tests.bench.shape_batches`), and writes photonest/scale/shapes.onnx. It needs
PyTorch and onnx, which nothing else here but the other trainings do, and a graphics card (0.15 s a step on a fast one,
beside sixteen cores that draw) or much patience. No real photo is used. From other weights it goes on on fresh scenes.

What ships was trained so in two goes: 4900 steps from 12000 scenes, kept smaller and without looks from near, and 2900
steps from 7000 others by this recipe. Another run gives other weights of like quality: run ``python -m
tests.bench.scale card card-on-face paper none+lookalikes`` after it, on fresh seeds.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import Tensor, nn

from tests.bench.scale_cases import scene
from tests.bench.shape_batches import CANVAS, CARD, CARD_ROUND, NOTHING, PAPER, UNTOLD, Shapes, changed
from tests.bench.train_crack_map import Layer
from tests.bench.training import DEVICE, Drawn, answer, asked, trained_as_drawn, weights_in
from tests.drawn import SceneSpec, draw
from tests.drawn.lookalikes import lookalikes
from tests.drawn.noise import generator
from tests.drawn.place import beside, pair, pick
from tests.drawn.references import Item, card, paper
from tests.drawn.wood import Growth

TARGET = Path(__file__).parents[2] / "photonest" / "scale" / "shapes.onnx"
FIRST_SEED, SEED_ON = 8_100_000, 8_150_000
KINDS = (
    "card", "card-on-face", "paper", "card", "white-card-on-face", "paper", "card-on-face", "none", "card", "paper",
    "card-on-face", "marker-sheet", "card", "ruler", "paper", "bar",
)  # fmt: skip
MEGAPIXELS, PICTURE = 0.75, (750, 1000)  # drawn at; height and width as kept
MOST_SHAPES, APART_MM = 8, 90.0
CHANNELS = (16, 32, 64, 112, 144)
BATCH, AVERAGED, LEAST_DRAWN, WARM_UP = 64, 0.999, 800, 200


class Small(NamedTuple):
    """A small scene: its picture, shape (3, height, width), and its shapes' corners, in half widths, and kinds."""

    picture: NDArray[np.uint8]
    corners: NDArray[np.float32]
    kinds: NDArray[np.int64]


def small_scene(seed: int) -> Small | None:
    """Return the scene of a seed; None if it can't be drawn."""
    import cv2

    cv2.setNumThreads(1)
    try:
        spec = fuller(scene(KINDS[seed % len(KINDS)], seed, MEGAPIXELS))
        pixels = draw(spec).pixels
    except (ValueError, MemoryError, cv2.error):  # a thing is too large in it
        return None
    height, width = PICTURE
    picture = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
    corners, kinds = np.zeros((MOST_SHAPES, 4, 2), np.float32), np.zeros(MOST_SHAPES, np.int64)
    told = [(item, kind_of(item)) for item in spec.items]
    told = sorted((one for one in told if one[1] != NOTHING), key=lambda one: one[1])[:MOST_SHAPES]
    for k, (item, kind) in enumerate(told):
        px = spec.camera.mm_to_px(item.corners, item.z) + 0.5
        corners[k] = (2 * px - [spec.camera.width, spec.camera.height]) / spec.camera.width
        kinds[k] = kind
    return Small(picture.transpose(2, 0, 1).copy(), corners, kinds)


def kind_of(item: Item) -> int:
    """Return what the network should say of a thing."""
    if item.kind in ("card", "paper"):
        return CARD if item.kind == "card" else PAPER
    small_board = item.kind == "board" and max(item.size) < 100
    like = item.kind in ("marker-sheet", "playing card", "visiting card", "print") or small_board
    return UNTOLD if like else NOTHING


def fuller(spec: SceneSpec) -> SceneSpec:
    """Return a scene with more about: lookalikes, and cards and sheets lying anywhere."""
    rng = generator(spec.seed, "fuller")
    growth, items = Growth(spec.wood), list(spec.items)
    if rng.random() < 0.4:
        items += lookalikes(rng, growth, spec.bench)
    for _ in range(int(rng.integers(0, 3))):
        one = some_card(rng) if rng.random() < 0.75 else some_paper(rng)
        if one.kind == "card" and rng.random() < 0.5:
            one = replace(one, centre=pair(rng.normal(0, 0.2 * growth.spec.diameter, 2)), z=-0.76)
            items += [] if any(math.dist(one.centre, item.centre) < APART_MM for item in items) else [one]
        else:
            one = replace(one, z=max(spec.bench.below - 1, 0.0) if rng.random() < 0.5 else 0.0)
            items.append(beside(one, growth, float(rng.uniform(0, 360)), float(rng.uniform(3, 70))))
    return replace(spec, items=tuple(items))


def some_card(rng: np.random.Generator) -> Item:
    """Return a card of any colour."""
    channels = rng.uniform(0.05, 0.95, 3)
    red, green, blue = (float(v) for v in channels + (channels.mean() - channels) * rng.uniform(0.0, 0.95))
    look = pick(rng, ("bank", "pass", "plain"))
    turn, seed = float(rng.uniform(0, 360)), int(rng.integers(0, 2**31))
    return card((0, 0), turn, colour=(red, green, blue), print_=look, seed=seed)


def some_paper(rng: np.random.Generator) -> Item:
    """Return a sheet."""
    name = pick(rng, ("A4", "Letter", "A5"))
    look = pick(rng, ("", "ruled", "written"))
    tone, seed = float(rng.uniform(0.8, 0.96)), int(rng.integers(0, 2**31))
    return paper((0, 0), float(rng.uniform(0, 360)), name=name, tone=tone, variant=look, seed=seed)


class Network(nn.Module):  # type: ignore[misc]
    """Down to a thirty-second of the picture's size and up again to a quarter, with what was seen on the way (a U-net).

    Each place of a quarter's size gives four answers of each kind, for the four places of half the size.
    """

    def __init__(self, channels: tuple[int, int, int, int, int] = CHANNELS) -> None:
        super().__init__()
        a, b, c, d, e = channels
        self.first, self.quarter = Layer(3, a, 2), nn.Sequential(Layer(a, b, 2), Layer(b, b))
        self.eighth = nn.Sequential(Layer(b, c, 2, True), Layer(c, c, 1, True), Layer(c, c, 1, True))
        self.sixteenth = nn.Sequential(Layer(c, d, 2, True), Layer(d, d, 1, True), Layer(d, d, 1, True, 2))
        self.coarse = nn.Sequential(
            Layer(d, e, 2, True), Layer(e, e, 1, True), Layer(e, e, 1, True, 2), Layer(e, e, 1, True, 4)
        )
        self.to_sixteenth = nn.Sequential(Layer(e + d, d, apart=True), Layer(d, d, apart=True))
        self.to_eighth = nn.Sequential(Layer(d + c, c, apart=True), Layer(c, c, apart=True))
        self.to_quarter = nn.Sequential(Layer(c + b, b, apart=True), Layer(b, b, apart=True))
        self.out = nn.Sequential(nn.Conv2d(b, 8, 3, padding=1), nn.PixelShuffle(2))
        self.larger = nn.Upsample(scale_factor=2, mode="nearest")

    def forward(self, x: Tensor) -> Tensor:
        """Return the log odds of card and of paper at half the picture's size."""
        quarter = self.quarter(self.first(x))
        eighth = self.eighth(quarter)
        sixteenth = self.sixteenth(eighth)
        sixteenth = self.to_sixteenth(torch.cat([self.larger(self.coarse(sixteenth)), sixteenth], 1))
        eighth = self.to_eighth(torch.cat([self.larger(sixteenth), eighth], 1))
        return self.out(self.to_quarter(torch.cat([self.larger(eighth), quarter], 1)))


def loss(found: Tensor, truth: Tensor, counts: Tensor) -> Tensor:
    """Return the cross entropy, more where it matters, and half of 1 - overlap (Dice) where shapes are."""
    entropy = F.binary_cross_entropy_with_logits(found, truth, reduction="none")
    edge = F.max_pool2d(truth, 5, 1, 2) + F.max_pool2d(1 - truth, 5, 1, 2) - 1
    wrongly = torch.sigmoid(found.detach()) * (1 - truth)
    weight = counts * (1 + 2 * truth + 2 * edge + 3 * wrongly)
    share = torch.sigmoid(found) * counts
    true = truth * counts
    overlap = (2 * (share * true).sum((2, 3)) + 1) / ((share**2).sum((2, 3)) + (true**2).sum((2, 3)) + 1)
    there = (true.sum((2, 3)) > 20).float()
    return 5 * (entropy * weight).mean() + 0.5 * ((1 - overlap) * there).sum() / (there.sum() + 1)


def some(scenes: Drawn, count: int) -> tuple[Tensor, Shapes]:
    """Return pictures drawn by lot, and their shapes."""
    pictures, corners, every = scenes.parts
    which = torch.randint(scenes.ready, (count,), device=DEVICE)
    kinds = every[which]
    round_ = torch.where(kinds == CARD, CARD_ROUND, 0.0)
    return pictures[which].float() / 255, Shapes(corners[which], kinds, round_)


def loss_of_batch(network: nn.Module, scenes: Drawn) -> Tensor:
    """Return the loss of a batch changed, see `changed`."""
    given, truth, counts = changed(*some(scenes, BATCH), *some(scenes, BATCH))
    return loss(answer(network, given), truth, counts)


def write(network: nn.Module, target: Path) -> None:
    """Write a network for any size that is a multiple of 32, its weights to three figures: half the bytes."""
    import onnx

    torch.onnx.export(
        network.to(memory_format=torch.contiguous_format), (torch.zeros(1, 3, *CANVAS),), str(target),
        opset_version=13, dynamo=False, input_names=["picture"], output_names=["odds"],
        dynamic_axes={"picture": {2: "h", 3: "w"}, "odds": {2: "k", 3: "l"}},
    )  # fmt: skip
    model = onnx.load(target)
    weights = [(part.name, onnx.numpy_helper.to_array(part)) for part in model.graph.initializer]
    halved = {name for name, values in weights if values.dtype == np.float32 and values.size >= 64}
    nodes = [
        onnx.helper.make_node("Cast", [f"{name}-half"], [name], to=onnx.TensorProto.FLOAT) for name in sorted(halved)
    ]
    parts = [
        onnx.numpy_helper.from_array(values.astype(np.float16), f"{name}-half")
        if name in halved
        else onnx.numpy_helper.from_array(values, name)
        for name, values in weights
    ]
    nodes += list(model.graph.node)
    del model.graph.initializer[:], model.graph.node[:]
    model.graph.initializer.extend(parts)
    model.graph.node.extend(nodes)
    onnx.save(model, target)


def main() -> None:
    """Draw, train and write."""
    told = asked(__doc__, "scenes", 9000, 7000, TARGET)
    weights = weights_in(told.weights)
    first = FIRST_SEED if weights is None else SEED_ON
    network = trained_as_drawn(
        Network, small_scene, loss_of_batch, range(first, first + told.count), told.steps, weights,
        least=LEAST_DRAWN, warm_up=WARM_UP, kept=AVERAGED,
    )  # fmt: skip
    if told.weights is not None:
        torch.save(network.state_dict(), told.weights)
    write(network, told.target)


if __name__ == "__main__":
    main()
