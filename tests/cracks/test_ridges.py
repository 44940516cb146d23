from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.ridges import ridge_scores
from photonest.cracks.strips import TurnedGrid

GRID = TurnedGrid((100.0, 100.0), 200, 200, np.pi / 2)  # rows run along y, columns against x


def picture(change: NDArray[np.float64]) -> NDArray[np.uint8]:
    noise = np.random.default_rng(2).normal(0, 3, (201, 201))
    return np.round(150 + noise + change).astype(np.uint8)


def test_a_dark_line_scores_dark_and_a_light_one_light() -> None:
    line = np.zeros((201, 201))
    line[:, 99:102] = -60
    for sign in (1, -1):
        dark, light = ridge_scores(picture(sign * line), GRID, (1, 3, 7), 9)
        hit, other = (dark, light) if sign > 0 else (light, dark)
        assert float(hit[20:80, 48:52].max(axis=1).min()) > 3
        assert float(other[20:80, 48:52].max()) < 1.5


def test_an_edge_is_no_line() -> None:
    edge = np.zeros((201, 201))
    edge[:, 100:] = -60
    dark, light = ridge_scores(picture(edge), GRID, (1, 3, 7), 9)
    line = np.zeros((201, 201))
    line[:, 99:102] = -60
    of_line = float(np.median(ridge_scores(picture(line), GRID, (1, 3, 7), 9)[0][20:80, 48:52].max(axis=1)))
    assert float(np.median(dark[20:80, 40:60].max(axis=1))) < of_line / 3
    assert float(np.median(light[20:80, 40:60].max(axis=1))) < of_line / 3


def test_agrees_with_a_published_ridge_filter_where_the_line_runs() -> None:
    """The strongest column of every row is that of Sato's filter (scikit-image, Sato et al. 1998)."""
    from skimage.filters import sato

    columns = (100 + 12 * np.sin(np.arange(201) / 40)).astype(int)
    line = np.zeros((201, 201))
    for shift in (-1, 0, 1):
        line[np.arange(201), columns + shift] = -60
    grey = picture(line)
    dark, _ = ridge_scores(grey, GRID, (1, 3, 7), 9)
    theirs = sato(grey.astype(float), sigmas=[1.5], black_ridges=True)[20:180:2].argmax(axis=1)
    rows = np.arange(10, 90)
    ours = GRID.to_px(2 * rows + 0.5, 2 * dark[10:90].argmax(axis=1) + 0.5)[:, 0]
    # two columns make a cell, and nine rows are averaged along a line that leans 0.3: 1.4 px, and one for rounding
    assert float(np.percentile(np.abs(ours - theirs), 95)) <= 3.5
