"""The pipeline with finders of known answers, and with hostile ones."""

import math
from dataclasses import replace

import numpy as np
import pytest

from photonest.asking import Choices
from photonest.model import (
    Face,
    OutlineError,
    Photo,
    PluginError,
    ScaleError,
    dump_json,
    face_from_document,
    face_to_document,
)
from photonest.photo import frozen_pixels
from photonest.pipeline import measure
from photonest.rectify import photo_to_mm
from photonest.registry import Listing, Registry
from tests.drawn import draw, random_spec

FAKES = "tests.plugins.fakes"
GOOD: dict[str, list[str]] = {
    "scale": ["TenthScale"],
    "outline": ["SquareOutline"],
    "pith": ["CornerPith"],
    "cracks": ["OneCrack"],
}


def photo(width: int = 1000, height: int = 900) -> Photo:
    pixels = np.full((height, width, 3), 120, np.uint8)
    return Photo(frozen_pixels(pixels), "plank.jpg", "0" * 64)


def registry(**stages: list[str]) -> Registry:
    """Finders by class; the first of each stage is named fake, the next fake2 ... and asked in that order."""
    listings = []
    for stage, classes in {**GOOD, **stages}.items():
        for place, cls in enumerate(classes):
            listings.append(Listing(stage, "fake", "tests", f"{FAKES}:{cls}", place))  # type: ignore[arg-type]
    return Registry(listings)


class Chain(Registry):
    """A registry whose finders may share a name."""

    def load(self, stage):  # type: ignore[no-untyped-def]
        from photonest.registry import Finder, load_finder

        loaded = [load_finder(listing) for listing in self.listings(stage)]
        finders = [replace(f, priority=i) for i, f in enumerate(loaded) if isinstance(f, Finder)]
        return tuple(finders), tuple(f for f in loaded if not isinstance(f, Finder))


def chain(**stages: list[str]) -> Chain:
    listings = []
    for stage, classes in {**GOOD, **stages}.items():
        listings += [Listing(stage, "fake", f"tests {n}", f"{FAKES}:{c}", n) for n, c in enumerate(classes)]  # type: ignore[arg-type]
    return Chain(listings)


def outcomes(face: Face, stage: str) -> list[str]:
    return [attempt.outcome for attempt in face.provenance if attempt.stage == stage]


def test_a_square_of_known_size() -> None:
    face = measure(photo(), registry())
    assert face.size.area == pytest.approx(80.0**2)
    assert face.size.max_diameter == pytest.approx(80 * math.sqrt(2))
    assert face.size.min_diameter == pytest.approx(80)
    assert face.size.pith_offset == pytest.approx(10)
    assert face.size.eccentricity_pct == pytest.approx(100 * 10 / math.sqrt(4 * 6400 / math.pi))
    assert face.size.inscribed_circle.radius == pytest.approx(40, abs=0.1)
    assert [crack.id for crack in face.cracks] == ["c1"]
    assert face.pith is not None and face.pith.inside


def test_the_origin_is_the_centroid_and_pixels_map_to_it() -> None:
    small = {("outline", "fake"): {"half_width_mm": 20.0}}
    face = measure(photo(), registry(), Choices(at_px=(300.0, 420.0), settings=small, cracks="none"))
    matrix = np.asarray(face.scale.px_to_mm)
    assert matrix @ [300, 420, 1] == pytest.approx([0, 0, 1])


def test_references_that_disagree_are_told_by_what_the_face_measures_by_each() -> None:
    face = measure(photo(), chain(scale=["TenthScale", "EighthScale"]))
    (text,) = [text for text in face.warnings if "disagree" in text]
    size = face.size.mean_diameter
    assert f"{size:.1f} mm across by the board" in text
    assert f"{0.8 * size:.1f} mm by the other" in text
    # half of the difference, ln 0.8
    assert face.scale.standard_error_pct == pytest.approx(100 * math.log(1.25) / 2, rel=1e-3)
    read = face_from_document(face_to_document(face))
    assert read.scale.others[0].kind == "fake"
    assert read.scale.others[0].size_ratio == pytest.approx(0.8, rel=1e-6)


def test_what_lies_among_markers_is_wood() -> None:
    drawn = draw(random_spec(122_001, reference="markers-around", difficulty="easy", megapixels=0.7))
    face = measure(Photo(frozen_pixels(drawn.pixels), "drawn.jpg", "0" * 64), Registry.installed())
    assert face.scale.kind == "markers"
    assert face.size.mean_diameter == pytest.approx(drawn.truth.diameter_mm, rel=0.01)
    assert face.pith is not None
    assert drawn.truth.pith_mm is not None
    pith = photo_to_mm(face.scale, drawn.truth.mm_to_px([drawn.truth.pith_mm]))[0]
    assert math.dist(face.pith.point, pith) < 0.02 * drawn.truth.diameter_mm


def test_calipers_go_by_the_outline() -> None:
    """The square's widest place is its diagonal, 80 sqrt(2) mm by the rough scale."""
    finders = Registry(
        [
            Listing("scale", "known-diameter", "tests", f"{FAKES}:CaliperScale"),
            *(Listing(s, "fake", "tests", f"{FAKES}:{GOOD[s][0]}") for s in ("outline", "pith", "cracks")),
        ]
    )
    told = Choices(settings={("scale", "known-diameter"): {"diameter_mm": 150.0}})
    face = measure(photo(), finders, told)
    tilt = (80 * math.sqrt(2) / math.sqrt(4 / math.pi * 80**2) - 1) / 2
    assert face.scale.mm_per_px == pytest.approx(0.1 * 150 / (80 * math.sqrt(2)) * (1 + tilt), rel=1e-3)
    (unsure,) = [text for text in face.warnings if "Lengths are known to" in text]
    assert f"{face.scale.standard_error_pct:.1f} %" in unsure  # what the outline settled, not the 0.1 % before it


def test_a_turned_scale_is_put_upright() -> None:
    matrix = np.asarray(measure(photo(), registry(scale=["TurnedScale"])).scale.px_to_mm)
    assert matrix[:2, :2] / matrix[2, 2] == pytest.approx(np.eye(2) * 0.1, abs=1e-12)


def test_a_mirrored_photo_is_refused() -> None:
    with pytest.raises(ScaleError, match="mirrored"):
        measure(photo(), registry(scale=["MirroredScale"]), Choices(scale="fake"))


def test_the_same_photo_gives_the_same_file() -> None:
    first, second = (dump_json(face_to_document(measure(photo(), registry()))) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("hostile", ["Raises", "Leaves", "BowTie", "OutsideFrame", "WrongType", "ChangesTheArray"])
def test_a_hostile_outline_finder_is_passed_over_and_named(hostile: str) -> None:
    face = measure(photo(), chain(outline=[hostile, "SquareOutline"]))
    assert outcomes(face, "outline") in (["failed", "found"], ["refused", "found"])
    assert face.size.area == pytest.approx(6400)
    assert any("passed over" in warning for warning in face.warnings)


@pytest.mark.parametrize("hostile", ["NanPith", "NegativePith", "Raises"])
def test_a_nonsense_pith_is_not_believed(hostile: str) -> None:
    face = measure(photo(), chain(pith=[hostile]))
    assert face.pith is None
    assert any("Pith not found" in warning for warning in face.warnings)


def test_a_finder_asked_for_by_name_fails_aloud() -> None:
    with pytest.raises(PluginError, match="ValueError: made to fail"):
        measure(photo(), registry(outline=["Raises"]), Choices(outline="fake"))


def test_noise_stays_off_stdout(capfd: pytest.CaptureFixture[str]) -> None:
    measure(photo(), registry(outline=["Noisy"]))
    captured = capfd.readouterr()
    assert captured.out == ""
    assert "noise from the process" in captured.err


def test_abstaining_finders_give_their_reason_and_hint() -> None:
    with pytest.raises(OutlineError, match=r"nothing to see.*Look elsewhere"):
        measure(photo(), registry(outline=["Abstains"]))


def test_what_is_seen_but_spoiled_is_told_alone() -> None:
    with pytest.raises(ScaleError) as spoiled:
        measure(photo(), chain(scale=["AbsentScale", "BentScale"]))
    assert str(spoiled.value.message) == "No scale found (fake: the board is bent)."
    assert spoiled.value.hint == "Lay the board flat."
    with pytest.raises(ScaleError, match="seen or told of") as absent:
        measure(photo(), chain(scale=["AbsentScale"]))
    assert absent.value.hint == "Lay a board down."


def test_the_same_crack_from_two_finders_is_kept_once() -> None:
    face = measure(photo(), chain(cracks=["OneCrack", "SameCrackAgain"]))
    assert [crack.confidence for crack in face.cracks] == [0.4, 0.9]
    assert face.cracks[0].length == pytest.approx(15.0)


def test_an_aim_outside_the_photo_is_refused() -> None:
    with pytest.raises(OutlineError, match="outside the photo"):
        measure(photo(), registry(), Choices(at_px=(5000.0, 10.0)))


def test_pith_and_cracks_can_be_left_out() -> None:
    face = measure(photo(), registry(), Choices(pith="none", cracks="none"))
    assert face.pith is None
    assert face.cracks == ()
