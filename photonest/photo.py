"""Reads a photo: JPEG, PNG, TIFF, WebP or HEIC, of 0.3 to 100 megapixels, as it is meant to be seen."""

from __future__ import annotations

import hashlib
import io
import os
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo, PhotoError, framed

if TYPE_CHECKING:
    from PIL.Image import Image

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
LEAST_MEGAPIXELS = 0.3
MOST_MEGAPIXELS = 100.0
MOST_BYTES = 600_000_000
_FORMATS_IN_WORDS = "JPEG, PNG, TIFF, WebP or HEIC"
_DIAGONAL_35MM = 43.267  # of the 36 x 24 mm frame that equivalent focal lengths refer to


def read_photo(path: Path) -> Photo:
    """Return the photo in a file.

    The size is checked before anything is decoded, so that a small file can't unfold into a huge picture.

    Raises
    ------
    PhotoError
        If there is no such file, or it isn't a whole photo of a known kind, or its size is out of range.
    """
    content = _content(path)
    image = _opened(content, path.name)
    _check_size(image.width, image.height, path.name)
    focal_px = _focal_px(image)
    pixels, grey = _decoded(image, path.name)
    return Photo(pixels, _name(path), hashlib.sha256(content).hexdigest(), grey, focal_px)


def frozen_pixels(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a copy of an array that nobody can make writeable again."""
    return np.frombuffer(pixels.tobytes(), dtype=np.uint8).reshape(pixels.shape)


def _name(path: Path) -> str:
    """Return a file's name as text: results name it, and letters in another encoding than UTF-8 are no text."""
    return os.fsencode(path.name).decode("utf-8", "replace")


def _content(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise PhotoError(
                f"{path.name} is {size / 1e6:.0f} MB large.", f"Give a photo under {MOST_BYTES / 1e6:.0f} MB."
            )
        return path.read_bytes()
    except IsADirectoryError as error:
        raise PhotoError(f"{path} is a folder.", "Give the photo's file.") from error
    except OSError as error:
        raise PhotoError(f"{path} can't be read: {error.strerror}.", "Check the name and the folder.") from error


def _opened(content: bytes, name: str) -> Image:
    import PIL.Image
    import pillow_heif
    from PIL import JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin  # noqa: F401

    pillow_heif.register_heif_opener()
    if not content:
        raise PhotoError(f"{name} is empty.", "Copy it from the camera again.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its own limits on size are replaced by ours
            return PIL.Image.open(io.BytesIO(content), formats=FORMATS)
    except PIL.Image.DecompressionBombError as error:
        raise PhotoError(
            f"{name} unfolds into more than {MOST_MEGAPIXELS:.0f} megapixels.",
            "Give the photo as the camera took it.",
        ) from error
    except Exception as error:  # decoders raise many kinds of errors on hostile files
        raise PhotoError(
            f"{name} is not a photo this program reads, whatever its name ends in.",
            f"Give a {_FORMATS_IN_WORDS} file.",
        ) from error


def _check_size(width: int, height: int, name: str) -> None:
    megapixels = width * height / 1e6
    if megapixels > MOST_MEGAPIXELS:
        raise PhotoError(
            f"{name} has {megapixels:.0f} megapixels ({width} x {height}); {MOST_MEGAPIXELS:.0f} is the most.",
            "Make it smaller, or take it again at a normal size.",
        )
    if megapixels < LEAST_MEGAPIXELS:
        raise PhotoError(
            f"{name} has only {megapixels:.2f} megapixels ({width} x {height}); {LEAST_MEGAPIXELS} is the least.",
            "Take it again at the camera's full size, not as a preview.",
        )
    if min(width, height) < 240:
        raise PhotoError(f"{name} is only {min(width, height)} pixels wide or high.", "Take it again, uncropped.")


def _decoded(image: Image, name: str) -> tuple[NDArray[np.uint8], bool]:
    from PIL import ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # broken metadata must not stop a good picture
            image.load()
            image = ImageOps.exif_transpose(image)
            image = _to_srgb(image)
            grey = image.mode in ("1", "L", "LA", "I", "F") or image.mode.startswith("I;16")
            pixels = np.asarray(_eight_bits(image).convert("RGB"))
    except Exception as error:  # decoders raise many kinds of errors on truncated files
        raise PhotoError(
            f"{name} is damaged or incomplete: {error}.", "Copy it from the camera again, or take it again."
        ) from error
    if not grey:
        sample = pixels[::7, ::7].astype(np.int16)
        grey = bool((sample.max(axis=2) - sample.min(axis=2)).max() <= 2)
    return frozen_pixels(pixels), grey


def _to_srgb(image: Image) -> Image:
    """Colours as the file's own profile means them; a profile that can't be used is passed over."""
    from PIL import ImageCms

    profile = image.info.get("icc_profile")
    if not profile or image.mode not in ("RGB", "CMYK"):
        return image
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if "sRGB" in ImageCms.getProfileDescription(source):
            return image
        converted = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError):
        return image
    return converted if converted is not None else image


def _eight_bits(image: Image) -> Image:
    """Sixteen-bit and floating grey scaled to eight bits; transparent parts laid on white."""
    import PIL.Image

    if image.mode in ("I", "F") or image.mode.startswith("I;16"):
        values = np.nan_to_num(np.asarray(image).astype(float))
        top = 65535.0 if image.mode.startswith("I") and values.max() > 255 else max(float(values.max()), 1.0)
        return PIL.Image.fromarray((np.clip(values / top, 0, 1) * 255).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        ground = PIL.Image.new("RGBA", image.size, "white")
        return PIL.Image.alpha_composite(ground, image)
    return image


def _focal_px(image: Image) -> float | None:
    """Focal length in pixels from the 35 mm equivalent, which cameras reckon by the diagonal (CIPA DCG-001).

    Of a cropped photo, whose file mostly keeps what the whole one's said, the diagonal isn't known.
    """
    if not framed(image.width, image.height):
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            details: Any = image.getexif().get_ifd(0x8769)
        equivalent = float(details.get(0xA405) or 0.0)
    except Exception:  # metadata are written by all sorts of programs; without them the camera is unknown
        return None
    if not 8.0 <= equivalent <= 2000.0:
        return None
    return float(equivalent / _DIAGONAL_35MM * np.hypot(image.width, image.height))
