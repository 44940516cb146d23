"""Train the judge of crack candidates: ``python -m tests.bench.train_cracks``.

The examples are the finder's own candidates on photos of real wood with cracks and other lines drawn into them
(`tests.bench.cracked`), on wholly drawn photos (`tests.drawn`), and on the annotated photos as they are. The judge is a
logistic regression, fitted to the share of a candidate that runs along a true crack. It is itself judged on discs it
never saw, each left out with everything drawn into its photos; what is written is fitted to all, and calibrated on what
would be told of what was left out. A network of one hidden layer on two dozen cues did no better on any part of that,
and worse where few false lines are allowed.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import photonest.cracks.judge as judge
from photonest.cracks.evidence import Evidence, evidence
from photonest.cracks.finder import APART, SAME, SPACING
from photonest.cracks.network import DIAMETER_PX
from photonest.cracks.search import Candidate, View, candidates, view
from photonest.cracks.traces import each_once, traced
from tests.bench.crack_faces import JUDGED, face_spec
from tests.bench.cracked import cracked, mirrored
from tests.bench.cracks import DrawnScene, Scene, Truth, scene, seen_squarely, truths
from tests.bench.fitting import kept, logistic

Vector = NDArray[np.float64]
TOLERANCE = 0.008  # of the diameter: a candidate runs along a crack within this
SAME_DISC = {"logend_douglas_origC07c": "dfC07c", "half_douglas_dfD06c": "dfD06c"}
FIRST_DRAWN = 5_000_000  # neither the network's training nor any bench draws these
DECAY, OUTLIERS_PCT = 1e-3, 0.5
KINDS = "drawn", "drawn into", "real", "real, in part"
WEIGHTS = 0.15, 0.5, 0.25, 0.1  # what each kind of photo counts for; most cracks of the last alone are marked
CALIBRATING = 0.25, 0.25, 0.5, 0.0  # the same where the judge's word is held against what is true


@dataclass(frozen=True, eq=False)
class Examples:
    """Candidates: cues (n, k), share of each along a true crack, length over D, disc, kind of photo, and whether told.

    Of lines that run along each other one is told.
    """

    cues: Vector
    crack: Vector
    length: Vector
    disc: NDArray[np.str_]
    kind: NDArray[np.str_]
    told: NDArray[np.bool_]

    def __getitem__(self, which: NDArray[np.bool_]) -> Examples:
        return Examples(**{name: value[which] for name, value in vars(self).items()})


Row = tuple[Evidence, float, float, str, str, bool]


def disc_of(truth: Truth) -> str:
    """Return a name that all photos of one disc share."""
    stem = str(truth["file"]).rsplit(".", 1)[0]
    return SAME_DISC.get(stem, stem.rsplit("_", 1)[-1])


def rows_of(here: Scene, cracks: list[Any], unsure: list[Any], disc: str, kind: str, rest: bool) -> Iterator[Row]:
    """Yield the candidates of a photo; `cracks` and `unsure` are shapes in its pixels, grown by the tolerance.

    Candidates along unsure shapes are left out; those along nothing too unless `rest`.
    """
    from shapely.geometry import LineString, Polygon
    from shapely.ops import unary_union

    seen = view(here.flat, here.outline)
    found = candidates(seen, here.pith)
    true, doubt = (unary_union(shapes) if shapes else Polygon() for shapes in (cracks, unsure))
    cues_of = evidence(found, seen, here.pith)
    for one, cues, told in zip(found, cues_of, told_once(found, cues_of, seen), strict=True):
        line = LineString(here.flat.to_px(seen.full.to_mm(one.profile.path)))
        share = line.intersection(true).length / line.length
        if share < 0.5 and (not rest or line.intersection(doubt).length > 0.3 * line.length):
            continue
        yield cues, share, one.profile.length * seen.full.mm_per_px / seen.diameter, disc, kind, told


def told_once(found: Sequence[Candidate], cues: Sequence[Evidence], seen: View) -> list[bool]:
    """Return which of the candidates the finder would tell, those that run along a better one left out."""
    across = seen.diameter
    traces = [
        traced(seen.full.to_mm(one.profile.path), one.profile.width, 1 / (1 + np.exp(-cue.likely)), False,
               SPACING * across, None)
        for one, cue in zip(found, cues, strict=True)
    ]  # fmt: skip
    kept = {id(trace) for trace in each_once(traces, SAME * across, APART * across)}
    return [id(trace) in kept for trace in traces]


def wrong_rows(here: Scene, wrong: list[Any], disc: str, kind: str) -> Iterator[Row]:
    """Yield the candidates along lines that are known to be none."""
    if wrong:
        for cues, share, length, *rest in rows_of(here, wrong, [], disc, kind, rest=False):
            if share > 0.7:
                yield cues, 0.0, length, *rest  # type: ignore[misc]


def annotated(truth: Truth, factor: float = 1.0, mirror_about: float | None = None) -> tuple[list[Any], ...]:
    """Return cracks, ambiguous places and distractors as shapes in pixels of the photo mirrored and reduced."""
    from shapely.affinity import scale
    from shapely.geometry import LineString, Polygon

    reach = TOLERANCE * truth["diameter_px"]
    cracks = [LineString(c["points"]).buffer(reach) for c in truth["cracks_px"]]
    unsure = [
        Polygon(a["polygon"]) if "polygon" in a else LineString(a["points"]).buffer(2.5 * reach)
        for a in truth["ambiguous_px"]
    ]
    wrong = [LineString(d["points"]).buffer(reach) for d in truth["distractors_px"] if len(d.get("points", [])) > 1]

    def placed(shapes: list[Any]) -> list[Any]:
        if mirror_about is not None:
            shapes = [scale(shape, -1, 1, origin=(mirror_about, 0)) for shape in shapes]
        return [scale(shape, factor, factor, origin=(0, 0)) for shape in shapes]

    return placed(cracks), placed(unsure), placed(wrong)


def real_rows(truth: Truth, here: Scene) -> Iterator[Row]:
    """Yield the candidates of an annotated photo as it is."""
    cracks, unsure, wrong = annotated(truth)
    if truth["cracks_exhaustive"]:
        yield from rows_of(here, cracks, unsure, disc_of(truth), "real", rest=True)
    else:
        yield from rows_of(here, cracks, unsure, disc_of(truth), "real, in part", rest=False)
        yield from wrong_rows(here, wrong, disc_of(truth), "real, in part")


def cracked_rows(truth: Truth, here: Scene, seed: int) -> Iterator[Row]:
    """Yield the candidates of a photo with more lines drawn into it."""
    from shapely.geometry import LineString

    mirror = seed % 2 == 1
    made = cracked(mirrored(here) if mirror else here, seed)
    if seed % 4 == 2:
        made = replace(made, scene=replace(made.scene, pith=None))
    middle = (here.flat.pixels.shape[1] - 1) / 2 if mirror else None
    cracks, unsure, _ = annotated(truth, made.factor, middle)
    reach = max(2.0, TOLERANCE * made.factor * truth["diameter_px"])
    drawn, others = ([LineString(path).buffer(reach) for path in paths] for paths in (made.cracks, made.others))
    yield from rows_of(made.scene, [*cracks, *drawn], unsure, disc_of(truth), "drawn into", truth["cracks_exhaustive"])
    if not truth["cracks_exhaustive"]:
        yield from wrong_rows(made.scene, others, disc_of(truth), "drawn into")


def drawn_face(seed: int) -> DrawnScene:
    """Return a wholly drawn photo of the sort the network is trained on, three in ten of them softer."""
    import cv2

    from tests.drawn import draw

    rng = np.random.default_rng(seed)
    drawn = seen_squarely(draw(face_spec(seed, rng, JUDGED)))
    if rng.random() < 0.3:
        flat = drawn.scene.flat
        soft = float(np.exp(rng.uniform(np.log(0.4), np.log(3.0)))) * drawn.diameter / flat.mm_per_px / DIAMETER_PX
        pixels = np.asarray(cv2.GaussianBlur(flat.pixels, (0, 0), soft), np.uint8)
        pixels.setflags(write=False)
        drawn = replace(drawn, scene=replace(drawn.scene, flat=replace(flat, pixels=pixels)))
    return drawn


def drawn_rows(seed: int, drawn: DrawnScene) -> Iterator[Row]:
    """Yield the candidates of a wholly drawn photo; of one in six the pith is not known."""
    from shapely.geometry import LineString

    here = drawn.scene
    if here.pith is not None:  # as far off as finders are
        x, y = here.pith.point + np.random.default_rng(seed).normal(0, 0.002, 2) * drawn.diameter
        here = replace(here, pith=replace(here.pith, point=(float(x), float(y))) if seed % 6 else None)
    reach = max(2.0, TOLERANCE * drawn.diameter / drawn.scene.flat.mm_per_px)
    cracks = [LineString(here.flat.to_px(path)).buffer(reach) for path in drawn.cracks]
    yield from rows_of(here, cracks, [], f"drawn {seed % 10}", "drawn", rest=True)


def photo_rows(number: int, variant: int) -> list[Row]:
    """Return the candidates of an annotated photo: as it is for variant -1, else with lines drawn into it."""
    truth = truths()[number]
    here = scene(truth)
    return list(real_rows(truth, here) if variant < 0 else cracked_rows(truth, here, 1000 * number + variant))


def drawn_row_list(seed: int) -> list[Row]:
    """Return the candidates of a wholly drawn photo; none where the seed gives no face."""
    try:
        return list(drawn_rows(seed, drawn_face(seed)))
    except ValueError:
        return []


def gather(variants: int, drawn: int) -> Examples:
    """Return the examples of all photos at hand, and of drawn ones."""
    photos = list(itertools.product(range(len(truths())), range(-1, variants)))
    with ProcessPoolExecutor() as pool:
        of_drawn = pool.map(drawn_row_list, range(FIRST_DRAWN, FIRST_DRAWN + drawn))
        of_photos = pool.map(photo_rows, *zip(*photos, strict=True)) if photos else ()
        rows = [row for part in itertools.chain(of_photos, of_drawn) for row in part]
    print(f"{len(rows)} examples", flush=True)
    cues, crack, length, disc, kind, told = zip(*rows, strict=True)
    names = np.array(disc), np.array(kind)
    return Examples(np.array(cues, float), np.array(crack), np.array(length), *names, np.array(told))


def weight_of(examples: Examples, shares: Sequence[float], counted: NDArray[np.bool_] | None = None) -> Vector:
    """Return how much each example counts: long ones more, all of a kind of photo together as its share says."""
    weight = np.sqrt(examples.length) * (1.0 if counted is None else counted)
    for kind, share in zip(KINDS, shares, strict=True):
        here = examples.kind == kind
        weight[here] *= share / max(weight[here].sum(), 1e-9)
    return np.asarray(weight)


def fitted(examples: Examples) -> judge.Judge:
    """Return the judge that fits the examples best."""
    return logistic(examples.cues, examples.crack, weight_of(examples, WEIGHTS), DECAY, OUTLIERS_PCT)


def left_out(examples: Examples) -> Vector:
    """Return for each example the likelihood by a judge that never saw its disc."""
    sure = np.zeros(len(examples.crack))
    for disc in np.unique(examples.disc):
        out = examples.disc == disc
        sure[out] = judge.likelihoods(fitted(examples[~out]), examples.cues[out])
    return sure


def calibrated(own: judge.Judge, examples: Examples, sure: Vector) -> judge.Judge:
    """Return a judge whose log odds are stretched and shifted to what is true of `sure`.

    These are likelihoods by judges fitted alike that never saw the example's disc (Platt 1999). Only what would be told
    counts: a true crack has many candidates, a false line few.
    """
    weight = weight_of(examples, CALIBRATING, examples.told)
    line = logistic(np.log(sure / (1 - sure))[:, None], examples.crack, weight, 0.0, 0.0)
    slope = float(line.weight[0])
    return replace(own, weight=own.weight * slope, shift=own.shift * slope + line.shift)


def report(examples: Examples, sure: Vector) -> None:
    """Print how well unseen discs are judged."""
    crack, length = examples.crack, examples.length
    print("unseen disc          wrong length (D)       cracks  share kept")
    print("                   seen  possible too       (D)   seen  possible too")
    for disc in np.unique(examples.disc):
        for kind in KINDS:
            here = (examples.disc == disc) & (examples.kind == kind)
            wrong, right = here & (crack < 0.3), here & (crack > 0.7)
            if not here.any():
                continue
            seen, possible = sure > 0.5, sure > 0.2
            total = length[right].sum()
            kept = [length[right & m].sum() / total if total else float("nan") for m in (seen, possible)]
            print(
                f"{disc:10} {kind:13} {length[wrong & seen].sum():6.2f} {length[wrong & possible].sum():6.2f}"
                f"   {total:8.2f} {kept[0]:6.2f} {kept[1]:6.2f}"
            )
    print("said    true  (count), all and real photos alone")
    for low in np.arange(0, 1, 0.1):
        line = f"{low:.1f}-{low + 0.1:.1f}"
        for part in (np.ones(len(crack), bool), examples.kind == "real"):
            which = part & (sure >= low) & (sure < low + 0.1 + 1e-9)
            if which.any():
                line += f"   {sure[which].mean():.2f} {crack[which].mean():.2f} ({which.sum()})"
        print(line)


def main() -> None:
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variants", type=int, default=2, help="pictures drawn into each photo")
    parser.add_argument("--drawn", type=int, default=90, help="wholly drawn photos")
    parser.add_argument("--keep", type=Path, help="write the examples here, or read them if it exists")
    parser.add_argument("--write", action="store_true", help="write the judge that the package ships")
    asked = parser.parse_args()
    cv2.setNumThreads(1)  # and so in the processes forked from here
    examples = Examples(**kept(asked.keep, lambda: vars(gather(asked.variants, asked.drawn))))
    sure = left_out(examples)
    report(examples, sure)
    if asked.write:
        judge.save(calibrated(fitted(examples), examples, sure), judge.FILE)
        print(f"written: {judge.FILE.name}, {judge.FILE.stat().st_size} bytes")


if __name__ == "__main__":
    main()
