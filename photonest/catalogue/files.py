"""Photos and their thumbnails, kept by content hash beside the database."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from photonest.model import CatalogueError, Photo, write_whole

THUMBNAIL_PX = 320
THUMBNAIL_END = ".thumb.jpg"
ORPHAN_AGE_S = 3600
"""A file younger than this may belong to an entry about to be written."""


class PhotoStore:
    """A folder of files named after the SHA-256 of the photo: ``ab/abcdef....jpg`` and ``ab/abcdef....thumb.jpg``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def photo(self, sha256: str, file: str) -> Path:
        """Return where a photo lies; the file's ending is kept."""
        return self.folder / sha256[:2] / f"{sha256}{Path(file).suffix.lower()}"

    def thumbnail(self, sha256: str) -> Path:
        """Return where a photo's thumbnail lies."""
        return self.folder / sha256[:2] / f"{sha256}{THUMBNAIL_END}"

    def keep(self, content: bytes, file: str, thumbnail: bytes) -> str:
        """Store a photo and its thumbnail for good, and return the photo's hash.

        When this returns, both are on the disk, folders included: a row that names them may be written.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        place = self.photo(sha256, file)
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            there = place.is_file() and place.read_bytes() == content
            if there:
                os.utime(place)  # left by an add that was cut off: young again, so that no cleaning takes it now
        except OSError as error:
            raise CatalogueError(
                f"{place} can't be kept: {error.strerror}.", "Make room, or mend its rights."
            ) from error
        if not there:
            write_whole(place, content)
        write_whole(self.thumbnail(sha256), thumbnail)
        for folder in (place.parent, self.folder, self.folder.parent):
            _sync_folder(folder)
        return sha256

    def trouble(self, sha256: str, file: str) -> str | None:
        """Return what is wrong with a photo's files, or None."""
        place = self.photo(sha256, file)
        if not place.is_file():
            return f"the photo {place.name} is missing"
        try:
            content = place.read_bytes()
        except OSError as error:
            return f"the photo {place.name} can't be read: {error.strerror}"
        if hashlib.sha256(content).hexdigest() != sha256:
            return f"the photo {place.name} is not what it was"
        if not self.thumbnail(sha256).is_file():
            return f"the thumbnail of {place.name} is missing"
        return None

    def orphans(self, known: set[str]) -> Iterator[Path]:
        """Yield files that no entry names and no running program can still be about to name."""
        if not self.folder.is_dir():
            return
        before = time.time() - ORPHAN_AGE_S
        for path in sorted(self.folder.glob("*/*")):
            sha256 = path.name.lstrip(".").split(".")[0]
            whole = not path.name.startswith(".")  # what was being written when the power went begins with a dot
            if path.is_file() and not (whole and sha256 in known) and path.stat().st_mtime < before:
                yield path


def make_thumbnail(photo: Photo) -> bytes:
    """Return a small upright JPEG of a photo."""
    import io

    from PIL import Image

    picture = Image.fromarray(photo.pixels)
    picture.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=82)
    return out.getvalue()


def _sync_folder(folder: Path) -> None:
    """Make a folder's list of names safe against a power cut, where the system can."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(descriptor)
    except OSError:
        return
    finally:
        os.close(descriptor)
