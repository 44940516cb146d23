"""Reading photos: every kind, as it is meant to be seen, and a clear error for everything else."""

import hashlib
import os
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from photonest.model import PhotoError
from photonest.photo import read_photo

WIDTH, HEIGHT = 800, 500


def picture() -> Image.Image:
    """Red at the top left, blue at the bottom right."""
    pixels = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
    pixels[: HEIGHT // 2, : WIDTH // 2] = 220, 30, 30
    pixels[HEIGHT // 2 :, WIDTH // 2 :] = 30, 30, 220
    return Image.fromarray(pixels)


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp", "heic"])
def test_every_kind_of_file_is_read(tmp_path: Path, suffix: str) -> None:
    pillow_heif.register_heif_opener()
    path = tmp_path / f"log.{suffix}"
    picture().save(path)
    photo = read_photo(path)
    assert (photo.width, photo.height) == (WIDTH, HEIGHT)
    assert photo.pixels[100, 100].tolist() == pytest.approx([220, 30, 30], abs=12)
    assert photo.pixels[400, 700].tolist() == pytest.approx([30, 30, 220], abs=12)
    assert photo.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert not photo.grey
    with pytest.raises(ValueError, match="WRITEABLE"):
        photo.pixels.setflags(write=True)


# EXIF 2.3, tag 0x0112: where the first row and column of the stored picture belong; the corner that then shows red
@pytest.mark.parametrize(
    ("orientation", "red"),
    [
        (1, "top left"), (2, "top right"), (3, "bottom right"), (4, "bottom left"),
        (5, "top left"), (6, "top right"), (7, "bottom right"), (8, "bottom left"),
    ],
)  # fmt: skip
def test_the_orientation_is_applied(tmp_path: Path, orientation: int, red: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "turned.jpg"
    picture().save(path, exif=exif, quality=95)
    photo = read_photo(path)
    assert (photo.width, photo.height) == ((WIDTH, HEIGHT) if orientation < 5 else (HEIGHT, WIDTH))
    row = 50 if "top" in red else photo.height - 50
    column = 50 if "left" in red else photo.width - 50
    assert photo.pixels[row, column].tolist() == pytest.approx([220, 30, 30], abs=12)


def test_the_focal_length_comes_from_the_35_mm_equivalent(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    path = tmp_path / "phone.jpg"
    picture().resize((800, 600)).save(path, exif=exif)
    # CIPA DCG-001: by the diagonal, 43.27 mm for the 36 x 24 mm frame
    assert read_photo(path).focal_px == pytest.approx(26 * np.hypot(800, 600) / np.hypot(36, 24), rel=1e-4)
    picture().save(path, exif=exif)  # 8 : 5 is no camera's: whose diagonal the whole photo had isn't known
    assert read_photo(path).focal_px is None


@pytest.mark.parametrize("mode", ["L", "I;16", "1", "P", "RGBA", "LA", "CMYK"])
def test_other_colour_modes_are_read(tmp_path: Path, mode: str) -> None:
    path = tmp_path / ("log.jpg" if mode == "CMYK" else "log.png")
    if mode == "I;16":
        grey = np.asarray(picture().convert("L")).astype(np.uint16) * 257
        Image.fromarray(grey).save(path)
    else:
        picture().convert(mode).save(path)
    photo = read_photo(path)
    assert photo.pixels.shape == (HEIGHT, WIDTH, 3)
    assert photo.grey == (mode in ("L", "I;16", "1", "LA"))
    if mode in ("L", "I;16"):
        assert photo.pixels[100, 100].tolist() == pytest.approx([87] * 3, abs=2)  # ITU-R 601 luma of (220, 30, 30)


def png_header(width: int, height: int) -> bytes:
    """The start of a PNG (ISO/IEC 15948) that unfolds to zeros: a few kilobytes for any size."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes((width // 8 + 1) * min(height, 200)), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_a_bomb_is_refused_before_it_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "zeros.png"
    path.write_bytes(png_header(20_000, 20_000))

    def decoded(*_: Any) -> None:
        raise AssertionError("it was decoded")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", decoded)
    with pytest.raises(PhotoError, match="megapixels"):
        read_photo(path)


@pytest.mark.parametrize("kept", [0.02, 0.5, 0.98])
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp", "heic"])
def test_a_truncated_file_is_refused(tmp_path: Path, suffix: str, kept: float) -> None:
    pillow_heif.register_heif_opener()
    path = tmp_path / f"log.{suffix}"
    noise = np.random.default_rng(1).integers(0, 255, (HEIGHT, WIDTH, 3), np.uint8)
    Image.fromarray(noise).save(path)
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * kept)])
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"dear diary, today I cut an elm", "not a photo"),
        (b"%PDF-1.7\n", "not a photo"),
        (b"GIF89a" + bytes(99), "not a photo"),
    ],
)
def test_disguised_files_are_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "log.jpg"
    path.write_bytes(content)
    with pytest.raises(PhotoError, match=message):
        read_photo(path)


def test_a_name_that_is_no_text_can_be_written_to_a_file_all_the_same(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/elm\xff.png"))  # as an old camera card may name it
    try:
        picture().save(path)
    except OSError:
        pytest.skip("this file system takes names in UTF-8 alone")
    assert read_photo(path).file.encode() == "elm\N{REPLACEMENT CHARACTER}.png".encode()


def test_missing_files_and_folders_are_refused(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="can't be read"):
        read_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoError, match="is a folder"):
        read_photo(tmp_path)


def test_too_small_a_photo_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "preview.png"
    picture().resize((400, 300)).save(path)
    with pytest.raises(PhotoError, match=r"0\.12 megapixels"):
        read_photo(path)
