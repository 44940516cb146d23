"""Adding many photos: measured side by side, entered one by one, so that it can be cut off and run again."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from photonest.asking import Choices
from photonest.catalogue.entries import Details, Entry
from photonest.catalogue.files import make_thumbnail
from photonest.catalogue.store import Catalogue, check_details
from photonest.model import CatalogueError, Face, PhotonestError

ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"})


@dataclass(frozen=True)
class Measured:
    """A photo measured."""

    path: Path
    face: Face
    thumbnail: bytes


@dataclass(frozen=True)
class Failed:
    """A photo that could not be measured, and why."""

    path: Path
    reason: str


@dataclass(frozen=True)
class Batch:
    """What became of many photos.

    Attributes
    ----------
    added : tuple of Entry
    known : tuple of Path
        Already there, or the same as another of the batch.
    failed : tuple of Failed
    warnings : mapping of str to tuple of str
        By code: what the measurements warn of.
    """

    added: tuple[Entry, ...]
    known: tuple[Path, ...]
    failed: tuple[Failed, ...]
    warnings: dict[str, tuple[str, ...]]


def photos_in(folder: Path) -> list[Path]:
    """Return the photos in a folder and those inside it, by name; hidden files and other kinds are passed over."""
    found = (path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS and path.is_file())
    return sorted(path for path in found if not any(part.startswith(".") for part in path.relative_to(folder).parts))


def measure_photo(path: Path, choices: Choices | None = None) -> Measured | Failed:
    """Return a photo measured, or why it could not be: nothing is raised, so that a batch goes on."""
    import cv2

    from photonest.photo import read_photo
    from photonest.pipeline import measure
    from photonest.registry import Registry

    cv2.setNumThreads(1)  # the photos are what runs side by side
    try:
        photo = read_photo(path)
        return Measured(path, measure(photo, Registry.installed(), choices), make_thumbnail(photo))
    except PhotonestError as error:
        return Failed(path, str(error))
    except Exception as error:
        return Failed(path, f"photonest failed on it: {type(error).__name__}: {error}")


def add_photos(
    catalogue: Catalogue,
    paths: Sequence[Path],
    details: Details,
    choices: Choices | None = None,
    *,
    jobs: int = -1,
    measure: Callable[[Path, Choices | None], Measured | Failed] = measure_photo,
    progress: Callable[[Path], None] = lambda _: None,
) -> Batch:
    """Measure photos side by side and enter each as soon as it is done.

    Parameters
    ----------
    catalogue : Catalogue
    paths : sequence of Path
    details : Details
        Told of all of them.
    choices : Choices, optional
        How they are measured.
    jobs : int
        How many run at once; -1 for one a core. A backend set with ``joblib.parallel_config`` is used.
    measure : callable
        What measures one.
    progress : callable
        Told each photo that is done with.

    Raises
    ------
    CatalogueError
        If what is told can't be kept, before anything is measured, or the catalogue can't be written.
    """
    added: list[Entry] = []
    failed: list[Failed] = []
    warnings: dict[str, tuple[str, ...]] = {}
    check_details(details)  # before the long work
    fresh, known, unread = _fresh(paths, catalogue.photo_hashes(withdrawn=False))
    for path in known:
        progress(path)
    for failure in unread:
        failed.append(failure)
        progress(failure.path)
    for outcome in _side_by_side(measure, fresh, choices, jobs):
        entered = _enter(catalogue, outcome, details) if isinstance(outcome, Measured) else outcome
        if isinstance(entered, Failed):
            failed.append(entered)
        else:
            added.append(entered)
            if isinstance(outcome, Measured) and outcome.face.warnings:
                warnings[entered.code] = outcome.face.warnings
        progress(outcome.path)
    return Batch(tuple(added), tuple(known), tuple(sorted(failed, key=lambda f: f.path)), warnings)


def _enter(catalogue: Catalogue, measured: Measured, details: Details) -> Entry | Failed:
    """Return the entry of a photo measured, or why it could not be entered: one lost or changed stops no others."""
    try:
        content = measured.path.read_bytes()
    except OSError as error:
        return Failed(measured.path, f"It can't be read: {error.strerror}.")
    if hashlib.sha256(content).hexdigest() != measured.face.photo.sha256:
        return Failed(measured.path, "It changed while it was measured: add it again.")
    return catalogue.add(content, measured.face, measured.thumbnail, details)


def _fresh(paths: Iterable[Path], there: set[str]) -> tuple[list[Path], list[Path], list[Failed]]:
    """Return the photos to measure, those already known, and those that can't be read."""
    fresh: list[Path] = []
    known: list[Path] = []
    unread: list[Failed] = []
    seen = set(there)
    for path in paths:
        try:
            with path.open("rb") as file:
                sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            unread.append(Failed(path, f"It can't be read: {error.strerror}."))
            continue
        (known if sha256 in seen else fresh).append(path)
        seen.add(sha256)
    return fresh, known, unread


def _side_by_side(
    measure: Callable[[Path, Choices | None], Measured | Failed],
    paths: Sequence[Path],
    choices: Choices | None,
    jobs: int,
) -> Iterator[Measured | Failed]:
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    if len(paths) <= 1:
        yield from (measure(path, choices) for path in paths)
        return
    parallel = Parallel(n_jobs=jobs, return_as="generator_unordered", batch_size=1)
    try:
        yield from parallel(delayed(measure)(path, choices) for path in paths)
    except TerminatedWorkerError as error:
        raise CatalogueError(
            "A measuring process was stopped from outside, perhaps for want of memory.",
            "Run it again with --jobs 1; what was added stays.",
        ) from error
