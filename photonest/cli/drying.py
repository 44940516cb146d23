"""``photonest drying``: how far a piece has dried, and when it will be ready to turn again."""

from __future__ import annotations

import dataclasses
import json as json_module
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast, get_args

import typer

from photonest.cli.common import AsJson, Replace, a_number, refuse_to_overwrite, say, show
from photonest.cli.species import OwnFile, known_species

if TYPE_CHECKING:
    from collections.abc import Sequence

    from photonest.report.page import Format
    from photonest.wood.drying import Drying, StartMoisture
    from photonest.wood.weighings import Weighing

START_ERROR = 3.0
Temperature = Annotated[float | None, typer.Option(metavar="CELSIUS", help="Of the air where the piece lies.")]
Humidity = Annotated[float | None, typer.Option(metavar="PERCENT", help="Relative humidity of that air.")]


def drying(
    weights: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="One weighing a line: day and grams, as in 2031-04-02,1850."),
    ] = None,
    weight: Annotated[
        list[str] | None,
        typer.Option("--weight", metavar="DAY,GRAMS", help="A weighing; give it again for each."),
    ] = None,
    species: Annotated[
        str | None, typer.Option(metavar="NAME", help="The wood: its mean green moisture is taken for the start.")
    ] = None,
    start: Annotated[
        float | None, typer.Option("--start", metavar="PERCENT", help="Moisture measured at the first weighing.")
    ] = None,
    sample: Annotated[
        str | None,
        typer.Option(
            metavar="WET,DRY",
            help="An off-cut of the piece in grams: at the first weighing, and dried at 103 °C until it gets no "
            "lighter. Its moisture is taken for the start.",
        ),
    ] = None,
    start_error: Annotated[
        float,
        typer.Option(
            "--start-error",
            metavar="PERCENT",
            min=0,
            callback=a_number,
            help="Standard error of the measured moisture.",
        ),
    ] = START_ERROR,
    temperature: Temperature = None,
    humidity: Humidity = None,
    scale_error: Annotated[
        float, typer.Option("--scale-error", metavar="GRAMS", help="Standard error of the weighing scale.")
    ] = 1.0,
    own: OwnFile = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the weights over time: a .png, .svg or .pdf file.")
    ] = None,
    replace: Replace = False,
    json: AsJson = False,
) -> None:
    """Say how far a piece has dried, from its weights over time, and when it will be ready to turn again."""
    from photonest.wood.drying import StartMoisture, follow_drying
    from photonest.wood.weighings import read_weighings

    if not 0 < scale_error < math.inf:
        raise typer.BadParameter("it must be more than 0.", param_hint="--scale-error")
    if start is None and start_error != START_ERROR:
        raise typer.BadParameter("it is of a moisture measured: give --start as well.", param_hint="--start-error")
    if start is not None and sample is not None:
        raise typer.BadParameter("the moisture at the start is known: leave one out.", param_hint="--sample")
    if (start is not None or sample is not None) and species is not None:
        raise typer.BadParameter("the moisture at the start is measured: leave the wood out.", param_hint="--species")
    if species is None and own is not None:
        raise typer.BadParameter("it tells of woods: name yours with --species.", param_hint="--species-file")
    for text in weight or ():
        if text.count(",") != 1:
            raise typer.BadParameter(f"{text!r} is not DAY,GRAMS, as in 2031-04-02,1850.", param_hint="--weight")
    if out is not None:
        _see_that_it_can_be_drawn(out, replace=replace)
    lines = [*([_read(weights)] if weights is not None else []), *(weight or ())]
    air = moisture_in_air(temperature, humidity)
    weighings = read_weighings("\n".join(lines))
    if sample is not None:
        begun: StartMoisture | None = StartMoisture.of_sample(*_two_weights(sample), scale_error)
    else:
        begun = _start(species, start, start_error, own)
    found = follow_drying(weighings, begun, air, scale_error)
    if json:
        document = {**dataclasses.asdict(found), "equilibrium_moisture": air}
        show(json_module.dumps(document, indent=1, ensure_ascii=False, default=str))
    else:
        print_drying(found, air)
    if out is not None:
        _draw(found, weighings, out)


def _see_that_it_can_be_drawn(file: Path, *, replace: bool) -> None:
    from photonest.report.page import Format

    if file.suffix.lower()[1:] not in get_args(Format):
        raise typer.BadParameter(f"{file} must end in .png, .svg or .pdf.", param_hint="--out")
    refuse_to_overwrite(file, replace=replace)


def _draw(found: Drying, weighings: Sequence[Weighing], file: Path) -> None:
    from photonest.model import write_whole
    from photonest.report.drying_picture import drying_picture

    write_whole(file, drying_picture(found, weighings, format=cast("Format", file.suffix.lower()[1:])))
    say(f"Wrote {file}.")


def moisture_in_air(temperature: float | None, humidity: float | None) -> float | None:
    """Return the moisture wood comes to in the air that two options give; None where neither is given."""
    from photonest.wood.moisture import equilibrium_moisture

    if (temperature is None) != (humidity is None):
        raise typer.BadParameter("the air needs both --temperature and --humidity.", param_hint="--humidity")
    return None if temperature is None or humidity is None else equilibrium_moisture(temperature, humidity)


def _start(name: str | None, moisture: float | None, error: float, own: Path | None) -> StartMoisture | None:
    from photonest.wood.drying import StartMoisture
    from photonest.wood.species import find_species

    if moisture is not None:
        return StartMoisture(moisture, error)
    return None if name is None else StartMoisture.green(find_species(name, known_species(own)))


def _two_weights(text: str) -> tuple[float, float]:
    try:
        wet, dry = map(float, text.split(","))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not WET,DRY in grams, as in 85,50.", param_hint="--sample") from None
    return wet, dry


def _read(path: Path) -> str:
    from photonest.model import MoistureError

    try:
        return path.read_text(encoding="utf-8-sig")  # spreadsheets begin a file with a mark of its encoding
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no text"
        raise MoistureError(f"{path} can't be read: {why}.", "Give a text file of weighings.") from error


def print_drying(found: Drying, air: float | None) -> None:
    """Print how far a piece has dried: figures on stdout, what they rest on on stderr."""
    if found.moisture_now is not None:
        show(f"Moisture now: {found.moisture_now:.0f} % (standard error {found.moisture_error:.0f})")
    if air is not None:
        show(f"In that air it comes to {air:.1f} %")
    if found.ready is not None:
        late = found.ready_late.isoformat() if found.ready_late else "a day that can't be told yet"
        show(f"Ready about {found.ready}, between {found.ready_early} and {late} (nine times in ten)")
        show(f"It tends to {found.final_weight:.0f} g")
    show(f"Unchanged over the last weighings: {'yes' if found.unchanged else 'no'}")
    for note in found.notes:
        say(note)
