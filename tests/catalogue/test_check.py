"""The check finds every kind of damage, and cleans only what is nobody's."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from photonest.catalogue.check import check_catalogue
from photonest.catalogue.store import Catalogue
from photonest.model import CatalogueError
from tests.catalogue.pieces import THUMBNAIL, add


def forbidden(_: Path, **__: object) -> bytes:
    raise PermissionError(13, "Permission denied")


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return Catalogue(str(tmp_path / "yard.sqlite"), make=True)


def test_all_is_well(catalogue: Catalogue) -> None:
    add(catalogue, 1)
    add(catalogue, 2)
    found = check_catalogue(catalogue)
    assert (found.entries, found.damage, found.orphans) == (2, (), ())


def test_every_damage_is_found(catalogue: Catalogue) -> None:
    missing, changed, small = (add(catalogue, number) for number in range(3))
    photos = catalogue.photos
    photos.photo(missing.photo_sha256, missing.photo_file).unlink()
    photos.photo(changed.photo_sha256, changed.photo_file).write_bytes(b"something else")
    photos.thumbnail(small.photo_sha256).unlink()
    told = check_catalogue(catalogue).damage
    assert len(told) == 3
    assert any(text.startswith(missing.code) and "is missing" in text for text in told)
    assert any(text.startswith(changed.code) and "not what it was" in text for text in told)
    assert any(text.startswith(small.code) and "thumbnail" in text for text in told)


def test_a_photo_that_cant_be_read_is_damage(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    add(catalogue)

    monkeypatch.setattr(Path, "read_bytes", forbidden)
    (told,) = check_catalogue(catalogue).damage
    assert "can't be read: Permission denied" in told


def test_only_old_orphans_are_cleaned(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = add(catalogue, 1)
    sha256 = catalogue.photos.keep(b"cut off before the entry", "x.jpg", THUMBNAIL)
    young = catalogue.photos.photo(sha256, "x.jpg")
    half = young.with_name(f".{young.name}.k3j4")
    half.write_bytes(b"half")
    assert check_catalogue(catalogue, clean=True).orphans == ()  # perhaps an add is under way
    before = time.time() - 7200
    for path in young.parent.iterdir():
        os.utime(path, (before, before))
    os.utime(catalogue.photos.photo(kept.photo_sha256, kept.photo_file), (before, before))
    assert set(check_catalogue(catalogue).orphans) == {young, catalogue.photos.thumbnail(sha256), half}
    assert young.exists()
    with monkeypatch.context() as read_only:
        read_only.setattr(Path, "unlink", forbidden)
        assert check_catalogue(catalogue, clean=True).cleaned == 0
    assert check_catalogue(catalogue, clean=True).cleaned == 3
    assert not young.exists()
    assert check_catalogue(catalogue).damage == ()


def test_an_orphan_taken_up_again_is_young(catalogue: Catalogue) -> None:
    sha256 = catalogue.photos.keep(b"cut off", "x.jpg", THUMBNAIL)
    place = catalogue.photos.photo(sha256, "x.jpg")
    os.utime(place, (0, 0))
    catalogue.photos.keep(b"cut off", "x.jpg", THUMBNAIL)
    assert list(catalogue.photos.orphans(set())) == []


def test_a_photo_left_behind_in_a_folder_that_cant_be_written_is_told_of(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    catalogue.photos.keep(b"cut off", "x.jpg", THUMBNAIL)
    monkeypatch.setattr(os, "utime", forbidden)
    with pytest.raises(CatalogueError, match="can't be kept: Permission denied"):
        catalogue.photos.keep(b"cut off", "x.jpg", THUMBNAIL)
