"""The picture of the face says what was measured, in words that can be read back, whatever is missing."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pypdf
import pytest
from PIL import Image

from photonest.model import Face, PhotoError
from photonest.report import face_picture
from tests.report import examples

PHOTO = examples.photo()


def words_of(svg: bytes) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg.decode())


def test_svg_tells_everything_that_was_measured() -> None:
    face = examples.face()
    words = words_of(face_picture(PHOTO, face, format="svg"))
    for crack in face.cracks:
        told = any(word.startswith(f"{crack.id}: {crack.length:.0f} mm") for word in words)
        assert told == (crack.status != "dismissed")
    assert "pith" in words
    assert "heart check, 74 × 2.4 mm" in words
    assert "100 mm ± 0.5" in words
    # Twice the error: the scale's 0.25 % of 32 mm and the pith's 1.6 mm, rounded up: 2 hypot(0.08, 1.6) = 3.2.
    assert "32 ± 4 mm" in words
    assert any("12 mm above the face" in word for word in words)
    assert "c3: 37 mm ?" in words  # a possible crack is marked as doubtful


def test_other_defects_are_named_listed_and_doubted() -> None:
    face = examples.face()
    sure = face.defects[0]
    doubtful = replace(sure, id="d2", kind="bark", status="possible", confidence=0.5)
    gone = replace(sure, id="d3", kind="decay", status="dismissed")
    words = words_of(face_picture(PHOTO, replace(face, defects=(sure, doubtful, gone)), format="svg"))
    assert {"k1: knot", "d2: bark inclusion ?", "knot, 22 × 16 mm", "bark inclusion, 22 × 16 mm ?"} <= set(words)
    assert {"Other defects", "knot, hole, bark or decay", "possibly such ?"} <= set(words)
    assert not any("decay" in word for word in words if word != "knot, hole, bark or decay")


def test_png_is_wide_enough_for_a_phone_and_dark_lines_are_on_it() -> None:
    picture = Image.open(io.BytesIO(face_picture(PHOTO, examples.face())))
    assert picture.width == pytest.approx(200 / 25.4 * 200, abs=1)  # 200 mm at 200 dots per inch
    pixels = np.asarray(picture.convert("RGB")).astype(int)
    yellow = (abs(pixels - [0xF0, 0xE4, 0x42]) < 12).all(axis=-1)
    assert yellow.sum() > 500  # the cracks are drawn


def test_pdf_is_one_page_with_text() -> None:
    reader = pypdf.PdfReader(io.BytesIO(face_picture(PHOTO, examples.face(), format="pdf")))
    assert len(reader.pages) == 1
    assert "radial check" in reader.pages[0].extract_text()


def test_inches_stand_below_millimetres() -> None:
    words = words_of(face_picture(PHOTO, examples.face(), format="svg", units="inch"))
    assert "342 ± 3 mm" in words
    assert "13 1/2 in" in words  # 342.3 mm are 13.476 inches, nearest to 13 1/2
    assert any(word.startswith("c1: ") and word.endswith(" in)") for word in words)


def bare() -> Face:
    face = examples.face()
    size = replace(face.size, pith_offset=None, eccentricity_pct=None, clear_circle=None)
    outline = replace(face.outline, under_bark=None)
    return replace(face, pith=None, cracks=(), defects=(), warnings=(), size=size, outline=outline)


def test_nothing_found_is_said() -> None:
    words = words_of(face_picture(PHOTO, bare(), format="svg"))
    assert "not found" in words
    assert any("None seen" in word for word in words)
    assert "edge with bark" not in words


def far_pith(face: Face) -> Face:
    assert face.pith is not None
    return replace(face, pith=replace(face.pith, point=(2500.0, 90.0), inside=False))


def near_pith(face: Face) -> Face:
    assert face.pith is not None
    return replace(face, pith=replace(face.pith, point=(0.1, 0.0), standard_error=0.0))


def many_cracks(face: Face) -> Face:
    return replace(face, cracks=tuple(examples.crack(i, 30 + i, 50 + 2 * i, 12 * i) for i in range(30)))


def foreign_name(face: Face) -> Face:
    return replace(face, photo=replace(face.photo, file="木の年輪 $x^2$ & <b>" + 40 * "very long " + ".jpg"))


@pytest.mark.parametrize("change", [far_pith, near_pith, many_cracks, foreign_name])
def test_odd_faces_are_drawn(change: object) -> None:
    assert callable(change)
    assert face_picture(PHOTO, change(examples.face()), format="svg").startswith(b"<?xml")


def test_same_face_same_bytes() -> None:
    assert face_picture(PHOTO, examples.face()) == face_picture(PHOTO, examples.face())


def test_wrong_photo_is_refused() -> None:
    with pytest.raises(PhotoError, match="not the photo"):
        face_picture(replace(PHOTO, pixels=PHOTO.pixels[:900]), examples.face())
