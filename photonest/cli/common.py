"""What the commands share: options, reading what they are given, writing what they make."""

from __future__ import annotations

import contextlib
import errno
import json
import math
import os
import re
import sys
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from photonest.asking import Choices
    from photonest.model import Face, Photo

PhotoPath = Annotated[Path, typer.Argument(metavar="PHOTO", help="JPEG, PNG, TIFF, WebP or HEIC file.")]
OutFolder = Annotated[
    Path | None,
    typer.Option("--out", metavar="FOLDER", help="Where to write; by default a folder named after the photo."),
]
Replace = Annotated[bool, typer.Option("--replace", help="Overwrite results that are already there.")]
AsSvg = Annotated[bool, typer.Option("--svg", help="Write the pictures as SVG as well.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result document, and nothing else, on stdout.")]


def a_number(value: float | None) -> float | None:
    """Return what an option gives; refuse nan, which no limit of an option's range holds back."""
    if value is not None and math.isnan(value):
        raise typer.BadParameter("nan is not a number.")
    return value


def say(text: str) -> None:
    """Print a line for the person, on stderr."""
    print(text, file=sys.stderr)  # noqa: T201


def show(text: str) -> None:
    """Print a result on stdout."""
    try:
        print(text, flush=True)  # noqa: T201
    except OSError as error:
        if error.errno == errno.EPIPE:  # the reader has seen enough
            raise
        from photonest.model import OutputError

        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nor is the rest tried once more at the end
        raise OutputError(
            f"The result can't be written: {error.strerror}.", "Make room there, or print it elsewhere."
        ) from error


@contextlib.contextmanager
def stage_progress() -> Iterator[Callable[[str], None]]:
    """Give a function that shows the stage under way, on stderr and only when that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True).status("") as status:
        yield lambda stage: status.update(f"looking for the {stage}" if stage in _SOUGHT else stage)


_SOUGHT = ("scale", "outline", "pith", "cracks")


def parsed_point(text: str | None, option: str) -> tuple[float, float] | None:
    """Return the point an option gives as ``X,Y``."""
    if text is None:
        return None
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a point: write X,Y as in 1200,800.", param_hint=option) from None
    return x, y


def parsed_settings(texts: Sequence[str]) -> dict[tuple[str, str], dict[str, Any]]:
    """Return finder options given as ``STAGE.NAME.FIELD=VALUE``."""
    settings: dict[tuple[str, str], dict[str, Any]] = {}
    for text in texts:
        path, equals, value = text.partition("=")
        parts = path.split(".")
        if not equals or len(parts) != 3 or not all(parts):
            raise typer.BadParameter(f"{text!r} is not of the form STAGE.NAME.FIELD=VALUE.", param_hint="--set")
        stage, name, field = parts
        try:
            parsed = json.loads(value)
        except json.JSONDecodeError:
            parsed = value
        settings.setdefault((stage, name), {})[field] = parsed
    return settings


def measured(path: Path, chosen: Choices, folder: Path) -> tuple[Photo, Face]:
    """Measure a photo; what a person set in an earlier face of it in the folder is kept."""
    from photonest.marks import hand_marks
    from photonest.photo import read_photo
    from photonest.pipeline import measure
    from photonest.registry import Registry

    with stage_progress() as progress:
        progress("reading the photo")
        photo = read_photo(path)
        earlier = _earlier(folder / "face.json")
        marks = hand_marks(earlier) if earlier is not None and earlier.photo.sha256 == photo.sha256 else None
        face = measure(photo, Registry.installed(), chosen, marks, progress)
    say_warnings(unused_references(face, chosen))
    return photo, face


def _earlier(file: Path) -> Face | None:
    """Return the face measured before, if any; raise DocumentError where it can't be read, rather than lose it."""
    from photonest.model import DocumentError, read_face

    if not file.exists():
        return None
    try:
        return read_face(file)
    except DocumentError as error:
        raise DocumentError(
            f"What was set by hand in {file} can't be kept: {error.message}",
            "Mend that file, or remove it to measure anew, or give another folder with --out.",
        ) from error


def unused_references(face: Face, chosen: Choices) -> list[str]:
    """Return, in words, each reference that a person spoke of and that took no part in the scale, with the reason."""
    asked = {attempt.finder: attempt for attempt in face.provenance if attempt.stage == "scale"}
    told = [finder for stage, finder in chosen.settings if stage == "scale"]
    if any(finder in asked and asked[finder].outcome == "found" for finder in ("marker-sheet", "markers")):
        told = [finder for finder in told if finder not in ("marker-sheet", "markers")]  # --check-line is for both
    unused = []
    for finder in told:
        attempt = asked.get(finder)
        if attempt is None or attempt.outcome != "found":
            why = f"{face.scale.kind} stands alone" if attempt is None else attempt.reason
            unused.append(f"What you said for the reference {finder} was not used: {why}.")
    return unused


def photo_of(face: Face, file: Path) -> Photo | None:
    """Return the photo a face was measured in, where it lies beside the face file or where the command runs."""
    from photonest.model import PhotoError
    from photonest.photo import read_photo

    for folder in (file.parent, file.resolve().parent.parent, Path()):
        candidate = folder / face.photo.file
        if candidate.is_file():
            try:
                photo = read_photo(candidate)
            except PhotoError:
                continue
            if photo.sha256 == face.photo.sha256:
                return photo
    return None


def face_and_photo(source: Path, photo: Path | None, chosen: Choices, folder: Path) -> tuple[Photo | None, Face]:
    """Return the face that a command is given, measured first if it is a photo, and the photo where it is at hand."""
    if not is_face_file(source):
        return measured(source, chosen, folder)
    face = measured_before(source, chosen)
    return picture_of(face, source, photo), face


def is_face_file(source: Path) -> bool:
    """Tell whether a command is given a face already measured instead of a photo."""
    return source.suffix.lower() == ".json"


def measured_before(source: Path, chosen: Choices) -> Face:
    """Return the face in a file; refuse what was said of how to measure it, since it would change nothing."""
    from photonest.asking import Choices
    from photonest.model import read_face

    if chosen != Choices():
        raise typer.BadParameter(
            f"{source.name} is measured already: what is said of its photo and reference would change nothing. "
            "Give the photo instead, or leave that out."
        )
    return read_face(source)


def picture_of(face: Face, file: Path, given: Path | None) -> Photo | None:
    """Return the photo a face was measured in, the one given or where it is at hand; None, and say so, where not.

    Raises
    ------
    PhotoError
        If another photo is given: marks drawn over it would lie in the wrong places.
    """
    from photonest.model import PhotoError
    from photonest.photo import read_photo

    if given is None:
        picture = photo_of(face, file)
        if picture is None:
            say(f"The photo {face.photo.file} is not at hand: pictures are drawn without it (or give --photo).")
        return picture
    picture = read_photo(given)
    if picture.sha256 != face.photo.sha256:
        raise PhotoError(f"{given} is not the photo that {file.name} was measured in.", "Give the right --photo.")
    return picture


def usual_folder(source: Path) -> Path:
    """Return where results go by default, beside where the command runs: named after the photo, or as a face's own."""
    return Path(source.resolve().parent.name if is_face_file(source) else source.stem)


def output_folder(out: Path | None, source: Path, names: Sequence[str], *, replace: bool) -> Path:
    """Return where results go, before anything is worked out; refuse to overwrite unless asked."""
    from photonest.model import OutputError

    folder = out if out is not None else usual_folder(source)
    try:
        there = [name for name in names if (folder / name).exists()]
    except OSError as error:  # a name too long, a folder that may not be entered
        raise OutputError(f"{folder} can't be used: {error.strerror}.", "Give another folder with --out.") from error
    if there and not replace:
        raise OutputError(
            f"{folder} already holds {', '.join(there)}.", "Give another folder with --out, or --replace to overwrite."
        )
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file, not a folder.", "Give a folder with --out.")
    return folder


def refuse_to_overwrite(file: Path, *, replace: bool) -> None:
    """Raise OutputError if a file to be written is there already and may not be replaced."""
    from photonest.model import OutputError

    if file.exists() and not replace:
        raise OutputError(f"{file} is already there.", "Give another name, or --replace to overwrite.")


def write_results(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write result files, all of them or none: the papers of one plan beside another are worse than none."""
    from photonest.model import OutputError, write_together

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder} can't be made: {error.strerror}.", "Give another folder with --out.") from error
    write_together({folder / name: content for name, content in files.items()})


def remove_stale(folder: Path, written: Container[str], drawings: str) -> None:
    """Remove drawings that an earlier run left and this one did not write: one of another nest is worse than none.

    Parameters
    ----------
    drawings : str
        A regular expression of the names that drawings have; other files are nobody's but the person's.
    """
    for old in sorted(folder.iterdir()):
        if old.name not in written and re.fullmatch(drawings, old.name):
            old.unlink()
            say(f"Removed {old.name}: it was drawn of an earlier plan or face.")


def say_warnings(warnings: Iterable[str]) -> None:
    """Print warnings on stderr."""
    for warning in warnings:
        say(f"Warning: {warning}")
