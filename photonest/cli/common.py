"""What the commands share: options, reading what they are given, writing what they make."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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


def say(text: str) -> None:
    """Print a line for the person, on stderr."""
    print(text, file=sys.stderr)  # noqa: T201


def show(text: str) -> None:
    """Print a result on stdout."""
    print(text)  # noqa: T201


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
    from photonest.model import read_face
    from photonest.photo import read_photo
    from photonest.pipeline import measure
    from photonest.registry import Registry

    with stage_progress() as progress:
        progress("reading the photo")
        photo = read_photo(path)
        earlier = read_face(folder / "face.json") if (folder / "face.json").exists() else None
        marks = hand_marks(earlier) if earlier is not None and earlier.photo.sha256 == photo.sha256 else None
        return photo, measure(photo, Registry.installed(), chosen, marks, progress)


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
    if source.suffix.lower() != ".json":
        return measured(source, chosen, folder)
    from photonest.model import PhotoError, read_face
    from photonest.photo import read_photo

    face = read_face(source)
    picture = read_photo(photo) if photo is not None else photo_of(face, source)
    if picture is None:
        say(f"The photo {face.photo.file} is not at hand: pictures are drawn without it (or give --photo).")
    elif picture.sha256 != face.photo.sha256:
        raise PhotoError(f"{photo} is not the photo that {source.name} was measured in.", "Give the right --photo.")
    return picture, face


def named_after(source: Path) -> Path:
    """Return what the results are named after: of a face.json its folder, of a photo itself."""
    return Path(source.resolve().parent.name) if source.suffix == ".json" else source


def output_folder(out: Path | None, source: Path, names: Sequence[str], *, replace: bool) -> Path:
    """Return where results go, before anything is worked out; refuse to overwrite unless asked.

    The default folder is named after the photo, beside where the command runs.
    """
    from photonest.model import OutputError

    folder = out if out is not None else Path(source.stem)
    there = [name for name in names if (folder / name).exists()]
    if there and not replace:
        raise OutputError(
            f"{folder} already holds {', '.join(there)}.", "Give another folder with --out, or --replace to overwrite."
        )
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file, not a folder.", "Give a folder with --out.")
    return folder


def write_results(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write result files, each in one piece."""
    from photonest.model import OutputError, write_whole

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder} can't be made: {error.strerror}.", "Give another folder with --out.") from error
    for name, content in files.items():
        write_whole(folder / name, content)


def say_warnings(warnings: Iterable[str]) -> None:
    """Print warnings on stderr."""
    for warning in warnings:
        say(f"Warning: {warning}")
