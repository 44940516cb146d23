"""Batches: a bad photo stops nothing, a second run does no work twice, real photos are measured in other processes."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from PIL import Image

from photonest.asking import Choices
from photonest.catalogue.batch import Failed, Measured, add_photos, measure_photo, photos_in
from photonest.catalogue.entries import Details
from photonest.catalogue.store import Catalogue
from photonest.model import CatalogueError
from tests.catalogue.pieces import THUMBNAIL, face_of


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return Catalogue(str(tmp_path / "yard.sqlite"), make=True)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with mixed files: photos, one twice, a bad one, and what is no photo."""
    folder = tmp_path / "incoming"
    (folder / "monday").mkdir(parents=True)
    (folder / ".hidden").mkdir()
    names = ["b.JPG", "a.png", "monday/c.webp", "bad.jpg", ".hidden/d.jpg", ".e.jpg", "notes.txt", "f.pdf"]
    for name in names:
        (folder / name).write_bytes(name.encode())
    (folder / "z-twin.jpg").write_bytes((folder / "a.png").read_bytes())
    return folder


def invented(path: Path, choices: Choices | None) -> Measured | Failed:
    """Measure nothing: give an invented face, and fail on photos named bad."""
    if path.name.startswith("bad"):
        return Failed(path, "It is a bad photo.")
    return Measured(path, face_of(path.read_bytes(), path.name), THUMBNAIL)


def refuse(path: Path, choices: Choices | None) -> Measured | Failed:
    raise AssertionError(f"{path} was measured again")


def test_photos_are_found_among_mixed_files(folder: Path) -> None:
    names = [path.relative_to(folder).as_posix() for path in photos_in(folder)]
    assert names == ["a.png", "b.JPG", "bad.jpg", "monday/c.webp", "z-twin.jpg"]


def test_a_bad_photo_stops_nothing(catalogue: Catalogue, folder: Path) -> None:
    seen: list[str] = []
    told = Details(species="white ash", place="yard")
    found = add_photos(
        catalogue, photos_in(folder), told, jobs=1, measure=invented, progress=lambda p: seen.append(p.name)
    )
    assert sorted(entry.photo_file for entry in found.added) == ["a.png", "b.JPG", "c.webp"]
    assert [(failure.path.name, failure.reason) for failure in found.failed] == [("bad.jpg", "It is a bad photo.")]
    assert [path.name for path in found.known] == ["z-twin.jpg"]
    assert sorted(seen) == ["a.png", "b.JPG", "bad.jpg", "c.webp", "z-twin.jpg"]
    assert all(entry.species == "white ash" for entry in catalogue.find())
    assert set(found.warnings) == {entry.code for entry in found.added}


def test_a_second_run_measures_nothing_again(catalogue: Catalogue, folder: Path) -> None:
    (folder / "bad.jpg").unlink()
    add_photos(catalogue, photos_in(folder), Details(), jobs=1, measure=invented)
    again = add_photos(catalogue, photos_in(folder), Details(), jobs=1, measure=refuse)
    assert again.added == ()
    assert len(again.known) == 4


def test_what_was_done_before_an_interruption_stays(catalogue: Catalogue, folder: Path) -> None:
    def tired(path: Path) -> None:
        if len(catalogue.find()) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        add_photos(catalogue, photos_in(folder), Details(), jobs=1, measure=invented, progress=tired)
    assert len(catalogue.find()) == 2
    again = add_photos(catalogue, photos_in(folder), Details(), jobs=1, measure=invented)
    assert len(again.added) == 1


def test_a_photo_that_vanishes(catalogue: Catalogue, folder: Path) -> None:
    gone = folder / "gone.jpg"
    found = add_photos(catalogue, [gone], Details(), jobs=1, measure=invented)
    assert "can't be read" in found.failed[0].reason


def test_a_photo_that_changes_meanwhile_stops_no_others(catalogue: Catalogue, folder: Path) -> None:
    def meddling(path: Path, choices: Choices | None) -> Measured | Failed:
        found = invented(path, choices)
        if path.name == "a.png":
            path.write_bytes(b"another")
        return found

    found = add_photos(
        catalogue, [*photos_in(folder / "monday"), folder / "a.png"], Details(), jobs=1, measure=meddling
    )
    assert [failure.path.name for failure in found.failed] == ["a.png"]
    assert [entry.photo_file for entry in found.added] == ["c.webp"]


def test_a_piece_withdrawn_is_added_again(catalogue: Catalogue, folder: Path) -> None:
    (one,) = add_photos(catalogue, [folder / "a.png"], Details(), measure=invented).added
    catalogue.undo(one.code)
    (again,) = add_photos(catalogue, [folder / "a.png"], Details("blank", 80.0), measure=invented).added
    assert (again.code, again.kind, again.thickness, again.withdrawn) == (one.code, "blank", 80.0, False)


@pytest.mark.parametrize("told", [Details(thickness=-3.0), Details(code="no such code!")])
def test_what_cant_be_kept_is_refused_before_anything_is_measured(
    catalogue: Catalogue, folder: Path, told: Details
) -> None:
    with pytest.raises(CatalogueError):
        add_photos(catalogue, [folder / "a.png"], told, measure=refuse)


def test_real_photos_in_two_processes(catalogue: Catalogue, tmp_path: Path) -> None:
    """A photo of the invented yard, made small, measured in a process of its own beside a broken one."""
    fixture = Path(__file__).parents[2] / "fixtures" / "slice_ash.jpg"
    small, broken = tmp_path / "small.jpg", tmp_path / "broken.jpg"
    with Image.open(fixture) as picture:
        picture.resize((800, 600)).save(small, quality=90)
    broken.write_bytes(small.read_bytes()[:5000])
    choices = Choices(pith="none", cracks="none", settings={("scale", "by-hand"): {"mm_per_px": 0.6}})
    found = add_photos(catalogue, [broken, small], Details(), choices, jobs=2)
    assert [failure.path for failure in found.failed] == [broken]
    assert [entry.photo_sha256 for entry in found.added] == [hashlib.sha256(small.read_bytes()).hexdigest()]
    thumbnail = catalogue.photos.thumbnail(found.added[0].photo_sha256).read_bytes()
    with Image.open(io.BytesIO(thumbnail)) as picture:
        assert (picture.format, picture.size) == ("JPEG", (320, 240))


def test_a_defect_of_ours_is_named_and_stops_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("oops")

    monkeypatch.setattr("photonest.photo.read_photo", broken)
    found = measure_photo(tmp_path / "x.jpg")
    assert isinstance(found, Failed)
    assert "photonest failed on it: ZeroDivisionError: oops" in found.reason
