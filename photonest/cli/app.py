"""The commands, put together."""

from __future__ import annotations

from typing import Annotated

import typer

from photonest import __version__
from photonest.cli import adjust, catalogue, check, draw, drying, marker_sheet, measure, plan, plugins, shop, species

app = typer.Typer(
    name="photonest",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"photonest {__version__}")
        raise typer.Exit


@app.callback()
def photonest(
    _version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which version this is.")
    ] = False,
) -> None:
    """Measure the face of a log, slice or blank in a photo, and plan the largest safe nest of bowls.

    Lay a reference of known size beside the wood (photonest marker-sheet prints one), take the photo from straight
    above, and begin with: photonest plan PHOTO --stock slice --thickness 150
    """


app.command("measure")(measure.measure)
app.command("plan")(plan.plan)
app.command("draw")(draw.draw)
app.command("check")(check.check)
app.command("adjust")(adjust.adjust)
app.command("marker-sheet")(marker_sheet.marker_sheet)
app.command("drying")(drying.drying)
app.add_typer(catalogue.app, name="catalogue")
app.add_typer(species.app, name="species")
app.add_typer(shop.app, name="shop")
app.add_typer(plugins.app, name="plugins")
