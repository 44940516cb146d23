"""What could be made: each piece is planned for real."""

from __future__ import annotations

import dataclasses
import hashlib
from pathlib import Path

import pytest

from photonest.catalogue.entries import Details, Entry
from photonest.catalogue.makes import could_make
from photonest.catalogue.store import Catalogue
from photonest.model import Circle, Face, Shop
from photonest.nest import plan_nest
from tests.catalogue.pieces import THUMBNAIL
from tests.nest.examples import face, ring


@pytest.fixture
def catalogue(tmp_path: Path) -> Catalogue:
    return Catalogue(str(tmp_path / "yard.sqlite"), make=True)


def add_round(catalogue: Catalogue, radius: float, details: Details) -> Entry:
    wood = face(ring(radius))
    content = f"a photo of {radius} and {details}".encode()
    named = dataclasses.replace(wood.photo, sha256=hashlib.sha256(content).hexdigest())
    size = dataclasses.replace(wood.size, clear_circle=Circle((0.0, 0.0), radius))
    return catalogue.add(content, dataclasses.replace(wood, photo=named, size=size), THUMBNAIL, details)


def test_three_hundred_with_bowls_inside(catalogue: Catalogue) -> None:
    wide = add_round(catalogue, 180.0, Details("blank", thickness=150.0))
    thin = add_round(catalogue, 180.0, Details("blank", thickness=55.0))
    narrow = add_round(catalogue, 140.0, Details("blank", thickness=150.0))
    unknown = add_round(catalogue, 180.0, Details("blank"))
    planned: list[str] = []
    answers = could_make(
        catalogue.find(), catalogue.face, Shop(), 290.0, progress=lambda entry: planned.append(entry.code)
    )
    assert set(planned) == {wide.code, thin.code, unknown.code}
    by_code = {answer.entry.code: answer for answer in answers}
    assert narrow.code not in by_code
    assert by_code[unknown.code].reason == "its thickness is not known"
    assert not by_code[unknown.code].holds(290.0, 0)
    # Second way: the planner asked directly.
    for entry in (wide, thin):
        stored: Face = catalogue.face(entry.code)
        assert by_code[entry.code].plan == plan_nest(stored, by_code[entry.code].plan.stock, Shop())  # type: ignore[union-attr]
    rims = [bowl.rim_diameter for bowl in by_code[wide.code].plan.nests[0].bowls]  # type: ignore[union-attr]
    assert by_code[wide.code].holds(rims[0] - 1, len(rims) - 1)
    assert not by_code[wide.code].holds(rims[0] + 1, 0)
    assert not by_code[wide.code].holds(rims[0] - 1, len(rims))
