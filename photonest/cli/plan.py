"""``photonest plan``: from a photo or a face file to a nest of bowls."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import replace as replace_fields
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from photonest.cli.common import (
    AsJson,
    OutFolder,
    Replace,
    measured,
    output_folder,
    photo_of,
    say,
    say_warnings,
    show,
    stage_progress,
    write_results,
)
from photonest.cli.marker_sheet import Paper
from photonest.cli.measuring import Measuring, with_measuring_options

if TYPE_CHECKING:
    from photonest.model import Face, Photo, Plan, Shop, Stock
    from photonest.pipeline import Choices
    from photonest.report.book import Paper as PaperSize
    from photonest.report.units import Units as UnitName
    from photonest.wood.dry_plan import BlankGrain
    from photonest.wood.species import Species

_FILES = ("face.json", "face.png", "plan.json", "plan.png", "setup.pdf")


class StockKind(StrEnum):
    """Kinds of stock."""

    LOG = "log"
    SLICE = "slice"
    BLANK = "blank"


class Units(StrEnum):
    """Units that papers show."""

    MM = "mm"
    INCH = "inch"


ShopFile = Annotated[
    Path | None, typer.Option("--shop", metavar="FILE", help="Your workshop's figures; photonest shop init writes one.")
]
SpeciesName = Annotated[
    str | None, typer.Option("--species", metavar="NAME", help="The wood, so that walls allow for its drying.")
]


@with_measuring_options
def plan(
    source: Annotated[Path, typer.Argument(metavar="PHOTO|face.json", help="A photo, or a face already measured.")],
    stock: Annotated[StockKind, typer.Option(help="The piece: a log, an end-grain slice, or a side-grain blank.")],
    measuring: Measuring,
    thickness: Annotated[float | None, typer.Option(metavar="MM", help="Of a slice or blank.")] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Of a log.")] = None,
    shop: ShopFile = None,
    species: SpeciesName = None,
    moisture: Annotated[float, typer.Option(metavar="PERCENT", help="At which the bowls are turned again.")] = 8.0,
    grain_direction: Annotated[
        float | None,
        typer.Option(metavar="DEGREES", help="Of the grain on a blank's face, from right towards down; else read off."),
    ] = None,
    pith_depth: Annotated[
        float | None,
        typer.Option(metavar="MM", help="How deep below a blank's face the pith ran; negative in front of it."),
    ] = None,
    through_pith: Annotated[
        bool, typer.Option("--through-pith", help="Let bowls hold the pith: they may split.")
    ] = False,
    photo: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="The photo of a face.json, where it is not at hand.")
    ] = None,
    paper: Annotated[Paper, typer.Option(help="The paper of set-up sheet and templates.")] = Paper.A4,
    units: Annotated[Units, typer.Option(help="Millimetres, or inches in sixteenths beside them.")] = Units.MM,
    out: OutFolder = None,
    replace: Replace = False,
    json: AsJson = False,
) -> None:
    """Plan the largest nest of bowls that is safe to cut from a piece.

    Writes face.json and face.png, plan.json and plan.png, setup.pdf (the sheet for the lathe) and full-size templates.
    """
    from photonest.model import Shop, Stock, StockError, dump_json, face_to_document, plan_to_document
    from photonest.model.shopfile import read_shop
    from photonest.model.values import FieldError
    from photonest.wood.dry_plan import BlankGrain

    try:
        piece = Stock(kind=stock.value, thickness=thickness, length=length, through_pith=through_pith)
    except FieldError as error:
        raise StockError(f"The {error}.", f"Give --{error.name} in mm.") from error
    workshop = read_shop(shop) if shop is not None else Shop()
    wood = _wood(species, moisture, piece, workshop, BlankGrain(grain_direction, pith_depth))
    chosen = measuring.choices()
    folder = output_folder(out, _named_after(source), _FILES, replace=replace)
    picture, face = _face(source, photo, chosen, folder)
    face_text = dump_json(face_to_document(face))

    with stage_progress() as progress:
        progress("planning the nest")
        if wood is not None and picture is not None and piece.kind == "blank":
            wood = replace_fields(wood, grain=_grain(picture, face, wood.grain))
        made = _planned(face, face_text, piece, workshop, wood)
        plan_text = dump_json(plan_to_document(made))
        progress("drawing")
        files = {"face.json": face_text.encode(), "plan.json": plan_text.encode()}
        files |= _drawn(picture, face, made, wood, "A4" if paper is Paper.A4 else "Letter", units.value)
    write_results(folder, files)
    say_warnings([*face.warnings, *made.warnings])
    say(f"Wrote {', '.join(sorted(files))} in {folder}.")
    show(plan_text.rstrip() if json else describe_plan(made))


@dataclass(frozen=True)
class _Wood:
    """The species, the moisture its bowls are turned again at, and the rough wall that needs."""

    species: Species
    moisture: float
    wall_need: Callable[[float], float]
    grain: BlankGrain


def _wood(name: str | None, moisture: float, piece: Stock, workshop: Shop, grain: BlankGrain) -> _Wood | None:
    if name is None:
        return None
    from photonest.wood.allowance import wall_need
    from photonest.wood.moisture import shrink_of
    from photonest.wood.species import find_species, load_species, own_species_file

    own = own_species_file()
    species = find_species(name, load_species(own if own.exists() else None))
    shrink = shrink_of(species, moisture)
    return _Wood(species, moisture, wall_need(shrink, piece.kind, workshop.finished_wall), grain)


def _grain(picture: Photo, face: Face, known: BlankGrain) -> BlankGrain:
    """Return how the wood lies in a blank: what the user knows, else the grain's direction as the photo shows it."""
    if known.direction is not None:
        return known
    from photonest.model import NotFound
    from photonest.rectify import flatten, mm_to_photo
    from photonest.wood.grain import grain_direction

    x, y = mm_to_photo(face.scale, [(0.0, 0.0)])[0]
    seen = grain_direction(flatten(picture, face.scale, (float(x), float(y))), face.outline)
    return known if isinstance(seen, NotFound) else replace_fields(known, direction=seen.degrees)


def _planned(face: Face, face_text: str, piece: Stock, workshop: Shop, wood: _Wood | None) -> Plan:
    """Return a plan that passed its independent check."""
    from photonest.model import FaceFacts, UnsafePlanError
    from photonest.nest import check_plan, plan_nest
    from photonest.wood.allowance import RULE_ALONE
    from photonest.wood.dry_plan import fill_after_drying

    facts = FaceFacts("face.json", hashlib.sha256(face_text.encode()).hexdigest())
    need = wood.wall_need if wood is not None else None
    made = plan_nest(face, piece, workshop, wall_need=need, facts=facts)
    faults = check_plan(face, made, need)
    if faults:
        listed = "; ".join(f"{fault.where}: {fault.message}" for fault in faults)
        raise UnsafePlanError(
            f"The plan failed its independent check and was not written: {listed}.",
            "Don't cut by it. Tell the makers of photonest, with the photo.",
        )
    if wood is None:
        return replace_fields(made, warnings=(*made.warnings, RULE_ALONE))
    return fill_after_drying(made, face, wood.species, wood.moisture, wood.grain)


def _drawn(
    picture: Photo | None, face: Face, made: Plan, wood: _Wood | None, paper: PaperSize, units: UnitName
) -> dict[str, bytes]:
    from photonest.report import face_picture, plan_picture, setup_sheet, templates

    need = wood.wall_need if wood is not None else None
    files = {
        "plan.png": plan_picture(picture, face, made),
        "setup.pdf": setup_sheet(picture, face, made, paper=paper, units=units, wall_need=need),
        **templates(face, made, paper, units=units, wall_need=need),
    }
    return files if picture is None else {**files, "face.png": face_picture(picture, face)}


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
