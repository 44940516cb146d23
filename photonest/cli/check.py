"""``photonest check``: is it safe to core, on the axis the blank turns on."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from photonest.cli.bundles import expanding
from photonest.cli.common import (
    AsJson,
    is_face_file,
    measured,
    measured_before,
    parsed_point,
    say_warnings,
    show,
    usual_folder,
)
from photonest.cli.measuring import Measuring
from photonest.cli.piece import Piece
from photonest.cli.words import describe_check

if TYPE_CHECKING:
    from photonest.model import Face, Nest, Plan, Stock


@expanding(piece=Piece, measuring=Measuring)
def check(
    source: Annotated[Path, typer.Argument(metavar="PHOTO|face.json", help="The face as it is now.")],
    piece: Piece,
    measuring: Measuring,
    plan: Annotated[
        Path | None,
        typer.Option(metavar="plan.json", help="The plan to check; else the best this axis could give in sound wood."),
    ] = None,
    half: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="Which half of a log this blank is of, as the plan counts.")
    ] = None,
    axis: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y", help="Where it turns, in mm from the middle of the face; else the centre of the round rim."
        ),
    ] = None,
    json: AsJson = False,
) -> None:
    """Say before coring which bowls and cuts are clear, close to a crack or hit by one, and what to change.

    Ends with exit code 20 when a bowl or a cut is not clear, or the piece is too small for the plan.
    """
    from photonest.model import UnsafePlanError, read_plan
    from photonest.nest import check_before_coring

    stock, shop = piece.made_stock(), piece.made_shop()
    wood = piece.made_wood(stock, shop)
    planned = for_blank(read_plan(plan), stock, half) if plan is not None else None
    if planned is None and half is not None:
        raise typer.BadParameter("it tells which of a plan's halves is meant: give --plan too.", param_hint="--half")
    chosen = measuring.choices()
    face = (
        measured_before(source, chosen) if is_face_file(source) else measured(source, chosen, usual_folder(source))[1]
    )
    checked = check_before_coring(
        face,
        stock,
        planned.shop if planned is not None and piece.shop is None else shop,
        planned,
        axis=parsed_point(axis, "--axis"),
        wall_need=wood.wall_need if wood is not None else None,
    )
    small = too_small(face, stock, replace(planned.nests[0], axis=checked.axis)) if planned is not None else ()
    checked = replace(checked, advice=(*small, *checked.advice))
    say_warnings(face.warnings)
    if json:
        from photonest.model import dump_json

        document = {"format": "photonest-check", "version": 1, "all_clear": checked.all_clear and not small}
        meetings = {"bowls": checked.bowls, "cuts": checked.cuts}
        document |= {name: [asdict(meeting) for meeting in found] for name, found in meetings.items()}
        show(dump_json(document | {"axis": asdict(checked.axis), "advice": list(checked.advice)}).rstrip())
    else:
        show(describe_check(checked))
    if small:
        raise UnsafePlanError("The piece is too small for the plan.", "Plan again for the piece as it is.")
    if not checked.all_clear:
        raise UnsafePlanError("Not every bowl and cut is clear.", "Change what is said above before you core.")


def for_blank(plan: Plan, stock: Stock, half: int | None) -> Plan:
    """Return the plan of one blank or slice with its axis square to the face, which a log's is not until it is sawn.

    Raises
    ------
    StockError
        If the plan is of another kind of piece.
    BadParameter
        If the plan has several halves and none of them is named, or one that it has not.
    """
    from photonest.model import Axis, StockError

    if stock.kind != plan.stock.kind and not (plan.stock.kind == "log" and stock.kind == "blank"):
        raise StockError(f"The plan is of a {plan.stock.kind}, and this is a {stock.kind}.", "Give the right --stock.")
    if half is None and len(plan.nests) > 1:
        raise typer.BadParameter(
            f"the plan has {len(plan.nests)} halves: say which one this is of.", param_hint="--half"
        )
    if half is not None and half > len(plan.nests):
        raise typer.BadParameter(f"the plan has no half {half}.", param_hint="--half")
    nest = plan.nests[(half or 1) - 1]
    far = stock.rim == "far"
    axis = Axis((0.0, 0.0, (stock.thickness or 0.0) if far else 0.0), (0.0, 0.0, -1.0 if far else 1.0))
    return replace(plan, nests=(replace(nest, axis=axis),))


def too_small(face: Face, stock: Stock, nest: Nest) -> tuple[str, ...]:
    """Return in which ways a piece can't hold the first bowl of a nest, each in a sentence.

    Twice the standard errors of the face are allowed for: a piece that is turned true already just holds its rim.
    """
    import shapely

    bowl, rim = nest.bowls[0], nest.bowls[0].rim_diameter / 2
    wood, middle = shapely.Polygon(face.outline.wood), shapely.Point(nest.axis.point[:2])
    room = float(wood.exterior.distance(middle)) if wood.contains(middle) else 0.0
    error = 2 * math.hypot(face.scale.standard_error_pct / 100 * rim, face.outline.standard_error)
    told = []
    if stock.thickness is not None and stock.thickness < bowl.depth - 0.05:
        told.append(f"Bowl 1 is planned {bowl.depth:.1f} mm deep, and the piece is {stock.thickness:g} mm thick.")
    if room + error < rim - 0.05:
        told.append(f"Bowl 1 reaches {rim:.1f} mm from the axis, and the wood ends {room:.1f} mm from it.")
    return tuple(told)
