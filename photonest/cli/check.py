"""``photonest check``: is it safe to core, on the axis the blank turns on."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

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

    Ends with exit code 20 when a bowl or a cut is not clear, the piece is too small for the plan, or the plan itself is
    not sound.
    """
    from photonest.face_warnings import that_matter
    from photonest.model import UnsafePlanError, read_plan
    from photonest.nest import check_before_coring

    stock, shop = piece.made_stock(), piece.made_shop()
    wood = piece.made_wood(stock, shop)
    planned = read_plan(plan) if plan is not None else None
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
        half=half,
        axis=parsed_point(axis, "--axis"),
        wall_need=wood.wall_need if wood is not None else None,
    )
    say_warnings(that_matter(face.warnings, stock.kind))
    if json:
        from photonest.model import dump_json

        document = {"format": "photonest-check", "version": 1, "all_clear": checked.all_clear}
        meetings = {"bowls": checked.bowls, "cuts": checked.cuts}
        document |= {name: [asdict(meeting) for meeting in found] for name, found in meetings.items()}
        show(dump_json(document | {"axis": asdict(checked.axis), "advice": list(checked.advice)}).rstrip())
    else:
        show(describe_check(checked))
    if checked.faults:
        raise UnsafePlanError("The plan itself breaks rules of safe coring.", "Plan again.")
    if checked.too_small:
        raise UnsafePlanError("The piece is too small for the plan.", "Change what is said above, or plan again.")
    if not checked.all_clear:
        raise UnsafePlanError("Not every bowl and cut is clear.", "Change what is said above before you core.")
