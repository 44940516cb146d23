"""``photonest adjust``: a person's changes to a measured face."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from photonest.cli.common import AsJson, parsed_point, photo_of, picture_of, say, say_warnings, show, write_results
from photonest.cli.words import describe_face

if TYPE_CHECKING:
    from photonest.model import DefectKind, Face, Point, Points

CIRCLE_POINTS = 24
PITH_ERROR = 1.0
PX = "Positions are in pixels of the photo instead of mm from the middle of the face."


def adjust(
    file: Annotated[Path, typer.Argument(metavar="face.json", help="The face to change; it is overwritten.")],
    pith: Annotated[str | None, typer.Option(metavar="X,Y", help="Where the pith is.")] = None,
    pith_error: Annotated[float, typer.Option(metavar="MM", help="How exactly you know it.")] = PITH_ERROR,
    add_crack: Annotated[
        list[str] | None, typer.Option(metavar='"X,Y X,Y ..."', help="Add a crack along these points.")
    ] = None,
    add_defect: Annotated[
        list[str] | None,
        typer.Option(
            metavar='"KIND X,Y ..."',
            help="Add a knot, hole, bark inclusion or decay: its kind (knot, hole, bark, decay), then its edge, three "
            'points or more in order, or its middle and how wide it is in mm, as in "hole 12,-30 8".',
        ),
    ] = None,
    dismiss: Annotated[list[str] | None, typer.Option(metavar="ID", help="This crack or defect is none.")] = None,
    restore: Annotated[list[str] | None, typer.Option(metavar="ID", help="It is one after all.")] = None,
    depth: Annotated[list[str] | None, typer.Option(metavar="ID=MM", help="How deep it was probed to be.")] = None,
    end: Annotated[list[str] | None, typer.Option(metavar="ID=X,Y", help="Move the nearer end of a crack.")] = None,
    outline: Annotated[
        str | None, typer.Option(metavar='"X,Y X,Y ..."', help="Replace the outline by these points, once around.")
    ] = None,
    px: Annotated[bool, typer.Option("--px", help=PX)] = False,
    photo: Annotated[
        Path | None, typer.Option(metavar="PHOTO", help="The photo to draw face.png on, where it is not at hand.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Overrule what was measured: move the pith, add, dismiss or probe cracks and defects, replace the outline.

    Positions are mm from the middle of the face, x to the right and y down, as face.png shows it. What you set is
    recorded as set by a person, and measuring the same photo again keeps it.
    """
    from photonest.adjust import Changes, NewCrack, NewDefect, adjusted
    from photonest.model import dump_json, face_to_document, read_face

    face = read_face(file)
    points = _reader(face, px)
    changes = Changes(
        outline=points(outline, "--outline") if outline else None,
        pith=_one(points(pith, "--pith"), "--pith") if pith else None,
        pith_error=pith_error,
        added=tuple(NewCrack(points(text, "--add-crack")) for text in add_crack or ()),
        added_defects=tuple(NewDefect(*_defect(text, points)) for text in add_defect or ()),
        dismissed=tuple(dismiss or ()),
        restored=tuple(restore or ()),
        depths={name: _number(value, "--depth") for name, value in _pairs(depth or (), "--depth")},
        ends={name: _one(points(value, "--end"), "--end") for name, value in _pairs(end or (), "--end")},
    )
    if not 0 <= pith_error < math.inf:
        raise typer.BadParameter("it must be 0 mm or more.", param_hint="--pith-error")
    if pith is None and pith_error != PITH_ERROR:
        raise typer.BadParameter("it is of a pith set by hand: give --pith as well.", param_hint="--pith-error")
    if changes == Changes(pith_error=pith_error):
        raise typer.BadParameter("Nothing to change was given; see photonest adjust --help.")
    changed = adjusted(face, changes)
    document = dump_json(face_to_document(changed))
    files = {file.name: document.encode()}
    files.update(_picture(file, changed, photo))
    write_results(file.parent, files)
    say_warnings(changed.warnings)
    say(f"Wrote {', '.join(str(file.parent / name) for name in files)}.")
    if (file.parent / "face.svg").exists():
        say("face.svg still shows the face as it was before.")
    if (file.parent / "plan.json").exists():
        say("The plan and its papers beside it were made before this change: plan again before you cut anything.")
    show(document.rstrip() if json else describe_face(changed))


def _reader(face: Face, px: bool) -> Callable[[str, str], Points]:
    """Return a function that reads points as the user gives them, into mm of the face's frame."""

    def points(text: str, option: str) -> Points:
        read = [parsed_point(part, option) for part in text.split()]
        found = tuple(point for point in read if point is not None)
        if not found:
            raise typer.BadParameter(f"{text!r} holds no points.", param_hint=option)
        if not px:
            return found
        from photonest.rectify import photo_to_mm

        return tuple((float(x), float(y)) for x, y in photo_to_mm(face.scale, found))

    return points


def _defect(text: str, points: Callable[[str, str], Points]) -> tuple[DefectKind, Points]:
    """Return the kind and the edge of a defect as the user gives them."""
    from photonest.report.words import DEFECT_NAMES

    kind, _, place = text.partition(" ")
    kinds = {name: name for name in DEFECT_NAMES}
    if kind not in kinds:
        raise typer.BadParameter(f"{kind!r} is none of {', '.join(kinds)}.", param_hint="--add-defect")
    parts = place.split()
    if len(parts) == 2 and "," not in parts[1]:
        (x, y), radius = points(parts[0], "--add-defect")[0], _number(parts[1], "--add-defect") / 2
        if not 0 < radius < math.inf:
            raise typer.BadParameter(f"A {kind} {parts[1]} mm wide can't be.", param_hint="--add-defect")
        turns = [2 * math.pi * k / CIRCLE_POINTS for k in range(CIRCLE_POINTS)]
        reach = radius / math.cos(math.pi / CIRCLE_POINTS)  # the polygon holds the circle
        return kinds[kind], tuple((x + reach * math.cos(t), y + reach * math.sin(t)) for t in turns)
    return kinds[kind], points(place, "--add-defect")


def _pairs(texts: Sequence[str], option: str) -> list[tuple[str, str]]:
    pairs: list[tuple[str, str]] = []
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name or not value:
            raise typer.BadParameter(f"{text!r} is not of the form ID=VALUE, as in c2=25.", param_hint=option)
        if name in dict(pairs):
            raise typer.BadParameter(f"{name} is given twice.", param_hint=option)
        pairs.append((name, value))
    return pairs


def _one(points: Points, option: str) -> Point:
    if len(points) != 1:
        raise typer.BadParameter(f"one point is wanted, not {len(points)}.", param_hint=option)
    return points[0]


def _number(text: str, option: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a number.", param_hint=option) from None


def _picture(file: Path, face: Face, given: Path | None) -> dict[str, bytes]:
    """Draw face.png anew where the photo is at hand; an old picture would show what is no longer so."""
    from photonest.report import face_picture

    photo = photo_of(face, file) if given is None else picture_of(face, file, given)
    if photo is None:
        say(f"face.png was not drawn anew, as {face.photo.file} is not at hand: give it as --photo, here or to plan.")
        return {}
    return {"face.png": face_picture(photo, face)}
