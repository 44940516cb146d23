"""What the screen says of a face and a plan is what pictures and papers say."""

from dataclasses import replace

import pytest

from photonest.cli.words import describe_face, describe_plan
from photonest.report.face_picture import size_rows
from tests.report.examples import face, plan


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


def test_a_cutter_is_set_by_the_same_words_as_on_its_page() -> None:
    made = plan()
    near, far = (
        replace(cut, pivot=(across, cut.pivot[1])) for cut, across in zip(made.nests[0].cuts, (4.0, -9.3), strict=True)
    )
    told = describe_plan(replace(made, nests=(replace(made.nests[0], cuts=(near, far)),)))
    assert f"pivot {-near.pivot[1]:.1f} mm in front of the rim plane and 4.0 toward the cut" in told
    assert f"pivot {-far.pivot[1]:.1f} mm in front of the rim plane and 9.3 away from the cut" in told
    assert f"never over {far.top_rpm:.0f} rpm" in told
