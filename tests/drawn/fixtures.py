"""The photos under fixtures/, drawn: ``python -m tests.drawn.fixtures [FOLDER]`` draws them again.

The yard they are set in, its wood and its numbers are invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.drawn.bench import BenchSpec
from tests.drawn.camera import CameraSpec
from tests.drawn.marks import CrackSpec, MarkSpec
from tests.drawn.references import Item, marker_sheet
from tests.drawn.scene import draw
from tests.drawn.spec import LightSpec, SceneSpec
from tests.drawn.texture import FinishSpec
from tests.drawn.wood import Fold, Knot, WoodSpec

FOLDER = Path(__file__).parents[2] / "fixtures"


def blank_elm() -> SceneSpec:
    """Return a round elm blank for the lathe, 352 mm across and 150 mm thick, its sawn side-grain face up."""
    checks = (
        CrackSpec("radial", 86.0, length=13.0, width=1.1, seed=1),
        CrackSpec("radial", 97.0, length=9.0, width=0.8, seed=2),
        CrackSpec("radial", 268.0, length=15.0, width=1.2, seed=3),
        CrackSpec("radial", 281.0, length=9.0, width=0.8, seed=4),
    )
    return SceneSpec(
        wood=WoodSpec(
            seed=107, look="elm", cut="side", diameter=352.0, ovality=0.004, lobes=0.0015, roughness=0.15, bark=0.0,
            pith=(-150.0, 20.0), pith_depth=48.0, taper=0.05, grain_deg=88.0, ring=4.2, heart=1.6, wobble=1.6,
        ),
        finish=FinishSpec(saw="band", saw_deg=12.0, saw_strength=0.3, saw_pitch=3.0, torn=0.2, dust=0.0,
                          dirt=0.05, blotches=0.15, light_deg=215.0, relief=0.7),
        cracks=checks,
        bench=BenchSpec("planks", 11, (0.66, 0.62, 0.55), 150.0, 4.0, 0.8),
        items=(
            Item("board", (318.0, 6.0), 2.0, 1.2, size=(228.0, 316.0), colour=(0.70, 0.60, 0.47), thick=148.0, seed=3),
            marker_sheet((318.0, 6.0), 2.0),
            Item("label", (-205.0, -190.0), -7.0, 149.0, "ELM 7", (90.0, 52.0), (0.91, 0.89, 0.82), seed=5),
        ),
        light=LightSpec(from_deg=215.0, gradient=0.10, cast=0.55, slant=0.5, soft=14.0),
        camera=CameraSpec(
            width=2016, height=1512, focal_px=1515.0, distance=640.0, aim=(132.0, 2.0), tilt_deg=6.0,
            tilt_axis_deg=65.0, roll_deg=1.2, k1=0.035, k2=-0.02, centre_shift_px=(4.0, -3.0), blur_px=0.6,
            noise=0.006, sharpen=0.3, vignetting=0.12, jpeg_quality=87, exif=True,
        ),
        seed=107,
    )  # fmt: skip


def slice_ash() -> SceneSpec:
    """Return a green ash slice of about 390 mm, its pith well off the middle, with heart, rim and inner checks."""
    return SceneSpec(
        wood=WoodSpec(
            seed=212, look="ash", diameter=378.0, ovality=0.05, lobes=0.018, roughness=0.3, pith=(-62.0, 31.0),
            bark=8.0, bark_missing=0.08, ring=4.0, ring_spread=0.3, heart=0.3, heart_rough=0.05, wobble=0.8,
            knots=(Knot(205.0, 0.8, 13.0),),
        ),
        finish=FinishSpec(saw="disc", saw_deg=200.0, saw_strength=0.35, saw_pitch=3.2, torn=0.35, dust=0.15, dirt=0.2,
                          blotches=0.3, light_deg=300.0, relief=0.8),
        cracks=(
            CrackSpec("heart", 318.0, length=74.0, width=1.3, second_deg=146.0, second_share=0.42, seed=1),
            CrackSpec("radial", 72.0, length=44.0, width=1.1, seed=2),
            CrackSpec("radial", 238.0, length=58.0, width=1.5, bridged=0.12, seed=3),
            CrackSpec("radial", 176.0, 0.45, inward=False, length=30.0, width=0.5, widest="middle", seed=4),
            CrackSpec("radial", 112.0, length=24.0, width=0.5, seed=5),
        ),
        marks=(
            MarkSpec("ink", (96.0, -88.0), (136.0, -104.0), 2.6, (0.12, 0.18, 0.45), 0.85, 1),
            MarkSpec("stain", (-20.0, 96.0), (-4.0, 128.0), 2.4, (0.45, 0.45, 0.48), 0.6, 2),
        ),
        bench=BenchSpec("concrete", 21, (0.52, 0.51, 0.49), 62.0, 0.0, 1.0),
        items=(
            Item("board", (334.0, 4.0), -3.0, 1.2, size=(226.0, 318.0), colour=(0.62, 0.50, 0.38), thick=60.0, seed=4),
            marker_sheet((334.0, 4.0), -3.0),
            Item("log", (-270.0, -240.0), 0.0, 10.0, "", (210.0, 210.0), (0.80, 0.68, 0.50), thick=50.0, seed=6),
        ),
        light=LightSpec(from_deg=300.0, gradient=0.14, cast=0.6, slant=0.6, soft=10.0),
        camera=CameraSpec(
            width=2016, height=1512, focal_px=1515.0, distance=690.0, aim=(124.0, 0.0), tilt_deg=11.0,
            tilt_axis_deg=160.0, roll_deg=-2.0, k1=0.03, k2=-0.015, centre_shift_px=(-3.0, 5.0), blur_px=0.65,
            noise=0.008, sharpen=0.3, vignetting=0.15, jpeg_quality=86, exif=True,
        ),
        seed=212,
    )  # fmt: skip


def log_larch() -> SceneSpec:
    """Return the end of a larch log in the yard, freshly cut by chain, with thick bark and two rim checks."""
    return SceneSpec(
        wood=WoodSpec(
            seed=318, look="larch", diameter=318.0, ovality=0.06, lobes=0.02, roughness=0.4, pith=(14.0, -19.0),
            bark=13.0, ring=2.6, ring_spread=0.3, heart=0.68, heart_rough=0.02, folds=(Fold(128.0, 2.2, 4.0),),
        ),
        finish=FinishSpec(saw="chain", saw_deg=35.0, saw_strength=0.6, saw_pitch=4.5, torn=0.6, dust=0.3,
                          dirt=0.25, blotches=0.2, light_deg=240.0),
        cracks=(
            CrackSpec("heart", 24.0, length=52.0, width=0.9, second_deg=214.0, second_share=0.45, seed=1),
            CrackSpec("radial", 300.0, length=38.0, width=1.0, seed=2),
            CrackSpec("ring", 60.0, 0.55, length=46.0, width=0.5, seed=3),
        ),
        bench=BenchSpec("chips", 31, (0.52, 0.40, 0.29), 120.0, 0.0, 1.0),
        items=(marker_sheet((-298.0, 10.0), 1.5),),
        light=LightSpec(from_deg=240.0, gradient=0.12, cast=0.7, slant=0.5, soft=20.0),
        camera=CameraSpec(
            width=2016, height=1512, focal_px=1515.0, distance=640.0, aim=(-110.0, 4.0), tilt_deg=9.0,
            tilt_axis_deg=20.0, roll_deg=3.0, k1=0.035, k2=-0.02, blur_px=0.6, noise=0.008, sharpen=0.3,
            vignetting=0.12, jpeg_quality=80, exif=True,
        ),
        seed=318,
    )  # fmt: skip


FIXTURES = {"blank_elm": blank_elm, "slice_ash": slice_ash, "log_larch": log_larch}


def main(folder: Path = FOLDER) -> None:
    """Draw every fixture into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, spec in FIXTURES.items():
        path = draw(spec()).save(folder / f"{name}.jpg")
        print(f"{path.name}  {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
