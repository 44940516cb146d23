"""``photonest species``: the woods known, their published figures, and how they move."""

from __future__ import annotations

import json as json_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from photonest.cli.common import AsJson, say, show

if TYPE_CHECKING:
    from photonest.wood.species import Species

app = typer.Typer(no_args_is_help=False, help="List and search the woods, with their published figures and sources.")

OwnFile = Annotated[
    Path | None,
    typer.Option(
        "--species-file",
        metavar="FILE",
        help="Your own species (TOML); by default species.toml in the settings folder.",
    ),
]


@app.callback(invoke_without_command=True)
def species(context: typer.Context, own: OwnFile = None, json: AsJson = False) -> None:
    """List every wood known."""
    if context.invoked_subcommand is None:
        _list(known_species(own), json)
    elif json or own is not None:
        raise typer.BadParameter(f"options of {context.invoked_subcommand} stand after that word.")


@app.command("find")
def find(
    text: Annotated[list[str], typer.Argument(metavar="TEXT", help="Part of a common or botanical name.")],
    own: OwnFile = None,
    json: AsJson = False,
) -> None:
    """Search the woods by common and botanical name."""
    from photonest.model import SpeciesError
    from photonest.wood.species import search_species

    wanted = " ".join(text)
    found = search_species(wanted, known_species(own))
    if not found:
        raise SpeciesError(f"No species is named like {wanted!r}.", "'photonest species' lists those known.")
    _list(found, json)


@app.command("show")
def show_species(
    name: Annotated[list[str], typer.Argument(metavar="NAME", help="Common or botanical name.")],
    moisture: Annotated[float, typer.Option(metavar="PERCENT", help="Moisture it dries to.")] = 8.0,
    own: OwnFile = None,
    json: AsJson = False,
) -> None:
    """Show a wood's figures, where each is from, and how it moves."""
    from photonest.wood.moisture import shrink_of
    from photonest.wood.movement import gap_angle
    from photonest.wood.species import find_species

    found = find_species(" ".join(name), known_species(own))
    shrink = shrink_of(found, moisture)
    gap = gap_angle(shrink)
    if json:
        moved = {"moisture_pct": moisture, "radial_pct": 100 * shrink.radial, "tangential_pct": 100 * shrink.tangential}
        show(_text({**_document(found), "dried": {**moved, "gap_angle_deg": gap}}))
        return
    show(f"{found.name} ({', '.join(found.names[1:])})")
    for key, figure in found.figures().items():
        show(f"  {key.replace('_', ' '):<20} {figure.value:>7g}{_unit(key):<3} {figure.source}")
    show(f"Green to {moisture:g} % moisture:")
    show(f"  {'along the rays':<20} {100 * shrink.radial:>7.2f} %")
    show(f"  {'along the rings':<20} {100 * shrink.tangential:>7.2f} %")
    show(f"  a disc with the pith in: one crack would open by {gap:.1f} degrees")
    say("A single piece moves about 15 % more or less than these averages (one standard deviation).")


def known_species(own: Path | None) -> tuple[Species, ...]:
    """Return all species, those of the user's own file included: the one given, else the usual one if it is there."""
    from photonest.wood.species import load_species, own_species_file

    usual = own_species_file()
    return load_species(own if own is not None else usual if usual.exists() else None)


def _list(found: tuple[Species, ...], json: bool) -> None:
    if json:
        show(_text([_document(species) for species in found]))
        return
    width = max(len(species.name) for species in found)
    latin = max(len(species.botanical) for species in found)
    show(f"{'':<{width}}  {'':<{latin}}  radial  tangential  gravity  green")
    for s in found:
        cells = [_cell(getattr(s, key)) for key in ("radial", "tangential", "specific_gravity", "green_moisture")]
        show(f"{s.name:<{width}}  {s.botanical:<{latin}}  {cells[0]:>6}  {cells[1]:>10}  {cells[2]:>7}  {cells[3]:>5}")
    say("Shrinkage green to ovendry and green moisture in %; 'photonest species show NAME' gives the sources.")


def _cell(figure: Any) -> str:
    return "-" if figure is None else f"{figure.value:g}"


def _unit(key: str) -> str:
    return "" if key == "specific_gravity" else " %"


def _document(species: Species) -> dict[str, Any]:
    figures = {key: {"value": f.value, "source": f.source} for key, f in species.figures().items()}
    return {"name": species.name, "botanical": species.botanical, "other_names": list(species.other_names), **figures}


def _text(document: Any) -> str:
    return json_module.dumps(document, indent=1, ensure_ascii=False)
