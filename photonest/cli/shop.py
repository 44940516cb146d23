"""``photonest shop``: the workshop's own figures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from photonest.cli.common import Replace, refuse_to_overwrite, say, show

app = typer.Typer(no_args_is_help=True, help="The workshop file: your cutters, jaws, lathe and rules.")
DEFAULT_FILE = Path("workshop.toml")


@app.command("init")
def init(
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it.")] = DEFAULT_FILE,
    replace: Replace = False,
) -> None:
    """Write a workshop file with every figure and what it means, to be changed to your own."""
    from photonest.model import write_whole
    from photonest.model.shopfile import shop_template

    refuse_to_overwrite(out, replace=replace)
    write_whole(out, shop_template().encode())
    say(f"Wrote {out}. Change the figures to those of your workshop, and give it to plan with --shop {out}.")


@app.command("check")
def check(file: Annotated[Path, typer.Argument(metavar="FILE", help="A workshop file.")] = DEFAULT_FILE) -> None:
    """Read a workshop file and name everything wrong in it at once."""
    from photonest.model.shopfile import read_shop

    shop = read_shop(file)
    cutters = ", ".join(
        f"{cutter.name} (radius {cutter.radius:g} mm, kerf {cutter.kerf:g} mm)" for cutter in shop.cutters
    )
    show(f"{file} is in order. Cutters: {cutters}. Largest diameter: {shop.swing:g} mm.")
