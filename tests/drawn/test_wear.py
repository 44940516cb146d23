"""Wear changes the wood as it says, and leaves cracks where they are."""

import functools
from dataclasses import fields, replace

import numpy as np
import pytest

from tests.drawn.marks import CrackSpec, trace
from tests.drawn.noise import Grid
from tests.drawn.texture import FinishSpec, Painted, coverage, paint
from tests.drawn.wear import WearSpec, random_wear
from tests.drawn.wood import Growth, WoodSpec

GROWTH = Growth(WoodSpec(seed=3, look="spruce", diameter=200.0, heart=0.0, bark=0.0))
GRID = Grid.over((-100, -100), (100, 100), 0.8)
PLAIN = FinishSpec(saw="none", blotches=0.0, dust=0.0, dirt=0.0)
CRACK = trace(GROWTH, CrackSpec(width=5.0, length=60.0))


@functools.cache
def painted(wear: WearSpec) -> Painted:
    assert CRACK is not None
    return paint(GROWTH, replace(PLAIN, wear=wear), [CRACK], [], GRID)


@pytest.mark.parametrize("kind", [field.name for field in fields(WearSpec)])
def test_each_kind_of_wear_changes_the_wood_where_it_is_asked_for(kind: str) -> None:
    clean, worn = (painted(wear) for wear in (WearSpec(), WearSpec(**{kind: 1.0})))
    off = np.abs(worn.colour / clean.colour.clip(1e-3) - 1).max(axis=2)[clean.cover > 0.9]
    assert (clean.cover == worn.cover).all() and (off > 0.05).sum() > 50


def test_only_a_film_of_sawdust_pales_a_crack() -> None:
    assert CRACK is not None
    inside = coverage((GRID.rows, GRID.columns), GRID, CRACK.path, 0.4 * CRACK.widths) > 0.99
    assert inside.sum() > 10
    clean, worn, filmed = (
        painted(wear).colour[inside].mean()
        for wear in (WearSpec(), WearSpec(scored=1.0, blued=1.0, runs=1.0), WearSpec(film=1.0))
    )
    assert worn < 1.1 * clean and filmed > 1.5 * clean


def test_wear_is_of_one_to_three_kinds() -> None:
    kinds = [sum(value > 0 for value in vars(random_wear(np.random.default_rng(k))).values()) for k in range(50)]
    assert set(kinds) == {1, 2, 3}
