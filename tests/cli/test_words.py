"""What the screen says of a face is what its picture says."""

from dataclasses import replace

import pytest

from photonest.cli.words import describe_face
from photonest.report.face_picture import size_rows
from tests.report.examples import face


@pytest.mark.parametrize("name", ["mean Ø", "pith off centre"])
def test_the_screen_gives_the_errors_that_the_picture_gives(name: str) -> None:
    value = next(value for row, value, _ in size_rows(face()) if row == name)
    assert "±" in value
    assert value in describe_face(face())
    assert "± is twice the standard error" in describe_face(face())


def test_a_pith_outside_the_piece_is_said_to_be() -> None:
    measured = face()
    assert measured.pith is not None
    outside = replace(measured, pith=replace(measured.pith, inside=False))
    assert "outside the piece" in describe_face(outside)
    assert "not found" in describe_face(replace(measured, pith=None))
