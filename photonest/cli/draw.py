"""``photonest draw``: pictures, set-up sheet and templates of a plan made before."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Annotated

import typer

from photonest.cli.common import AsSvg, OutFolder, Replace, output_folder, picture_of, remove_stale, say, write_results
from photonest.cli.marker_sheet import Paper
from photonest.cli.plan import PLAN_DRAWINGS, Units, drawn


def draw(
    file: Annotated[Path, typer.Argument(metavar="plan.json", help="A plan, with its face.json beside it.")],
    face: Annotated[Path | None, typer.Option(metavar="face.json", help="The face, where it is elsewhere.")] = None,
    photo: Annotated[Path | None, typer.Option(metavar="PHOTO", help="The photo, where it is not at hand.")] = None,
    paper: Annotated[Paper, typer.Option(help="The paper of set-up sheet and templates.")] = Paper.A4,
    units: Annotated[Units, typer.Option(help="Millimetres, or inches in sixteenths beside them.")] = Units.MM,
    svg: AsSvg = False,
    out: OutFolder = None,
    replace: Replace = False,
) -> None:
    """Draw a plan again: on other paper, in other units, or without its photo.

    A plan that fails the independent check is never drawn.
    """
    from photonest.model import DocumentError, read_face, read_plan

    made = read_plan(file)
    beside = face if face is not None else file.parent / "face.json"
    measured = read_face(beside)
    if made.face.sha256 and hashlib.sha256(beside.read_bytes()).hexdigest() != made.face.sha256:
        raise DocumentError(
            f"{beside} is not the face that {file.name} was made for, or was changed since.",
            "Plan again, or give the right --face.",
        )
    own = out is None or out.resolve() == beside.resolve().parent  # where face.png is the same face's picture
    names = ("setup.pdf", "plan.png", *(("plan.svg",) if svg else ()), *(() if own else ("face.png", "face.svg")))
    folder = output_folder(out if out is not None else file.parent, file, names, replace=replace)
    picture = picture_of(measured, beside, photo)
    files = drawn(picture, measured, made, None, paper, units, svg=svg)
    write_results(folder, files)
    remove_stale(folder, files, PLAN_DRAWINGS)
    say(f"Wrote {', '.join(sorted(files))} in {folder}.")
