"""The options that every command shares which measures a photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from photonest.cli.common import parsed_point, parsed_settings

if TYPE_CHECKING:
    from photonest.asking import Choices

_REFERENCE = "The reference"


@dataclass(frozen=True)
class Measuring:
    """What a person may say about the photo and how to measure it."""

    scale: Annotated[
        str, typer.Option(metavar="NAME", help="Scale finder to use, or auto.", rich_help_panel=_REFERENCE)
    ] = "auto"
    mm_per_px: Annotated[
        float | None,
        typer.Option(
            metavar="MM", help="Size of a pixel, for a photo from straight above.", rich_help_panel=_REFERENCE
        ),
    ] = None
    check_line: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="The marker sheet's 100 mm line as your ruler reads it, where the printer changed it.",
            rich_help_panel=_REFERENCE,
        ),
    ] = None
    face_above_reference: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="How much higher the face lies than the reference; negative where it lies lower.",
            rich_help_panel=_REFERENCE,
        ),
    ] = None
    paper_size: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Of a white sheet: A3, A4, A5 or Letter.", rich_help_panel=_REFERENCE),
    ] = None
    bar_square: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Side of a square of a chequered bar.", rich_help_panel=_REFERENCE),
    ] = None
    ruler: Annotated[
        str | None,
        typer.Option(
            metavar="TICKS",
            help="Of a ruler: mm, or inch for its 16ths or 32nds.",
            rich_help_panel=_REFERENCE,
        ),
    ] = None
    diameter: Annotated[
        float | None,
        typer.Option(metavar="MM", help="The piece's widest diameter, by calipers.", rich_help_panel=_REFERENCE),
    ] = None
    two_points: Annotated[
        str | None,
        typer.Option(
            metavar='"X,Y X,Y MM"', help="Two pixels of the photo and their distance.", rich_help_panel=_REFERENCE
        ),
    ] = None
    outline: Annotated[str, typer.Option(metavar="NAME", help="Outline finder to use, or auto.")] = "auto"
    pith: Annotated[str, typer.Option(metavar="NAME", help="Pith finder to use, auto or none.")] = "auto"
    cracks: Annotated[str, typer.Option(metavar="NAME", help="Crack finder to use, auto (all) or none.")] = "auto"
    at: Annotated[
        str | None, typer.Option(metavar="X,Y", help="A pixel of the photo on the piece meant; by default its middle.")
    ] = None
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="STAGE.NAME.FIELD=VALUE", help="Set an option of a finder; see photonest plugins show."
        ),
    ] = None

    def choices(self) -> Choices:
        """Return what these options ask of the stages."""
        from photonest.asking import Choices

        chosen = parsed_settings(self.settings or ())
        for option, value, keys in self._lengths():
            if value is None:
                continue
            if not 0 < value < 100_000:
                raise typer.BadParameter(f"{value:g} is not a size in mm.", param_hint=option)
            for finder, field in keys:
                chosen.setdefault(("scale", finder), {})[field] = value
        if self.paper_size is not None:
            from photonest.scale.paper import SIZES_MM

            if self.paper_size not in SIZES_MM:
                raise typer.BadParameter(
                    f"{self.paper_size!r} is none of {', '.join(SIZES_MM)}.", param_hint="--paper-size"
                )
            chosen.setdefault(("scale", "paper"), {})["size"] = self.paper_size
        if self.ruler is not None:
            if self.ruler not in ("mm", "inch"):
                raise typer.BadParameter(f"{self.ruler!r} is neither mm nor inch.", param_hint="--ruler")
            chosen.setdefault(("scale", "ruler"), {})["ticks"] = self.ruler
        if self.two_points is not None:
            chosen[("scale", "two-points")] = _two_points(self.two_points)
        return Choices(
            self.scale,
            self.outline,
            self.pith,
            self.cracks,
            chosen,
            parsed_point(self.at, "--at"),
            self.face_above_reference,
        )

    def _lengths(self) -> Sequence[tuple[str, float | None, Sequence[tuple[str, str]]]]:
        return (
            ("--mm-per-px", self.mm_per_px, [("by-hand", "mm_per_px")]),
            ("--check-line", self.check_line, [("marker-sheet", "check_line_mm"), ("markers", "check_line_mm")]),
            ("--bar-square", self.bar_square, [("bar", "square_mm")]),
            ("--diameter", self.diameter, [("known-diameter", "diameter_mm")]),
        )


def _two_points(text: str) -> dict[str, Any]:
    parts = text.split()
    try:
        first, second, length = parts[0], parts[1], float(parts[2])
    except (IndexError, ValueError):
        raise typer.BadParameter(f"{text!r} is not X,Y X,Y MM.", param_hint="--two-points") from None
    (x1, y1), (x2, y2) = (parsed_point(part, "--two-points") or (0.0, 0.0) for part in (first, second))
    return {"x1_px": x1, "y1_px": y1, "x2_px": x2, "y2_px": y2, "length_mm": length}
