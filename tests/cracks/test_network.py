from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.cracks.network import DIAMETER_PX, NOWHERE, Likeness, likeness, without_veil
from photonest.model import FlatPhoto
from tests.cracks.scenes import CENTRE, MM_PER_PX, RADIUS, SIZE, face, outline, pith

START, END = (CENTRE[0] + 80.0, CENTRE[1] + 20.0), (CENTRE[0] + 200.0, CENTRE[1] + 50.0)
DIAMETER = 2 * RADIUS * MM_PER_PX


def seen(flat: FlatPhoto, known: bool = True) -> Likeness:
    return likeness(flat, np.asarray(outline().wood), DIAMETER, pith() if known else None)


def along(like: Likeness, start: tuple[float, float], end: tuple[float, float]) -> NDArray[np.float32]:
    """Log odds at the best of the places within 3 px of each of forty points of a line."""
    points = np.linspace(start, end, 40) * MM_PER_PX
    shifts = [(dx * MM_PER_PX, dy * MM_PER_PX) for dx in range(-3, 4) for dy in range(-3, 4)]
    odds = [like.at(*like.flat.to_px(points + shift).T[:, None]) for shift in shifts]
    return np.asarray(np.max(odds, axis=0)[0])


@pytest.mark.parametrize("known", [True, False])
def test_a_check_is_likened_to_a_crack_and_clean_wood_is_not(known: bool) -> None:
    like = seen(face([(START, END, 3.0, 40.0)]), known)
    assert float(np.median(along(like, START, END))) > 2
    away = [(2 * CENTRE[0] - x, 2 * CENTRE[1] - y) for x, y in (START, END)]
    assert float(np.median(along(like, away[0], away[1]))) < -2


def test_the_answer_turns_with_the_picture() -> None:
    """The network was shown faces any way up: what it makes of a check hardly depends on how the photo is turned."""
    flat = face([(START, END, 3.0, 40.0)])
    turned = replace(flat, pixels=np.ascontiguousarray(np.rot90(flat.pixels, 2)))
    points = [(SIZE - 1 - x, SIZE - 1 - y) for x, y in (START, END)]
    once, again = along(seen(flat), START, END), along(seen(turned), points[0], points[1])
    # a factor of twenty in the odds, between 'surely' and 'surely'
    assert abs(float(np.median(once)) - float(np.median(again))) < 3


def test_a_large_photo_is_looked_at_reduced_and_nothing_lies_outside_it() -> None:
    flat = face()
    large = replace(flat, pixels=np.repeat(np.repeat(flat.pixels, 3, axis=0), 3, axis=1), mm_per_px=MM_PER_PX / 3)
    like = seen(large)
    across = DIAMETER / like.flat.mm_per_px
    assert across == pytest.approx(DIAMETER_PX, rel=0.01)
    assert like.odds.shape == (like.flat.pixels.shape[0] // 2, like.flat.pixels.shape[1] // 2)
    assert float(like.at(np.array([[-50.0]]), np.array([[-50.0]]))[0, 0]) == NOWHERE


def test_a_veil_is_taken_off_and_a_clear_photo_left_as_it_is() -> None:
    rng = np.random.default_rng(3)
    clear = np.clip(rng.normal(150, 22, (200, 200, 3)), 40, 240)
    clear[:4] = 30  # a crack's dark is more than half a per cent
    wood = np.ones((200, 200), bool)
    pixels = clear.astype(np.uint8)
    assert without_veil(pixels, wood) is pixels
    veiled = 255 * ((clear / 255) ** 2.2 * 0.55 + 0.12) ** (1 / 2.2)  # near enough to what sRGB means
    back = without_veil(veiled.astype(np.uint8), wood).astype(float)
    # The darkest gave 0.43 of the middle's light and is let keep 0.3: 0.19 of it goes, and all else differs 1.23 times
    # as much.
    assert np.std(back[4:]) > 1.2 * np.std(veiled[4:])
    assert np.median(back) == pytest.approx(np.median(veiled), abs=2)
