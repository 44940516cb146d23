"""What a person types for ``photonest adjust`` is read as meant."""

import hashlib
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
import typer
from PIL import Image

from photonest.cli.adjust import _defect, _picture, _reader
from photonest.model import PhotoError
from tests.model.examples import whole_face

POINTS = _reader(whole_face(), px=False)


def test_a_defect_is_a_middle_with_a_width_or_an_edge() -> None:
    kind, edge = _defect("hole 12,-30 8", POINTS)
    assert kind == "hole"
    # A polygon about the circle: it holds all of it, and its corners lie 1 / cos(pi / 24), 0.9 %, farther out.
    assert shapely.Polygon(edge).buffer(1e-9).covers(shapely.Point(12, -30).buffer(4.0, 64))
    assert max(math.dist(corner, (12, -30)) for corner in edge) == pytest.approx(4.0 / math.cos(math.pi / 24))
    assert _defect("bark 0,0 10,0 10,5", POINTS) == ("bark", ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0)))


@pytest.mark.parametrize("text", ["twig 1,2 3", "hole 1,2 wide", "hole", "hole 1,2 nan", "hole 1,2 -4"])
def test_what_is_no_defect_is_refused(text: str) -> None:
    with pytest.raises(typer.BadParameter):
        _defect(text, POINTS)


def test_the_picture_is_drawn_on_a_photo_that_lies_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("photonest.report.face_picture", lambda *_: b"drawn")
    (tmp_path / "yard").mkdir()
    photo = tmp_path / "yard" / "elm.png"
    Image.fromarray(np.zeros((500, 800, 3), np.uint8)).save(photo)
    face = whole_face()
    face = replace(face, photo=replace(face.photo, sha256=hashlib.sha256(photo.read_bytes()).hexdigest()))
    assert _picture(tmp_path / "face.json", face, None) == {}
    assert "--photo" in capsys.readouterr().err
    assert _picture(tmp_path / "face.json", face, photo) == {"face.png": b"drawn"}
    with pytest.raises(PhotoError, match="not the photo"):
        _picture(tmp_path / "face.json", whole_face(), photo)
