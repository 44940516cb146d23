"""``photonest plan``: from a photo or a face file to a nest of bowls."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from photonest.cli.bundles import expanding
from photonest.cli.common import (
    AsJson,
    AsSvg,
    OutFolder,
    Replace,
    a_number,
    face_and_photo,
    is_face_file,
    output_folder,
    parsed_point,
    remove_stale,
    say,
    say_warnings,
    show,
    stage_progress,
    usual_folder,
    write_results,
)
from photonest.cli.marker_sheet import Paper
from photonest.cli.measuring import Measuring
from photonest.cli.piece import Piece, Wood
from photonest.cli.words import describe_plan

if TYPE_CHECKING:
    from photonest.model import Face, Photo, Plan, Shop, Stock

_FILES = ("face.json", "face.png", "plan.json", "plan.png", "setup.pdf")
PLAN_DRAWINGS = r"template-(half-\d+-)?(face|outside|inside|cut-\d+)\.(pdf|svg)|plan\.svg"
FACE_DRAWINGS = r"face\.(png|svg)"
_WISHES = "What you want"


class Units(StrEnum):
    """Units that papers show."""

    MM = "mm"
    INCH = "inch"


class Best(StrEnum):
    """What makes a plan the best."""

    BOWLS = "bowls"
    CAPACITY = "capacity"
    VALUE = "value"


@dataclass(frozen=True)
class Wishes:
    """What a person wants of the plan."""

    best: Annotated[
        Best,
        typer.Option(
            help="Most bowls and then the largest; the most they hold; or the most by your price list.",
            rich_help_panel=_WISHES,
        ),
    ] = Best.BOWLS
    bowls: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Just so many bowls.", rich_help_panel=_WISHES)
    ] = None
    want: Annotated[
        str | None,
        typer.Option(metavar="MM,MM,...", help="Rim diameters that must be among them.", rich_help_panel=_WISHES),
    ] = None
    keep_axis: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y",
            help="Turn on this axis, mm from the middle of the face; a log's axes cross that point.",
            rich_help_panel=_WISHES,
        ),
    ] = None
    rip: Annotated[
        float | None,
        typer.Option(
            metavar="DEGREES",
            help="Rip a log in this direction: the line's angle to the photo's horizontal, counted as on paper.",
            rich_help_panel=_WISHES,
        ),
    ] = None
    cutters: Annotated[
        str | None,
        typer.Option(metavar="NAME,...", help="Cut with these of your cutters alone.", rich_help_panel=_WISHES),
    ] = None
    gap: Annotated[
        float,
        typer.Option(
            metavar="PERCENT",
            min=0,
            callback=a_number,
            help="Stop when no plan can be better by more.",
            rich_help_panel=_WISHES,
        ),
    ] = 1.0
    seconds: Annotated[
        float,
        typer.Option(metavar="S", min=0, callback=a_number, help="Stop after so long.", rich_help_panel=_WISHES),
    ] = 60.0

    def asked(self) -> dict[str, Any]:
        """Return these as the planner takes them."""
        return {
            "objective": self.best.value,
            "bowls": self.bowls,
            "want": _diameters(self.want) if self.want else None,
            "keep_axis": parsed_point(self.keep_axis, "--keep-axis"),
            "rip": self.rip,
            "gap_pct": self.gap,
            "seconds": self.seconds,
        }

    def in_shop(self, shop: Shop) -> Shop:
        """Return the workshop with the cutters that are to be used; raise ShopError for one that it has not."""
        from photonest.model import ShopError

        if self.cutters is None:
            return shop
        names = [name.strip() for name in self.cutters.split(",") if name.strip()]
        owned = [cutter.name for cutter in shop.cutters]
        if not names:
            raise ShopError("No cutter is named.", f"The workshop has {', '.join(owned)}.")
        if strange := [name for name in names if name not in owned]:
            raise ShopError(f"The workshop has no cutter called {' or '.join(strange)}.", f"It has {', '.join(owned)}.")
        return replace(shop, cutters=tuple(cutter for cutter in shop.cutters if cutter.name in names))


@expanding(piece=Piece, wishes=Wishes, measuring=Measuring)
def plan(
    source: Annotated[Path, typer.Argument(metavar="PHOTO|face.json", help="A photo, or a face already measured.")],
    piece: Piece,
    wishes: Wishes,
    measuring: Measuring,
    photo: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="The photo of a face.json, where it is not at hand.")
    ] = None,
    paper: Annotated[Paper, typer.Option(help="The paper of set-up sheet and templates.")] = Paper.A4,
    units: Annotated[Units, typer.Option(help="Millimetres, or inches in sixteenths beside them.")] = Units.MM,
    out: OutFolder = None,
    replace: Replace = False,
    svg: AsSvg = False,
    json: AsJson = False,
) -> None:
    """Plan the largest nest of bowls that is safe to cut from a piece.

    Writes face.json and face.png, plan.json and plan.png, setup.pdf (the sheet for the lathe) and full-size templates.
    """
    from photonest.face_warnings import that_matter
    from photonest.model import dump_json, face_to_document, plan_to_document

    if photo is not None and not is_face_file(source):
        raise typer.BadParameter("the photo is given already; it is for a face.json.", param_hint="--photo")
    stock, shop = piece.made_stock(), wishes.in_shop(piece.made_shop())
    wood = piece.made_wood(stock, shop)
    asked = wishes.asked()
    chosen = measuring.choices()
    folder = output_folder(out, source, _to_be_new(source, out or usual_folder(source), svg=svg), replace=replace)
    picture, face = face_and_photo(source, photo, chosen, folder)
    face_text = dump_json(face_to_document(face))

    with stage_progress() as progress:
        progress("planning the nest")
        if wood is not None:
            wood = wood.as_photographed(picture, face, stock)
        made = planned(face, face_text, stock, shop, wood, asked)
        plan_text = dump_json(plan_to_document(made))
        progress("drawing")
        files = {"face.json": face_text.encode(), "plan.json": plan_text.encode()}
        files |= drawn(picture, face, made, wood, paper, units, svg=svg)
    beside = folder / "face.json"
    same_face = beside.exists() and beside.read_bytes() == files["face.json"]
    write_results(folder, files)
    remove_stale(folder, files, PLAN_DRAWINGS if same_face else f"{PLAN_DRAWINGS}|{FACE_DRAWINGS}")
    say_warnings(dict.fromkeys([*that_matter(face.warnings, stock.kind), *made.warnings]))
    say(f"Wrote {', '.join(sorted(files))} in {folder}.")
    show(plan_text.rstrip() if json else describe_plan(made))


def _to_be_new(source: Path, folder: Path, *, svg: bool = False) -> Sequence[str]:
    """Return the files that must not be there yet; a face that is planned where it lies is its own, as its picture."""
    at_home = is_face_file(source) and source.resolve() == (folder / "face.json").resolve()
    names = (*_FILES, "face.svg", "plan.svg") if svg else _FILES
    return [name for name in names if not (at_home and name.startswith("face."))]


def planned(face: Face, face_text: str, stock: Stock, shop: Shop, wood: Wood | None, asked: dict[str, Any]) -> Plan:
    """Return a plan that passed its independent check; raise UnsafePlanError for one that did not."""
    from photonest.model import FaceFacts, UnsafePlanError
    from photonest.nest import check_plan, plan_nest
    from photonest.wood.allowance import RULE_ALONE
    from photonest.wood.dry_plan import fill_after_drying

    facts = FaceFacts("face.json", hashlib.sha256(face_text.encode()).hexdigest())
    need = _need(wood)
    made = plan_nest(face, stock, shop, wall_need=need, facts=facts, **asked)
    faults = check_plan(face, made, need)
    if faults:
        listed = "; ".join(f"{fault.where}: {fault.message}" for fault in faults)
        raise UnsafePlanError(
            f"The plan failed its independent check and was not written: {listed}.",
            "Don't cut by it. Tell the makers of photonest, with the photo.",
        )
    if wood is None:
        return replace(made, warnings=(*made.warnings, RULE_ALONE))
    dried = fill_after_drying(made, face, wood.species, wood.moisture, wood.grain)
    return replace(dried, warnings=(*dried.warnings, *wood.warnings))


def _need(wood: Wood | None) -> Callable[[float], float] | None:
    return wood.wall_need if wood is not None else None


def drawn(
    picture: Photo | None, face: Face, made: Plan, wood: Wood | None, paper: Paper, units: Units, *, svg: bool = False
) -> dict[str, bytes]:
    """Return pictures, set-up sheet and templates of a plan, by file name."""
    from photonest.report import face_picture, plan_picture, setup_sheet, templates

    need, size = _need(wood), paper.size
    unit: Literal["mm", "inch"] = "inch" if units is Units.INCH else "mm"
    files = {
        "setup.pdf": setup_sheet(picture, face, made, paper=size, units=unit, wall_need=need),
        **templates(face, made, size, units=unit, wall_need=need),
    }
    formats: tuple[Literal["png", "svg"], ...] = ("png", "svg") if svg else ("png",)
    for form in formats:
        files[f"plan.{form}"] = plan_picture(picture, face, made, format=form, units=unit)
        if picture is not None:
            files[f"face.{form}"] = face_picture(picture, face, format=form, units=unit)
    return files


def _diameters(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a list like 300,220,150.", param_hint="--want") from None
