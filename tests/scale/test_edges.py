"""Straight edges found below a pixel in pictures whose edges are known."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.scale.edges import LEAST_ERROR_PX, coarse_edge, fine_edge, fine_edges

Array = NDArray[np.float64]
WIDTH, HEIGHT = 500, 400
ENDS = np.array([[[60.0, 350.0], [420.0, 60.0]], [[420.0, 60.0], [60.0, 350.0]], [[250.0, 20.0], [250.0, 380.0]]])


def half_dark(off: float, bright: float = 0.65, blur_px: float = 0.0) -> NDArray[np.uint8]:
    """A picture dark on the right of the line of `ENDS`, as far off it: each pixel the light of the area it covers.

    Light beyond white is cut off.
    """
    (x0, y0), (x1, y1) = ENDS[0]
    normal = np.array([y1 - y0, x0 - x1]) / np.hypot(x1 - x0, y1 - y0)  # to the line's left
    fine = 8
    at = (np.arange(fine * WIDTH) + 0.5) / fine - 0.5, (np.arange(fine * HEIGHT) + 0.5) / fine - 0.5
    left = (at[0] - x0) * normal[0] + (at[1][:, None] - y0) * normal[1] > off
    share = left.reshape(HEIGHT, fine, WIDTH, fine).mean(axis=(1, 3))
    value = 0.05 + (bright - 0.05) * share
    value = np.minimum(cv2.GaussianBlur(value, (0, 0), blur_px) if blur_px else value, 1.0)
    srgb = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    return np.repeat(np.rint(255 * srgb).astype(np.uint8)[..., None], 3, axis=2)


def off_line(points: Array) -> Array:
    (x0, y0), (x1, y1) = ENDS[0]
    return np.asarray(((points[:, 0] - x0) * (y1 - y0) + (points[:, 1] - y0) * (x0 - x1)) / np.hypot(x1 - x0, y1 - y0))


@pytest.mark.parametrize("off", [0.0, 0.37, -1.8])
def test_an_edge_is_found_where_it_is(off: float) -> None:
    # each piece is said to be known to no better than that; the scatter of 28 pieces is a fifth of it in their mean
    edge = fine_edge(half_dark(off), ENDS[0], 5.0, 0.05)
    assert edge is not None
    assert edge.share == 1.0
    # light alone has mixed in these pixels, so that it lies as much farther in as is said that it may
    assert edge.toned_px < LEAST_ERROR_PX
    assert off_line(edge.px) + edge.toned_px == pytest.approx(off, abs=LEAST_ERROR_PX)
    assert off_line(edge.px).mean() + edge.toned_px == pytest.approx(off, abs=LEAST_ERROR_PX / 5)


@pytest.mark.parametrize("bright", [1.2, 1.4, 1.7])
def test_an_edge_of_what_is_blown_out_is_moved_back(bright: float) -> None:
    """Half of the part beyond white is lost: up to 0.8 of the blur's standard deviation at twice as bright."""
    blur = 1.2
    plain, blown = (fine_edge(half_dark(0.2, light, blur), ENDS[0], 5.0, 0.05) for light in (0.65, bright))
    assert plain is not None and blown is not None
    assert plain.shared_px == 0.0
    assert 0.1 * blur < blown.shared_px < 0.4 * blur
    assert off_line(blown.px).mean() + blown.toned_px == pytest.approx(0.2, abs=2 * blown.shared_px)


def test_an_edge_half_blown_out_is_moved_back_there_alone() -> None:
    """Moved by the same all along, what is blown out in part looks bent, and was taken for a lens's doing."""
    blur, middle = 1.2, WIDTH // 2
    picture = half_dark(0.2, 0.65, blur)
    picture[:, middle:] = half_dark(0.2, 1.4, blur)[:, middle:]
    edge = fine_edge(picture, ENDS[0], 5.0, 0.05)
    assert edge is not None
    plain = edge.px[:, 0] < middle - 20
    off = off_line(edge.px) + edge.toned_px
    assert off[plain].mean() == pytest.approx(0.2, abs=LEAST_ERROR_PX)
    assert off[~plain].mean() == pytest.approx(0.2, abs=2 * edge.shared_px)


@pytest.mark.parametrize("blur_px", [0.8, 1.2])
def test_an_edge_lies_halfway_between_where_blurred_light_and_blurred_values_have_it(blur_px: float) -> None:
    sharp = half_dark(0.2)
    values = cv2.GaussianBlur(sharp, (0, 0), blur_px)
    by_light, by_values = (fine_edge(seen, ENDS[0], 5.0, 0.05) for seen in (half_dark(0.2, blur_px=blur_px), values))
    assert by_light is not None and by_values is not None
    light_off, values_off = (off_line(edge.px).mean() - 0.2 for edge in (by_light, by_values))
    assert light_off < 0 < values_off  # the dark side lies to the right
    # a fifth for values being no root, and for the blur that is read off a strip five pixels to each side
    assert -light_off == pytest.approx(by_light.toned_px, rel=0.2)
    assert values_off == pytest.approx(by_values.toned_px, rel=0.35)


def test_a_shadow_beside_an_edge_is_told_by_its_colour() -> None:
    """A green card on grey ground that is darker by a third for three pixels: by light, its edge seems to lie there."""
    card, ground = np.array([0.15, 0.3, 0.18]), np.full(3, 0.25)  # light
    # shares of each pixel beyond the card's edge, and beyond its shadow's
    out, lit = ((light(half_dark(off, 1.0, 0.8)).astype(float) - 0.05) / 0.95 for off in (0.0, 3.0))
    seen = (1 - out) * card + (out - lit) * ground * 2 / 3 + lit * ground
    picture = np.rint(255 * (1.055 * seen ** (1 / 2.4) - 0.055)).astype(np.uint8)  # IEC 61966-2-1
    plain, shaded = (fine_edges(picture, ENDS[:1], 5.0, 0.05, closer=0.5, shaded=told)[0] for told in (False, True))
    assert plain is not None
    assert shaded is not None
    assert off_line(plain.px).mean() > 0.5
    assert off_line(shaded.px).mean() == pytest.approx(0.0, abs=shaded.shared_px)
    assert shaded.shared_px > plain.shared_px


def test_a_long_edge_seen_in_parts_is_read_in_more_boxes_than_it_has_places() -> None:
    picture = np.full((300, 3800, 3), 40, np.uint8)
    picture[:150] = 200
    picture[:, 1000:2900] = 120
    found = fine_edges(picture, np.array([[[50.0, 150.0], [3750.0, 150.0]]]), 5.0, 0.02, closer=0.5)[0]
    assert found is not None
    assert found.share < 0.6
    assert found.px[:, 1] == pytest.approx(149.5, abs=LEAST_ERROR_PX)


@pytest.mark.parametrize(("line", "shadow", "faded"), [(0, 0.6, True), (0, 0.0, False), (1, 0.6, False)])
def test_a_dark_shape_in_a_soft_shadow_may_look_larger(line: int, shadow: float, faded: bool) -> None:
    """Ground grows lighter over some pixels away from a darker shape; about a lighter one it looks darker still."""
    picture = light(half_dark(0.0, blur_px=0.8))[..., 0].astype(float)
    y, x = np.indices(picture.shape)
    away = off_line(np.column_stack([x.ravel(), y.ravel()]).astype(float)).reshape(picture.shape)
    away = away if line == 0 else -away  # the shape lies to the line's right
    seen = picture * np.where(away < 0, 1.0, 1 - shadow * np.exp(-np.abs(away) / 3))
    value = np.rint(255 * (1.055 * seen ** (1 / 2.4) - 0.055)).astype(np.uint8)  # IEC 61966-2-1
    edge = fine_edges(np.repeat(value[..., None], 3, axis=2), ENDS[line : line + 1], 4.0, 0.05, closer=0.5)[0]
    assert edge is not None
    assert (edge.shadow_px > 0) == faded
    if faded:
        assert 0.3 * edge.shadow_px < off_line(edge.px).mean() < 3 * edge.shadow_px


def test_an_edge_bent_more_than_any_lens_bends_it_is_laid_straight() -> None:
    picture = half_dark(0.0)
    for share in np.linspace(0.05, 0.45, 60):  # sawdust heaped on the bright side's edge
        x, y = ENDS[0, 0] + share * (ENDS[0, 1] - ENDS[0, 0])
        cv2.circle(picture, (round(x), round(y)), round(4 * np.sin(np.pi * (share - 0.05) / 0.4)), (60, 60, 60), -1)
    edge = fine_edge(picture, ENDS[0], 5.0, 0.05)
    assert edge is not None
    assert edge.share > 0.5
    along = np.arange(len(edge.px)) / len(edge.px)
    assert abs(np.polyfit(2 * along - 1, off_line(edge.px), 2)[0]) < 0.5


def test_an_edge_that_may_be_bent_itself_is_followed() -> None:
    """By 2 pixels over 200, as of a curled sheet: twice what a lens may bend so short an edge."""
    x, y = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
    share = (200.3 + 2.0 * ((x - 250) / 100.0) ** 2 - y).clip(-0.5, 0.5) + 0.5
    picture = np.repeat(np.rint(40 + 150 * share).astype(np.uint8)[..., None], 3, axis=2)
    ends = np.array([[[150.0, 201.0], [350.0, 201.0]]])
    (straight,), (bent,) = (fine_edges(picture, ends, 5.0, 0.0, bend=bend) for bend in (0.0, 0.01))
    assert straight is not None
    assert bent is not None
    assert bent.error_px < 0.1 < 0.4 < straight.error_px


def test_an_edge_far_off_is_found_roughly() -> None:
    found = coarse_edge(half_dark(6.3), ENDS[0], 10.0)
    assert found is not None
    assert off_line(found[0]) == pytest.approx(6.3, abs=1.0)  # it is looked for at steps of a pixel
    assert found[1] > 0.9


def test_edges_looked_for_together_are_found_as_each_alone() -> None:
    """One that isn't there changes nothing for the others, whichever way they run."""
    picture = half_dark(0.2)
    together = fine_edges(picture, ENDS, 5.0, 0.05)
    alone = [fine_edge(picture, ends, 5.0, 0.05) for ends in ENDS]
    assert [edge is None for edge in together] == [edge is None for edge in alone] == [False, False, True]
    for one, other in zip(together[:2], alone[:2], strict=True):
        assert one is not None and other is not None
        assert one.px == pytest.approx(other.px, abs=1e-6)
    assert fine_edges(picture, ENDS[:0], 5.0, 0.05) == []


def test_edges_not_worth_it_are_read_no_further() -> None:
    """What is asked about them is told where they are, to a pixel, from a guess two pixels off."""
    picture, asked = half_dark(0.2), list[Array]()
    off = ENDS[:1] + np.array([1.2, 1.6])

    def worth(ends: Array) -> bool:
        asked.append(ends)
        return False

    assert fine_edges(picture, off, 5.0, 0.1, closer=0.5, worth=worth) == [None]
    assert len(asked) == 1
    assert off_line(asked[0][0]) == pytest.approx(0.2, abs=1.0)
    assert fine_edges(picture, off, 5.0, 0.1, closer=0.5, worth=lambda _: True) != [None]


def test_an_edge_outside_the_picture_is_not_found() -> None:
    picture = half_dark(0.0)
    beyond = np.array([[WIDTH + 50.0, 20.0], [WIDTH + 60.0, 300.0]])
    assert fine_edge(picture, beyond, 5.0, 0.05) is None
    assert coarse_edge(picture, beyond, 5.0) is None


def test_light_is_linear() -> None:
    # IEC 61966-2-1: value 188 of 255 is 0.503 of the light (from its formula), black none and white all of it
    assert light(np.array([[[0, 188, 255]]], np.uint8))[0, 0] == pytest.approx([0.0, 0.5029, 1.0], abs=1e-4)
