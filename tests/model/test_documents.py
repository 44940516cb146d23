"""Face files: what is written is read back, what is wrong is named, what is unknown is kept."""

import json
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.model import (
    DocumentError,
    Face,
    OutputError,
    dump_json,
    face_from_document,
    face_to_document,
    read_face,
    write_document,
    write_together,
    write_whole,
)
from photonest.model.documents import VERSION
from tests.model.examples import whole_face


def document() -> dict[str, Any]:
    return json.loads(dump_json(face_to_document(whole_face())))  # type: ignore[no-any-return]


def test_a_face_survives_its_file(tmp_path: Path) -> None:
    path = tmp_path / "face.json"
    write_document(path, face_to_document(whole_face()))
    assert read_face(path) == whole_face()


def test_the_fixed_fields_have_their_names() -> None:
    found = document()
    assert found["format"] == "photonest-face"
    assert found["version"] == VERSION
    assert found["photo"].keys() >= {"file", "sha256", "width_px", "height_px"}
    assert found["scale"].keys() >= {"kind", "px_to_mm", "standard_error_pct", "mm_per_px"}
    assert found["outline"].keys() >= {"points", "under_bark"}
    assert found["pith"].keys() >= {"point", "standard_error", "inside", "set_by"}
    crack_fields = {"id", "path", "width", "length", "kind", "depth", "confidence", "status"}
    assert found["cracks"][0].keys() >= crack_fields
    size_fields = (
        "max_diameter min_diameter mean_diameter ovality_pct pith_offset eccentricity_pct area inscribed_circle"
    )
    assert found["size"].keys() >= {*size_fields.split(), "clear_circle"}
    assert found["size"]["clear_circle"].keys() >= {"centre", "radius"}


def test_unknown_fields_survive_a_round_trip_at_every_depth() -> None:
    found = document()
    found["weather"] = {"sky": "grey"}
    found["photo"]["lent_by"] = "a neighbour"
    found["cracks"][1]["note"] = ["probed", 3]
    found["size"]["clear_circle"]["extra"] = 1  # even one that bears the name of our own store
    assert json.loads(dump_json(face_to_document(face_from_document(found)))) == found


def test_a_newer_version_is_refused() -> None:
    found = document() | {"version": VERSION + 1}
    with pytest.raises(DocumentError, match="newer photonest"):
        face_from_document(found)


def set_path(found: dict[str, Any], path: str, value: Any) -> None:
    *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    target: Any = found
    for part in parents:
        target = target[part]
    target[last] = value


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("pith.point", [1.0, math.nan], r"pith\.point\[1\]: must be a finite number"),
        ("pith.point", [1.0], r"pith\.point"),
        ("pith.standard_error", -1, r"pith: standard_error must not be negative"),
        (
            "scale.px_to_mm",
            [[1, 0, 0], [0, 1, 0], [0, 0, "x"]],
            r"scale\.px_to_mm\[2\]\[2\]: must be a number, not text",
        ),
        ("scale.px_to_mm", [[0, 0, 0], [0, 0, 0], [0, 0, 1]], r"scale: px_to_mm must be invertible"),
        ("cracks.0.kind", "zigzag", r"cracks\[0\]\.kind: must be one of radial, heart, ring, other, not 'zigzag'"),
        ("cracks", None, r"cracks: must be a list"),
        ("cracks.1.depth", 0, r"cracks\[1\]: depth must be more than 0"),
        ("cracks.0.confidence", True, r"cracks\[0\]\.confidence: must be a number, not true or false"),
        ("outline.points", [[0, 0], [1, 1]], r"outline: points needs at least 3 points"),
        ("photo.width_px", 3.5, r"photo\.width_px: must be a whole number"),
        ("size", None, r"size: must be an object, not null"),
        ("outline.points", [[-55, -55], [55, 55], [55, -55], [-55, 55]], r"outline is not a simple polygon"),
        ("outline.under_bark", [[-90, -90], [90, -90], [90, 90]], r"edge under bark leaves the outline"),
        ("outline.points.0", [-1e6, -1e6], r"its size tells of 12100 mm2 and its outline holds"),
        ("defects.0.outline", [[0, 0], [9, 9], [9, 0], [0, 9]], r"outline of knot d1 is not a simple polygon"),
        ("cracks.0.path.0", [15.0, 15_000.0], r"c\d reaches 15000 mm from the middle of a face of \d+ mm radius"),
        ("defects.0.id", "c2", r"2 cracks or defects are called c2"),
    ],
)
def test_a_wrong_field_is_named(path: str, value: Any, message: str) -> None:
    found = document()
    set_path(found, path, value)
    with pytest.raises(DocumentError, match=message):
        face_from_document(found)


def test_every_wrong_field_is_named_at_once() -> None:
    found = document()
    found["pith"]["inside"] = "yes"
    del found["size"]["area"]
    with pytest.raises(DocumentError, match=r"(?s)pith\.inside.*area is missing"):
        face_from_document(found)


def test_of_very_many_wrong_fields_the_first_are_named_and_the_others_counted() -> None:
    found = document()
    found["outline"]["points"] = [[0.0, None]] * 500
    with pytest.raises(DocumentError, match=r"outline\.points\[0\]\[1\].*; and 480 more\. ") as raised:
        face_from_document(found)
    assert len(str(raised.value)) < 3000


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[1, 2", b"[]", b'{"format": "photonest-plan", "version": 1}'])
def test_other_files_are_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "face.json"
    path.write_bytes(content)
    with pytest.raises(DocumentError):
        read_face(path)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=3), inner, max_size=2),
    max_leaves=4,
)


@given(st.sampled_from(["pith", "scale", "outline", "cracks", "size", "photo", "format", "version"]), json_values)
def test_no_value_of_a_field_is_a_crash(field: str, value: Any) -> None:
    found = document() | {field: value}
    try:
        assert isinstance(face_from_document(found), Face)
    except DocumentError as error:
        assert str(error)


def failing(*_: Any) -> None:
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("step", ["fsync", "fdopen"])
def test_nothing_half_written_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    path = tmp_path / "face.json"
    path.write_text("before")
    fail: Callable[..., None] = failing
    with monkeypatch.context() as patched:
        patched.setattr(os, step, fail)
        with pytest.raises(OutputError, match="No space left"):
            write_whole(path, b"after")
    assert path.read_text() == "before"
    assert [file.name for file in tmp_path.iterdir()] == ["face.json"]


@pytest.mark.parametrize("stop", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_of_files_that_belong_together_none_is_written_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: BaseException
) -> None:
    """The disk is full, or Ctrl-C comes, at the second of two: the first is what it was, and nothing lies about."""
    plan, sheet = tmp_path / "plan.json", tmp_path / "setup.pdf"
    plan.write_text("before")
    sync, calls = os.fsync, []

    def fsync(descriptor: int) -> None:
        calls.append(descriptor)
        if len(calls) == 2:
            raise stop
        sync(descriptor)

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fsync)
        with pytest.raises((OutputError, KeyboardInterrupt)):
            write_together({plan: b"after", sheet: b"after"})
    assert plan.read_text() == "before"
    assert [file.name for file in tmp_path.iterdir()] == ["plan.json"]
    write_together({plan: b"after", sheet: b"after"})
    assert {file.name: file.read_text() for file in tmp_path.iterdir()} == {"plan.json": "after", "setup.pdf": "after"}
