"""The printed references, written once and not overwritten unless asked."""

from pathlib import Path

import pytest
from pypdf import PdfReader

from photonest.model import ExitCode
from tests.cli.test_app import run

# ISO 216 A4 and US Letter in PostScript points of 1/72 inch
POINTS = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("form", ["sheet", "markers", "strips"])
def test_every_form_is_one_page_of_the_paper(tmp_path: Path, form: str, paper: str) -> None:
    assert run("marker-sheet", form, "--paper", paper, "--out", "print.pdf", cwd=tmp_path).returncode == 0
    (page,) = PdfReader(tmp_path / "print.pdf").pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(POINTS[paper], abs=0.01)
    again = run("marker-sheet", form, "--paper", paper, "--out", "print.pdf", cwd=tmp_path)
    assert again.returncode == ExitCode.OUTPUT
