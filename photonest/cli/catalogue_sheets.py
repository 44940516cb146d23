"""The catalogue on paper: labels, and overviews of the stock and of drying."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from photonest.cli.catalogue_common import Code, Photos, Where, opened
from photonest.cli.common import Replace, refuse_to_overwrite, say
from photonest.cli.drying import Humidity, Temperature, moisture_in_air, print_drying
from photonest.cli.marker_sheet import Paper
from photonest.cli.species import OwnFile, known_species

Codes = Annotated[list[str] | None, typer.Argument(metavar="CODE ...", help="Which pieces; all if none is given.")]
OnPaper = Annotated[Paper, typer.Option("--paper", help="The paper in your printer.")]
Out = Annotated[Path, typer.Option("--out", metavar="FILE", help="File to write; its ending says which kind.")]


def label(
    codes: Codes = None,
    skip: Annotated[int, typer.Option(metavar="N", help="Labels of the first page that are used up.")] = 0,
    paper: OnPaper = Paper.A4,
    out: Out = Path("labels.pdf"),
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Write a PDF of labels with short code and QR symbol, 70 x 37 mm each; print at 100 %."""
    from photonest.catalogue.sheets import label_sheet
    from photonest.model import write_whole

    _ending(out, ".pdf")
    refuse_to_overwrite(out, replace=replace)
    with opened(where, photos) as catalogue:
        write_whole(
            out, label_sheet([catalogue.entry(c) for c in codes] if codes else catalogue.find(), skip, paper.size)
        )
    say(f"Wrote {out}.")


def overview(
    codes: Codes = None,
    paper: OnPaper = Paper.A4,
    out: Out = Path("stock.pdf"),
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Write a picture of the stock: each piece with size, species, day and warnings, as PDF or PNG."""
    from photonest.catalogue.sheets import stock_sheet
    from photonest.model import write_whole

    ending = _ending(out, ".pdf", ".png")
    refuse_to_overwrite(out, replace=replace)
    with opened(where, photos) as catalogue:
        entries = [catalogue.entry(code) for code in codes] if codes else catalogue.find()
        store = catalogue.photos
        sheet = stock_sheet(
            entries,
            lambda entry: path.read_bytes() if (path := store.thumbnail(entry.photo_sha256)).is_file() else b"",
            ending,
            paper.size,
        )
    write_whole(out, sheet)
    say(f"Wrote {out}.")


def weights(
    codes: Codes = None,
    out: Out = Path("weights.png"),
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Write a picture of the weights since each was last sawn or turned, as PNG, PDF or SVG."""
    from photonest.catalogue.weights import weighings_of, weight_picture
    from photonest.model import write_whole

    ending = _ending(out, ".png", ".pdf", ".svg")
    refuse_to_overwrite(out, replace=replace)
    with opened(where, photos) as catalogue:
        chosen = [catalogue.entry(code).code for code in codes] if codes else [entry.code for entry in catalogue.find()]
        series = {code: weighings_of(catalogue.history(code)) for code in chosen}
    write_whole(out, weight_picture(series, ending))
    left_out = [code for code in chosen if codes and len(series[code]) < 2]
    if left_out:
        say(f"Not drawn, since not weighed twice: {', '.join(left_out)}.")
    say(f"Wrote {out}.")


def drying(
    code: Code,
    temperature: Temperature = None,
    humidity: Humidity = None,
    own: OwnFile = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Say how far a piece has dried, from its weights since it was last sawn or turned, and when it will be ready."""
    from photonest.catalogue.weights import weighings_of
    from photonest.model import SpeciesError
    from photonest.wood.drying import StartMoisture, follow_drying
    from photonest.wood.species import find_species

    air = moisture_in_air(temperature, humidity)
    with opened(where, photos) as catalogue:
        entry, weighings = catalogue.entry(code), weighings_of(catalogue.history(code))
    start = None
    if entry.species is not None:
        try:
            start = StartMoisture.green(find_species(entry.species, known_species(own)))
        except SpeciesError as error:
            say(f"Its species tells nothing of its moisture: {error}")
    print_drying(follow_drying(weighings, start, air), air)


def _ending(out: Path, *allowed: str) -> str:
    if out.suffix.lower() not in allowed:
        raise typer.BadParameter(f"the file must end in {' or '.join(allowed)}.", param_hint="--out")
    return out.suffix.lower().removeprefix(".")


COMMANDS: dict[str, Callable[..., Any]] = {"label": label, "overview": overview, "weights": weights, "drying": drying}
