"""The options of commands that plan: the piece of wood, the workshop and the species."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from photonest.model import Face, Photo, Shop, Stock
    from photonest.wood.dry_plan import BlankGrain
    from photonest.wood.species import Species

_PIECE, _WOOD = "The piece", "Its drying"


class Kind(StrEnum):
    """Kinds of stock."""

    LOG = "log"
    SLICE = "slice"
    BLANK = "blank"


class Side(StrEnum):
    """Faces of a slice or blank."""

    PHOTOGRAPHED = "photographed"
    FAR = "far"


class Towards(StrEnum):
    """Which way the rims of a log's bowls face."""

    PITH = "pith"
    BARK = "bark"


USUAL_MOISTURE = 8.0
_FLAT, _LOG = (Kind.SLICE, Kind.BLANK), (Kind.LOG,)
_ONLY_FOR: dict[str, tuple[tuple[Kind, ...], object]] = {
    "thickness": (_FLAT, None),
    "length": (_LOG, None),
    "rim": (_FLAT, Side.PHOTOGRAPHED),
    "rim_towards": (_LOG, Towards.PITH),
    "check_depth": (_LOG, None),
    "far_check_depth": (_LOG, None),
    "knots_lean": ((Kind.LOG, Kind.SLICE), False),
    "grain_direction": ((Kind.BLANK,), None),
    "pith_depth": ((Kind.BLANK,), None),
}
"""The options that make sense for some kinds of stock only: which, and what they are when nobody gives them."""


def refuse_misplaced(stock: Kind, told: Mapping[str, object]) -> None:
    """Raise StockError naming an option, by its field's name, that makes no sense for the kind of stock."""
    from photonest.model import StockError

    for name, value in told.items():
        kinds, usual = _ONLY_FOR[name]
        if stock not in kinds and value != usual:
            raise StockError(
                f"--{name.replace('_', '-')} is said of a {' or '.join(kinds)}, and this is a {stock}.",
                "Leave it out, or give the right --stock.",
            )


@dataclass(frozen=True)
class Piece:
    """What a person says about the wood and the workshop."""

    stock: Annotated[
        Kind,
        typer.Option(help="A log's end, an end-grain slice, or a side-grain blank.", rich_help_panel=_PIECE),
    ]
    thickness: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Of a slice or blank, after its faces are flat.", rich_help_panel=_PIECE),
    ] = None
    length: Annotated[float | None, typer.Option(metavar="MM", help="Of a log.", rich_help_panel=_PIECE)] = None
    rim: Annotated[
        Side, typer.Option(help="The face of a slice or blank where the bowls' mouths are.", rich_help_panel=_PIECE)
    ] = Side.PHOTOGRAPHED
    rim_towards: Annotated[
        Towards, typer.Option(help="Which way the mouths of a log's bowls face.", rich_help_panel=_PIECE)
    ] = Towards.PITH
    check_depth: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="How deep the end checks reach into a log; ring shakes go through.",
            rich_help_panel=_PIECE,
        ),
    ] = None
    far_check_depth: Annotated[
        float | None, typer.Option(metavar="MM", help="The same at its far end.", rich_help_panel=_PIECE)
    ] = None
    through_pith: Annotated[
        bool, typer.Option("--through-pith", help="Let bowls hold the pith: they may split.", rich_help_panel=_PIECE)
    ] = False
    knots_lean: Annotated[
        bool,
        typer.Option(
            "--knots-lean",
            help="Keep off wherever a knot's branch may run, from the pith to the bark. Not for blanks.",
            rich_help_panel=_PIECE,
        ),
    ] = False
    shop: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Your workshop's figures; photonest shop init writes such a file.",
            rich_help_panel=_PIECE,
        ),
    ] = None
    species: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The wood, so that walls allow for its drying.", rich_help_panel=_WOOD),
    ] = None
    moisture: Annotated[
        float, typer.Option(metavar="PERCENT", help="At which the bowls are turned again.", rich_help_panel=_WOOD)
    ] = USUAL_MOISTURE
    grain_direction: Annotated[
        float | None,
        typer.Option(
            metavar="DEGREES",
            help="Of the grain on a blank's face, from right towards down; else it is read off the photo.",
            rich_help_panel=_WOOD,
        ),
    ] = None
    pith_depth: Annotated[
        float | None,
        typer.Option(
            metavar="MM",
            help="How deep below a blank's face the pith ran; negative in front of it.",
            rich_help_panel=_WOOD,
        ),
    ] = None

    def made_stock(self) -> Stock:
        """Return the piece; raise StockError naming the option that is missing or wrong."""
        from photonest.model import FieldError, Stock, StockError

        refuse_misplaced(self.stock, {name: getattr(self, name) for name in _ONLY_FOR})
        try:
            return Stock(
                kind=self.stock.value,
                thickness=self.thickness,
                length=self.length,
                rim=self.rim.value,
                through_pith=self.through_pith,
                check_depth=self.check_depth,
                far_check_depth=self.far_check_depth,
                rim_towards=self.rim_towards.value,
                knots_lean=self.knots_lean,
            )
        except FieldError as error:
            raise StockError(f"The {error}.", f"Give --{error.name.replace('_', '-')} in mm.") from error

    def made_shop(self) -> Shop:
        """Return the workshop's own figures, or the usual ones."""
        from photonest.model import Shop
        from photonest.model.shopfile import read_shop

        return read_shop(self.shop) if self.shop is not None else Shop()

    def made_wood(self, stock: Stock, shop: Shop) -> Wood | None:
        """Return the species with what it asks of walls; None when no species is given."""
        for option, angle in (("--grain-direction", self.grain_direction), ("--pith-depth", self.pith_depth)):
            if angle is not None and not math.isfinite(angle):
                raise typer.BadParameter("it must be a finite number.", param_hint=option)
            if angle is not None and self.species is None:
                raise typer.BadParameter("it tells how the bowls dry, which needs --species too.", param_hint=option)
        if self.species is None:
            if self.moisture != USUAL_MOISTURE:
                raise typer.BadParameter("it tells how far the bowls dry: give --species too.", param_hint="--moisture")
            return None
        from photonest.wood.allowance import wall_need
        from photonest.wood.dry_plan import BlankGrain
        from photonest.wood.moisture import shrink_of
        from photonest.wood.species import find_species, load_species, own_species_file

        own = own_species_file()
        species = find_species(self.species, load_species(own if own.exists() else None))
        need = wall_need(shrink_of(species, self.moisture), stock.kind, shop.finished_wall)
        return Wood(species, self.moisture, need, BlankGrain(self.grain_direction, self.pith_depth))


@dataclass(frozen=True)
class Wood:
    """The species, the moisture its bowls are turned again at, the rough wall that asks for, and how its grain lies.

    Attributes
    ----------
    warnings : tuple of str
        What the grain's direction rests on, where sizes after drying follow from it.
    """

    species: Species
    moisture: float
    wall_need: Callable[[float], float]
    grain: BlankGrain
    warnings: tuple[str, ...] = ()

    def as_photographed(self, picture: Photo | None, face: Face, stock: Stock) -> Wood:
        """Return the same with the grain's direction read off a blank's photo, where nobody gave it."""
        if picture is None or stock.kind != "blank" or self.grain.direction is not None:
            return self
        from photonest.model import NotFound
        from photonest.rectify import flatten, mm_to_photo
        from photonest.wood.grain import grain_direction

        x, y = mm_to_photo(face.scale, [(0.0, 0.0)])[0]
        seen = grain_direction(flatten(picture, face.scale, (float(x), float(y))), face.outline)
        if isinstance(seen, NotFound):
            return self
        told = seen.warnings if self.grain.pith_depth is not None else ()
        return replace(self, grain=replace(self.grain, direction=seen.degrees), warnings=told)
