"""Labels keep out of each other's way; scale bars are as long as they say."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from photonest.report.ground import photo_ground, plain_ground
from photonest.report.marks import ROUND_LENGTHS, Label, place_labels, scale_bar
from photonest.report.page import Box, Page
from photonest.report.style import drawing_settings
from tests.report import examples

FRAME = Box(0, 0, 180, 160)


def test_crowded_labels_do_not_overlap() -> None:
    rng = np.random.default_rng(5)
    labels = [Label(f"c{i}: {20 + i} mm", tuple(p)) for i, p in enumerate(rng.uniform(50, 110, (12, 2)).tolist())]
    boxes = place_labels(labels, FRAME, np.empty((0, 2)))
    for one, other in itertools.combinations(boxes, 2):
        assert one.overlap(other) == 0
    assert all(box.overlap(FRAME) == pytest.approx(box.width * box.height) for box in boxes)


def test_labels_leave_what_matters_uncovered() -> None:
    crack = np.column_stack([np.linspace(60, 120, 60), np.full(60, 80.0)])
    (box,) = place_labels([Label("c1: 60 mm", (90.0, 80.0), (1.0, 0.0))], FRAME, crack)
    assert not (
        (crack[:, 1] > box.top) & (crack[:, 1] < box.bottom) & (crack[:, 0] > box.left) & (crack[:, 0] < box.right)
    ).any()


def test_labels_keep_off_what_is_taken() -> None:
    taken = Box(80, 60, 40, 20)
    (box,) = place_labels([Label("pith", (100.0, 85.0))], FRAME, np.empty((0, 2)), [taken])
    assert box.overlap(taken) == 0


@pytest.mark.parametrize("with_photo", [True, False])
def test_scale_bar_is_a_round_length_of_the_face(with_photo: bool) -> None:
    face = examples.face()
    box = Box(6, 6, 188, 188)
    ground = photo_ground(examples.photo(), face, box) if with_photo else plain_ground(face.outline.points, box)
    with drawing_settings():
        page = Page(200, 200)
        scale_bar(page, ground, 0.25)
    words = next(text.get_text() for text in page.axes.texts)
    number = int(words.split()[0])
    assert number in ROUND_LENGTHS
    assert words == f"{number} mm ± {2 * 0.25 / 100 * number:.1f}"
    bar = max(page.axes.lines, key=lambda line: float(line.get_linewidth()))
    ends = ground.to_face(np.asarray(bar.get_xydata()))
    assert np.hypot(*(ends[-1] - ends[0])) == pytest.approx(number, abs=1e-6)
