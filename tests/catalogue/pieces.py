"""Pieces for a catalogue: invented faces with photos that are only bytes."""

from __future__ import annotations

import dataclasses
import hashlib

from photonest.catalogue.entries import Details, Entry
from photonest.catalogue.store import Catalogue
from photonest.model import Circle, Face
from tests.model.examples import whole_face

THUMBNAIL = b"a small picture"


def photo(number: int) -> bytes:
    return f"photo number {number}".encode()


def face_of(content: bytes, file: str = "elm.jpg", clear: float | None = 100.0) -> Face:
    """Return a face that was measured in a photo."""
    face = whole_face()
    circle = None if clear is None else Circle((0.0, 0.0), clear)
    return dataclasses.replace(
        face,
        photo=dataclasses.replace(face.photo, sha256=hashlib.sha256(content).hexdigest(), file=file),
        size=dataclasses.replace(face.size, clear_circle=circle),
    )


def add(catalogue: Catalogue, number: int = 1, details: Details | None = None, clear: float | None = 100.0) -> Entry:
    content = photo(number)
    face = face_of(content, f"piece-{number}.jpg", clear)
    return catalogue.add(content, face, THUMBNAIL, details or Details(thickness=90.0))
