"""``photonest marker-sheet``: the printable reference."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from photonest.cli.common import Replace, say


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


def marker_sheet(
    paper: Annotated[Paper, typer.Option(help="The paper in your printer.")] = Paper.A4,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Where to write the PDF.")] = None,
    replace: Replace = False,
) -> None:
    """Write the marker sheet to print, the best reference to lay beside the wood.

    Print it at 100 % (not fitted to the page), hold a ruler against its check line, and lay it flat in the plane of
    the face.
    """
    from photonest.model import OutputError, write_whole
    from photonest.scale.board import marker_sheet_pdf

    file = out if out is not None else Path(f"marker-sheet-{paper.value}.pdf")
    if file.exists() and not replace:
        raise OutputError(f"{file} is already there.", "Give another name with --out, or --replace to overwrite.")
    write_whole(file, marker_sheet_pdf("A4" if paper is Paper.A4 else "Letter"))
    say(f"Wrote {file}. Print it at 100 % and check the 100 mm line with a ruler before you trust it.")
