"""``photonest catalogue``: every piece that comes in, found again."""

from __future__ import annotations

import dataclasses
import json as json_module
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from photonest.cli import catalogue_add, catalogue_files, catalogue_sheets
from photonest.cli.catalogue_common import (
    Code,
    Jobs,
    Photos,
    Place,
    Species,
    State,
    Where,
    day_of,
    day_option,
    opened,
    past_day_of,
)
from photonest.cli.catalogue_words import describe, line_of, rims_of, short, sizes
from photonest.cli.common import AsJson, Replace, a_number, refuse_to_overwrite, say, say_warnings, show
from photonest.cli.piece import Kind

if TYPE_CHECKING:
    from photonest.catalogue.entries import Entry, Wanted

app = typer.Typer(no_args_is_help=True, help="Keep every piece that comes in: photo, size, place, weights, plans.")
app.command("add")(catalogue_add.add)

Limit = Annotated[int, typer.Option(metavar="N", min=0, help="The newest N at most; 0 for all.")]


@app.command("list")
def list_entries(limit: Limit = 200, where: Where = None, photos: Photos = None, json: AsJson = False) -> None:
    """List the pieces, the newest first."""
    from photonest.catalogue.entries import Wanted

    _list(where, photos, Wanted(limit=limit or None), json)


@app.command("find")
def find(
    text: Annotated[
        list[str] | None, typer.Argument(metavar="WORDS", help="Words in the code, species, place, note or file name.")
    ] = None,
    species: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Part of the species' name.")] = None,
    state: Annotated[list[State] | None, typer.Option(help="How far the piece has come.")] = None,
    place: Place = None,
    fits: Annotated[
        float | None,
        typer.Option(
            metavar="MM", min=0, callback=a_number, help="A circle of this diameter, clear of cracks, fits on the face."
        ),
    ] = None,
    since: Annotated[datetime | None, day_option("--since", help="Added on this day or later.")] = None,
    until: Annotated[datetime | None, day_option("--until", help="Added on this day or earlier.")] = None,
    withdrawn: Annotated[bool, typer.Option("--withdrawn", help="Those whose adding was taken back.")] = False,
    rim: Annotated[
        float | None,
        typer.Option(
            metavar="MM", min=0, callback=a_number, help="Pieces that could make a bowl of this rim diameter (planned)."
        ),
    ] = None,
    inside: Annotated[int, typer.Option(metavar="N", min=0, help="With --rim: and this many bowls inside it.")] = 0,
    shop: Annotated[
        Path | None, typer.Option("--shop", metavar="FILE", help="Your workshop's figures, for --rim.")
    ] = None,
    jobs: Jobs = -1,
    limit: Limit = 0,
    where: Where = None,
    photos: Photos = None,
    json: AsJson = False,
) -> None:
    """Find pieces: by what is known of them, by what fits, or by what could be made of them."""
    from photonest.catalogue.entries import Wanted

    if rim is None and (inside or shop is not None):
        raise typer.BadParameter("--inside and --shop say what could be made: give --rim as well.")
    wanted = Wanted(
        species=tuple(species or ()),
        states=tuple(each.value for each in state or ()),
        place=place,
        fits=fits,
        since=day_of(since),
        until=day_of(until),
        text=" ".join(text or ()),
        withdrawn=withdrawn,
        limit=limit or None,
    )
    if rim is None:
        _list(where, photos, wanted, json)
    else:
        _makers(where, photos, wanted, rim, inside, shop, jobs, json)


@app.command("show")
def show_entry(
    code: Code,
    face: Annotated[
        Path | None, typer.Option("--face", metavar="FILE", help="Write the face file there, for photonest plan.")
    ] = None,
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
    json: AsJson = False,
) -> None:
    """Show a piece and everything that happened to it."""
    from photonest.model import face_to_document, write_document

    if face is not None:
        refuse_to_overwrite(face, replace=replace)
    with opened(where, photos) as catalogue:
        entry, history = catalogue.entry(code), catalogue.history(code)
        if face is not None:
            write_document(face, face_to_document(catalogue.face(code)))
            say(f"Wrote {face}.")
        photo = catalogue.photos.photo(entry.photo_sha256, entry.photo_file)
    if json:
        show(_text({**dataclasses.asdict(entry), "photo": photo, "history": [vars(h) for h in history]}))
        return
    for name, value in dataclasses.asdict(entry).items():
        if value not in (None, False) and name not in ("photo_sha256", "code"):
            show(f"{name.replace('_', ' '):<15} {short(name, value)}")
    show(f"{'photo':<15} {photo}")
    for happened in history:
        show(f"  {happened.day}  {describe(happened)}")


@app.command("weigh")
def weigh(
    code: Code,
    grams: Annotated[float, typer.Argument(metavar="GRAMS", help="What it weighs, in grams.")],
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Record a weight."""
    with opened(where, photos) as catalogue:
        _changed(catalogue.weigh(code, grams, past_day_of(day)))


@app.command("move")
def move(
    code: Code,
    place: Annotated[str, typer.Argument(metavar="PLACE", help="Where it now lies.")],
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Record where a piece now lies."""
    with opened(where, photos) as catalogue:
        _changed(catalogue.move(code, place, past_day_of(day)))


@app.command("state")
def set_state(
    code: Code,
    state: Annotated[State, typer.Argument(help="How far it has come.")],
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Record how far a piece has come."""
    with opened(where, photos) as catalogue:
        _changed(catalogue.set_state(code, state.value, past_day_of(day)))


@app.command("describe")
def describe_entry(
    code: Code,
    stock: Annotated[Kind | None, typer.Option(help="What it is, where it was entered as another.")] = None,
    species: Species = None,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="Anything worth remembering.")] = None,
    thickness: Annotated[
        float | None, typer.Option(metavar="MM", help="Of a slice or blank, after its faces are flat.")
    ] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Of a log.")] = None,
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Record or correct what is known of a piece."""
    kind = None if stock is None else stock.value
    facts = {"kind": kind, "species": species, "note": note, "thickness": thickness, "length": length}
    told = {name: value for name, value in facts.items() if value is not None}
    with opened(where, photos) as catalogue:
        _changed(catalogue.describe(code, told, past_day_of(day)))


@app.command("attach")
def attach(
    code: Code,
    plan: Annotated[Path, typer.Argument(metavar="plan.json", help="The plan, as plan wrote it.")],
    face: Annotated[
        Path | None,
        typer.Option(metavar="face.json", help="The face it was made for, where it was corrected; else beside it."),
    ] = None,
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Attach a plan to its piece."""
    from photonest.model import read_face, read_plan

    beside = plan.parent / "face.json"
    source = face if face is not None else beside if beside.is_file() else None
    with opened(where, photos) as catalogue:
        corrected = None if source is None else read_face(source)
        _changed(catalogue.attach_plan(code, read_plan(plan), corrected, past_day_of(day)))


@app.command("outcome")
def outcome(
    code: Code,
    bowls: Annotated[
        list[str] | None,
        typer.Argument(metavar="RIM[xDEPTH]", help="Each bowl that came out, in mm, as in 280x110; none: all lost."),
    ] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="What happened.")] = "",
    day: Annotated[datetime | None, day_option()] = None,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Record what came out of a piece, and compare it with the plan."""
    made = [_bowl(text) for text in bowls or ()]
    with opened(where, photos) as catalogue:
        piece = catalogue.record_result(code, made, note, past_day_of(day))
        history = catalogue.history(code)
    widest = max((bowl["rim"] for bowl in made), default=0.0)
    if widest > piece.max_diameter:
        say_warnings(
            [f"A bowl {widest:g} mm across is wider than the piece, {piece.max_diameter:.0f} mm: see that it is right."]
        )
    planned = next((h.facts["plan"] for h in reversed(history) if h.kind == "planned" and h.undone_at is None), None)
    if planned is None:
        say("No plan is attached to compare it with.")
        return
    rims = [bowl["rim_diameter"] for nest in planned["nests"] for bowl in nest["bowls"]]
    show(f"planned {len(rims)}: {sizes(rims)}")
    show(f"made    {len(made)}: {sizes([bowl['rim'] for bowl in made])}")


@app.command("undo")
def undo(code: Code, where: Where = None, photos: Photos = None) -> None:
    """Take back the last thing recorded about a piece."""
    with opened(where, photos) as catalogue:
        say(f"Taken back: {describe(catalogue.undo(code))}.")


for name, command in {**catalogue_sheets.COMMANDS, **catalogue_files.COMMANDS}.items():
    app.command(name)(command)


def _list(where: str | None, photos: Path | None, wanted: Wanted, json: bool) -> None:
    with opened(where, photos) as catalogue:
        entries, count = catalogue.find(wanted), catalogue.count(wanted)
    if json:
        show(_text([dataclasses.asdict(entry) for entry in entries]))
        return
    for entry in entries:
        show(line_of(entry))
    more = f"; the newest {len(entries)} are shown" if len(entries) < count else ""
    say(f"{count} piece{'' if count == 1 else 's'}{more}.")


def _makers(
    where: str | None,
    photos: Path | None,
    wanted: Wanted,
    rim: float,
    inside: int,
    shop: Path | None,
    jobs: int,
    json: bool,
) -> None:
    from photonest.catalogue.makes import could_make
    from photonest.cli.catalogue_common import progress_bar
    from photonest.model import Shop
    from photonest.model.shopfile import read_shop

    workshop = read_shop(shop) if shop is not None else Shop()
    with opened(where, photos) as catalogue:
        entries = catalogue.find(wanted)
        with progress_bar("planning", len(entries)) as step:
            answers = could_make(
                entries, catalogue.face, workshop, rim, jobs=jobs, progress=lambda entry: step(entry.code)
            )
    found = [answer for answer in answers if answer.holds(rim, inside)]
    if json:
        rows = [
            {**dataclasses.asdict(answer.entry), "nests": [rims_of(nest) for nest in answer.plan.nests]}
            for answer in found
            if answer.plan is not None
        ]
        show(_text(rows))
        return
    for answer in found:
        nests = answer.plan.nests if answer.plan is not None else ()
        show(f"{line_of(answer.entry)}  makes {' and '.join(sizes(rims_of(nest)) for nest in nests)}")
    unknown = [answer.entry.code for answer in answers if answer.reason.endswith("is not known")]
    if unknown:
        say(f"Not planned, for want of a thickness or length: {', '.join(unknown)}.")
    say(f"{len(found)} of {len(entries)} could; each is judged by its largest nest, with walls by the rule of thumb.")


def _bowl(text: str) -> dict[str, float]:
    try:
        values = [float(part) for part in text.lower().replace("×", "x").split("x")]
        return dict(zip(("rim", "depth")[: len(values)], values, strict=True))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not RIM or RIMxDEPTH, as in 280x110.", param_hint="bowls") from None


def _changed(entry: Entry) -> None:
    show(line_of(entry))


def _text(document: Any) -> str:
    return json_module.dumps(document, indent=1, ensure_ascii=False, default=str)
