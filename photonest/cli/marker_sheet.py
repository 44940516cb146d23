"""``photonest marker-sheet``: the printable references."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal

import typer

from photonest.cli.common import Replace, refuse_to_overwrite, say


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"

    @property
    def size(self) -> Literal["A4", "Letter"]:
        """Its name in the standards."""
        return "A4" if self is Paper.A4 else "Letter"


class Form(StrEnum):
    """What is printed: one sheet, single markers to cut out, or strips."""

    SHEET = "sheet"
    MARKERS = "markers"
    STRIPS = "strips"


_HELP = "One sheet to lay beside the wood, markers to cut out and lay around it, or strips for long pieces."


def marker_sheet(
    form: Annotated[Form, typer.Argument(help=_HELP)] = Form.SHEET,
    paper: Annotated[Paper, typer.Option(help="The paper in your printer.")] = Paper.A4,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Where to write the PDF.")] = None,
    replace: Replace = False,
) -> None:
    """Write the marker sheet to print, the best reference to lay beside the wood.

    Print it at 100 % (not fitted to the page), hold a ruler against its check line, and lay it flat in the plane of
    the face. Markers laid all around the wood measure best.
    """
    from photonest.model import write_whole
    from photonest.scale.board import marker_sheet_pdf
    from photonest.scale.cut_outs import cut_out_pdf

    name = "marker-sheet" if form is Form.SHEET else f"{form.value}-to-cut-out"
    file = out if out is not None else Path(f"{name}-{paper.value}.pdf")
    refuse_to_overwrite(file, replace=replace)
    cutting: Literal["markers", "strips"] = "markers" if form is Form.MARKERS else "strips"
    write_whole(file, marker_sheet_pdf(paper.size) if form is Form.SHEET else cut_out_pdf(paper.size, cutting))
    say(f"Wrote {file}. Print it at 100 % and check the 100 mm line with a ruler before you trust it.")
