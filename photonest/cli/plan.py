"""``photonest plan``: from a photo or a face file to a nest of bowls."""

from __future__ import annotations

import hashlib
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from photonest.cli.common import (
    AsJson,
    At,
    CracksName,
    MmPerPx,
    OutFolder,
    OutlineName,
    PithName,
    Replace,
    ScaleName,
    Settings,
    choices,
    measured,
    output_folder,
    photo_of,
    say,
    say_warnings,
    show,
    stage_progress,
    write_results,
)

if TYPE_CHECKING:
    from photonest.model import Face, Photo, Plan
    from photonest.pipeline import Choices

_FILES = ("face.json", "face.png", "plan.json", "plan.png")


class StockKind(StrEnum):
    """Kinds of stock."""

    LOG = "log"
    SLICE = "slice"
    BLANK = "blank"


def plan(
    source: Annotated[Path, typer.Argument(metavar="PHOTO|face.json", help="A photo, or a face already measured.")],
    stock: Annotated[StockKind, typer.Option(help="The piece: a log, an end-grain slice, or a side-grain blank.")],
    thickness: Annotated[float | None, typer.Option(metavar="MM", help="Of a slice or blank.")] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Of a log.")] = None,
    through_pith: Annotated[
        bool, typer.Option("--through-pith", help="Let bowls hold the pith: they may split.")
    ] = False,
    photo: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="The photo of a face.json, where it is not beside it.")
    ] = None,
    scale: ScaleName = "auto",
    mm_per_px: MmPerPx = None,
    outline: OutlineName = "auto",
    pith: PithName = "auto",
    cracks: CracksName = "auto",
    at: At = None,
    settings: Settings = None,
    out: OutFolder = None,
    replace: Replace = False,
    json: AsJson = False,
) -> None:
    """Plan the largest nest of bowls that is safe to cut from a piece.

    Writes face.json and face.png (unless a face was given), plan.json and plan.png.
    """
    from photonest.model import (
        FaceFacts,
        Shop,
        Stock,
        StockError,
        UnsafePlanError,
        dump_json,
        face_to_document,
        plan_to_document,
    )
    from photonest.model.values import FieldError

    try:
        piece = Stock(kind=stock.value, thickness=thickness, length=length, through_pith=through_pith)
    except FieldError as error:
        raise StockError(f"The {error}.", f"Give --{error.name} in mm.") from error
    chosen = choices(
        scale=scale, outline=outline, pith=pith, cracks=cracks, at=at, mm_per_px=mm_per_px, settings=settings
    )
    folder = output_folder(out, _named_after(source), _FILES, replace=replace)
    picture, face = _face(source, photo, chosen, folder)
    face_text = dump_json(face_to_document(face))

    from photonest.nest import check_plan, plan_nest
    from photonest.report import face_picture, plan_picture

    with stage_progress() as progress:
        progress("planning the nest")
        facts = FaceFacts("face.json", hashlib.sha256(face_text.encode()).hexdigest())
        made = plan_nest(face, piece, Shop(), facts=facts)
        faults = check_plan(face, made)
    if faults:
        listed = "; ".join(str(fault) for fault in faults)
        raise UnsafePlanError(f"The plan failed its independent check and was not written: {listed}.", "Report this.")
    plan_text = dump_json(plan_to_document(made))
    files = {"face.json": face_text.encode(), "plan.json": plan_text.encode()}
    if picture is not None:
        files["face.png"] = face_picture(picture, face)
    files["plan.png"] = plan_picture(picture, face, made)
    write_results(folder, files)
    say_warnings([*face.warnings, *made.warnings])
    say(f"Wrote {', '.join(str(folder / name) for name in sorted(files))}.")
    show(plan_text.rstrip() if json else describe_plan(made))


def _named_after(source: Path) -> Path:
    """Return what the results are named after: of a face.json its folder, of a photo itself."""
    return Path(source.resolve().parent.name) if source.suffix == ".json" else source


def _face(source: Path, photo: Path | None, chosen: Choices, folder: Path) -> tuple[Photo | None, Face]:
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


def describe_plan(plan: Plan) -> str:
    """Return a plan in a few lines."""
    lines = [
        f"{plan.score.bowls} bowls, rim diameters {plan.score.total_rim_diameter:.0f} mm in all "
        f"(at most {plan.bound.gap_pct:.1f} % below what any plan could reach)"
    ]
    for nest in plan.nests:
        x, y, _ = nest.axis.point
        lines.append(f"Axis at {x:.1f}, {y:.1f} mm from the centre of the outline")
        for bowl in nest.bowls:
            lines.append(
                f"  bowl {bowl.number}: rim {bowl.rim_diameter:.1f}, depth {bowl.depth:.1f}, wall {bowl.wall_min:.1f}, "
                f"base {bowl.base_min:.1f}, foot {bowl.foot_diameter:.1f} mm, {bowl.capacity_ml / 1000:.2f} l"
            )
            lines += [f"    limited by {reason}" for reason in bowl.binds]
        for cut in nest.cuts:
            lines.append(
                f"  cut {cut.number}: {cut.cutter}, pivot {-cut.pivot[1]:.1f} in front, {cut.pivot[0]:+.1f} across, "
                f"entry radius {cut.entry_radius:.1f}, depth {cut.axis_depth:.1f} mm, "
                f"start {cut.start_rpm:.0f}, at most {cut.top_rpm:.0f} rpm"
            )
    return "\n".join(lines)
